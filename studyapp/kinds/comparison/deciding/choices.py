"""Whether a forced choice would answer better than scores on a line, for the same people and pieces."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from studyapp import registry
from studyapp.kinds.comparison.deciding.prospects import design_of, truths_of
from studyapp.kinds.comparison.plan import ComparisonPlan
from studyapp.kinds.comparison.rule import pieces_a_sitting, rule_of
from studyapp.methods import METHODS
from studyapp.records import SetsPlan
from studyapp.services.spreads import ASSUMED, Spreads

if TYPE_CHECKING:
    from analysis.planning.score_or_choice import TestChances

# A choice is proposed from so much more chance on, of both "shown the same" and "found to differ" the lesser.
WORTH = 0.10


@dataclass(frozen=True, slots=True)
class Hint:
    """The test that answers better, beside the scores."""

    choice: TestChances
    scores: TestChances


def hint(plan: ComparisonPlan, spreads: Spreads = ASSUMED, studies: int = 1000) -> Hint | None:
    """A forced choice that answers better for as many pieces, the control among those of the scores.

    None where scores do as well, or where a choice asks another question: of several makes or attributes, or of a
    direction that is better.
    """
    from analysis.comparing.chances import outcomes
    from analysis.planning.score_or_choice import compare
    from analysis.planning.simulation import AttributeTruth

    deciding = [line for line in plan.attributes if line.decides]
    alone = (
        len(deciding) == 1
        and len(plan.makes) == 2
        and not (plan.faster or plan.pulls)
        and plan.scope == "these batches"
    )
    if not alone or plan.claim_of(deciding[0].name) != "same" or not deciding[0].margin:
        return None
    # An attribute has a name, so which cup has more of it can be asked.
    cups = {name: method.cups for name, method in METHODS.items() if method.names_taste}
    truth = AttributeTruth((0.0, 0.0), **spreads.deviations(deciding[0].name))
    palate = max(pieces_a_sitting(plan), 2)
    scores, *choices = compare(
        truth, deciding[0].margin, len(plan.assessors), palate, plan.sittings, plan.alpha, cups, studies
    )
    own = outcomes(rule_of(plan, 1), truths_of(plan, spreads), design_of(plan), studies, 1)
    scores = replace(scores, same=own.all_shown)
    best = max(choices, key=_worth, default=None)
    return Hint(best, scores) if best is not None and _worth(best) > _worth(scores) + WORTH else None


def _worth(one: TestChances) -> float:
    return min(one.same, one.noticed)


def started(plan: ComparisonPlan, method: str) -> tuple[str, SetsPlan]:
    """The draft of a forced choice with what a plan already says, and its kind: the one that serves sets, whichever
    that is."""
    kind = next(name for name in registry.KINDS if issubclass(registry.plan(name).Plan, SetsPlan))
    empty = registry.plan(kind).new(plan.title)
    assert isinstance(empty, SetsPlan)
    draft = replace(
        empty,
        question=plan.question,
        recipe=plan.recipe,
        assessors=plan.assessors,
        contains=plan.contains,
        traces=plan.traces,
        method=method,
        note=next(line.name for line in plan.attributes if line.decides),
    )
    return kind, draft
