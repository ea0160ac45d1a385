"""What stands at the foot of every sheet of a sitting, so that papers of two studies are never mixed.

A sheet that who tastes may see does not name the study, for its name may tell what is asked: it bears a mark, the first
figures of the seal, which stands beside the name on the sheets of the kitchen and on the slip of the seal.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from studyapp import registry
from studyapp.records import Sitting, Study
from studyapp.words import _

MARK = 4


@dataclass(frozen=True, slots=True)
class Sheet:
    """Of which study and day a sheet is; the day is empty where none is planned."""

    study: str = ""
    mark: str = ""
    day: str = ""

    def blind(self, sitting: str) -> str:
        """For who tastes: sitting, day and mark."""
        if not self.mark:
            return sitting
        return _("{sitting}, {day}, study {mark}").format(sitting=sitting, day=self._day(), mark=self.mark)

    def named(self, sitting: str) -> str:
        """For the kitchen: the name of the study too."""
        return f"{self.study}, {self.blind(sitting)}" if self.study else self.blind(sitting)

    def _day(self) -> str:
        return self.day or _("on ____________")


NO_SHEET = Sheet()


def mark_of(seal: str) -> str:
    """The mark of a seal."""
    return seal[:MARK].upper()


def sheet_of(study: Study[Any], sitting: Sitting) -> Sheet:
    """What the sheets of a sitting bear."""
    planned = registry.rule(study.kind).sitting_at(study.plan, sitting.number)
    day = sitting.starts_at[:10] if sitting.starts_at else planned.strftime("%Y-%m-%d") if planned else ""
    return Sheet(study.plan.title, mark_of(study.seal or ""), day)
