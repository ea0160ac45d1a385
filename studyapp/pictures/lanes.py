"""A batch on one axis of hours: temperature from its machine's log, programme planned over real, departures, pulls.

One picture with lanes, since a picture a lane would get an axis of its own. Heights are parts of a hundred.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from math import floor

from studyapp.batches import Batch, Log
from studyapp.findings import batches as findings
from studyapp.findings import hours as as_hours
from studyapp.findings.batches import Departure
from studyapp.findings.numbers import trimmed
from studyapp.pictures import marks
from studyapp.pictures.marks import Frame, Layer, Picture
from studyapp.pictures.theme import Theme
from studyapp.services import machine_logs
from studyapp.words import _

PullState = tuple[float, str]  # hours, and "taken", "lost" or "planned"
CURVE = (54.0, 98.0)
PLANNED, REAL = (37.0, 44.0), (27.0, 34.0)
DEPARTED, PULLS, _LINES = 20.5, 3.0, 3
_BELOW, _NO_LOG = -6.0, 48.0
_PX = 4.3  # a hundredth of the height
_NAMES, _RIGHT = 0.2, 0.04  # of the hours, free at either side
_LETTER = 0.0105  # of the hours, a letter's width at the narrowest


def lanes(
    batch: Batch, log: Log | None, pulls: Sequence[PullState], theme: Theme, what: str = "temperature_c"
) -> Picture:
    """The lanes of a batch; without a log of `what`, a column of the log, its row is gone."""
    end = _end(batch, log, pulls)
    drawn = log if log is not None and what in findings.logged(log) else None
    top = 100.0 if drawn else _NO_LOG
    step = next(each for each in (1, 2, 4, 8, 12, 24, 48, 96, 1000) if end / each <= 8)
    ticks = [float(at) for at in range(0, floor(end) + 1, step)]
    frame = Frame(theme, (-_NAMES * end, end * (1 + _RIGHT)), (_BELOW, top), ticks, (), _("hours after hour zero"))
    layers = [*(_curve(batch, drawn, what, frame, end) if drawn else ()), *_programme(batch, log, frame, end)]
    layers += [*_departed(findings.departures(batch, log), frame, end), *_pulled(pulls, frame, end)]
    return frame.picture(layers, round(_PX * (top - _BELOW)) + 50)


def _end(batch: Batch, log: Log | None, pulls: Sequence[PullState]) -> float:
    ends = [row.end for row in findings.rows(batch, log) if row.end is not None]
    ends += [phase.to_hours for phase in batch.draft.phases if phase.to_hours is not None]
    return max([1.0, *ends, *(hour for hour, _state in pulls), *(log.hours[-1:] if log else ())])


def _name(words: str, y: float, frame: Frame, weight: int = 600) -> Layer:
    return marks.words(words, frame.across[0], y, frame.theme.ink if weight > 400 else frame.theme.quiet, weight=weight)


# ---- what the machine wrote ------------------------------------------------------------------------------------------
def _curve(batch: Batch, log: Log, what: str, frame: Frame, end: float) -> Iterator[Layer]:
    """The log as a line with its gaps, over what was planned with its tolerance."""
    theme, planned = frame.theme, list(_planned(batch, what))
    values = [value for value in log.columns[what] if value is not None]
    values += [wanted + side * reach for *_ends, wanted, reach in planned for side in (-1, 1)]
    low, high = min(values), max(max(values), min(values) + 1.0)

    def place(value: float) -> float:
        return CURVE[0] + (value - low) / (high - low) * (CURVE[1] - CURVE[0])

    name, unit = findings.log_names()[what]
    yield _name(name, CURVE[1], frame)
    yield _name(unit, CURVE[1] - 5, frame, 400)
    for value in marks.round_ticks(low, high):
        yield marks.stroke([{"x": 0, "y": place(value)}, {"x": end, "y": place(value)}], theme.rule)
        yield marks.words(trimmed(value, 1), 0, place(value), theme.quiet, "right", dx=-8)
    for start, stop, wanted, reach in planned:
        yield marks.ground(start, place(wanted - reach), stop, place(wanted + reach), theme.band)
    for stretch in _stretches(log, what):
        yield marks.stroke([{"x": at, "y": place(value)} for at, value in stretch], theme.ink, 1.75)


def _planned(batch: Batch, what: str) -> Iterator[tuple[float, float, float, float]]:
    """From, to, wanted and how far it may be off, a phase; nobody plans the power."""
    for phase in batch.draft.phases:
        wanted = {"temperature_c": phase.temperature_c, "speed_rpm": phase.speed_rpm}.get(what)
        if wanted is not None and phase.from_hours is not None and phase.to_hours is not None:
            reach = batch.draft.made.tolerance_c if what == "temperature_c" else findings.SPEED_SHARE * wanted
            yield phase.from_hours, phase.to_hours, wanted, reach


def _stretches(log: Log, what: str) -> list[list[tuple[float, float]]]:
    """Runs of the log without a gap; what was not written is never joined."""
    holes = {start for start, _end in machine_logs.gaps(log)}
    found: list[list[tuple[float, float]]] = [[]]
    for at, value in zip(log.hours, log.columns[what], strict=True):
        if value is None:
            found.append([])
            continue
        found[-1].append((at, value))
        if at in holes:
            found.append([])
    return [stretch for stretch in found if len(stretch) > 1]


# ---- the lanes -------------------------------------------------------------------------------------------------------
def _programme(batch: Batch, log: Log | None, frame: Frame, end: float) -> Iterator[Layer]:
    """Planned over real; a phase too narrow for its name has none, since the table below has it."""
    theme = frame.theme
    if not batch.draft.phases:
        return
    yield _name(_("Programme"), PLANNED[1] + 1.5, frame)
    for said, (low, high) in ((_("planned"), PLANNED), (_("real"), REAL)):
        yield marks.words(said, 0, (low + high) / 2, theme.quiet, "right", dx=-8)
    for row in findings.rows(batch, log):
        boxes = (
            (PLANNED, row.phase.from_hours, row.phase.to_hours, theme.field, theme.edge),
            (REAL, row.start, row.end, theme.patina_wash, theme.patina_text),
        )
        for (low, high), start, stop, fill, edge in boxes:
            if start is None or stop is None:
                continue
            box = marks.ground(start, low, stop, high, fill, edge)
            if edge == theme.edge:
                box["mark"]["strokeDash"] = list(marks.MARGIN_DASH)
            yield box
            if stop - start > _LETTER * end * (len(row.phase.name) + 2):
                yield marks.words(row.phase.name, start, (low + high) / 2, theme.ink, dx=8)


def _departed(found: Sequence[Departure], frame: Frame, end: float) -> Iterator[Layer]:
    """A lane of its own: a bar where it was, its words below, in a second line where the first has no room."""
    theme, shown = frame.theme, [one for one in found if one.label]
    if not shown:
        return
    yield _name(_("Departures"), DEPARTED, frame)
    free = [frame.across[0]] * _LINES
    for one in shown:
        middle, half = (one.from_hours + one.to_hours) / 2, len(one.label) * _LETTER * end / 2
        bar = [
            {"x": one.from_hours, "y": DEPARTED},
            {"x": max(one.to_hours, one.from_hours + 0.008 * end), "y": DEPARTED},
        ]
        yield marks.stroke(bar, theme.copper, 4)
        line = next((n for n, taken in enumerate(free) if middle - half > taken), None)
        if line is not None:  # else the sentence above has it
            free[line] = middle + half
            yield marks.words(one.label, middle, DEPARTED - 3.6 - 3.4 * line, theme.copper, "center", weight=600)


def _pulled(pulls: Sequence[PullState], frame: Frame, end: float) -> Iterator[Layer]:
    """A diamond a pull that was taken, a ring for one to come, a dash for one that is lost."""
    theme = frame.theme
    if not pulls:
        return
    yield _name(_("Pulls"), PULLS, frame)
    yield marks.stroke([{"x": 0, "y": PULLS}, {"x": end, "y": PULLS}], theme.rule)
    for hour, state in pulls:
        said = _("{h} h").format(h=as_hours(hour))
        colour = theme.ink
        if state == "taken":
            yield marks.diamond(hour, PULLS, theme.ink)
        elif state == "lost":
            said, colour = _("{h} h lost").format(h=as_hours(hour)), theme.brick
            yield marks.stroke([{"x": hour - 0.01 * end, "y": PULLS}, {"x": hour + 0.01 * end, "y": PULLS}], colour, 4)
        else:
            ring = {"type": "point", "shape": "circle", "size": 90, "fill": theme.card, "stroke": theme.edge}
            yield marks.layer(ring | {"strokeWidth": 2, "opacity": 1}, [{"x": hour, "y": PULLS}], x="x", y="y")
        yield marks.words(said, hour, PULLS, colour, "center", dy=16, weight=600)
