"""An aroma study in plain sentences: the answer of each aim, four facts under it, and what an answer would cost.

The numbers of a test, a threshold or a ladder are worded in the modules beside; here they become one page.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Literal

from studyapp.findings.facts import Fact, TrialFinding, caution
from studyapp.findings.numbers import decimal, hours, listed, of_ten, percent
from studyapp.kinds.aroma.findings.doses import dose, threshold_finding
from studyapp.kinds.aroma.findings.trials import choice_finding, ladder_finding, percent_of
from studyapp.methods import METHODS
from studyapp.words import _, ngettext

if TYPE_CHECKING:
    from analysis.choice import ChoiceResult, Ladder, SequentialPlan, Standing
    from analysis.choice.threshold import FitTest, ThresholdFit
    from studyapp.kinds.aroma.plan import AromaPlan

ZoneKind = Literal["close", "open", "both", "detectable"]
RungKind = Literal["gone", "open", "found"]


@dataclass(frozen=True, slots=True)
class Zone:
    """A stretch of counts of right answers, `low` to `high` inclusive, and the verdict it stands for."""

    kind: ZoneKind
    low: int
    high: int
    name: str
    counts: str


@dataclass(frozen=True, slots=True)
class WayRow:
    """One way to an answer: what to do, what it asks of a person, and how often it settles the question."""

    what: str
    asks: str
    chance: str


# ---- is it detectable --------------------------------------------------------------------------------------------
def detectable_finding(
    plan: AromaPlan, result: ChoiceResult, limit_d_prime: float, settling: int | None = None
) -> TrialFinding:
    """One test at one dose. `limit_d_prime` is the sealed pd limit as d', `settling` the people who would settle it."""
    told = choice_finding(result, limit_d_prime, settling)
    by_name = {fact.label: fact for fact in told.facts}
    share = result.proportion_discriminators
    noticing = _("at least {low}, at most {high}").format(
        low=percent(share.low or 0.0), high=percent(1.0 if share.high is None else share.high)
    )
    facts = (
        by_name[_("Right")],
        Fact(_("Marks, sealed before"), _both_marks(result), _marks(result)),
        Fact(_("Truly noticing"), percent(share.estimate or 0.0), noticing),
        _holds_for(plan, len(result.trials_each)),
    )
    return TrialFinding(
        told.headline, told.lede, facts, told.changes, told.warnings, _clearance(plan), (*told.facts, _scope(result))
    )


def _guessed(result: ChoiceResult) -> str:
    return decimal(result.trials * METHODS[result.method].chance, 0)


def _both_marks(result: ChoiceResult) -> str:
    known = [str(mark) for mark in (result.similar.maximum_correct, result.minimum_correct) if mark is not None]
    return listed(known) if known else "–"


def _marks(result: ChoiceResult) -> str:
    most, least = result.similar.maximum_correct, result.minimum_correct
    if most is None and least is None:
        return _("none: too few answers")
    if most is None:
        return _("different from {least}").format(least=least)
    if least is None:
        return _("close enough up to {most}").format(most=most)
    return _("close enough up to {most}, different from {least}").format(most=most, least=least)


def _holds_for(plan: AromaPlan, people: int) -> Fact:
    said = ngettext("these {n} assessor", "these {n} assessors", people).format(n=people)
    batch = _("this batch, {batch}").format(batch=plan.batch) if plan.batch else _("this batch")
    return Fact(_("Holds for"), batch, said)


def _scope(result: ChoiceResult) -> Fact:
    """Who the claim of sameness speaks for, and the share under which these people can show nothing."""
    floor = percent(result.floor)
    return Fact(
        _("Scope"),
        _("people like them"),
        _("not below {floor} with {n} people, however often they taste").format(floor=floor, n=len(result.trials_each)),
    )


def zones(result: ChoiceResult) -> tuple[Zone, ...]:
    """The counts from 0 to n cut at the sealed marks; where the marks cross, a count can mean both."""
    most, least = result.similar.maximum_correct, result.minimum_correct
    close_to = -1 if most is None else most
    different_from = result.trials + 1 if least is None else least
    first, last = min(close_to, different_from - 1), max(close_to + 1, different_from)
    middle: ZoneKind = "both" if close_to >= different_from else "open"
    cut: list[tuple[ZoneKind, int, int]] = [
        ("close", 0, first),
        (middle, first + 1, last - 1),
        ("detectable", last, result.trials),
    ]
    return tuple(_zone(kind, low, high) for kind, low, high in cut if low <= high)


def _zone(kind: ZoneKind, low: int, high: int) -> Zone:
    counts = str(low) if low == high else _("{low} to {high}").format(low=low, high=high)
    names = {
        "close": _("close enough"),
        "detectable": _("detectable"),
        "open": _("cannot tell, {counts}").format(counts=counts),
        "both": _("noticeable, yet small enough, {counts}").format(counts=counts),
    }
    inside = {"close": _("up to {high}").format(high=high), "detectable": _("{low} or more").format(low=low)}
    return Zone(kind, low, high, names[kind], inside.get(kind, counts))


def ruler_says(result: ChoiceResult) -> str:
    """The ruler in one sentence, for a reader aloud."""
    return _("{k} of {n} answers are right; {marks}; guessing alone finds about {g}.").format(
        k=result.correct, n=result.trials, marks=_marks(result), g=_guessed(result)
    )


def noticing_says(result: ChoiceResult) -> str:
    """The interval in one sentence, for a reader aloud."""
    share = result.proportion_discriminators
    return _("{share} of the answers came from truly noticing, at least {low}, at most {high}; limit {limit}.").format(
        share=percent(share.estimate or 0.0),
        low=percent(share.low or 0.0),
        high=percent(1.0 if share.high is None else share.high),
        limit=percent(result.pd_limit),
    )


def guesses(called: int, right: int) -> Fact:
    """How many answers were called a guess, and how many of those were right; the verdict counts every answer alike."""
    note = _("{right} of them right; every answer counts alike").format(right=right) if called else ""
    return Fact(_("Called a guess"), str(called), note)


# ---- deciding early ----------------------------------------------------------------------------------------------
def sequential_finding(
    plan: AromaPlan, sealed: SequentialPlan, standing: Standing, trials: int, correct: int, settling: int | None = None
) -> TrialFinding:
    """A plan that decides after each complete round; `trials` answers are in, `correct` of them right.

    `settling` is the cap of a new plan that would decide in 9 of 10 cases.
    """
    headlines = {
        "different": _("Detectable."),
        "same": _("Close enough for these assessors."),
        "go on": _("Not decided yet: taste the next round."),
        "cannot tell": _("Cannot tell."),
    }
    ledes = {
        "different": _(
            "The count has crossed the upper line: so many right come by guessing in {alpha} of such plans."
        ),
        "same": _(
            "The count has crossed the lower line. Were it noticed by {pd}, this plan would still have said so in "
            "{beta} of such plans."
        ),
        "go on": _("The count lies between the two sealed lines. The plan ends at the latest after {cap} answers."),
        "cannot tell": _("All {cap} answers are in and the count lies between the two marks at the cap."),
    }
    first = _("{k} of {n} answers are right.").format(k=correct, n=trials)
    told = ledes[standing].format(
        alpha=percent_of(sealed.alpha), beta=percent_of(sealed.beta), pd=percent(sealed.pd), cap=sealed.cap
    )
    facts = (
        Fact(_("Right"), _("{k} of {n}").format(k=correct, n=trials), _("cap {cap}").format(cap=sealed.cap)),
        Fact(_("False “different”"), percent_of(round(sealed.false_different, 3)), _("of an identical pair, exact")),
        Fact(
            _("False “same”"),
            percent_of(round(sealed.false_same, 3)),
            _("when {pd} notice, exact").format(pd=percent(sealed.pd)),
        ),
        _holds_for(plan, len(plan.assessors)),
    )
    warnings = (_("People taste more than once, so “same” holds for these assessors only."),)
    changes = () if settling is None else (_settling_cap(settling),)
    return TrialFinding(headlines[standing], f"{first} {told}", facts, changes, warnings, _clearance(plan), facts)


def _settling_cap(cap: int) -> str:
    return _(
        "A new plan that may go on to {cap} answers, with the same risks, decides in 9 of 10 cases; these answers do "
        "not count in it."
    ).format(cap=cap)


# ---- from which dose on ------------------------------------------------------------------------------------------
def dose_finding(
    plan: AromaPlan, fitted: ThresholdFit, tested: FitTest, apart: Sequence[tuple[str, ThresholdFit]] = ()
) -> TrialFinding:
    """A threshold over minutes or grams."""
    unit = unit_word(plan.dose_unit)
    told = threshold_finding(fitted, tested, apart, unit)
    answers = fitted.answers
    doses = listed([hours(float(level)) for level in answers.doses])
    total, right = int(answers.trials.sum()), int(answers.correct.sum())
    ends = _limits(fitted, unit)
    point = fitted.estimate.value
    facts = (
        Fact(_("Half-way point"), _("outside the doses") if point is None else dose(point, unit), ends),
        Fact(_("Answers"), _("{k} of {n} right").format(k=right, n=total), _("at all doses together")),
        Fact(_("Doses tasted"), doses, unit),
        _holds_for(plan, len(answers.assessors)),
    )
    return TrialFinding(
        told.headline, told.lede, facts, told.changes, (*told.warnings, *_blank(fitted)), _clearance(plan), told.facts
    )


def _limits(fitted: ThresholdFit, unit: str) -> str:
    """Both limits of the half-way point, as far as the doses carry them."""
    if fitted.low.value is None and fitted.high.value is None:
        return _("no limit among the doses tasted")
    return _("limits {low} and {high}").format(low=_end(fitted.low.value, unit), high=_end(fitted.high.value, unit))


def _end(value: float | None, unit: str) -> str:
    return _("none") if value is None else dose(value, unit)


def _blank(fitted: ThresholdFit) -> tuple[str, ...]:
    """Blank against blank checks the guess rate: more right than guessing gives means that a cup tells itself."""
    if fitted.blank_p_value is None or fitted.blank_p_value > fitted.alpha:
        return ()
    said = _("Blank against blank was told apart, {k} of {n}: look for what betrays a cup before you use this.")
    return (said.format(k=fitted.answers.blank_correct, n=fitted.answers.blank_trials),)


def unit_word(unit: str) -> str:
    """A unit of dose as it is written behind a number."""
    return {"min": _("min"), "g": _("g")}.get(unit, unit)


def dose_axis(unit: str) -> str:
    """What stands under the axis of doses."""
    return {"min": _("minutes of hot air"), "g": _("grams of the plant per kg")}.get(unit, unit)


def dose_says(level: float, right: int, asked: int, unit: str) -> str:
    """One dose in words, for a reader aloud."""
    tasted = _("{number} {unit}").format(number=hours(level), unit=unit_word(unit))
    return _("{dose}: {k} of {n} right").format(dose=tasted, k=right, n=asked)


def curve_says(fitted: ThresholdFit, unit: str) -> str:
    """The curve in one sentence, for a reader aloud."""
    each = [
        dose_says(float(level), int(right), int(asked), unit)
        for level, right, asked in zip(
            fitted.answers.doses, fitted.answers.correct.sum(axis=0), fitted.answers.trials.sum(axis=0), strict=True
        )
    ]
    point = fitted.estimate.value
    half = _("outside the doses tasted") if point is None else dose(point, unit_word(unit))
    return _("Right answers by dose: {each}. Half-way point {half}.").format(each="; ".join(each), half=half)


# ---- batch after batch, day after day ----------------------------------------------------------------------------
def ladder_of(plan: AromaPlan, ladder: Ladder) -> TrialFinding:
    """A ladder of plain batches after the botanical, or of days since."""
    told = ladder_finding(ladder)
    batches = plan.aim == "carry over"
    headline, lede = (told.headline, told.lede) if batches else (_days_headline(ladder), _days_lede(ladder))
    facts = (
        Fact(_("Close enough from"), _clean_from(plan, ladder), _("tested from the last one back")),
        Fact(_("Still found in"), _found_in(plan, ladder), _("tested from the first one on")),
        Fact(_("Limit"), percent(ladder.pd_limit), _("may truly notice it")),
        _holds_for(plan, len(ladder.rungs[0].result.trials_each)),
    )
    numbers = tuple(
        Fact(rung_name(rung.batch, plan.aim), fact.value, fact.note)
        for rung, fact in zip(ladder.rungs, told.facts, strict=True)
    )
    changes = told.changes if batches else told.changes[1:]
    return TrialFinding(headline, lede, facts, changes, told.warnings, _clearance(plan), numbers)


def _clean_from(plan: AromaPlan, ladder: Ladder) -> str:
    clean = ladder.clean_from_all_tasted
    return _("not shown") if clean is None else rung_name(clean, plan.aim)


def _found_in(plan: AromaPlan, ladder: Ladder) -> str:
    found = ladder.detected_through
    return _("none of them") if found is None else rung_name(found, plan.aim)


def _days_headline(ladder: Ladder) -> str:
    clean = ladder.clean_from_all_tasted
    if clean is not None:
        return ngettext("Close enough after {n} day.", "Close enough after {n} days.", clean).format(n=clean)
    if ladder.detected_through == ladder.rungs[-1].batch:
        return _("Still found after {n} days, the last tasted.").format(n=ladder.detected_through)
    return _("Not shown to be gone.")


def _days_lede(ladder: Ladder) -> str:
    sentences = []
    if ladder.detected_through is not None:
        sentences.append(
            ngettext("Still found after {n} day.", "Still found after {n} days.", ladder.detected_through).format(
                n=ladder.detected_through
            )
        )
    if ladder.clean_from_all_tasted is not None:
        sentences.append(
            _("From then on at most {limit} of people like these truly notice it.").format(
                limit=percent(ladder.pd_limit)
            )
        )
    else:
        sentences.append(
            _("At no day tasted is it shown that at most {limit} notice.").format(limit=percent(ladder.pd_limit))
        )
    return " ".join(sentences)


def rung_name(level: int, aim: str) -> str:
    """A rung as it is called on screen: plain batch "+2", or "3 days"."""
    if aim == "linger":
        return ngettext("{n} day", "{n} days", level).format(n=level)
    return _("batch +{n}").format(n=level)


def rung_kind(level: int, ladder: Ladder) -> RungKind:
    """What the ladder says of one rung: shown to be gone, still found, or neither."""
    clean, found = ladder.clean_from_all_tasted, ladder.detected_through
    if clean is not None and level >= clean:
        return "gone"
    return "found" if found is not None and level <= found else "open"


def rung_says(level: int, result: ChoiceResult, ladder: Ladder, aim: str) -> str:
    """One rung in words, for a reader aloud."""
    share = result.proportion_discriminators
    word = {"gone": _("close enough"), "found": _("still found"), "open": _("neither found nor shown to be gone")}
    return _("{rung}: {share} truly notice, between {low} and {high}, {word}").format(
        rung=rung_name(level, aim),
        share=percent(share.estimate or 0.0),
        low=percent(share.low or 0.0),
        high=percent(1.0 if share.high is None else share.high),
        word=word[rung_kind(level, ladder)],
    )


def path_says(trials: int, correct: int) -> str:
    """Where the count of a test that may end early stands, for a reader aloud."""
    return _("Between the two lines the plan goes on. After {n} answers {right} are right.").format(
        n=trials, right=correct
    )


def ladder_says(ladder: Ladder, aim: str) -> str:
    """All rungs in one sentence, for a reader aloud."""
    said = "; ".join(rung_says(rung.batch, rung.result, ladder, aim) for rung in ladder.rungs)
    return _("{rungs}. Limit {limit}.").format(rungs=said, limit=percent(ladder.pd_limit))


# ---- the price of an answer --------------------------------------------------------------------------------------
def way_row(what: str, answers: int, grams: float, chance: float) -> WayRow:
    """One way to an answer: answers and grams of one person, and the chance that it settles the question."""
    asks = ngettext("{n} answer, {grams} g", "{n} answers, {grams} g", answers).format(
        n=answers, grams=decimal(grams, 0)
    )
    return WayRow(what, asks, of_ten(chance))


# ---- a verdict that was signed ------------------------------------------------------------------------------------
def kept_line(plan: AromaPlan, document: Mapping[str, Any]) -> str:
    """A kept verdict in one line, from the document that was signed; empty for an empty one."""
    if "threshold" in document:
        point = document["threshold"]["estimate"]
        if point is None:
            return _("Half-way point outside the doses tasted.")
        return _("Half notice it from {dose} on.").format(dose=dose(point, unit_word(plan.dose_unit)))
    if "rungs" in document:
        clean = document["clean_from_all_tasted"]
        if clean is None:
            return _("Not shown to be gone.")
        return _("Close enough from {rung} on.").format(rung=rung_name(clean, plan.aim))
    if "standing" in document:
        return {"different": _("Detectable."), "same": _("Close enough for these assessors.")}.get(
            document["standing"], _("Cannot tell.")
        )
    if not document:
        return ""
    similar = document["similarity"]["similar"]
    if document["different"]:
        return _("Noticeable, and small enough.") if similar else _("Detectable.")
    return _("Close enough.") if similar else _("Cannot tell.")


# ---- what a taste result never clears ----------------------------------------------------------------------------
def _clearance(plan: AromaPlan) -> str:
    plant = plan.botanical.name
    if not plant:
        return caution()
    return _(
        "It does not show that {plant} is permitted, harmless or free of allergens. Check name, plant part, supplier "
        "papers and dose against your local code, with the people licensed to judge them."
    ).format(plant=plant)
