"""The price of closing a sitting early: the planner's own machinery on designs with gaps."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import pytest

from studyapp.kinds.hours.deciding import closing_early
from studyapp.kinds.hours.deciding.prospects import more_and_more
from studyapp.kinds.hours.plan import HoursPlan, Pull
from studyapp.records import Attribute

PLAN = HoursPlan(
    "x",
    pulls=tuple(Pull(float(h)) for h in (0, 8, 16, 24)),
    attributes=(Attribute("Acidity"),),
    assessors=tuple("abcdefgh"),
    sittings=2,
    looks=1,
)


def test_so_many_cups_are_taken_out_of_that_sitting_alone() -> None:
    """A larger gap holds the smaller one, so both chances are of studies that differ by the open servings only."""
    some, more = (closing_early.with_gaps(PLAN, {2: count}).pattern for count in (3, 14))
    assert some is not None
    assert more is not None
    assert (some[:, :, 0].sum(), some[:, :, 1].sum(), more[:, :, 1].sum()) == (32, 29, 18)
    assert (more <= some).all()
    assert not closing_early.with_gaps(PLAN, {2: 99}).pattern[:, :, 1].any()


@pytest.mark.simulation
def test_nothing_open_costs_nothing_and_the_price_grows(draws: Callable[[int, int], int]) -> None:
    """With nothing missing it is the chance of the plan's own page, within three standard errors; that page tries
    complete designs by another path."""
    studies = draws(300, 4000)
    *_fewer, none = closing_early.costs(PLAN, {}, 2, 0, studies=studies)
    *_fewer, some = closing_early.costs(PLAN, {}, 2, 14, studies=studies)
    *_fewer, plan = more_and_more(replace(PLAN), seed=2, studies=studies)
    assert none is not None
    assert some is not None
    assert none.closed == none.whole == some.whole
    answer = 1 - plan.cannot_tell.share
    assert abs(none.whole.share - answer) < 1.5 * (none.whole.error + plan.cannot_tell.error)
    assert some.closed.share < none.whole.share
