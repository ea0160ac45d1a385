"""The log of a machine, read from CSV: time, and whatever it wrote of temperature, speed and power.

A line that cannot be read is named and left out; a stretch without lines stays a gap. What is kept are means over
steps of one minute or more, so that a log of days is a page and not a book; its lines and their hash are told.
"""

from __future__ import annotations

import csv
import hashlib
import io
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from itertools import pairwise

from studyapp.batches import Log, local_time
from studyapp.errors import BadInput
from studyapp.services.readings import as_number
from studyapp.words import _

MOST_LINES = 500_000
MOST_STEPS = 1500
STEPS_MIN = (1, 2, 5, 10, 15, 30, 60)
SETTLED = 0.25  # of a phase, at its end
GAP_STEPS = 3  # as many steps without a line are a gap and not a slow machine
SUMMER_MIN = (45, 75)  # a clock that is wrong by about an hour was not set to or from summer time
# What a head may be called; a machine writes its own language, so the page lets another column be chosen.
NAMES: Mapping[str, tuple[str, ...]] = {
    "temperature_c": ("temp", "°c", "degc", "mass"),
    "speed_rpm": ("speed", "rpm", "turns", "drehzahl"),
    "power_kw": ("power", "kw", "leistung"),
}


@dataclass(frozen=True, slots=True)
class Found:
    """A file as it was read: its columns, which of them is taken for what, bad lines by number and cell, and the log.

    `odd_start_min`: minutes by which the log begins before (-) or after hour zero, where that looks like a clock that
    was not set to summer time; else None.
    """

    columns: tuple[str, ...]
    taken: Mapping[str, str]
    bad: tuple[tuple[int, str], ...]
    log: Log
    odd_start_min: float | None = None


def read(content: bytes, zero: str | None, taken: Mapping[str, str] | None = None, shift_h: float = 0.0) -> Found:
    """A log in hours after hour zero.

    Args:
        content: the file, UTF-8 or Latin-1; cells by comma, semicolon or tab; the first column is the time.
        zero: hour zero on the workshop's clock; times that are hours need none.
        taken: columns by what they hold, where the reader knows better than their names.
        shift_h: hours to add to every time.

    Raises:
        BadInput: it is no table with a head line, or no line of it can be read.
    """
    text = _text(content)
    rows = list(csv.reader(io.StringIO(text), delimiter=_delimiter(text)))
    if len(rows) < 2 or len(rows) > MOST_LINES:
        raise BadInput(_("Fix the log: a head line and up to {n} lines are needed.").format(n=MOST_LINES))
    head = [cell.strip() for cell in rows[0]]
    taken = _taken(head) if taken is None else taken
    if not taken or not set(taken.values()) <= set(head):
        raise BadInput(_("Fix the log: no column holds a temperature, a speed or a power. Name one of them so."))
    places = {what: head.index(name) for what, name in taken.items()}
    begin = local_time(zero) if zero else None
    times, values, bad = _lines(rows[1:], places, head[0], begin)
    if not times:
        raise BadInput(_("Fix the log: no line of it can be read; the first column is the time."))
    found = _thinned([at + shift_h for at in times], values, len(rows) - 1)
    digest = hashlib.sha256(content).hexdigest()
    found = replace(found, left_out=len(rows) - 1 - len(times), shift_h=shift_h, sha256=digest)
    return Found(tuple(head), taken, tuple(bad), found, _odd_start(times[0] + shift_h, begin))


def _text(content: bytes) -> str:
    try:
        return content.decode("utf-8-sig")
    except UnicodeDecodeError:
        return content.decode("latin-1")


def _delimiter(text: str) -> str:
    head = text.partition("\n")[0]
    return max("\t;,", key=head.count)


def _taken(head: Sequence[str]) -> dict[str, str]:
    """The first column whose name sounds like it, for each quantity."""
    found: dict[str, str] = {}
    for what, sounds in NAMES.items():
        for name in head[1:]:
            if name not in found.values() and any(sound in name.casefold() for sound in sounds):
                found.setdefault(what, name)
    return found


def _odd_start(first_h: float, begin: datetime | None) -> float | None:
    minutes = first_h * 60
    return minutes if begin is not None and SUMMER_MIN[0] <= abs(minutes) <= SUMMER_MIN[1] else None


# ---- lines -----------------------------------------------------------------------------------------------------------
def _lines(
    rows: Sequence[Sequence[str]], places: Mapping[str, int], head: str, begin: datetime | None
) -> tuple[list[float], dict[str, list[float | None]], list[tuple[int, str]]]:
    """Times in hours and values of every line that can be read; the others by number and cell."""
    times: list[float] = []
    values: dict[str, list[float | None]] = {what: [] for what in places}
    bad: list[tuple[int, str]] = []
    for number, row in enumerate(rows, start=2):
        if not any(cell.strip() for cell in row):
            continue
        at = _hours(row[0], head, begin)
        cells = {what: row[place].strip() if place < len(row) else "" for what, place in places.items()}
        odd = next((cell for cell in cells.values() if cell and as_number(cell) is None), None)
        if at is None or odd is not None or (times and at < times[-1]):
            bad.append((number, (row[0] if odd is None else odd)[:40]))
            continue
        times.append(at)
        for what, cell in cells.items():
            values[what].append(as_number(cell) if cell else None)
    return times, values, bad


def _hours(text: str, head: str, begin: datetime | None) -> float | None:
    """A time in hours after hour zero: a day and a time by hour zero, or a number in the unit that the head names."""
    number = as_number(text)
    if number is not None:
        name = head.casefold()
        return number / (3600 if "sec" in name or name.endswith("_s") else 60 if "min" in name else 1)
    try:
        when = datetime.fromisoformat(text.strip())
    except ValueError:
        return None
    if begin is None or when.tzinfo is not None:
        return None
    return (when - begin).total_seconds() / 3600


# ---- thinned ---------------------------------------------------------------------------------------------------------
def _thinned(times: Sequence[float], values: Mapping[str, Sequence[float | None]], lines: int) -> Log:
    """Means over equal steps of whole minutes; a step without a line has no row."""
    seconds = [round((at - times[0]) * 3600) for at in times]
    step = next((each for each in STEPS_MIN if seconds[-1] / 60 <= each * MOST_STEPS), STEPS_MIN[-1])
    bins: dict[int, list[int]] = {}
    for index, at in enumerate(seconds):
        bins.setdefault(at // (60 * step), []).append(index)
    hours = tuple(round(sum(times[i] for i in members) / len(members), 4) for members in bins.values())
    columns = {what: tuple(_mean(column, members) for members in bins.values()) for what, column in values.items()}
    return Log(hours, columns, step / 60, lines)


def _mean(column: Sequence[float | None], members: Sequence[int]) -> float | None:
    found = [value for value in (column[i] for i in members) if value is not None]
    return round(sum(found) / len(found), 3) if found else None


# ---- read off --------------------------------------------------------------------------------------------------------
def gaps(log: Log) -> tuple[tuple[float, float], ...]:
    """Stretches without a line, in hours after hour zero."""
    typical = max(log.step_h, _middle([b - a for a, b in pairwise(log.hours)]) or 0.0)
    return tuple((a, b) for a, b in pairwise(log.hours) if b - a > GAP_STEPS * typical)


def _middle(values: Sequence[float]) -> float | None:
    return sorted(values)[len(values) // 2] if values else None


def settled(log: Log, what: str, start: float, end: float) -> float | None:
    """What a quantity had settled at in a phase: the median over its last quarter, since it begins where the phase
    before ended; None where nothing was written there."""
    column, since = log.columns.get(what, ()), end - SETTLED * (end - start)
    return _middle([at_ for at, at_ in zip(log.hours, column, strict=False) if since <= at <= end and at_ is not None])
