"""The plan of a forced-choice study of an infused aroma: what is sealed, and how it is read back."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import Any, Literal

from studyapp.calendars import Habits
from studyapp.records import CONTROL, SetsPlan, Study

KIND = "aroma"
DoseUnit = Literal["min", "g"]
ControlMade = Literal["stronger", "spike"]
AromaAim = Literal["detectable", "dose", "carry over", "linger", "aftertaste"]
SINCE_BOTANICAL = ("carry over", "linger")  # compared with plain chocolate made before any botanical
LADDERS = (*SINCE_BOTANICAL, "aftertaste")  # read rung by rung
PROPOSED_SECONDS = (30, 60, 120)  # clock times of common practice, no source


@dataclass(frozen=True, slots=True)
class Botanical:
    """What the hot air passed through: botanical name, plant part, supplier and lot; food grade only."""

    name: str = ""
    part: str = ""
    supplier: str = ""
    lot: str = ""


@dataclass(frozen=True, slots=True)
class Control:
    """The cup that is known to differ, against the same plain cup: a "stronger" infusion or a named "spike". `holds`
    says how it is made, `sets` how many sets with it are served in all."""

    made: ControlMade = "stronger"
    holds: str = ""
    sets: int = 9


@dataclass(frozen=True, slots=True)
class AromaPlan(SetsPlan):
    """A forced-choice study of an infused aroma before its seal; the sealed rule is the canonical JSON of this.

    `aim` says what the answers decide: whether an aroma is "detectable", from which "dose" on, through how many plain
    batches it does "carry over", how many days it does "linger", for how many seconds it stays as "aftertaste".
    `doses` are minutes or grams (`dose_unit`); `batches` are plain batches after (carry over), days (linger) or seconds
    after a piece (aftertaste). The comparison cup is the `blank` (same mass, same hot air, no botanical); for carry
    over and linger it is the `reference`, plain chocolate made before any botanical. `trials_each` counts the sets of
    one assessor at each dose or rung; `share` is the share of people for whom a dose or a time is told; `cap` ends a
    sequential plan, in answers. `starts_at` is when infusing is planned to begin, a local ISO text without a zone,
    `batch_minutes` what one batch takes with its cleaning. Without a `control` no answer can be "close enough".
    """

    aim: AromaAim = "detectable"
    nameable: bool = False
    botanical: Botanical = Botanical()
    process: str = ""
    blank: str = "same mass, same hot air, no botanical"
    doses: tuple[float, ...] = ()
    dose_unit: DoseUnit = "min"
    batches: tuple[int, ...] = ()
    reference: str = ""
    purge_g: float | None = None
    pd_limit: float = 0.30
    share: float = 0.5
    beta: float = 0.10
    trials_each: int = 3
    sequential: bool = False
    cap: int | None = None
    safe_food_by: str = ""
    starts_at: str | None = None
    batch_minutes: int = 60
    habits: Habits = field(default_factory=Habits)
    control: Control | None = None

    @property
    def warned_of(self) -> str:
        """The plant in it."""
        return self.botanical.name

    @property
    def longest_wait(self) -> int:
        """Its last rung, where the rungs are seconds after a piece."""
        return max(self.batches, default=0) if self.aim == "aftertaste" else 0

    def wait_of(self, level: float | None) -> int:
        """The control is noticed at the first time of all, where a panel that notices anything notices it."""
        return min(self.batches) if level == CONTROL else int(level or 0)


AromaStudy = Study[AromaPlan]
Plan = AromaPlan


def new(title: str, newest: AromaPlan | None = None) -> AromaPlan:
    """An empty plan; the workshop works as in its newest study, until somebody says otherwise."""
    return AromaPlan(title, habits=newest.habits if newest else Habits())


def again(plan: AromaPlan) -> AromaPlan:
    """The plan for another run: without its day."""
    return replace(plan, starts_at=None)


def from_document(document: Mapping[str, Any]) -> AromaPlan:
    """The plan of a kept document."""
    values = dict(document)
    values["botanical"] = Botanical(**values.get("botanical", {}))
    values["habits"] = Habits.of(values.get("habits", {}))
    for name in ("doses", "batches", "assessors"):
        values[name] = tuple(values.get(name, ()))
    if values.get("control"):  # a plan of before there were controls has none
        values["control"] = Control(**values["control"])
    return AromaPlan(**values)
