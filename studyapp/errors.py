"""What can go wrong, as a tree. The message of each is the one sentence a person reads.

StudyError
├── BadInput        a file, field, link or request is not usable: what, where, what to do
├── NotAllowed      the role or the state of the study forbids it
│   └── NothingToDecide   a sealed pull has no score to weigh
├── NotFound        nothing is kept under that name, code or link
├── OutOfDate       the page is older than the record
├── TooManyTries    wait before the next try
├── Busy            too many came in one moment; come again after some seconds
└── StoreProblem    the store cannot be opened, written or believed
    └── Foreign     another program wrote it, or a newer version of this one
"""

from __future__ import annotations


class StudyError(Exception):
    """Something a person can act on; str() is the sentence to show."""


class BadInput(StudyError):
    """A file, field, link or request is not usable."""


class NotAllowed(StudyError):
    """The role or the state of the study forbids it."""


class NothingToDecide(NotAllowed):
    """The key is open, and a sealed pull has no score to weigh."""


class NotFound(StudyError):
    """Nothing is kept under that name, code or link."""


class OutOfDate(StudyError):
    """The page is older than the record."""


class TooManyTries(StudyError):
    """Wait before the next try."""


class Busy(StudyError):
    """Too many came in one moment; `seconds` says when to come again."""

    def __init__(self, sentence: str, seconds: int) -> None:
        """The sentence to show, and the wait."""
        super().__init__(sentence)
        self.seconds = seconds


class StoreProblem(StudyError):
    """The store cannot be opened, written or believed."""


class Foreign(StoreProblem):
    """A database in good order that is not ours to touch: another program's, or a newer version's."""
