"""Clock times of a run: what falls at night, which start avoids it, one age for all pieces, and grams to take."""

from __future__ import annotations

import os
import time as clock
from collections.abc import Iterator
from dataclasses import replace
from datetime import datetime, time, timedelta

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from studyapp.errors import BadInput
from studyapp.records import Plan, Pull
from studyapp.services.pull_calendar import (
    Habits,
    WorkingHours,
    calendar,
    moved_to,
    propose_start,
    quantities,
    share_pulled,
    start_of,
    too_much,
)

SIX = tuple(Pull(float(hours)) for hours in (0, 4, 8, 12, 16, 24))
PLAN = Plan("Dark 72", pulls=SIX, assessors=tuple("abcdefgh"), sittings=2, looks=2, next_sittings=1, control=0.0)
MONDAY = datetime(2026, 11, 23, 8, 0)


@pytest.fixture
def _in_paris() -> Iterator[None]:
    """A machine whose clock is put back in the night to 25 October 2026."""
    before = os.environ.get("TZ")
    os.environ["TZ"] = "Europe/Paris"
    clock.tzset()
    yield
    if before is None:
        del os.environ["TZ"]
    else:
        os.environ["TZ"] = before
    clock.tzset()


def test_pulls_at_night_are_named() -> None:
    """From 8 in the morning, 12 and 16 hours later nobody is there; 24 hours later somebody is."""
    found = calendar(PLAN, MONDAY)
    pulls = [one for one in found.appointments if one.kind == "pull"]
    assert [(one.hours, one.starts.day, one.starts.hour) for one in pulls] == [
        (0, 23, 8), (4, 23, 12), (8, 23, 16), (12, 23, 20), (16, 24, 0), (24, 24, 8),
    ]  # fmt: skip
    assert [one.hours for one in found.outside] == [12, 16]


@pytest.mark.usefixtures("_in_paris")
def test_hours_are_hours_that_pass_when_the_clock_is_put_back() -> None:
    """Started on Saturday evening: six hours later it is 1 h earlier on the clock than six hours usually make."""
    start = datetime(2026, 10, 24, 22, 0)
    plan = replace(PLAN, pulls=(Pull(0.0), Pull(4.0), Pull(6.0)))
    pulls = [one.starts for one in calendar(plan, start).appointments if one.kind == "pull"]
    assert pulls == [start, datetime(2026, 10, 25, 2, 0), datetime(2026, 10, 25, 3, 0)]


def test_a_start_is_proposed_that_avoids_the_night() -> None:
    """0, 4, 8 and 24 h fit days of ten hours when the run begins by ten; 12 and 16 h never do."""
    day = replace(PLAN, pulls=tuple(Pull(h) for h in (0.0, 4.0, 8.0, 24.0)))
    found = propose_start(day, MONDAY.replace(hour=13))
    assert (found.starts, found.outside) == (datetime(2026, 11, 24, 8, 0), 0)
    assert calendar(day, found.starts).outside == ()
    night = propose_start(PLAN, MONDAY)
    assert (night.starts, night.outside) == (MONDAY, 2)


@settings(max_examples=25, deadline=None)
@given(st.lists(st.integers(1, 60), min_size=1, max_size=6, unique=True), st.integers(0, 6), st.integers(0, 23))
def test_no_start_of_the_week_is_better_than_the_proposed_one(hours: list[int], day: int, hour: int) -> None:
    """Counted another way: every quarter hour, every pull, somebody there or not."""
    plan = replace(PLAN, pulls=tuple(Pull(float(h)) for h in (0, *hours)))
    wished = datetime(2026, 6, 1 + day, hour)
    found = propose_start(plan, wished)
    counts = []
    for quarter in range(7 * 96 + 1):
        clocks = [wished + timedelta(minutes=15 * quarter, hours=pull.hours) for pull in plan.pulls]
        counts.append(sum(not (c.weekday() < 5 and 8 * 60 <= c.hour * 60 + c.minute <= 18 * 60) for c in clocks))
    assert found.outside == min(counts)
    assert found.starts == wished + timedelta(minutes=15 * counts.index(min(counts)))


def test_every_piece_has_the_same_age_at_every_sitting() -> None:
    """All pulls tempered together for each sitting, on working days, after the last pull, seven days before."""
    found = calendar(replace(PLAN, sittings=3), datetime(2026, 11, 26, 8, 0))
    by_kind = {kind: [one for one in found.appointments if one.kind == kind] for kind in ("temper", "rest", "sitting")}
    ages = {
        sitting.starts - tempered.ends for tempered, sitting in zip(by_kind["temper"], by_kind["sitting"], strict=True)
    }
    assert ages == {found.age} == {timedelta(days=7, minutes=30)}
    assert [one.starts.date().isoformat() for one in by_kind["temper"]] == ["2026-11-30", "2026-12-01", "2026-12-02"]
    assert all(one.starts.time() == time(10, 30) and one.starts.weekday() < 5 for one in by_kind["sitting"])
    assert [one.starts for one in by_kind["rest"]] == [one.ends for one in by_kind["temper"]]


def test_a_rest_that_never_ends_on_a_working_day_is_refused() -> None:
    """Somebody who works on Mondays only cannot taste three days later."""
    mondays = Habits(WorkingHours(days=frozenset({0})), rest_days=3)
    with pytest.raises(BadInput, match="no working day is 3 days after another"):
        calendar(PLAN, MONDAY, mondays)


def test_a_run_without_a_pull_at_zero_still_needs_somebody_at_its_start() -> None:
    """Hour zero is an appointment of its own."""
    first = calendar(replace(PLAN, pulls=SIX[1:]), MONDAY).appointments[0]
    assert (first.kind, first.starts, first.hours) == ("start", MONDAY, None)


def test_moving_a_run_moves_every_pull() -> None:
    """The plan keeps the times, and the start can be read from them."""
    moved = moved_to(PLAN, MONDAY)
    assert start_of(PLAN) is None
    assert start_of(moved) == MONDAY
    assert [pull.planned_at for pull in moved.pulls][-1] == "2026-11-24T08:00"


def test_mass_is_held_against_the_load() -> None:
    """Six pulls of 400 g out of 60 kg are 4 %; out of 40 kg they are 6 %, and that is said."""
    plan = replace(PLAN, pulls=tuple(replace(pull, mass_g=400.0) for pull in SIX))
    assert share_pulled(plan) is None
    assert share_pulled(replace(plan, load_g=60_000.0)) == pytest.approx(0.04)
    assert too_much(replace(plan, load_g=60_000.0)) is None
    assert "6.0 of 100 g" in (too_much(replace(plan, load_g=40_000.0)) or "")


def test_quantities_add_up_by_hand() -> None:
    """8 people, 2 + 1 sittings, 4.5 g: 24 cups, 3 spare, 100 g beside; the middle pull gives 24 warm-ups as well."""
    found = {row.hours: row for row in quantities(PLAN)}
    assert (found[0.0].cups, found[0.0].spare, found[0.0].grams) == (24, 3, 230)  # 27 x 4.5 + 100 = 221.5
    assert (found[12.0].warm_up, found[12.0].spare, found[12.0].grams) == (24, 5, 340)  # 53 x 4.5 + 100 = 338.5


def test_pulls_that_take_turns_need_less() -> None:
    """Eight pulls, six pieces: 16 blocks, four of six others in each, so at most 11 cups of these before the look."""
    eight = replace(PLAN, pulls=tuple(Pull(float(h)) for h in (0, 4, 8, 12, 16, 20, 24, 30)), looks=1)
    cups = [row.cups for row in quantities(eight)]
    assert cups == [16, 11, 11, 11, 11, 11, 11, 16]


@pytest.mark.parametrize(
    "wrong",
    [
        lambda: WorkingHours(time(18), time(8)),
        lambda: WorkingHours(days=frozenset()),
        lambda: Habits(temper_minutes=0),
        lambda: Habits(rest_days=0),
        lambda: calendar(replace(PLAN, pulls=()), MONDAY),
        lambda: calendar(PLAN, MONDAY, Habits(sitting_at=time(7))),
    ],
)
def test_what_no_calendar_can_hold_is_refused(wrong: object) -> None:
    """Each in a sentence that says what to fix."""
    with pytest.raises(BadInput, match=r"^Fix the"):
        wrong()  # type: ignore[operator]
