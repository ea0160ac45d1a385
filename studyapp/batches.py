"""What is recorded of a batch: what went in, how it was milled and conched, and what instruments read of its pulls.

Frozen values. What is searched or reckoned with has columns of its own; `Making` travels as one document and is
checked here when it comes back.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import asdict, dataclass, fields
from datetime import datetime
from typing import Any

from studyapp.errors import BadInput
from studyapp.words import _

MOST_WORDS = 500
MOST_PERCENT = 100.05  # parts are rounded to tenths
ORDERS = ("", "mill first", "conche first", "together")
BRANCHES = ("up", "hold", "down")
MOST_RUNGS, MOST_ADDED = 200, 30.0
FLOWS = ("viscosity at 40 1/s", "stress at 5 1/s", "cup seconds")  # what a ladder of butter is read by


@dataclass(frozen=True, slots=True)
class Part:
    """One ingredient: per cent of the whole, its lot, and when it was added where that was later than the start."""

    name: str
    percent: float | None = None
    lot: str = ""
    when: str = ""


@dataclass(frozen=True, slots=True)
class Mill:
    """How the mass was ground. `air` and `extraction` are words, such as "on" or "off from 3 h"."""

    kind: str = ""
    balls: str = ""
    speed_rpm: float | None = None
    minutes: float | None = None
    energy_kwh: float | None = None
    air: str = ""
    extraction: str = ""


@dataclass(frozen=True, slots=True)
class Happening:
    """Something that happened to the mass, in hours after hour zero."""

    from_hours: float
    to_hours: float
    words: str


@dataclass(frozen=True, slots=True)
class Rung:
    """A fresh portion of a butter ladder: butter added to the mass of the short time, per cent; None for the mass that
    was conched longer."""

    quantity: str
    added: float | None
    value: float


@dataclass(frozen=True, slots=True)
class Ladder:
    """Butter weighed into the mass of `short_h`, read beside the mass of `conched_h` in one session, on `day` (ISO).

    `asked`: odd values among the rungs were asked about and stand. Prices, each may be missing: a kilogram of butter, a
    kWh, and the power of the conche in kW.
    """

    short_h: float = 0.0
    conched_h: float = 0.0
    day: str = ""
    instrument: str = ""
    method: str = ""
    rungs: tuple[Rung, ...] = ()
    asked: bool = False
    butter_kg: float | None = None
    kwh: float | None = None
    kw: float | None = None


@dataclass(frozen=True, slots=True)
class Making:
    """The part of a record that is no column. `confirmed` names who compared `contains` and `traces` with the bags;
    `tolerance_c` is how far the mass may be from the planned temperature before it is a departure."""

    parts: tuple[Part, ...] = ()
    roast: str = ""
    order: str = ""
    mill: Mill = Mill()
    conche: str = ""
    tolerance_c: float = 2.0
    contains: str = ""
    traces: str = ""
    confirmed: str = ""
    happened: tuple[Happening, ...] = ()
    ladder: Ladder = Ladder()

    def document(self) -> dict[str, Any]:
        """As plain values."""
        return asdict(self)

    @classmethod
    def of(cls, document: Mapping[str, Any]) -> Making:
        """From plain values, kept now or by an earlier version. Raises BadInput for values of another kind."""
        try:
            values = {name: value for name, value in document.items() if name in {one.name for one in fields(cls)}}
            values["parts"] = tuple(Part(**_floats(one)) for one in values.get("parts", ()))
            values["happened"] = tuple(Happening(**_floats(one)) for one in values.get("happened", ()))
            values["mill"] = Mill(**_floats(values.get("mill", {})))
            ladder = _floats(values.get("ladder", {}))
            values["ladder"] = Ladder(**{**ladder, "rungs": tuple(Rung(**_floats(r)) for r in ladder.get("rungs", ()))})
            return refuse_odd(cls(**_floats(values)))
        except (TypeError, AttributeError) as error:
            raise BadInput(_("Fix the record of the batch: it cannot be read.")) from error


def _floats(values: Mapping[str, Any]) -> dict[str, Any]:
    """Canonical JSON writes 72.0 as 72; here it is a number with its fraction again."""
    return {name: float(value) if type(value) is int else value for name, value in values.items()}


@dataclass(frozen=True, slots=True)
class Phase:
    """One phase of the programme in hours after hour zero: as planned, and as it was where somebody noted it."""

    name: str
    from_hours: float | None = None
    to_hours: float | None = None
    temperature_c: float | None = None
    speed_rpm: float | None = None
    real_from_hours: float | None = None
    real_to_hours: float | None = None
    real_temperature_c: float | None = None
    real_speed_rpm: float | None = None
    air: str = ""
    extraction: str = ""
    recirculation: str = ""
    words: str = ""


@dataclass(frozen=True, slots=True)
class Draft:
    """All of a record that is written by hand; `lot` is that of the cocoa, `machine` the conche."""

    label: str
    recipe: str = ""
    machine: str = ""
    lot: str = ""
    mass_g: float | None = None
    started_at: str | None = None
    made: Making = Making()
    phases: tuple[Phase, ...] = ()


@dataclass(frozen=True, slots=True)
class Batch:
    """A kept record. `zero` is hour zero on the workshop's clock: noted with its pulls, else when the batch began."""

    id: str
    draft: Draft
    study: str | None
    created_at: str
    by: str
    zero: str | None = None


@dataclass(frozen=True, slots=True)
class Log:
    """What a machine wrote, averaged over steps of `step_h` hours: one list a quantity, None where nothing was read."""

    hours: tuple[float, ...]
    columns: Mapping[str, tuple[float | None, ...]]
    step_h: float
    lines: int
    left_out: int = 0
    shift_h: float = 0.0
    sha256: str = ""
    at: str = ""


@dataclass(frozen=True, slots=True)
class Reading:
    """One value of one portion of a pull. `asked` says that it was asked about and kept as it is; `kind` is "read" or
    "undone", which takes the same portion's reading out of force."""

    hours: float
    quantity: str
    value: float
    instrument: str = ""
    method: str = ""
    portion: int = 1
    asked: bool = False
    kind: str = "read"
    unit: str = ""
    by: str = ""
    at: str = ""


@dataclass(frozen=True, slots=True)
class Curve:
    """One branch of a flow curve of one portion: points of shear rate, 1/s, and stress, Pa, in their order."""

    hours: float
    portion: int
    branch: str
    points: tuple[tuple[float, float], ...]
    instrument: str = ""
    method: str = ""
    asked: bool = False
    kind: str = "read"
    by: str = ""
    at: str = ""


# ---- what may be read ------------------------------------------------------------------------------------------------
UNITS: Mapping[str, str] = {
    "viscosity at 40 1/s": "Pa.s",
    "stress at 5 1/s": "Pa",
    "moisture": "%",
    "fineness": "um",
    "ph": "",
    "cup seconds": "s",
    "ring spread": "mm",
    "temperature": "°C",
    "energy": "kWh",
}


def shown_unit(unit: str) -> str:
    """A unit as people write it; what is kept and sealed says um."""
    return "µm" if unit == "um" else unit


def quantities() -> dict[str, str]:
    """What may be read of a pull, in words."""
    return {
        "viscosity at 40 1/s": _("Viscosity at 40 1/s"),
        "stress at 5 1/s": _("Stress at 5 1/s"),
        "moisture": _("Moisture"),
        "fineness": _("Fineness, D90"),
        "ph": _("pH"),
        "cup seconds": _("Cup, seconds"),
        "ring spread": _("Ring, spread"),
        "temperature": _("Temperature of the mass"),
        "energy": _("Energy up to this pull"),
    }


# ---- checks ----------------------------------------------------------------------------------------------------------
def refuse_odd(made: Making) -> Making:
    """The document, once its words and numbers are such. Raises BadInput."""
    mill = made.mill
    texts: list[object] = [made.roast, made.conche, made.contains, made.traces, made.confirmed]
    texts += [mill.kind, mill.balls, mill.air, mill.extraction]
    texts += [text for one in made.parts for text in (one.name, one.lot, one.when)]
    texts += [one.words for one in made.happened]
    if made.order not in ORDERS or not all(isinstance(text, str) and len(text) <= MOST_WORDS for text in texts):
        raise BadInput(_("Fix the record of the batch: it cannot be read."))
    for number in (made.tolerance_c, mill.speed_rpm, mill.minutes, mill.energy_kwh):
        finite(number, least=0.0)
    if math.fsum(finite(one.percent, least=0.0) or 0.0 for one in made.parts) > MOST_PERCENT:
        raise BadInput(_("Fix the recipe: its parts are more than 100 %."))
    for one in made.happened:
        _in_order(finite(one.from_hours), finite(one.to_hours), one.words)
    _refuse_ladder(made.ladder)
    return made


def _refuse_ladder(ladder: Ladder) -> None:
    """Raises BadInput for a butter ladder that cannot have been read."""
    named = (ladder.day, ladder.instrument, ladder.method)
    if not all(isinstance(text, str) and len(text) <= MOST_WORDS for text in named) or len(ladder.rungs) > MOST_RUNGS:
        raise BadInput(_("Fix the ladder: it cannot be read."))
    for number in (ladder.short_h, ladder.conched_h, ladder.butter_kg, ladder.kwh, ladder.kw):
        finite(number, least=0.0)
    for one in ladder.rungs:
        finite(one.added, least=0.0, most=MOST_ADDED)
        if one.quantity not in FLOWS or not (finite(one.value) or 0.0) > 0:
            raise BadInput(_("Fix the ladder: every portion is a {list} above 0.").format(list=" / ".join(FLOWS)))
    if ladder.rungs and not ladder.instrument:
        raise BadInput(_("Fix the instrument: write what the value was read with; it is asked once."))
    if ladder.rungs and ladder.conched_h <= ladder.short_h:
        raise BadInput(_("Fix the hours of the ladder: the conched mass has more hours than the mass with butter."))


def finite(number: Any, least: float = -1e6, most: float = 1e6) -> float | None:
    """A number or None. Raises BadInput for anything else."""
    if number is None:
        return None
    if isinstance(number, bool) or not isinstance(number, int | float) or not least <= number <= most:
        raise BadInput(_("Fix the record of the batch: {value} is no number that fits there.").format(value=number))
    return float(number)


def _in_order(first: float | None, last: float | None, name: str) -> None:
    if first is not None and last is not None and last <= first:
        raise BadInput(_("Fix {name}: it ends before it begins.").format(name=name))


def refuse_draft(draft: Draft) -> None:
    """Raises BadInput for a record that cannot be kept, naming what is to mend."""
    if not draft.label.strip():
        raise BadInput(_("Fix the name of the batch: write how it is called."))
    if any(len(text) > MOST_WORDS for text in (draft.label, draft.recipe, draft.machine, draft.lot)):
        raise BadInput(_("Fix the name of the batch: write how it is called."))
    finite(draft.mass_g, least=0.0, most=1e9)
    if draft.started_at is not None:
        local_time(draft.started_at)
    refuse_odd(draft.made)
    for phase in draft.phases:
        for number in asdict(phase).values():
            if not isinstance(number, str):
                finite(number)
        _in_order(phase.from_hours, phase.to_hours, phase.name)
        _in_order(phase.real_from_hours, phase.real_to_hours, phase.name)


def local_time(text: str) -> datetime:
    """A time on the workshop's clock. Raises BadInput, saying how it is written."""
    try:
        when = datetime.fromisoformat(text)
    except (ValueError, TypeError) as error:
        raise BadInput(_("Fix the time: write it as 2026-11-24 10:41.")) from error
    if when.tzinfo is not None:
        raise BadInput(_("Fix the time: write it as 2026-11-24 10:41."))
    return when
