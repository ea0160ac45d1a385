"""The claim of a plan and its batches: what is to mend, how it reads, which batch is tasted when."""

from __future__ import annotations

from collections.abc import Collection, Iterator
from dataclasses import replace
from random import Random

from studyapp.kinds.hours.plan import EACH, FEWEST_BATCHES, RECIPE, THIS, HoursPlan
from studyapp.records import Problem
from studyapp.services import names
from studyapp.words import _, ngettext

MOST_BATCHES = 10
ADVISED = 4  # one batch in five that goes wrong is missed by four in 41 of 100 studies, by three in 51
LONGEST_NAME = 120


# ---- problems --------------------------------------------------------------------------------------------------------
def batch_problems(plan: HoursPlan) -> Iterator[Problem]:
    """Everything to mend or to think about, once the claim is about several batches."""
    if not plan.several:
        return
    yield from _name_problems(plan)
    yield from _count_problems(plan)
    yield from _sitting_problems(plan)
    if plan.starts_at:
        told = _("Fix hour zero: each batch begins at its own time, which stands in its record. Leave it empty here.")
        yield Problem("batches", told)


def _name_problems(plan: HoursPlan) -> Iterator[Problem]:
    spelled = [names.alike(name) for name in plan.batches]
    if "" in spelled or len(set(spelled)) != len(spelled):
        yield Problem("batches", _("Fix the batches: each needs a name of its own."))
    if any(len(name) > LONGEST_NAME for name in plan.batches):
        yield Problem("batches", _("Fix the batches: a name has at most {n} letters.").format(n=LONGEST_NAME))
    if len(plan.batches) > MOST_BATCHES:
        yield Problem("batches", _("Fix the batches: at most {n}.").format(n=MOST_BATCHES))


def _count_problems(plan: HoursPlan) -> Iterator[Problem]:
    first = plan.known_by(1)
    if plan.claim == RECIPE and first < FEWEST_BATCHES:
        told = _(
            "Fix the batches: a claim on recipe and machine needs three or more from the first opening on; with two, "
            "up to 6 of 100 such claims would be wrong. Name more, or claim each of these batches."
        )
        yield Problem("batches", told)
    elif plan.claim == EACH and first < 2:
        yield Problem("batches", _("Fix the batches: name two or more, or make the claim about this batch."))
    elif plan.claim == RECIPE and first < ADVISED:
        told = _(
            "Careful: four batches are advised. A batch that goes wrong now and then hides more easily from three."
        )
        yield Problem("batches", told, blocks=False)
    if plan.added < 0 or (plan.added and plan.looks < 2):
        yield Problem(
            "batches", _("Fix the batches: later ones join with a later opening of the key, if there is one.")
        )


def _sitting_problems(plan: HoursPlan) -> Iterator[Problem]:
    each = plan.batches_a_sitting
    pieces = each * len(plan.pulls) * plan.replicates
    if not 1 <= each <= 2:
        yield Problem("sittings", _("Fix the batches of a sitting: one, or two."))
    elif each == 2 and pieces > plan.palate:
        told = _("Fix the sittings: two batches are {n} pieces, and a person takes {most}. Serve one batch a sitting.")
        yield Problem("sittings", told.format(n=pieces, most=plan.palate))
    for where, look, sittings in (("sittings", 1, plan.sittings), ("next_sittings", 2, plan.next_sittings)):
        batches = _count_in(plan, look)
        if look <= plan.looks and batches > 0 and sittings * each % batches:
            told = _(
                "Fix the sittings: every batch is served equally often, so {n} batches need a multiple of {least}."
            )
            yield Problem(where, told.format(n=batches, least=batches if each == 1 or batches % 2 else batches // 2))
    if plan.claim == EACH and plan.known_by(1) > 1 and times_tasted(plan, 1) < 2:
        told = _(
            "Careful: with one sitting a batch, a tray prepared differently cannot be told from the hours; the verdict "
            "then says “as prepared for this sitting”. Two sittings a batch are safer."
        )
        yield Problem("sittings", told, blocks=False)


# ---- which batch is tasted when --------------------------------------------------------------------------------------
def batches_of(plan: HoursPlan, look: int) -> range:
    """Places of the batches that a look tastes: all so far, or those that join with it."""
    joins = look > 1 and plan.added > 0
    return range(plan.known_by(look - 1) if joins else 0, plan.known_by(look))


def _count_in(plan: HoursPlan, look: int) -> int:
    return len(batches_of(plan, look))


def times_tasted(plan: HoursPlan, look: int) -> int:
    """Sittings up to a look of the batch that was tasted least."""
    counts = [0] * plan.known_by(look)
    for each in range(1, look + 1):
        sittings = plan.sittings if each == 1 else plan.next_sittings
        for place in batches_of(plan, each):
            counts[place] += sittings * plan.batches_a_sitting // max(_count_in(plan, each), 1)
    return min(counts, default=0)


def lot(plan: HoursPlan, look: int, gone: Collection[int], seed: int) -> list[tuple[int, ...]]:
    """The batches of each sitting of a look, by lot: every one that is not `gone` equally often, none twice in one."""
    sittings, each = plan.sittings if look == 1 else plan.next_sittings, plan.batches_a_sitting
    planned = batches_of(plan, look)
    left = [place for place in planned if place not in gone]
    rounds, each = sittings * each // max(len(planned), 1), min(each, len(left))
    draw = Random(seed)
    while left:
        deck = [place for _round in range(rounds) for place in draw.sample(left, len(left))]
        dealt = [tuple(sorted(deck[start : start + each])) for start in range(0, len(deck), each)]
        if all(len(set(one)) == len(one) for one in dealt):
            return dealt
    return []


def of_one(plan: HoursPlan) -> HoursPlan:
    """The plan as one of its batches meets it: its sittings alone."""
    if not plan.several:
        return plan
    each = plan.batches_a_sitting
    first, later = (
        sittings * each // max(_count_in(plan, look), 1)
        for look, sittings in ((1, plan.sittings), (2, plan.next_sittings))
    )
    looks = 1 if plan.added else plan.looks
    sittings = max(first, later, 1) if plan.added else max(first, 1)
    one = replace(plan, claim=THIS, batches=(), added=0, batches_a_sitting=1)
    return replace(one, sittings=sittings, next_sittings=max(later, 1), looks=looks)


# ---- how it reads ----------------------------------------------------------------------------------------------------
def batch_sentences(plan: HoursPlan) -> list[str]:
    """Claim and batches as the sealed rule reads."""
    if not plan.several:
        return []
    n = len(plan.batches)
    if plan.claim == RECIPE:
        told = _(
            "The verdict is about recipe and machine, on average over {n} batches: {names}. How far batches differ "
            "counts as an error of its own."
        )
    else:
        told = _(
            "The verdict is about each of these {n} batches: {names}. An hour must pass in every one, judged alone."
        )
    said = [told.format(n=n, names=", ".join(plan.batches))]
    if plan.added:
        joins = ngettext(
            "Tasted first: {n} of them; {more} more with each later opening of the key.",
            "Tasted first: {n} of them; {more} more with each later opening of the key.",
            plan.added,
        )
        said.append(joins.format(n=plan.known_by(1), more=plan.added))
    served = ngettext(
        "One batch a sitting, by lot and equally often, with all its pulls; each is held against its own longest.",
        "{n} batches a sitting, by lot and equally often, with all their pulls; each is held against its own longest.",
        plan.batches_a_sitting,
    )
    return [*said, served.format(n=plan.batches_a_sitting)]


def claims() -> dict[str, str]:
    """What a verdict may be about, as it is chosen."""
    return {
        "this batch": _("This batch"),
        "each of these batches": _("Each of these batches"),
        "recipe and machine": _("Recipe and machine"),
    }


def costs(claim: str) -> str:
    """What a claim costs, in plain words. The figures are of 12 people, two servings a batch, one attribute, one pull
    that is truly as good as the longest, batches that differ by .3 units; 20,000 studies simulated for this app."""
    return {
        "this batch": _(
            "cheapest; 12 people and two servings give an answer in about 73 of 100 cases. It says nothing of the next "
            "batch."
        ),
        "each of these batches": _(
            "each batch costs its own sittings and must pass alone, so more of them make an answer rarer: two in about "
            "55 of 100 cases, three in about 42. It speaks of these batches, and of no other."
        ),
        "recipe and machine": _(
            "three batches or more, four are advised; one sitting a batch is enough. An answer in about 72 of 100 "
            "cases from three, 82 from four. It holds on average: one batch that goes wrong now and then stays unseen."
        ),
    }[claim]
