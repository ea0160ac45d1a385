"""An aroma study in plain sentences: the answer of each aim, four facts under it, and what an answer would cost.

The numbers of a test, a threshold or a ladder are worded in the modules beside; here they become one page.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any, Literal

from studyapp.findings.facts import Fact, TrialFinding, caution
from studyapp.findings.numbers import decimal, hours, listed, of_studies, of_ten, percent
from studyapp.kinds.aroma.findings import controls
from studyapp.kinds.aroma.findings.doses import dose, noticed_from, threshold_finding
from studyapp.kinds.aroma.findings.trials import (
    choice_finding,
    fewer_headline,
    ladder_finding,
    offered_here,
    rung_name,
    still_noticing,
)
from studyapp.methods import METHODS
from studyapp.words import _, ngettext

if TYPE_CHECKING:
    from analysis.choice import ChoiceResult, Ladder
    from analysis.choice.threshold import FitTest, ShareLevel, ThresholdFit
    from studyapp.kinds.aroma.plan import AromaPlan

ZoneKind = Literal["fewer", "close", "open", "both", "detectable"]
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
    """One way to an answer: what to do, what it asks of a person, and how often it settles the question where nobody
    notices, where half the limit do, and where as many as the limit do."""

    what: str
    asks: str
    chances: tuple[str, ...]


# ---- is it detectable --------------------------------------------------------------------------------------------
def detectable_finding(
    plan: AromaPlan,
    result: ChoiceResult,
    limit_d_prime: float,
    settling: int | None = None,
    sealed: ChoiceResult | None = None,
) -> TrialFinding:
    """One test at one dose. `limit_d_prime` is the sealed pd limit as d', `settling` the people who would settle it;
    `sealed` is the same test over the sets that were sealed, for its marks and chances, where that is known."""
    told = choice_finding(result, limit_d_prime, settling, plan.nameable)
    by_name = {fact.label: fact for fact in told.facts}
    share = result.proportion_discriminators
    noticing = _("at least {low}, at most {high}").format(
        low=percent(share.low or 0.0), high=percent(result.most_noticing)
    )
    facts = (
        by_name[_("Right")],
        *marks_held(result, sealed or result),
        *controls.fact(result.control),
        Fact(_("Truly noticing"), percent(share.estimate or 0.0), noticing),
        holds_for(plan, len(result.trials_each)),
    )
    return replace(told, facts=facts, caution=clearance(plan), numbers=(*told.facts, _scope(result)))


def marks_held(result: ChoiceResult, sealed: ChoiceResult) -> tuple[Fact, ...]:
    """The sealed marks; beside them those that hold for the answers really given, with the chances left to them."""
    if sorted(result.trials_each) == sorted(sealed.trials_each):
        return (Fact(_("Marks, sealed before"), _both_marks(result), _marks(result)),)
    given = _("for the {n} given: {marks}; {chances}").format(
        n=result.trials, marks=_marks(result), chances=_chances(result)
    )
    planned = _("for {n} answers: {marks}; {chances}").format(
        n=sealed.trials, marks=_marks(sealed), chances=_chances(sealed)
    )
    return (
        Fact(_("Marks, sealed before"), _both_marks(sealed), planned),
        Fact(_("Marks that hold"), _both_marks(result), given),
    )


def _chances(result: ChoiceResult) -> str:
    """How often each claim comes when it is true."""
    found = _("{limit} is found in {found}").format(
        limit=percent(result.pd_limit), found=of_studies(round(result.power, 2))
    )
    if not result.similar.offered or not result.can_be_close:
        return found
    return _("{found}, nobody noticing is shown in {passes}").format(
        found=found, passes=of_studies(round(result.chances(0.0).similar, 2))
    )


def _guessed(result: ChoiceResult) -> str:
    return decimal(result.trials * METHODS[result.method].chance, 0)


def _offered(result: ChoiceResult) -> int | None:
    """The mark of "close enough" for people like these, where it is one that can be meant."""
    return result.similar.maximum_correct if result.similar.offered and result.can_be_close else None


def _both_marks(result: ChoiceResult) -> str:
    known = [str(mark) for mark in (_offered(result), result.minimum_correct) if mark is not None]
    return listed(known) if known else "–"


def _marks(result: ChoiceResult) -> str:
    most, least, none = _offered(result), result.minimum_correct, controls.none_close(result.control)
    if least is not None and none:
        return _("different from {least}; {none}").format(least=least, none=none)
    if most is None and least is None:
        return _("none: too few answers")
    if most is None:
        here = offered_here(result)
        return _("different from {least}; no “close enough” for people like them, {here}").format(
            least=least, here=here
        )
    if least is None:
        return _("close enough up to {most}").format(most=most)
    return _("close enough up to {most}, different from {least}").format(most=most, least=least)


def holds_for(plan: AromaPlan, people: int) -> Fact:
    said = ngettext("these {n} assessor", "these {n} assessors", people).format(n=people)
    batch = _("this batch, {batch}").format(batch=plan.batch) if plan.batch else _("this batch")
    return Fact(_("Holds for"), batch, said)


def _scope(result: ChoiceResult) -> Fact:
    """Who the claim of sameness speaks for; where these people can show it for themselves only, from where on more."""
    if result.similar.offered:
        return Fact(_("Scope"), _("people like them"), _("whom these {n} stand for").format(n=len(result.trials_each)))
    if result.pd_limit >= result.floor:
        return Fact(_("Scope"), _("these assessors"), offered_here(result))
    note = _("below {floor} answers as an identical pair gives show nothing for people like them, {here}").format(
        floor=percent(result.floor), here=offered_here(result)
    )
    return Fact(_("Scope"), _("these assessors"), note)


def zones(result: ChoiceResult) -> tuple[Zone, ...]:
    """The counts from 0 to n cut at the marks; where the marks cross, a count can mean both. The lowest counts are
    fewer than guessing explains."""
    fewer = -1 if result.fewer_at_most is None else result.fewer_at_most
    most, least = _offered(result), result.minimum_correct
    close_to = fewer if most is None else max(most, fewer)
    different_from = result.trials + 1 if least is None else least
    first, last = min(close_to, different_from - 1), max(close_to + 1, different_from)
    middle: ZoneKind = "both" if close_to >= different_from else "open"
    cut: list[tuple[ZoneKind, int, int]] = [
        ("fewer", 0, fewer),
        ("close", fewer + 1, first),
        (middle, first + 1, last - 1),
        ("detectable", last, result.trials),
    ]
    return tuple(_zone(kind, low, high) for kind, low, high in cut if low <= high)


def _zone(kind: ZoneKind, low: int, high: int) -> Zone:
    counts = str(low) if low == high else _("{low} to {high}").format(low=low, high=high)
    names = {
        "fewer": _("too few right"),
        "close": _("close enough"),
        "detectable": _("detectable"),
        "open": _("cannot tell, {counts}").format(counts=counts),
        "both": _("noticeable, yet small enough, {counts}").format(counts=counts),
    }
    up_to = _("up to {high}").format(high=high)
    inside = {"close": up_to, "fewer": up_to, "detectable": _("{low} or more").format(low=low)}
    return Zone(kind, low, high, names[kind], inside.get(kind, counts))


def ruler_says(result: ChoiceResult) -> str:
    """The ruler in one sentence, for a reader aloud."""
    return _("{k} of {n} answers are right; {marks}; guessing alone finds about {g}.").format(
        k=result.correct, n=result.trials, marks=_marks(result), g=_guessed(result)
    )


def right_says(result: ChoiceResult) -> str:
    """The count of right answers, at its mark."""
    return _("{count} of {n} answers are right").format(count=result.correct, n=result.trials)


def share_says(result: ChoiceResult) -> str:
    """The share that truly notices with its limits, at its mark."""
    share = result.proportion_discriminators
    return _("{share} truly notice, between {low} and {high}").format(
        share=percent(share.estimate or 0.0), low=round(100 * (share.low or 0.0)), high=percent(result.most_noticing)
    )


def noticing_says(result: ChoiceResult) -> str:
    """The interval in one sentence, for a reader aloud."""
    share = result.proportion_discriminators
    return _("{share} of the answers came from truly noticing, at least {low}, at most {high}; limit {limit}.").format(
        share=percent(share.estimate or 0.0),
        low=percent(share.low or 0.0),
        high=percent(result.most_noticing),
        limit=percent(result.pd_limit),
    )


def guesses(called: int, right: int) -> Fact:
    """How many answers were called a guess, and how many of those were right; the verdict counts every answer alike."""
    note = _("{right} of them right; every answer counts alike").format(right=right) if called else ""
    return Fact(_("Called a guess"), str(called), note)


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
        *_of_share(plan, fitted.noticed, noticed_from(fitted, unit)),
        Fact(_("Answers"), _("{k} of {n} right").format(k=right, n=total), _("at all doses together")),
        Fact(_("Doses tasted"), doses, unit),
        holds_for(plan, len(answers.assessors)),
    )
    return replace(told, facts=facts, caution=clearance(plan), numbers=told.facts)


def _limits(fitted: ThresholdFit, unit: str) -> str:
    """Both limits of the half-way point, as far as the doses carry them."""
    if fitted.low.value is None and fitted.high.value is None:
        return _("no limit among the doses tasted")
    return _("limits {low} and {high}").format(low=_end(fitted.low.value, unit), high=_end(fitted.high.value, unit))


def _end(value: float | None, unit: str) -> str:
    return _("none") if value is None else dose(value, unit)


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
    """A ladder of plain batches after the botanical, of days since, or of seconds after a piece."""
    told = ladder_finding(ladder, plan.aim)
    still = _("Still found in") if plan.aim == "carry over" else _("Still found after")
    facts = (
        Fact(_("Close enough from"), _clean_from(plan, ladder), _("tested from the last one back")),
        Fact(still, _found_in(plan, ladder), _("tested from the first one on")),
        *_of_share(plan, ladder.noticed, still_noticing(ladder, plan.aim)),
        Fact(_("Limit"), percent(ladder.pd_limit), _("may truly notice it")),
        *controls.fact(ladder.control),
        holds_for(plan, len(ladder.rungs[0].result.trials_each)),
    )
    return replace(told, facts=facts, caution=clearance(plan), numbers=told.facts)


def _of_share(plan: AromaPlan, levels: Sequence[ShareLevel], facts: Sequence[Fact]) -> list[Fact]:
    """The fact of the share that the plan names."""
    return [fact for each, fact in zip(levels, facts, strict=True) if each.share == plan.share]


def _clean_from(plan: AromaPlan, ladder: Ladder) -> str:
    clean = ladder.clean_from_all_tasted
    return _("not shown") if clean is None else rung_name(clean, plan.aim)


def _found_in(plan: AromaPlan, ladder: Ladder) -> str:
    found = ladder.detected_through
    return _("none of them") if found is None else rung_name(found, plan.aim)


def ladder_asks(aim: str) -> str:
    """What the picture of a ladder shows."""
    asked = {
        "linger": _("How many truly notice, day by day?"),
        "aftertaste": _("How many truly notice, second after second?"),
    }
    return asked.get(aim, _("How many truly notice, batch by batch?"))


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
        high=percent(result.most_noticing),
        word=word[rung_kind(level, ladder)],
    )


def ladder_says(ladder: Ladder, aim: str) -> str:
    """All rungs in one sentence, for a reader aloud."""
    said = "; ".join(rung_says(rung.batch, rung.result, ladder, aim) for rung in ladder.rungs)
    return _("{rungs}. Limit {limit}.").format(rungs=said, limit=percent(ladder.pd_limit))


# ---- the price of an answer --------------------------------------------------------------------------------------
def way_row(what: str, answers: int, grams: float, chances: Sequence[float]) -> WayRow:
    """One way to an answer: answers and grams of one person, and the chances that it settles the question."""
    asks = ngettext("{n} answer, {grams} g", "{n} answers, {grams} g", answers).format(
        n=answers, grams=decimal(grams, 0)
    )
    return WayRow(what, asks, tuple(map(of_ten, chances)))


def way_heads() -> list[str]:
    """What stands above the columns of the ways; a limit is the same d' in every test, not the same share."""
    return [
        _("one of these"),
        _("asks of a person"),
        _("answers if nobody notices"),
        _("if half the limit do"),
        _("if the limit do"),
    ]


# ---- a verdict that was signed ------------------------------------------------------------------------------------
def kept_line(plan: AromaPlan, document: Mapping[str, Any]) -> str:
    """A kept verdict in one line, from the document that was signed; empty for an empty one."""
    if "threshold" in document and document.get("reason") != "fewer right than guessing":
        point = document["threshold"]["estimate"]
        if point is None:
            return _("Half-way point outside the doses tasted.")
        return _("Half notice it from {dose} on.").format(dose=dose(point, unit_word(plan.dose_unit)))
    if "rungs" in document:
        return _kept_ladder(plan, document)
    said = {"fewer right than guessing": fewer_headline(), **controls.headlines()}
    if document.get("reason") in said:
        return said[document["reason"]]
    if "standing" in document:
        return {"different": _("Detectable."), "same": _("Close enough for these assessors.")}.get(
            document["standing"], _("Cannot tell.")
        )
    if not document:
        return ""
    similar = document["similarity"]["similar"]
    if "verdict" in document:  # not in the documents of earlier versions
        similar = document["verdict"] in ("similar", "different and similar")
    if document["different"]:
        return _("Noticeable, and small enough.") if similar else _("Detectable.")
    return _("Close enough.") if similar else _("Cannot tell.")


def _kept_ladder(plan: AromaPlan, document: Mapping[str, Any]) -> str:
    clean = document["clean_from_all_tasted"]
    if clean is not None:
        return _("Close enough from {rung} on.").format(rung=rung_name(clean, plan.aim))
    reasons = [str(rung.get("reason")) for rung in document["rungs"]]
    return controls.headlines().get("".join(reasons[-1:]), _("Not shown to be gone."))


# ---- what a taste result never clears ----------------------------------------------------------------------------
def clearance(plan: AromaPlan) -> str:
    plant = plan.botanical.name
    if not plant:
        return caution()
    return _(
        "It does not show that {plant} is permitted, harmless or free of allergens. Check name, plant part, supplier "
        "papers and dose against your local code, with the people licensed to judge them."
    ).format(plant=plant)
