"""The plan of a comparison of makes: what is sealed, and how it is read back from its document."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any, Literal

from studyapp.records import Attribute, CupsPlan, Study

KIND = "comparison"
LETTERS = "ABCD"
CONTROL = "control"
# In the store a piece is a number: tens for the make, ones for its batch, or for its pull, counted from the longest;
# the control is 0.
TENS = 10
Claim = Literal["no worse", "same", "better"]
Scope = Literal["these batches", "make"]


@dataclass(frozen=True, slots=True)
class Likewise:
    """A quantity read of every make, in the order of the makes; with a claim on the make as many of each batch, batch
    after batch. `tolerance`: the largest difference that counts as alike, 0 where differences are only reported.
    `at_most` or `at_least`: a limit that a make must keep in every batch, beside its claims."""

    name: str
    unit: str = ""
    tolerance: float = 0.0
    readings: tuple[tuple[float, ...], ...] = ()
    at_most: float | None = None
    at_least: float | None = None

    @property
    def limited(self) -> bool:
        """Whether a make must keep a limit of it."""
        return self.at_most is not None or self.at_least is not None


@dataclass(frozen=True, slots=True)
class ComparisonPlan(CupsPlan):
    """A comparison before its seal; the sealed rule is the canonical JSON of this.

    `makes` says of each make, the reference A first, how it differs; `control` what the piece known to differ is.
    `claims` holds the claim of each deciding attribute by its name. With the scope "make", `batches` of each are
    tasted, one of each make in a sitting. `faster` names the attribute of a sealed pair, "" where none is sealed: then
    two makes are compared, A after `long_hours` with B after `short_hours`, and the control is A after as few.
    `pulls` holds the hours after which each of two makes is tasted, ascending, where it is claimed how many hours A
    needs longer: A after its longest is then the reference of both, A after its shortest the control.
    `replicates` counts servings of a piece to one assessor in one sitting: from two on they are blind duplicates.
    """

    makes: tuple[str, ...] = ("", "")
    control: str = ""
    claims: Mapping[str, Claim] | None = None
    scope: Scope = "these batches"
    batches: int = 1
    faster: str = ""
    short_hours: float | None = None
    long_hours: float | None = None
    pulls: tuple[tuple[float, ...], ...] = ()
    alike: tuple[Likewise, ...] = ()
    looks: int = 1
    next_sittings: int = 1
    replicates: int = 1
    palate: int = 6

    @property
    def judged(self) -> tuple[str, ...]:
        """Letters of the makes that are held against the reference."""
        return tuple(LETTERS[1 : len(self.makes)])

    def claim_of(self, attribute: str) -> Claim:
        """What is claimed of an attribute."""
        return (self.claims or {}).get(attribute, "no worse")


ComparisonStudy = Study[ComparisonPlan]
Plan = ComparisonPlan


def new(title: str, newest: ComparisonPlan | None = None) -> ComparisonPlan:
    """An empty plan; the quantities that a workshop reads are those of its newest comparison."""
    return ComparisonPlan(title, alike=unread(newest) if newest else ())


def again(plan: ComparisonPlan) -> ComparisonPlan:
    """The plan for another run, of masses that nobody has read yet."""
    return replace(plan, alike=unread(plan))


def unread(plan: ComparisonPlan) -> tuple[Likewise, ...]:
    """The quantities without what was read."""
    return tuple(replace(one, readings=()) for one in plan.alike)


def from_document(document: Mapping[str, Any]) -> ComparisonPlan:
    """The plan of a kept document."""
    values = dict(document)
    values["attributes"] = tuple(Attribute(**line) for line in values.get("attributes", ()))
    for name in ("assessors", "makes"):
        values[name] = tuple(values.get(name, ()))
    values["pulls"] = tuple(tuple(map(float, own)) for own in values.get("pulls", ()))
    values["alike"] = tuple(_likewise(one) for one in values.get("alike", ()))
    return ComparisonPlan(**values)


def _likewise(kept: Mapping[str, Any]) -> Likewise:
    readings = tuple(tuple(float(value) for value in own) for own in kept.get("readings", ()))
    ends = {end: float(kept[end]) for end in ("at_most", "at_least") if kept.get(end) is not None}
    return Likewise(**{**kept, **ends, "tolerance": float(kept.get("tolerance", 0)), "readings": readings})


# ---- pieces ----------------------------------------------------------------------------------------------------------
def served(plan: ComparisonPlan, sitting: int) -> tuple[float, ...]:
    """The pieces of a sitting, as numbers, ascending: the control, and one batch of every make, the batches in turn; or
    every pull of every make."""
    if plan.pulls:
        ranks = ((TENS * number, len(own)) for number, own in enumerate(plan.pulls, start=1))
        every = [float(tens + rank) for tens, count in ranks for rank in range(1, count + 1)]
        return (0.0, *(level for level in every if level != TENS + len(plan.pulls[0])))  # which is the control
    batch = batch_of(plan, sitting)
    return (0.0, *(float(TENS * number + batch) for number in range(1, len(plan.makes) + 1)))


def batch_of(plan: ComparisonPlan, sitting: int) -> int:
    """Which batch of each make a sitting serves, from 1."""
    return (sitting - 1) % max(plan.batches, 1) + 1


def every_piece(plan: ComparisonPlan) -> tuple[float, ...]:
    """All pieces of all sittings."""
    return tuple(sorted({level for sitting in range(1, max(plan.batches, 1) + 1) for level in served(plan, sitting)}))


def hours_of(plan: ComparisonPlan, level: float) -> float:
    """After how many hours a pull was taken; the control is the shortest of A."""
    return plan.pulls[int(level) // TENS - 1][-(int(level) % TENS)] if level else plan.pulls[0][0]


def piece_of(plan: ComparisonPlan, level: float) -> str:
    """The name of a piece where it is weighed: its make, and its hours where it is not the longest of these."""
    make = make_of(level)
    if not plan.pulls or make == CONTROL or int(level) % TENS == 1:
        return make
    return f"{make} {hours_of(plan, level):g} h"


def make_of(level: float) -> str:
    """The letter of the make that a piece is of, or the control."""
    return LETTERS[int(level) // TENS - 1] if level else CONTROL
