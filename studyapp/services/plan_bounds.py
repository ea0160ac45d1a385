"""What every plan of single pieces must keep: enough people, each once, and numbers within their bounds."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from studyapp.records import CupsPlan, Problem
from studyapp.words import _

FEWEST, ENOUGH, MOST = 5, 8, 60


def people(plan: CupsPlan) -> Iterator[Problem]:
    """Too few for a verdict, too few for most verdicts, somebody twice, or more than there are codes for."""
    count = len(plan.assessors)
    if count < FEWEST:
        yield Problem("assessors", _("Fix the assessors: at least five are needed for a verdict."))
    elif count < ENOUGH:
        careful = _("Careful: fewer than eight assessors give wide limits; an answer will be rare.")
        yield Problem("assessors", careful, blocks=False)
    if len(set(plan.assessors)) != count:
        yield Problem("assessors", _("Fix the assessors: everybody once."))
    if count > MOST:
        yield Problem("assessors", _("Fix the assessors: at most sixty, or the codes run out."))


def numbers(asked: Iterable[tuple[str, int, int, int]]) -> Iterator[Problem]:
    """Each number (field, value, lowest, highest) that lies outside."""
    for where, value, low, high in asked:
        if not low <= value <= high:
            yield Problem(where, _("Fix this number: it lies between {low} and {high}.").format(low=low, high=high))
