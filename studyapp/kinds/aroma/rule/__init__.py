"""What an aroma plan must hold before it can be sealed, its marks, and how it reads."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from datetime import datetime
from typing import TYPE_CHECKING, Any

from studyapp.errors import BadInput
from studyapp.kinds.aroma.plan import LADDERS, SINCE_BOTANICAL, AromaPlan
from studyapp.kinds.aroma.rule import control
from studyapp.kinds.aroma.rule.run_calendar import calendar
from studyapp.methods import METHODS
from studyapp.records import Check, Problem
from studyapp.services.noticing import TOLERATED_SECONDS
from studyapp.words import _, ngettext

if TYPE_CHECKING:
    from analysis.choice import ChoiceResult, SequentialPlan

PALATE = 6
FEWEST, FEWEST_FOR_DOSES, MOST_PEOPLE = 3, 5, 60
FEWEST_DOSES, FEWEST_ANSWERS = 4, 20  # ASTM E1432 1.1
LATEST_SECONDS, LATEST_RUNG = 900, 365


# ---- the size of a plan ----------------------------------------------------------------------------------------------
def levels(plan: AromaPlan) -> tuple[float | None, ...]:
    """What is asked about apart: doses, batches, days or seconds in order, or one sample without a level."""
    if plan.aim == "dose":
        return tuple(sorted(plan.doses))
    if plan.aim in LADDERS:
        return tuple(float(batch) for batch in sorted(plan.batches))
    return (None,)


def sets_each(plan: AromaPlan) -> int:
    """Sets of one assessor in the whole study; a sequential plan has room for its cap."""
    if plan.sequential:
        return math.ceil((plan.cap or 0) / max(len(plan.assessors), 1))
    return plan.trials_each * len(levels(plan))


def main_sets(plan: AromaPlan) -> int:
    """Sets of everybody in the whole study, without those of the control."""
    return sets_each(plan) * len(plan.assessors)


def sittings_needed(plan: AromaPlan) -> int:
    """Sittings that hold every set."""
    return max(math.ceil(sets_each(plan) / max(plan.sets_a_sitting, 1)), 1)


def cups_a_set(method: str) -> int:
    """Cups in one set; 0 for a method that a draft names and nobody knows."""
    return METHODS[method].cups if method in METHODS else 0


# ---- marks -----------------------------------------------------------------------------------------------------------
def designed(method: str, people: int, trials_each: int, alpha: float, pd_limit: float) -> ChoiceResult:
    """The test of one level as it would be sealed, with its marks and chances, as a result of no right answers."""
    from analysis.choice import judge_panel

    return judge_panel(method, (trials_each,) * people, (0,) * people, alpha, pd_limit)


def noticing(limit: float) -> dict[str, float]:
    """The shares of people that chances are stated for."""
    return {"nobody": 0.0, "half the limit": limit / 2, "the limit": limit}


def by_rounds(plan: AromaPlan) -> SequentialPlan:
    """The lines and marks of a plan that may end early, in whole rounds of everybody; a cap that was sealed when it
    needed not hold whole rounds keeps those that fit. Raises ValueError for risks out of range."""
    from analysis.choice import sequential

    people = max(len(plan.assessors), 1)
    cap = sequential.whole_rounds(plan.cap or 1, people)
    return sequential.plan(plan.method, plan.alpha, plan.beta, plan.pd_limit, cap, people)


# ---- problems --------------------------------------------------------------------------------------------------------
def problems(plan: AromaPlan) -> tuple[Problem, ...]:
    """Everything to mend (blocks) or to think about (does not block), beside its field."""
    found = (
        *_question_problems(plan),
        *_sample_problems(plan),
        *_level_problems(plan),
        *_aftertaste_problems(plan),
        *_number_problems(plan),
        *_panel_problems(plan),
        *_table_problems(plan),
        *control.problems(plan, main_sets(plan)),
        *_calendar_problems(plan),
    )
    return found if any(problem.blocks for problem in found) else (*found, *_mark_problems(plan))


def _question_problems(plan: AromaPlan) -> Iterator[Problem]:
    if not plan.question.strip():
        yield Problem("question", _("Fix the question: write what this study shall decide."))
    if plan.method not in METHODS:
        yield Problem("method", _("Fix the test: choose one of {known}.").format(known=", ".join(METHODS)))
    elif METHODS[plan.method].names_taste and not (plan.nameable and plan.note.strip()):
        yield Problem(
            "note", _("Fix the taste: this test asks for a named taste, such as mint. Name it, or choose another.")
        )


def _sample_problems(plan: AromaPlan) -> Iterator[Problem]:
    botanical = plan.botanical
    if not all(text.strip() for text in (botanical.name, botanical.part, botanical.supplier, botanical.lot)):
        yield Problem(
            "botanical", _("Fix the botanical: write its botanical name, the plant part, the supplier and the lot.")
        )
    if not plan.process.strip():
        yield Problem(
            "process", _("Fix the infusion: write grams per kg, minutes, and the temperatures of air and mass.")
        )
    if plan.aim not in SINCE_BOTANICAL and not plan.blank.strip():
        yield Problem(
            "blank",
            _("Fix the blank: same mass, same hot air, no botanical. Without it the test finds the heating."),
        )
    if plan.aim in SINCE_BOTANICAL and not plan.reference.strip():
        yield Problem("reference", _("Fix the reference: plain chocolate made before any botanical, kept apart."))
    if not plan.contains.strip():
        yield Problem(
            "contains", _("Fix what is in it: assessors must read every ingredient and allergen before they taste.")
        )
    if not plan.safe_food_by.strip():
        yield Problem("safe_food_by", _("Fix who clears it as food: write the name of the person responsible."))


def _level_problems(plan: AromaPlan) -> Iterator[Problem]:
    if plan.aim == "dose":
        tasted = [dose for dose in plan.doses if dose > 0]
        if any(not math.isfinite(dose) or dose < 0 for dose in plan.doses) or len(set(plan.doses)) != len(plan.doses):
            yield Problem("doses", _("Fix the doses: numbers above 0, each once; 0 is blank against blank."))
        elif not FEWEST_DOSES <= len(tasted) <= 20:
            yield Problem("doses", _("Fix the doses: 4 to 20 above 0, each about double the one before."))
    latest = LATEST_SECONDS if plan.aim == "aftertaste" else LATEST_RUNG
    once = len(set(plan.batches)) == len(plan.batches)
    if plan.aim not in LADDERS or (plan.batches and once and all(0 < rung <= latest for rung in plan.batches)):
        return
    if plan.aim == "aftertaste":
        yield Problem("batches", _("Fix the times: whole seconds from 1 to 900, each once, such as 30, 60, 120."))
    else:
        yield Problem("batches", _("Fix the batches: whole numbers from 1, each once, such as 1, 2, 3."))


def _aftertaste_problems(plan: AromaPlan) -> Iterator[Problem]:
    """Each piece is noticed once, alone, after what is left of the one before has gone."""
    if plan.aim != "aftertaste":
        return
    if plan.method in METHODS and METHODS[plan.method].ask_after is None:
        askable = ", ".join(name for name, method in METHODS.items() if method.ask_after)
        yield Problem(
            "method", _("Fix the test: pieces eaten one by one are compared by {known}.").format(known=askable)
        )
    if plan.rest_seconds < plan.longest_wait:
        yield Problem(
            "rest_seconds",
            _("Fix the rest: at least as long as the latest time, {n} seconds.").format(n=plan.longest_wait),
        )


def _number_problems(plan: AromaPlan) -> Iterator[Problem]:
    shares = {"alpha": (plan.alpha, 0.5), "beta": (plan.beta, 0.5), "pd_limit": (plan.pd_limit, 1.0)}
    for where, (share, below) in {**shares, "share": (plan.share, 1.0)}.items():
        if not 0 < share < below:
            yield Problem(where, _("Fix this share: it lies above 0 and below {below}.").format(below=f"{below:g}"))
    for where, value, low, high in (
        ("trials_each", plan.trials_each, 1, 10),
        ("sets_a_sitting", plan.sets_a_sitting, 1, 6),
    ):
        if not low <= value <= high:
            yield Problem(where, _("Fix this number: it lies between {low} and {high}.").format(low=low, high=high))
    if plan.sequential and plan.aim != "detectable":
        yield Problem("sequential", _("Fix the plan: only one pair of samples can be decided round by round."))
    elif plan.sequential and not (plan.cap and len(plan.assessors) <= plan.cap <= 2000):
        yield Problem("cap", _("Fix the end: write after how many answers the plan ends at the latest."))
    elif plan.sequential and plan.cap and plan.assessors and plan.cap % len(plan.assessors):
        people, rounds = len(plan.assessors), plan.cap // len(plan.assessors)
        yield Problem(
            "cap",
            _("Fix the end: a round is one answer of each of {people} people; write {less} or {more}.").format(
                people=people, less=rounds * people, more=(rounds + 1) * people
            ),
        )


def _panel_problems(plan: AromaPlan) -> Iterator[Problem]:
    people, fewest = len(plan.assessors), FEWEST_FOR_DOSES if plan.aim == "dose" else FEWEST
    if people < fewest:
        yield Problem("assessors", _("Fix the assessors: at least {n} are needed.").format(n=fewest))
    if len(set(plan.assessors)) != people:
        yield Problem("assessors", _("Fix the assessors: everybody once."))
    if people > MOST_PEOPLE:
        yield Problem("assessors", _("Fix the assessors: at most sixty, or the codes run out."))
    if plan.aim == "dose" and sets_each(plan) < FEWEST_ANSWERS:
        yield Problem(
            "trials_each",
            _("Careful: {n} answers a person make a wide interval; 20 are wanted.").format(n=sets_each(plan)),
            blocks=False,
        )


def _table_problems(plan: AromaPlan) -> Iterator[Problem]:
    pieces = cups_a_set(plan.method) * (plan.sets_a_sitting + control.most_a_sitting(plan))
    if plan.sittings != sittings_needed(plan):
        yield Problem(
            "sittings",
            ngettext(
                "Fix the sittings: {n} sitting holds every set of this plan.",
                "Fix the sittings: {n} sittings hold every set of this plan.",
                sittings_needed(plan),
            ).format(n=sittings_needed(plan)),
        )
    if pieces * len(plan.assessors) > 900:
        yield Problem("sets_a_sitting", _("Fix the sets: this sitting needs more codes than three digits give."))
    if pieces > PALATE:
        yield Problem(
            "sets_a_sitting",
            _("Careful: {n} pieces in one sitting. Most people tire after {most}; serve fewer sets.").format(
                n=pieces, most=PALATE
            ),
            blocks=False,
        )
    if plan.most_g_a_day is not None and not pieces * plan.piece_g <= plan.most_g_a_day <= 1000:
        yield Problem(
            "most_g_a_day",
            _("Fix the grams of a day: one sitting alone serves {g} g to each person.").format(
                g=f"{pieces * plan.piece_g:g}"
            ),
        )
    if not 0 < plan.piece_g <= 50:
        yield Problem("piece_g", _("Fix the piece: grams above 0, at most 50."))
    if not 0 <= plan.rest_seconds <= 3600:
        yield Problem("rest_seconds", _("Fix the rest: between 0 and 60 minutes."))


def _calendar_problems(plan: AromaPlan) -> Iterator[Problem]:
    """A start that is planned needs habits that a calendar can hold; without one there is no calendar to mend."""
    if plan.starts_at is None or not levels(plan):
        return
    if not 0 < plan.batch_minutes <= 24 * 60:
        yield Problem("calendar", _("Fix the time of a batch: write minutes above 0, at most a day."))
        return
    try:
        calendar(plan)
    except BadInput as wrong:
        yield Problem("calendar", str(wrong))


def _mark_problems(plan: AromaPlan) -> Iterator[Problem]:
    """Asked only of a plan that is sound otherwise."""
    if without := control.without(plan):
        yield Problem("control", _("Careful: {why}").format(why=without), blocks=False)
    if plan.aim == "dose" or plan.sequential:
        return
    made = designed(plan.method, len(plan.assessors), plan.trials_each, plan.alpha, plan.pd_limit)
    if made.minimum_correct is None:
        yield Problem("trials_each", _("Fix the sets: with so few answers no result would count as found."))
    if not made.similar.offered:
        yield Problem("pd_limit", _("Careful: {why}").format(why=not_offered(made)), blocks=False)


# ---- sentences -------------------------------------------------------------------------------------------------------
def named() -> dict[str, int]:
    """What a seal names beside the plan: the version of the rule."""
    return {"rule_version": control.RULE_VERSION}


def sitting_at(plan: AromaPlan, number: int) -> datetime | None:
    """The plan names no day."""
    return None


def checks(plan: AromaPlan) -> tuple[Check, ...]:
    """Everybody is to know the plant before the first tray leaves."""
    ask = _("Everybody who tastes has read that there is {plant} in it, and may decline")
    return (
        Check(
            "botanical_named",
            ask.format(plant=plan.botanical.name),
            _("botanical, its part and its lot named to assessors"),
            _("Not released: name the botanical, its part and its lot to the assessors first."),
        ),
    )


def sentences(plan: AromaPlan, sealed: Mapping[str, Any] | None = None) -> tuple[str, ...]:
    """The rule in plain sentences. `sealed` is what its seal names beside the plan, None what it would name today.
    Raises ValueError for an unknown method."""
    asked = control.asked_for(named() if sealed is None else sealed)
    lines = [
        _("Question: {question}").format(question=plan.question),
        _served(plan),
        ngettext(
            "{people} assessors, {n} set each in all, {sets} a sitting; an answer is final.",
            "{people} assessors, {n} sets each in all, {sets} a sitting; an answer is final.",
            sets_each(plan),
        ).format(people=len(plan.assessors), n=sets_each(plan), sets=plan.sets_a_sitting),
    ]
    close = plan.control is not None or not asked
    lines += [_sequential_sentence(plan)] if plan.sequential else _mark_sentences(plan, close)
    lines += control.sentences(plan) if asked else ()
    lines += _ladder_sentences(plan)
    if plan.most_g_a_day is not None:
        lines.append(_("At most {g} g a day for one person.").format(g=f"{plan.most_g_a_day:g}"))
    lines.append(_("This is about taste only: it clears nothing as food, of allergens or for a label."))
    return tuple(lines)


def _ladder_sentences(plan: AromaPlan) -> list[str]:
    said = []
    if plan.aim == "aftertaste":
        said += [
            _(
                "A set is two pieces, each eaten alone and noticed once at the time dealt to the set; between them "
                "water and {rest} seconds of rest. The question comes last: after which was more of it still there?"
            ).format(rest=plan.rest_seconds),
            _("A piece noticed more than {n} seconds late leaves its set without an answer.").format(
                n=TOLERATED_SECONDS
            ),
        ]
    if plan.aim in LADDERS:
        said.append(_("Read from the last to the first; the first that fails ends it."))
    if plan.aim in (*LADDERS, "dose"):
        said.append(_("Told beside it: up to where {share} % notice.").format(share=f"{100 * plan.share:g}"))
    return said


def _served(plan: AromaPlan) -> str:
    plain = plan.reference if plan.aim in SINCE_BOTANICAL else plan.blank
    named = {
        "detectable": _("the infused chocolate"),
        "dose": _("the infused chocolate at {levels} {unit}"),
        "carry over": _("plain batches {levels} after the infused one"),
        "linger": _("the chocolate after {levels} days"),
        "aftertaste": _("the infused chocolate {levels} seconds after a piece"),
    }[plan.aim]
    shown = ", ".join(f"{level:g}" for level in levels(plan) if level is not None)
    return _("Test: {method}, {sample} against {plain}.").format(
        method=plan.method, sample=named.format(levels=shown, unit=plan.dose_unit), plain=plain
    )


def _sequential_sentence(plan: AromaPlan) -> str:
    sealed = by_rounds(plan)
    return _(
        "Judged when everybody has answered a round, never in between, by two sealed lines: different or the same, "
        "each with its sealed risk. After {rounds} rounds, {cap} answers, the plan ends: the same up to {same} right, "
        "different from {most}. Where somebody missed a set, these two are worked out for the answers really given, "
        "and the same must also hold with the missed ones filled in."
    ).format(
        rounds=sealed.rounds,
        cap=sealed.cap,
        same=_("none") if sealed.cap_same_at_most is None else sealed.cap_same_at_most,
        most=_("none") if sealed.cap_different_at_least is None else sealed.cap_different_at_least,
    )


def _mark_sentences(plan: AromaPlan, close: bool) -> list[str]:
    """The marks; that of "close enough" where it can be said."""
    if plan.aim == "dose":
        return [
            _("The dose is read from a curve through all answers, with limits that each fail in {n} of 100.").format(
                n=f"{100 * plan.alpha:g}"
            )
        ]
    trials = len(plan.assessors) * plan.trials_each
    made = designed(plan.method, len(plan.assessors), plan.trials_each, plan.alpha, plan.pd_limit)
    said = []
    if made.minimum_correct is not None:
        said.append(_("Found from {x} right of {n}.").format(x=made.minimum_correct, n=trials))
    if close and not made.similar.offered:
        said.append(not_offered(made))
    elif close:
        said.append(
            _("Fewer than {pd} % of people like these notice it, up to {x} right of {n}.").format(
                pd=f"{100 * plan.pd_limit:g}", x=made.similar.maximum_correct, n=trials
            )
        )
    if made.fewer_at_most is not None:
        said.append(
            _("Up to {x} right are fewer than guessing gives: then it cannot be told.").format(x=made.fewer_at_most)
        )
    return [*said, _("Each claim is wrong in at most {n} of 100 such studies.").format(n=f"{100 * plan.alpha:g}")]


def not_offered(made: ChoiceResult) -> str:
    """That no count would show the limit for people like these, and what would show it for themselves."""
    here = made.these_assessors
    said = (
        _("So few people cannot show the limit of {pd} % for people like them; for themselves up to {n} right.")
        if here.offered
        else _("So few people cannot show the limit of {pd} %, neither for people like them nor for themselves.")
    )
    return said.format(pd=f"{100 * made.pd_limit:g}", n=here.maximum_correct)
