"""What to mend in a plan, beside the field it is about."""

from __future__ import annotations

from collections.abc import Iterable

from studyapp.components import look
from studyapp.records import Problem


def beside(problems: Iterable[Problem], *places: str) -> None:
    """The problems of these fields; copper for a caution, brick for what blocks the seal."""
    sentences = [
        look.text(problem.sentence, "problem brick" if problem.blocks else "problem copper")
        for problem in problems
        if problem.where in places
    ]
    if sentences:
        look.put(*sentences)
