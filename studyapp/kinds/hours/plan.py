"""The plan of a study of conching hours: what is sealed, and how it is read back from its document."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime, timedelta
from typing import Any, Literal

from studyapp.calendars import Habits
from studyapp.records import Attribute, CupsPlan, Study

KIND = "hours"
Claim = Literal["this batch", "each of these batches", "recipe and machine"]
THIS: Claim = "this batch"
EACH: Claim = "each of these batches"
RECIPE: Claim = "recipe and machine"
CLAIMS = (THIS, EACH, RECIPE)
FEWEST_BATCHES = 3  # with two, a claim on the recipe would err in up to 6 of 100
# In the store a pull of one of several batches is a number: the place of the batch, from 1, this many times, and hours.
LOT = 10_000.0
FIRST_RULE = 1  # the version of the stop rule behind seals and signed verdicts that name none


@dataclass(frozen=True, slots=True)
class Pull:
    """A sample taken from the conche at a set hour, and the mass planned for it."""

    hours: float
    mass_g: float | None = None


@dataclass(frozen=True, slots=True)
class Limit:
    """A limit of an instrument that decides with flavour: exactly one of `at_most` and `at_least`, in `unit`.

    `quantity` is one that can be read of a pull. Readings of any other `instrument` or `method` do not count; `repeats`
    are the fresh portions that a pull needs. `until`: hours up to which it is asked, and no longer pull is chosen;
    `monotone`: it cannot get worse with hours; `uncertainty` of instrument and method, `sd` of repeats known beforehand
    with its `df` (all relative for viscosity and stress).
    """

    name: str
    quantity: str
    unit: str = ""
    at_most: float | None = None
    at_least: float | None = None
    instrument: str = ""
    method: str = ""
    repeats: int = 3
    until: float | None = None
    monotone: bool = False
    uncertainty: float = 0.0
    sd: float | None = None
    df: float | None = None


@dataclass(frozen=True, slots=True)
class Confirms:
    """The hour that the study of this id chose and another batch is asked for; `claim` is what shall be said of all
    batches together."""

    hours: float
    study: str
    claim: Claim = EACH


@dataclass(frozen=True, slots=True)
class HoursPlan(CupsPlan):
    """A conching-hours study before its seal; the sealed rule is the canonical JSON of this.

    `sittings` are served before the first look, `next_sittings` before each later one; `replicates` counts
    servings of a pull to one assessor in one sitting, as long as all pieces together stay within `palate`, the most
    pieces that one assessor tastes in a sitting; beyond it the pulls go round in balanced blocks. `load_g` is the mass
    in the conche; `starts_at` is when hour zero is planned, a local ISO text without a zone. `lost_reference`: whether
    the next longest pull takes the place of a longest one that is lost before anybody tasted it. `limits` are those of
    instruments. `claim` says what the verdict is about; unless that is one batch, `batches` names each of them in the
    order in which they join: the last `added` with the last look, as many before with the look before. A sitting serves
    `batches_a_sitting` of them.
    """

    machine: str = ""
    hour_zero: str = ""
    pulls: tuple[Pull, ...] = ()
    control: float | None = None
    looks: int = 2
    next_sittings: int = 1
    replicates: int = 1
    lateness_minutes: int = 10
    palate: int = 6
    load_g: float | None = None
    starts_at: str | None = None
    habits: Habits = field(default_factory=Habits)
    lost_reference: Literal["next", "none"] = "next"
    limits: tuple[Limit, ...] = ()
    claim: Claim = THIS
    batches: tuple[str, ...] = ()
    added: int = 0
    batches_a_sitting: int = 1
    confirms: Confirms | None = None

    @property
    def hours_of_pulls(self) -> tuple[float, ...]:
        """The planned pulls."""
        return tuple(pull.hours for pull in self.pulls)

    @property
    def several(self) -> bool:
        """Whether the claim is about several batches."""
        return self.claim != THIS

    @property
    def named_batches(self) -> tuple[str, ...]:
        """The names of the batches, where there are several."""
        return self.batches if self.several else ()

    def known_by(self, look: int) -> int:
        """How many batches, the first ones, are tasted up to a look."""
        return len(self.batches) - (self.looks - look) * self.added

    def level(self, batch: int, hours: float) -> float:
        """A pull of a batch, by its place in `batches`, as the store numbers it."""
        return LOT * (batch + 1) + hours if self.several else hours

    def pieces(self) -> dict[float, tuple[int, float]]:
        """Place of the batch and hours of every pull, by its number in the store."""
        places = range(len(self.batches) if self.several else 1)
        return {self.level(place, h): (place, h) for place in places for h in sorted(self.hours_of_pulls)}

    def hours_in(self, batch: str, level: float) -> float | None:
        """The hours of a pull of this batch, None where it is one of another."""
        if not self.several:
            return level
        place, hours = self.pieces().get(level, (-1, 0.0))
        return hours if place >= 0 and self.batches[place] == batch else None


HoursStudy = Study[HoursPlan]
Plan = HoursPlan


def new(title: str, newest: HoursPlan | None = None) -> HoursPlan:
    """An empty plan; the workshop works as in its newest study, until somebody says otherwise."""
    return HoursPlan(title, habits=newest.habits if newest else Habits())


def again(plan: HoursPlan) -> HoursPlan:
    """The plan for another run of the conche: without its day, and of other batches."""
    return replace(plan, starts_at=None, batches=())


def from_document(document: Mapping[str, Any]) -> HoursPlan:
    """The plan of a kept document, written now or when each pull still carried its planned time."""
    values = dict(document)
    pulls = [dict(pull) for pull in values.get("pulls", ())]
    started = _start_from([(pull["hours"], pull.pop("planned_at", None)) for pull in pulls])
    values["pulls"] = tuple(Pull(**pull) for pull in pulls)
    values["attributes"] = tuple(Attribute(**line) for line in values.get("attributes", ()))
    values["limits"] = tuple(Limit(**one) for one in values.get("limits", ()))
    for name in ("assessors", "batches"):
        values[name] = tuple(values.get(name, ()))
    values["confirms"] = Confirms(**values["confirms"]) if values.get("confirms") else None
    values["habits"] = Habits.of(values.get("habits", {}))
    # Nobody who sealed before that was asked gave the next longest pull for the longest.
    return HoursPlan(**{"starts_at": started, "lost_reference": "none", **values})


def _start_from(times: Sequence[tuple[float, str | None]]) -> str | None:
    """Hour zero as it follows from the planned times of pulls, or None."""
    for hours, planned_at in times:
        if planned_at:
            return (datetime.fromisoformat(planned_at) - timedelta(hours=hours)).isoformat(timespec="minutes")
    return None


def rule_version(study: HoursStudy) -> int | None:
    """The version of the stop rule that a seal names; None of a draft."""
    return int(study.named.get("rule_version", FIRST_RULE)) if study.seal else None
