"""One attribute in words: what a chart shows, for people who hear it or print it."""

from __future__ import annotations

from typing import TYPE_CHECKING

from studyapp.findings.numbers import beside, hours, listed, opening, or_dash, p_value, units
from studyapp.words import _

if TYPE_CHECKING:
    from analysis.stopping import AttributeResult, PullResult


def shown(result: AttributeResult, pull: PullResult) -> bool:
    """Whether this pull and each longer one were shown to be good enough on this attribute."""
    hour = enough(result)
    return hour is not None and pull.hours >= hour and not pull.shown_to_fail


def enough(result: AttributeResult) -> float | None:
    """The shortest pull shown to be good enough on this attribute, where a shorter one than the reference was.

    A reference that misses its limit leaves none; one that is only past its best leaves those that are not.
    """
    hour = result.shortest_hours
    if hour is None:
        return None
    fit = (
        pull.hours for pull in result.pulls if hour <= pull.hours < result.reference_hours and not pull.shown_to_fail
    )
    return min(fit, default=None)


def limit_decides(result: AttributeResult) -> bool:
    """Whether some pull lies within the margin and is still not shown to meet the limit on its mean."""
    return any(pull.within_margin and pull.within_limit is False for pull in result.pulls)


def limit_note() -> str:
    """What a picture of means against a limit is, beside its heading."""
    return _("its limit decides")


def within_margins(result: AttributeResult, pull: PullResult) -> bool:
    """Whether this pull and each longer one lie within the margin, whatever is shown of a limit."""
    later = (one for one in result.pulls if one.hours >= pull.hours)
    return all(one.within_margin and not _past(result, one) for one in later)


def _past(result: AttributeResult, pull: PullResult) -> bool:
    return pull.shown_to_fail and pull.within_limit is not False


def mean_says(result: AttributeResult, pull: PullResult) -> str:
    """The mean of one pull against its limit, for a tooltip and for a reader aloud."""
    told = (
        _("{hours} hours: mean {mean}, between {low} and {high}, meets the limit")
        if pull.within_limit
        else _("{hours} hours: mean {mean}, between {low} and {high}, not shown to meet the limit")
    )
    limit = result.rule.limit or 0.0
    return told.format(
        hours=hours(pull.hours),
        mean=units(pull.mean),
        low=beside(pull.mean_low, limit),
        high=beside(pull.mean_high, limit),
    )


def means_alt(result: AttributeResult) -> str:
    """The picture of the means against a limit in one sentence."""
    steps = listed([_("{mean} at {hours} h").format(mean=units(p.mean), hours=hours(p.hours)) for p in result.pulls])
    met = [hours(pull.hours) for pull in result.pulls if pull.within_limit]
    texts = {"name": opening(result.name), "limit": units(result.rule.limit or 0.0), "steps": steps}
    if not met:
        return _("{name}: means {steps} against a limit of {limit}; no pull is shown to meet it.").format(**texts)
    return _("{name}: means {steps} against a limit of {limit}; shown to meet it at {met} h.").format(
        met=listed(met), **texts
    )


def _reference_fails(result: AttributeResult) -> bool:
    return any(pull.shown_to_fail for pull in result.pulls if pull.hours == result.reference_hours)


def pull_says(result: AttributeResult, pull: PullResult) -> str:
    """One pull in one line, for a tooltip and for a reader aloud."""
    hour = hours(pull.hours)
    if pull.hours == result.reference_hours:
        if pull.shown_to_fail:
            return _("{hours} hours: the reference, shown to fail").format(hours=hour)
        return _("{hours} hours: the reference").format(hours=hour)
    if not result.judged or pull.decisive_upper is None or pull.decisive_lower is None:
        return _("{hours} hours: not judged").format(hours=hour)
    if result.rule.both_ways:
        return _same_says(result, pull).format(
            hours=hour,
            difference=units(pull.difference),
            low=beside(pull.decisive_lower, -result.rule.margin),
            high=beside(pull.decisive_upper, result.rule.margin),
        )
    return _worse_says(result, pull).format(
        hours=hour,
        difference=units(abs(pull.difference)),
        most=beside(pull.decisive_upper, result.rule.margin),
    )


def _same_says(result: AttributeResult, pull: PullResult) -> str:
    if shown(result, pull):
        return _("{hours} hours: apart by {difference}, between {low} and {high}, within the margin")
    if pull.shown_to_fail:
        return _("{hours} hours: apart by {difference}, between {low} and {high}, shown to fail")
    if pull.within_margin and pull.within_limit is False:
        return _("{hours} hours: apart by {difference}, between {low} and {high}, limit not shown to be met")
    if pull.within_margin:
        return _("{hours} hours: apart by {difference}, between {low} and {high}, but a longer pull was not shown")
    return _("{hours} hours: apart by {difference}, between {low} and {high}, not shown to be within the margin")


def _worse_says(result: AttributeResult, pull: PullResult) -> str:
    better = round(pull.difference, 1) < 0
    if shown(result, pull):
        if better:
            return _("{hours} hours: better by {difference}, worse by {most} at most, within the margin")
        return _("{hours} hours: worse by {difference}, at most {most}, within the margin")
    if pull.shown_to_fail:
        if better:
            return _("{hours} hours: better by {difference}, worse by {most} at most, shown to fail")
        return _("{hours} hours: worse by {difference}, at most {most}, shown to fail")
    if pull.within_margin and pull.within_limit is False:
        if better:
            return _("{hours} hours: better by {difference}, worse by {most} at most, limit not shown to be met")
        return _("{hours} hours: worse by {difference}, at most {most}, limit not shown to be met")
    if pull.within_margin:
        if better:
            return _("{hours} hours: better by {difference}, worse by {most} at most, but a longer pull was not shown")
        return _("{hours} hours: worse by {difference}, at most {most}, but a longer pull was not shown")
    if better:
        return _("{hours} hours: better by {difference}, worse by {most} at most, not shown to be within the margin")
    return _("{hours} hours: worse by {difference}, at most {most}, not shown to be within the margin")


def attribute_alt(result: AttributeResult) -> str:
    """The picture of one attribute in one sentence."""
    judged = [pull for pull in result.pulls if pull.hours != result.reference_hours]
    if not result.judged or not judged:
        return _("{name}: not judged.").format(name=opening(result.name))
    steps = listed(
        [
            _("{difference} at {hours} h").format(difference=units(pull.difference), hours=hours(pull.hours))
            for pull in judged
        ]
    )
    return _alt_sentence(result).format(
        name=opening(result.name),
        reference=hours(result.reference_hours),
        steps=steps,
        margin=units(result.rule.margin),
        enough=hours(enough(result) or 0.0),
    )


def _alt_sentence(result: AttributeResult) -> str:
    from_some_hour = enough(result) is not None
    if _reference_fails(result) and not from_some_hour:
        if result.rule.both_ways:
            return _(
                "{name}: apart from the {reference} h pull by {steps}, in scale units; "
                "the {reference} h pull itself is shown to fail."
            )
        return _(
            "{name}: worse than the {reference} h pull by {steps}, in scale units; "
            "the {reference} h pull itself is shown to fail."
        )
    if result.rule.both_ways:
        if from_some_hour:
            return _(
                "{name}: apart from the {reference} h pull by {steps}, in scale units; "
                "within the margin of {margin} either way from {enough} h on."
            )
        return _(
            "{name}: apart from the {reference} h pull by {steps}, in scale units; "
            "no shorter pull is shown to be within the margin of {margin} either way."
        )
    if from_some_hour:
        return _(
            "{name}: worse than the {reference} h pull by {steps}, in scale units; "
            "within the margin of {margin} from {enough} h on."
        )
    return _(
        "{name}: worse than the {reference} h pull by {steps}, in scale units; "
        "no shorter pull is shown to be within the margin of {margin}."
    )


def pull_numbers(pull: PullResult) -> list[str]:
    """One pull as a row of numbers, for screen and paper: hours, mean, difference, its limits, both errors with df."""
    table = (
        (pull.mean, 2),
        (pull.difference, 2),
        (pull.decisive_lower, 2),
        (pull.decisive_upper, 2),
        (pull.se, 3),
        (pull.df, 1),
        (pull.own_se, 3),
        (pull.own_df, 1),
    )
    return [hours(pull.hours), *(or_dash(value, digits) for value, digits in table)]


def enough_says(hour: float | None) -> str:
    """The sign at the first pull that is enough, or that none is yet."""
    return _("none of these yet") if hour is None else _("{hours} h is enough").format(hours=hours(hour))


def fit_says(result: AttributeResult) -> str:
    """What the model found below the numbers of one attribute."""
    variance, anova = result.variance, result.anova
    return _(
        "{n} assessors. Variance between assessors {assessor}, of assessor by hours {cell}, left over {rest}. "
        "Hours: F {f} on {num} and {den} df, p {p}."
    ).format(
        n=result.assessors,
        assessor=or_dash(variance.get("assessor"), 3),
        cell=or_dash(variance.get("assessor:hours"), 3),
        rest=or_dash(variance.get("residual"), 3),
        f=or_dash(anova.f, 2),
        num=or_dash(anova.num_df, 0),
        den=or_dash(anova.den_df, 1),
        p=p_value(anova.p),
    )
