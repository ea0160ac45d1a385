"""What each batch did, beside the mark of a pull: a small ring a batch, always in the order tasted.

They are described only. Where each batch was judged alone, each has its own bar and the pull none over all.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING

from studyapp.findings import hours, units
from studyapp.pictures import marks
from studyapp.pictures.marks import Frame, Layer, Row
from studyapp.words import _

if TYPE_CHECKING:
    from analysis.stopping import AttributeResult
    from analysis.stopping.departing import BatchNumbers

_FIRST, _APART, _MOST = 0.032, 0.018, 0.1  # of the span of hours: first place, between places, all of them


def batch_rings(result: AttributeResult, told: BatchNumbers | None, frame: Frame) -> Iterator[Layer]:
    """The rings of every batch at every pull but the reference; none where one batch was tasted."""
    if told is None or len(told.names) < 2 or result.name not in told.differences:
        return
    rows = [row for number, batch in enumerate(told.names) for row in _of_batch(result, told, batch, number, frame)]
    alone = [row for row in rows if "high" in row]
    ends = ("high", "low") if result.rule.both_ways else ("high",)
    yield from marks.bars(alone, frame.theme.edge, ends, 1.75)
    if rows:
        yield from marks.rings(rows, frame.theme)


def _of_batch(result: AttributeResult, told: BatchNumbers, batch: str, number: int, frame: Frame) -> Iterator[Row]:
    span = frame.across[1] - frame.across[0]
    aside = (_FIRST + number * min(_APART, _MOST / len(told.names))) * span
    lower, upper = told.lower.get(result.name, {}).get(batch), told.upper.get(result.name, {}).get(batch)
    for at, (hour, worse) in enumerate(zip(told.hours, told.differences[result.name][batch], strict=True)):
        if worse is None or hour == result.reference_hours:
            continue
        said = _("{name}, {h} hours, batch {batch}: worse by {worse}")
        say = said.format(name=result.name, h=hours(hour), batch=batch, worse=units(worse))
        row: Row = {"x": hour + aside, "y": worse, "say": say}
        if lower and upper and lower[at] is not None and upper[at] is not None:
            row |= {"low": lower[at], "high": upper[at]}
        yield row
