"""One thing that does not hold, by what it is and where."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

FaultCode = Literal[
    "damaged", "orphan", "guard missing", "table missing", "gap", "broken link", "changed event", "changed row",
    "row without event", "event without row", "changed seal", "changed cover", "uncovered row",
    "uncovered value", "changed note", "shape missing", "changed shape", "strange shape", "changed cell",
    "changed import", "changed description", "erased without event",
]  # fmt: skip
ERASED: FaultCode = "erased without event"  # not always a fault: see what is said of it


@dataclass(frozen=True, slots=True)
class Fault:
    """One thing that does not hold: `row` is the number or id of the row in `table`, or what the database says;
    `column` names the cell."""

    code: FaultCode
    table: str
    row: str = ""
    column: str = ""
