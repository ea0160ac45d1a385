"""What to mend in a plan, beside the field it is about."""

from __future__ import annotations

from collections.abc import Iterable

from studyapp.components import look
from studyapp.records import Plan, Problem


def beside(problems: Iterable[Problem], *places: str) -> None:
    """The problems of these fields; copper for a caution, brick for what blocks the seal."""
    sentences = [
        look.text(problem.sentence, "problem brick" if problem.blocks else "problem copper")
        for problem in problems
        if problem.where in places
    ]
    if sentences:
        look.put(*sentences)


def worth_showing(problems: Iterable[Problem], plan: Plan, tried: bool) -> tuple[Problem, ...]:
    """Before the first try to seal, an empty field is not a mistake yet."""
    empty = {
        "question": not plan.question,
        "pulls": not plan.pulls,
        "attributes": not plan.attributes,
        "assessors": not plan.assessors,
        "contains": not plan.contains,
    }
    return tuple(problem for problem in problems if tried or not empty.get(problem.where, False))
