"""A threshold over minutes or grams in plain sentences; nothing is said about doses that were not tasted."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from studyapp.findings.facts import Fact, TrialFinding, caution
from studyapp.findings.numbers import decimal, percent
from studyapp.kinds.aroma.findings import controls, next_steps
from studyapp.kinds.aroma.findings.shares import noticed_facts
from studyapp.kinds.aroma.findings.trials import fewer_causes, fewer_headline, percent_of
from studyapp.words import _, ngettext

if TYPE_CHECKING:
    from analysis.choice.threshold import FitTest, ThresholdFit


def threshold_finding(
    fitted: ThresholdFit, tested: FitTest, apart: Sequence[tuple[str, ThresholdFit]] = (), unit: str = ""
) -> TrialFinding:
    """The sentences of one threshold. `apart`: who finds much less, each with the fit without them."""
    return TrialFinding(
        headline=_headline(fitted, unit),
        lede=_lede(fitted, unit),
        facts=(
            *_points(fitted, tested, unit),
            _fit(tested, unit),
            *noticed_from(fitted, unit),
            *controls.fact(fitted.control),
        ),
        changes=(
            _("Each claim holds at a risk of {alpha} of its own.").format(alpha=percent_of(fitted.alpha)),
            _("Half-way detection for the middle assessor, with 1 % of answers taken as slips."),
        ),
        warnings=(
            *(dose_warning(code, fitted) for code in fitted.warned_of),
            *_departs(tested, unit),
            *(_apart(name, other, unit) for name, other in apart),
        ),
        caution=caution(),
        then=next_steps.after_doses(fitted.verdict, fitted.reason),
    )


def noticed_from(fitted: ThresholdFit, unit: str) -> tuple[Fact, ...]:
    """From which dose on each chosen share notices it."""
    asked = [float(level) for level in fitted.answers.doses]
    return noticed_facts(fitted.noticed, asked, False, lambda number: f"{number} {unit}".strip())


def dose(value: float, unit: str) -> str:
    """A dose with at most three digits that matter, and its unit: "17.4 min"."""
    digits = 0 if value >= 100 or float(value).is_integer() else 1 if value >= 10 else 2
    number = decimal(value, digits)
    return f"{number} {unit}" if unit else number


def _lede(fitted: ThresholdFit, unit: str) -> str:
    if fitted.reason == "control not found":
        return controls.why(fitted.control)
    return fewer_causes() if fitted.fewer else f"{_found_from(fitted, unit)} {_not_below(fitted, unit)}"


def _headline(fitted: ThresholdFit, unit: str) -> str:
    if fitted.reason is not None:
        return controls.headlines().get(fitted.reason, fewer_headline())
    first, last = fitted.answers.doses[0], fitted.answers.doses[-1]
    estimate = fitted.estimate
    if estimate.value is not None:
        return _("Half notice it from {dose} on.").format(dose=dose(estimate.value, unit))
    if estimate.where == "below":
        return _("Already found at the lowest dose, {dose}.").format(dose=dose(first, unit))
    return _("Not found up to {dose}.").format(dose=dose(last, unit))


def _found_from(fitted: ThresholdFit, unit: str) -> str:
    high = fitted.high
    if high.value is not None:
        return _("Shown to be found by the middle assessor from {dose} on.").format(dose=dose(high.value, unit))
    if high.where == "below":
        return _("Shown to be found at every dose tasted.")
    return _("No upper limit: no dose tasted was shown to be found by the middle assessor.")


def _not_below(fitted: ThresholdFit, unit: str) -> str:
    low = fitted.low
    if low.value is not None:
        return _("Below {dose} it is shown not to reach half-way detection.").format(dose=dose(low.value, unit))
    if low.where == "above":
        return _("At every dose tasted it is shown not to reach half-way detection.")
    return _("No lower limit: it may be noticed below {dose}, which was never tasted.").format(
        dose=dose(fitted.answers.doses[0], unit)
    )


def _points(fitted: ThresholdFit, tested: FitTest, unit: str) -> tuple[Fact, ...]:
    answers = fitted.answers
    totals = zip(answers.doses, answers.correct.sum(axis=0), answers.trials.sum(axis=0), tested.expected, strict=True)
    return tuple(
        Fact(
            dose(level, unit),
            _("{k} of {n} right").format(k=int(right), n=int(asked)),
            _("the curve says {share}").format(share=percent(float(share))),
        )
        for level, right, asked, share in totals
    )


def _fit(tested: FitTest, unit: str) -> Fact:
    beyond = round(tested.p_value * 100)
    value = _("as far off as {count} of 100 such panels").format(count=beyond)
    return Fact(_("Curve"), value, _("farthest from it: {dose}").format(dose=dose(tested.departs, unit)))


def _departs(tested: FitTest, unit: str) -> tuple[str, ...]:
    if tested.p_value > 0.05:
        return ()
    return (
        _("The answers do not lie on a rising curve; {dose} departs most. Keep it, and look for the reason.").format(
            dose=dose(tested.departs, unit)
        ),
    )


def _apart(name: str, without: ThresholdFit, unit: str) -> str:
    estimate = without.estimate
    if estimate.value is None:
        return _("{name} finds much less than the others; without {name} the threshold lies outside the doses.").format(
            name=name
        )
    low, high = (_end(point.value, unit) for point in (without.low, without.high))
    return _("{name} finds much less than the others; without {name} it is {dose}, limits {low} and {high}.").format(
        name=name, dose=dose(estimate.value, unit), low=low, high=high
    )


def _end(value: float | None, unit: str) -> str:
    return _("none") if value is None else dose(value, unit)


def dose_warning(code: str, fitted: ThresholdFit) -> str:
    """One caution beside a threshold; a blank that was told apart from itself shows that a cup betrays itself."""
    if code == "control_not_served":
        return controls.not_served()
    answers = fitted.answers
    people, levels = len(answers.assessors), len(answers.doses)
    return {
        "few assessors": ngettext(
            "Only {count} assessor; take 5 or more.", "Only {count} assessors; take 5 or more.", people
        ).format(count=people),
        "few doses": ngettext(
            "Only {count} dose; take 4 or more.", "Only {count} doses; take 4 or more.", levels
        ).format(count=levels),
        "few answers": _("Some assessors gave fewer than 20 answers; the limits are wide and less sure."),
        "blank told apart": _(
            "Blank against blank was told apart, {k} of {n}: look for what betrays a cup before you use this."
        ).format(k=answers.blank_correct, n=answers.blank_trials),
    }[code]
