"""What a plan of a comparison must hold before it can be sealed, and how it reads."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from datetime import datetime
from typing import TYPE_CHECKING, Any

from studyapp.batches import shown_unit
from studyapp.findings.numbers import hours, opening, units
from studyapp.kinds.comparison.plan import (
    CONTROL,
    LETTERS,
    Claim,
    ComparisonPlan,
    Likewise,
    Scope,
    every_piece,
    hours_of,
    make_of,
    piece_of,
    served,
)
from studyapp.records import SCALE_HIGH, SCALE_LOW, Attribute, Check, Problem
from studyapp.services import plan_bounds
from studyapp.wishes import WISHES
from studyapp.words import _, ngettext

if TYPE_CHECKING:
    from analysis.comparing import MakeRule
    from analysis.instruments import Gate

FIRST_RULE = 1
FEWEST_BATCHES = 3
MOST_PULLS, MOST_HOURS = 9, 1000
MOST_ATTRIBUTES, MOST_ALIKE = 12, 12


# ---- what stands in the way of a seal --------------------------------------------------------------------------------
def problems(plan: ComparisonPlan) -> tuple[Problem, ...]:
    """Everything to mend (blocks) or to think about (does not block), beside its field."""
    parts = (
        _make_problems,
        _faster_problems,
        _pull_problems,
        _attribute_problems,
        _alike_problems,
        _people_problems,
        _table_problems,
    )
    return tuple(problem for part in parts for problem in part(plan))


def _make_problems(plan: ComparisonPlan) -> Iterator[Problem]:
    if not plan.question.strip():
        yield Problem("question", _("Fix the question: write what this study shall decide."))
    named = [words.strip().casefold() for words in plan.makes]
    if "" in named or len(set(named)) != len(named):
        yield Problem("makes", _("Fix the makes: say of each how it is made, and no two alike."))
    if not plan.control.strip() and needs_control(plan) and not (plan.faster or plan.pulls):
        yield Problem(
            "control", _("Fix the control: name a piece that everybody should tell from A, such as A after two hours.")
        )
    if plan.scope == "make" and plan.batches < FEWEST_BATCHES:
        yield Problem(
            "batches", _("Fix the batches: a claim on the make needs {n} of each or more.").format(n=FEWEST_BATCHES)
        )
    elif plan.scope == "make" and plan.sittings % plan.batches:
        yield Problem(
            "sittings",
            _("Fix the sittings: every batch is tasted equally often, so plan {n} or a multiple of it.").format(
                n=plan.batches
            ),
        )
    if plan.scope == "make" and plan.looks > 1:
        told = _("Fix the openings: for a claim on the make the key is opened once; plan more batches instead.")
        yield Problem("looks", told)
    if plan.scope == "these batches" and plan.batches > 1:
        yield Problem("batches", _("Fix the batches: for a verdict on these batches, taste one of each."))


def _faster_problems(plan: ComparisonPlan) -> Iterator[Problem]:
    if not plan.faster:
        return
    if plan.faster not in {line.name for line in plan.attributes if line.decides}:
        yield Problem("faster", _("Fix the pair: choose a deciding attribute that more hours improve."))
    if len(plan.makes) != 2 or plan.scope != "these batches":
        yield Problem("faster", _("Fix the pair: it compares two makes, one batch of each."))
    short, long_ = plan.short_hours, plan.long_hours
    if short is None or long_ is None or not 0 <= short < long_ <= 1000:
        yield Problem("faster", _("Fix the hours: the short time must be shorter than the long one."))


def _pull_problems(plan: ComparisonPlan) -> Iterator[Problem]:
    """What stands in the way of hours that one make needs longer."""
    if not plan.pulls:
        return
    if len(plan.makes) != 2 or plan.scope != "these batches" or plan.faster:
        yield Problem("pulls", _("Fix the hours: they are compared of two makes, one batch of each."))
    for letter, own in zip(LETTERS, plan.pulls, strict=False):
        inside = all(0 <= h <= MOST_HOURS for h in own)
        if not 2 <= len(own) <= MOST_PULLS or not inside or list(own) != sorted(set(own)):
            told = _("Fix the hours of {letter}: two to {most} hours, each once, the shortest first, as 4 8 16 24.")
            yield Problem("pulls", told.format(letter=letter, most=MOST_PULLS))
    if any(plan.claim_of(line.name) == "better" for line in plan.attributes if line.decides):
        yield Problem(
            "pulls", _("Fix the claims: hours are enough where nothing is worse, so “better” cannot be asked.")
        )


def needs_control(plan: ComparisonPlan) -> bool:
    """Whether the panel must be shown awake; a make that is shown better shows that by itself."""
    return any(plan.claim_of(line.name) != "better" for line in plan.attributes if line.decides)


def _attribute_problems(plan: ComparisonPlan) -> Iterator[Problem]:
    names = [line.name.strip().casefold() for line in plan.attributes]
    deciding = [line for line in plan.attributes if line.decides]
    if not deciding:
        yield Problem("attributes", _("Fix the attributes: at least one must decide."))
    if "" in names or len(set(names)) != len(names):
        yield Problem("attributes", _("Fix the attributes: each needs a name of its own."))
    if len(plan.attributes) > MOST_ATTRIBUTES:
        yield Problem("attributes", _("Fix the attributes: at most twelve lines; a person tires before a list does."))
    for line in deciding:
        yield from _line_problems(line, plan.claim_of(line.name))
    if len(deciding) > 3:
        yield Problem(
            "attributes",
            _("Careful: a make must pass on every deciding attribute, so more of them make an answer rarer."),
            blocks=False,
        )


def _line_problems(line: Attribute, claim: Claim) -> Iterator[Problem]:
    if line.margin is None or not math.isfinite(line.margin) or not 0 < line.margin <= SCALE_HIGH - SCALE_LOW:
        yield Problem(
            "attributes",
            _("Fix {name}: the margin lies above 0 and within the scale; give the largest difference you would accept.")
            .format(name=line.name),
        )  # fmt: skip
    if line.wanted not in WISHES:
        yield Problem("attributes", _("Fix {name}: wanted is lower, higher or same.").format(name=line.name))
    if line.limit is not None and not SCALE_LOW <= line.limit <= SCALE_HIGH:
        yield Problem("attributes", _("Fix {name}: the limit lies on the scale, 0 to 10.").format(name=line.name))
    if line.wanted == "same" and claim != "same":
        yield Problem(
            "attributes",
            _("Fix {name}: where neither more nor less is wanted, only “the same” can be claimed.").format(
                name=line.name
            ),
        )


def _alike_problems(plan: ComparisonPlan) -> Iterator[Problem]:
    names = [one.name.strip().casefold() for one in plan.alike]
    if "" in names or len(set(names)) != len(names) or len(names) > MOST_ALIKE:
        yield Problem("alike", _("Fix what should be alike: up to twelve quantities, each with a name of its own."))
    attributes = {line.name.strip().casefold() for line in plan.attributes}
    for one in plan.alike:
        if not (math.isfinite(one.tolerance) and one.tolerance >= 0):
            yield Problem("alike", _("Fix {name}: the tolerance must not be below 0.").format(name=one.name))
        yield from _limit_problems(plan, one, attributes)
    if not plan.alike:
        yield Problem("alike", unread_told(), blocks=False)


def _limit_problems(plan: ComparisonPlan, one: Likewise, attributes: set[str]) -> Iterator[Problem]:
    """What stands in the way of a limit of an instrument."""
    from analysis.instruments import check_gates

    if not one.limited:
        return
    try:
        check_gates({one.name: gate_of(one)})
    except ValueError as wrong:
        yield Problem("alike", _("Fix {name}: {problem}.").format(name=one.name, problem=str(wrong).partition(": ")[2]))
    if one.name.strip().casefold() in attributes:
        yield Problem(
            "alike", _("Fix {name}: an attribute has this name; give the limit another.").format(name=one.name)
        )
    if plan.scope == "make" and any(len(own) % max(plan.batches, 1) for own in one.readings):
        told = _("Fix the readings of {name}: as many of each batch, one batch after another.")
        yield Problem("alike", told.format(name=one.name))


def gate_of(one: Likewise) -> Gate:
    """A limit as the statistics read it."""
    from analysis.instruments import Gate
    from analysis.instruments.gates import turning

    log = turning(one.name)
    return Gate(quantity=one.name, unit=one.unit, at_most=one.at_most, at_least=one.at_least, log=log)


def unread_told() -> str:
    """What is lost where nothing was read beside the taste."""
    return _(
        "Careful: nothing is read beside the taste, such as fat, fineness or moisture. A verdict then cannot be put "
        "down to the way of making."
    )


def _people_problems(plan: ComparisonPlan) -> Iterator[Problem]:
    yield from plan_bounds.people(plan)
    yield from plan_bounds.numbers(
        (
            ("looks", plan.looks, 1, 4),
            ("sittings", plan.sittings, 1, 12),
            ("next_sittings", plan.next_sittings, 1, 10),
            ("replicates", plan.replicates, 1, 4),
            ("batches", plan.batches, 1, 9),
        )
    )
    if plan.sittings < 2:
        yield Problem(
            "sittings",
            _("Careful: after one sitting a tray prepared differently cannot be told from the make. Two are safer."),
            blocks=False,
        )
    if not 0 < plan.alpha < 0.5:
        yield Problem("alpha", _("Fix the error rate: write a share such as 0.05."))


def _table_problems(plan: ComparisonPlan) -> Iterator[Problem]:
    pieces = pieces_a_sitting(plan)
    if not 3 <= plan.palate <= 20:
        yield Problem("palate", _("Fix the pieces a sitting: between 3 and 20; six is what most people take."))
    elif pieces > plan.palate:
        yield Problem(
            "replicates",
            _("Fix the servings: {n} pieces are more than the {most} that a person takes in a sitting.").format(
                n=pieces, most=plan.palate
            ),
        )
    if not 0 < plan.piece_g <= 50:
        yield Problem("piece_g", _("Fix the piece: grams above 0, at most 50."))
    if not 0 <= plan.rest_seconds <= 3600:
        yield Problem("rest_seconds", _("Fix the rest: between 0 and 60 minutes."))
    if not plan.contains.strip():
        yield Problem(
            "contains", _("Fix what is in it: assessors must read every ingredient and allergen before they taste.")
        )


def pieces_a_sitting(plan: ComparisonPlan) -> int:
    """Scored pieces of one assessor."""
    return (len(served(plan, 1)) if plan.pulls else len(plan.makes) + 1) * plan.replicates


# ---- how it reads ----------------------------------------------------------------------------------------------------
def named() -> dict[str, int]:
    """What a seal names beside the plan: the version of this rule."""
    from analysis.comparing import COMPARING_VERSION

    return {"comparing_version": COMPARING_VERSION}


def checks(plan: ComparisonPlan) -> tuple[Check, ...]:
    """Nothing beyond what is confirmed before any tray leaves."""
    return ()


def sitting_at(plan: ComparisonPlan, number: int) -> datetime | None:
    """The plan names no day: makes are tasted when they are made."""
    return None


def sentences(plan: ComparisonPlan, sealed: Mapping[str, Any] | None = None) -> tuple[str, ...]:
    """The rule in plain sentences. `sealed` is what its seal names beside the plan, None what it would name today."""
    version = (named() if sealed is None else sealed).get("comparing_version", FIRST_RULE)
    return (
        _("Question: {question}").format(question=plan.question),
        *(_("{letter}: {words}.").format(letter=letter, words=words_of(plan, letter)) for letter in letters(plan)),
        *_claims(plan),
        scope_told(plan.scope, plan.batches),
        *_pair(plan),
        *_hours(plan),
        *_alike(plan),
        _served(plan),
        _("A false claim on any make happens in at most {n} of 100 such studies.").format(n=f"{100 * plan.alpha:g}"),
        _("Version {n} of the rule of comparisons.").format(n=version),
    )


def letters(plan: ComparisonPlan) -> tuple[str, ...]:
    """Letters of all makes."""
    return tuple(LETTERS[: len(plan.makes)])


def words_of(plan: ComparisonPlan, piece: str) -> str:
    """How a make or the control is made; where hours are compared, after how many."""
    if plan.pulls:
        level = next(level for level in every_piece(plan) if piece_of(plan, level) == piece)
        make = plan.makes[0 if piece == CONTROL else LETTERS.index(make_of(level))]
        return _("{words}, after {h} h").format(words=make, h=hours(hours_of(plan, level)))
    if piece == CONTROL:
        if not plan.faster:
            return plan.control
        return _("{words}, after {h} h").format(words=plan.makes[0], h=hours(plan.short_hours or 0))
    words = plan.makes[LETTERS.index(piece)]
    if not plan.faster:
        return words
    taken = plan.long_hours if piece == LETTERS[0] else plan.short_hours
    return _("{words}, after {h} h").format(words=words, h=hours(taken or 0))


def _claims(plan: ComparisonPlan) -> Iterator[str]:
    yield _("Every other make is held against A, on each deciding attribute.")
    for line in plan.attributes:
        if not line.decides:
            yield _("{name} only describes.").format(name=opening(line.name))
            continue
        yield _("{name} decides: {wanted}; claimed is {claim}.").format(
            name=opening(line.name),
            wanted=WISHES[line.wanted].in_rule(),
            claim=claim_told(plan.claim_of(line.name), line.margin or 0),
        )
        if line.limit is not None:
            yield _("On {name} the mean of a make must keep the limit {limit} as well.").format(
                name=line.name, limit=units(line.limit)
            )
    if needs_control(plan):
        yield _("The control is known to differ: {words}. Unless the panel finds it, nothing counts as alike.").format(
            words=words_of(plan, CONTROL)
        )


def claim_told(claim: Claim, margin: float) -> str:
    """A claim with its margin, in words."""
    if claim == "better":
        return _("better than A")
    if claim == "same":
        return _("the same as A within {margin} units").format(margin=units(margin))
    return _("no worse than A by {margin} units or more").format(margin=units(margin))


def scope_told(scope: Scope | str, batches: int) -> str:
    """How far a verdict will reach."""
    if scope == "make":
        return _("The claim is on the ways of making, over {n} batches of each.").format(n=batches)
    return _(
        "One batch of each: the difference is of these batches. Batch and way of making cannot be told apart, so "
        "nothing is said about the way."
    )


def _pair(plan: ComparisonPlan) -> Iterator[str]:
    if plan.faster:
        yield _(
            "Less time is claimed if B after {short} h passes against A after {long} h, while on {name} A after "
            "{short} h is worse than after {long} h and B after {short} h better than A after as many."
        ).format(short=hours(plan.short_hours or 0), long=hours(plan.long_hours or 0), name=plan.faster)


def _hours(plan: ComparisonPlan) -> Iterator[str]:
    """What is tasted of both makes, which piece is common to both, and what is claimed of the hours."""
    if not plan.pulls:
        return
    for letter, own in zip(LETTERS, plan.pulls, strict=False):
        yield _("{letter} is tasted after {list} h.").format(letter=letter, list=", ".join(map(hours, own)))
    yield _(
        "All of these are held against A after {h} h, the one common reference. That A needs over so many hours longer "
        "is claimed if B after some hours and all its longer pieces are shown good enough, and A after more hours and "
        "all its shorter pieces are shown not to be, each at half the error rate."
    ).format(h=hours(plan.pulls[0][-1]))


def _alike(plan: ComparisonPlan) -> Iterator[str]:
    matched = "; ".join(
        f"{one.name} {one.tolerance:g} {shown_unit(one.unit)}".strip() for one in plan.alike if one.tolerance
    )
    if matched:
        yield _("Counts as alike up to a difference of: {list}. What differs more stands beside the verdict.").format(
            list=matched
        )
    reported = [one.name for one in plan.alike if not one.tolerance and not one.limited]
    if reported:
        yield _("Read and only reported: {list}.").format(list=", ".join(reported))
    for one in plan.alike:
        if one.limited:
            yield limit_told(one)


def limit_told(one: Likewise) -> str:
    """A limit of an instrument in one sentence."""
    sentence = _("Every make must keep, in every batch: {name} at least {limit}. Too near the limit counts as open.")
    if one.at_most is not None:
        sentence = _("Every make must keep, in every batch: {name} at most {limit}. Too near the limit counts as open.")
    bound = one.at_least if one.at_most is None else one.at_most
    return sentence.format(name=one.name, limit=f"{bound:g} {shown_unit(one.unit)}".strip())


def _served(plan: ComparisonPlan) -> str:
    told = ngettext(
        "{people} assessors, {sittings}, every piece {times} in each; the key is opened once.",
        "{people} assessors; the key is opened up to {looks} times, first after {sittings}, every piece {times} in "
        "each.",
        plan.looks,
    )
    return told.format(
        people=len(plan.assessors),
        looks=plan.looks,
        sittings=ngettext("{n} sitting", "{n} sittings", plan.sittings).format(n=plan.sittings),
        times=ngettext("once", "{n} times", plan.replicates).format(n=plan.replicates),
    )


# ---- for the statistics ----------------------------------------------------------------------------------------------
def rule_of(plan: ComparisonPlan, look: int) -> MakeRule:
    """The sealed rule as the statistics read it. From two sittings on, disagreement between sittings counts, unless
    the batch stands for it."""
    from analysis.comparing import MakeClaim, MakeRule, Pull

    tasted = plan.sittings + (look - 1) * plan.next_sittings
    deciding = {
        line.name: MakeClaim(line.wanted, float(line.margin or 0), plan.claim_of(line.name), line.limit)
        for line in plan.attributes
        if line.decides
    }
    trays = ("sitting:hours",) if tasted >= 2 and plan.scope == "these batches" else ()
    return MakeRule(
        reference=LETTERS[0],
        attributes=deciding,
        control=CONTROL,
        claim=plan.scope,
        faster=plan.faster or None,
        alpha=plan.alpha,
        looks=plan.looks,
        look=look,
        adjust=trays,
        gates={one.name: gate_of(one) for one in plan.alike if one.limited},
        pulls={
            piece_of(plan, level): Pull(LETTERS[0] if not level else make_of(level), hours_of(plan, level))
            for level in (every_piece(plan) if plan.pulls else ())
        },
    )
