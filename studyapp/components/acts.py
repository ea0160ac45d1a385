"""An act that may be refused: the refusal stands where the act is."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager

from studyapp.components import look
from studyapp.errors import StudyError


@contextmanager
def refusals() -> Iterator[None]:
    """Show the sentence of a refusal in place; what follows the block goes on."""
    try:
        yield
    except StudyError as refused:
        look.put(look.box("brick", "", look.text(str(refused))))
