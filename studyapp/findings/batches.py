"""The record of a batch in words: what went otherwise than planned, where on the axis of hours, and what was read."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass

from studyapp.batches import Batch, Log, Phase
from studyapp.findings.numbers import decimal, hours, listed, opening
from studyapp.services import machine_logs
from studyapp.words import _

LATE_H = 10 / 60  # less is no departure: nobody starts a phase to the minute
SPEED_SHARE = 0.05


@dataclass(frozen=True, slots=True)
class Departure:
    """Something that went otherwise: where, its words on the picture, and the clause of the sentence about its phase
    (none for what belongs to no phase)."""

    from_hours: float
    to_hours: float
    label: str
    phase: str = ""
    clause: str = ""


def length(span_h: float) -> str:
    """A stretch of time: 24 min, 8 h, 2 h 24 min."""
    whole, minutes = divmod(round(abs(span_h) * 60), 60)
    if not whole:
        return _("{n} min").format(n=minutes)
    return _("{h} h {n} min").format(h=whole, n=minutes) if minutes else _("{h} h").format(h=whole)


# ---- planned against real --------------------------------------------------------------------------------------------
@dataclass(frozen=True, slots=True)
class Row:
    """One phase, planned and real; None where neither was written. Real temperature and speed are the log's where
    nobody typed one. `differs` names the fields that are departures."""

    phase: Phase
    start: float | None
    end: float | None
    temperature_c: float | None
    speed_rpm: float | None
    differs: frozenset[str]

    @property
    def planned_h(self) -> float | None:
        """How long it was to be."""
        return _span(self.phase.from_hours, self.phase.to_hours)

    @property
    def real_h(self) -> float | None:
        """How long it was."""
        return _span(self.start, self.end)


def _span(start: float | None, end: float | None) -> float | None:
    return None if start is None or end is None else end - start


def rows(batch: Batch, log: Log | None) -> tuple[Row, ...]:
    """Every phase of the programme; a real time that nobody noted is the planned one."""
    return tuple(_row(phase, log, batch.draft.made.tolerance_c) for phase in batch.draft.phases)


def _row(phase: Phase, log: Log | None, tolerance: float) -> Row:
    start = phase.from_hours if phase.real_from_hours is None else phase.real_from_hours
    end = phase.to_hours if phase.real_to_hours is None else phase.real_to_hours
    degrees, turns = phase.real_temperature_c, phase.real_speed_rpm
    if log is not None and start is not None and end is not None:
        degrees = machine_logs.settled(log, "temperature_c", start, end) if degrees is None else degrees
        turns = machine_logs.settled(log, "speed_rpm", start, end) if turns is None else turns
    row = Row(phase, start, end, degrees, turns, frozenset())
    limits = {
        "start": (start, phase.from_hours, LATE_H),
        "length": (row.real_h, row.planned_h, LATE_H),
        "temperature": (degrees, phase.temperature_c, tolerance),
        "speed": (turns, phase.speed_rpm, SPEED_SHARE * (phase.speed_rpm or 0)),
    }
    return Row(phase, start, end, degrees, turns, frozenset(name for name, told in limits.items() if _beyond(*told)))


def real_says(row: Row) -> str:
    """How long a phase really was, and how late or early it began."""
    told = "–" if row.real_h is None else length(row.real_h)
    if "start" not in row.differs or row.start is None or row.phase.from_hours is None:
        return told
    late = _("{span} late") if row.start > row.phase.from_hours else _("{span} early")
    return f"{told}, {late.format(span=length(row.start - row.phase.from_hours))}"


def _beyond(real: float | None, planned: float | None, limit: float) -> bool:
    return real is not None and planned is not None and abs(real - planned) > limit + 1e-9


def departures(batch: Batch, log: Log | None) -> tuple[Departure, ...]:
    """Everything that went otherwise, in the order of hours."""
    found = [one for row in rows(batch, log) for one in _of_phase(row)]
    for one in batch.draft.made.happened:
        label = _("{what}, {span}").format(what=one.words, span=length(one.to_hours - one.from_hours))
        found.append(Departure(one.from_hours, one.to_hours, label, clause=label))
    for start, end in machine_logs.gaps(log) if log else ():
        label = _("no log, {span}").format(span=length(end - start))
        found.append(Departure(start, end, label))
    return tuple(sorted(found, key=lambda one: one.from_hours))


def _of_phase(row: Row) -> Iterator[Departure]:
    phase, start, end = row.phase, row.start, row.end
    if start is None or end is None:
        return
    planned = phase.from_hours if phase.from_hours is not None else start
    if "start" in row.differs:
        late = _("{span} late") if start > planned else _("{span} early")
        label = late.format(span=length(start - planned))
        clause = _("began {late}").format(late=label)
        yield Departure(min(start, planned), max(start, planned), label, phase.name, clause)
    if "length" in row.differs and row.real_h is not None and row.planned_h is not None:
        longer = _("ran {span} longer") if row.real_h > row.planned_h else _("was {span} shorter")
        yield Departure(start, start, "", phase.name, longer.format(span=length(row.real_h - row.planned_h)))
    if "temperature" in row.differs and row.temperature_c is not None and phase.temperature_c is not None:
        off = row.temperature_c - phase.temperature_c
        above = _("{n} °C above plan") if off > 0 else _("{n} °C below plan")
        said = above.format(n=decimal(abs(off), 0 if abs(off) >= 1 else 1))
        label = _("{what}, {span}").format(what=said, span=length(end - start))
        yield Departure(start, end, label, phase.name, _("was {off}").format(off=said))
    if "speed" in row.differs and row.speed_rpm is not None and phase.speed_rpm is not None:
        turned = _("turned {n} a minute for {m}")
        told = {"n": decimal(row.speed_rpm, 0), "m": decimal(phase.speed_rpm, 0)}
        yield Departure(start, end, "", phase.name, turned.format(**told))


# ---- sentences -------------------------------------------------------------------------------------------------------
def sentence(batch: Batch, log: Log | None, lost: Sequence[float] = (), day: str = "") -> str:
    """All departures in one paragraph, after what was made."""
    found = departures(batch, log)
    clauses = [
        _("{phase} {clauses}").format(
            phase=name, clauses=listed([one.clause for one in found if one.phase == name and one.clause])
        )
        for name in dict.fromkeys(one.phase for one in found if one.phase and one.clause)
    ]
    told = [f"{opening('; '.join(clauses))}."] if clauses else []
    told += [f"{opening(one.clause)}." for one in found if not one.phase and one.clause]
    told += [_("The {h} h pull was lost.").format(h=hours(hour)) for hour in lost]
    if not told and batch.draft.phases:
        as_far = _("Everything went as planned, as far as the log tells.")
        told = [as_far if log else _("Nothing is noted that went otherwise than planned.")]
    return " ".join([*_made(batch, day), *told])


def _made(batch: Batch, day: str) -> Iterator[str]:
    ends = [row.end for row in rows(batch, None) if row.end is not None]
    mass = batch.draft.mass_g
    parts = [_("conched {h} h").format(h=hours(max(ends)))] if ends else []
    parts += [_("{kg} kg").format(kg=hours(round(mass / 1000, 2)))] if mass else []
    parts += [_("begun on {day}").format(day=day)] if day else []
    if parts:
        yield f"{opening(', '.join(parts))}."


def log_names() -> dict[str, tuple[str, str]]:
    """What a machine may have written, each with what it counts."""
    return {
        "temperature_c": (_("Temperature"), _("of the mass, °C")),
        "speed_rpm": (_("Turns"), _("a minute")),
        "power_kw": (_("Power"), _("kW")),
    }


def logged(log: Log) -> list[str]:
    """The columns of a log that hold anything."""
    return [what for what in log_names() if any(value is not None for value in log.columns.get(what, ()))]


def lanes_say(batch: Batch, log: Log | None, lost: Sequence[float], what: str = "temperature_c") -> str:
    """What the picture of the lanes says."""
    about = _("the programme as planned and as it was")
    if log is not None and what in logged(log):
        name, unit = log_names()[what]
        told = _("{what} from the machine log, and the programme as planned and as it was")
        about = told.format(what=f"{name} {unit}")
    said = _("{batch}: {about}. {sentence}")
    return said.format(batch=batch.draft.label, about=about, sentence=sentence(batch, log, lost))


def also(phase: Phase) -> str:
    """What was done in a phase beside turning and heating."""
    told = [phase.words]
    told += [_("extraction {how}").format(how=phase.extraction)] if phase.extraction else []
    told += [_("recirculation {how}").format(how=phase.recirculation)] if phase.recirculation else []
    return _joined(told)


# ---- recipe and mill -------------------------------------------------------------------------------------------------
def recipe_lines(batch: Batch) -> Iterator[tuple[str, str]]:
    """What went in, as label and value."""
    draft = batch.draft
    for part in draft.made.parts:
        share = None if part.percent is None else _("{n} %").format(n=decimal(part.percent, 1))
        lot = _("lot {lot}").format(lot=part.lot) if part.lot else ""
        yield opening(part.name), _joined((share, lot, part.when))
    if draft.lot:
        yield _("Cocoa lot"), draft.lot
    if draft.made.roast:
        yield _("Roast"), draft.made.roast
    if draft.mass_g:
        yield _("Charge"), _("{kg} kg").format(kg=hours(round(draft.mass_g / 1000, 2)))


def orders() -> dict[str, str]:
    """The order of grinding and conching, in words."""
    return {
        "": _("not written"),
        "mill first": _("milled, then conched"),
        "conche first": _("conched, then milled"),
        "together": _("in one machine"),
    }


def mill_lines(batch: Batch) -> Iterator[tuple[str, str]]:
    """How it was ground, as label and value."""
    made, mill = batch.draft.made, batch.draft.made.mill
    turns = None if mill.speed_rpm is None else _("{n} a minute").format(n=decimal(mill.speed_rpm, 0))
    time = None if mill.minutes is None else length(mill.minutes / 60)
    energy = None if mill.energy_kwh is None else _("{n} kWh").format(n=decimal(mill.energy_kwh, 1))
    yield from (
        (label, value)
        for label, value in (
            (_("Order"), orders()[made.order] if made.order else ""),
            (_("Type"), _joined((mill.kind, mill.balls))),
            (_("Speed, time"), _joined((turns, time))),
            (_("Energy"), energy or ""),
            (_("Air in"), mill.air),
            (_("Acid extraction"), mill.extraction),
            (_("Conche"), made.conche),
        )
        if value
    )


def _joined(parts: Iterable[str | None]) -> str:
    return ", ".join(part for part in parts if part)
