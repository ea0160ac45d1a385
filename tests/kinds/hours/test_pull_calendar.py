"""Clock times of a run: what falls at night, which start avoids it, one age for all pieces, and grams to take."""

from __future__ import annotations

import os
import time as clock
from collections import Counter
from collections.abc import Iterator
from dataclasses import replace
from datetime import datetime, time, timedelta
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from studyapp.calendars import Habits
from studyapp.errors import BadInput
from studyapp.kinds.hours import setting_out
from studyapp.kinds.hours.plan import HoursPlan, Pull
from studyapp.kinds.hours.rule import problems
from studyapp.kinds.hours.rule.run_calendar import (
    calendar,
    moved_to,
    of_study,
    propose_start,
    quantities,
    share_pulled,
    start_of,
    too_much,
)
from studyapp.records import Study

SIX = tuple(Pull(float(hours)) for hours in (0, 4, 8, 12, 16, 24))
MONDAY = datetime(2026, 11, 23, 8, 0)
PLAN = HoursPlan(
    "Dark 72",
    pulls=SIX,
    assessors=tuple("abcdefgh"),
    sittings=2,
    looks=2,
    next_sittings=1,
    control=0.0,
    starts_at="2026-11-23T08:00",
)


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
    found = calendar(PLAN)
    pulls = [one for one in found.appointments if one.kind == "pull"]
    assert [(one.level, one.starts.day, one.starts.hour) for one in pulls] == [
        (0, 23, 8), (4, 23, 12), (8, 23, 16), (12, 23, 20), (16, 24, 0), (24, 24, 8),
    ]  # fmt: skip
    assert [one.level for one in found.outside] == [12, 16]


@pytest.mark.usefixtures("_in_paris")
def test_hours_are_hours_that_pass_when_the_clock_is_put_back() -> None:
    """Started on Saturday evening: six hours later it is 1 h earlier on the clock than six hours usually make."""
    start = datetime(2026, 10, 24, 22, 0)
    plan = moved_to(replace(PLAN, pulls=(Pull(0.0), Pull(4.0), Pull(6.0))), start)
    pulls = [one.starts for one in calendar(plan).appointments if one.kind == "pull"]
    assert pulls == [start, datetime(2026, 10, 25, 2, 0), datetime(2026, 10, 25, 3, 0)]


def test_a_start_is_proposed_that_avoids_the_night() -> None:
    """0, 4, 8 and 24 h fit days of ten hours when the run begins by ten; 12 and 16 h never do."""
    day = replace(PLAN, pulls=tuple(Pull(h) for h in (0.0, 4.0, 8.0, 24.0)))
    found = propose_start(moved_to(day, MONDAY.replace(hour=13)))
    assert (found.starts, found.outside) == (datetime(2026, 11, 24, 8, 0), 0)
    assert calendar(moved_to(day, found.starts)).outside == ()
    night = propose_start(PLAN)
    assert (night.starts, night.outside) == (MONDAY, 2)


@settings(max_examples=25, deadline=None)
@given(st.lists(st.integers(1, 60), min_size=1, max_size=6, unique=True), st.integers(0, 6), st.integers(0, 23))
def test_no_start_of_the_week_is_better_than_the_proposed_one(hours: list[int], day: int, hour: int) -> None:
    """Counted another way: every quarter hour, every pull, somebody there or not."""
    plan = replace(PLAN, pulls=tuple(Pull(float(h)) for h in (0, *hours)))
    wished = datetime(2026, 6, 1 + day, hour)
    found = propose_start(moved_to(plan, wished))
    counts = []
    for quarter in range(7 * 96 + 1):
        clocks = [wished + timedelta(minutes=15 * quarter, hours=pull.hours) for pull in plan.pulls]
        counts.append(sum(not (c.weekday() < 5 and 8 * 60 <= c.hour * 60 + c.minute <= 18 * 60) for c in clocks))
    assert found.outside == min(counts)
    assert found.starts == wished + timedelta(minutes=15 * counts.index(min(counts)))


def test_every_piece_has_the_same_age_at_every_sitting() -> None:
    """All pulls tempered together for each sitting, on working days, after the last pull, seven days before."""
    found = calendar(replace(PLAN, sittings=3, looks=1, starts_at="2026-11-26T08:00"))
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
    mondays = Habits(days=(0,), rest_days=3)
    with pytest.raises(BadInput, match="no working day is 3 days after another"):
        calendar(replace(PLAN, habits=mondays))


def test_a_run_without_a_pull_at_zero_still_needs_somebody_at_its_start() -> None:
    """Hour zero is an appointment of its own."""
    first = calendar(replace(PLAN, pulls=SIX[1:])).appointments[0]
    assert (first.kind, first.starts, first.level) == ("start", MONDAY, None)


def test_moving_a_run_moves_all_of_it() -> None:
    """The plan keeps hour zero alone; everything else follows by as much."""
    later = calendar(moved_to(PLAN, MONDAY + timedelta(days=7)))
    assert start_of(moved_to(PLAN, None)) is None
    assert [one.starts - timedelta(days=7) for one in later.appointments] == [
        one.starts for one in calendar(PLAN).appointments
    ]


def test_later_looks_follow_the_verdict_before_them() -> None:
    """By hand, 24 November being a Tuesday: moulded on the 25th and 26th, tasted on 2 and 3 December. The verdict of
    the 3rd leaves it open: moulded on the 4th, tasted on the 11th; then on Monday the 14th for the 21st, 19 days later
    than the first. A decided study has no later look."""
    three = replace(PLAN, looks=3)
    found = calendar(three)
    told = [(one.kind, one.number, one.look, one.starts.strftime("%m-%d")) for one in found.appointments]
    assert [row for row in told if row[0] in ("temper", "sitting")] == [
        ("temper", 1, 1, "11-25"), ("temper", 2, 1, "11-26"), ("sitting", 1, 1, "12-02"), ("sitting", 2, 1, "12-03"),
        ("temper", 3, 2, "12-04"), ("sitting", 3, 2, "12-11"), ("temper", 4, 3, "12-14"), ("sitting", 4, 3, "12-21"),
    ]  # fmt: skip
    ends = {one.number: one.ends for one in found.appointments if one.kind == "temper"}
    ages = {one.starts - ends[one.number] for one in found.appointments if one.kind == "sitting"}
    assert ages == {found.age}
    assert [found.mass_older(number) for number in (1, 2, 3, 4)] == [0, 1, 9, 19]
    decided = of_study(Study("s", "hours", three, "decided", "2026-11-20T08:00:00Z", look=2))
    assert {one.look for one in decided.appointments} == {1, 2}


@settings(max_examples=40, deadline=None)
@given(
    st.integers(1, 4), st.integers(1, 3), st.integers(1, 3), st.integers(1, 30),
    st.sets(st.integers(0, 6), min_size=3),
)  # fmt: skip
def test_all_pieces_of_all_looks_have_one_age(looks: int, first: int, later: int, rest: int, days: set[int]) -> None:
    """Whatever the week of the workshop: one tempering of all pulls a sitting, the same time before it, on days when
    somebody is there, and never before the look before is tasted."""
    habits = Habits(days=tuple(sorted(days)), rest_days=rest)
    plan = replace(PLAN, looks=looks, sittings=first, next_sittings=later, habits=habits)
    try:
        found = calendar(plan)
    except BadInput:
        assert not any((day + rest) % 7 in days for day in days)
        return
    sittings = [one for one in found.appointments if one.kind == "sitting"]
    tempered = {one.number: one for one in found.appointments if one.kind == "temper"}
    assert [one.number for one in sittings] == list(range(1, first + (looks - 1) * later + 1)) == list(tempered)
    assert {one.starts - tempered[one.number].ends for one in sittings} == {found.age}
    assert {one.starts.weekday() for one in (*sittings, *tempered.values())} <= days
    for one in sittings:
        before = [each.ends for each in sittings if each.look < one.look]
        assert all(tempered[one.number].starts > end for end in before)


@pytest.mark.parametrize(("pulls", "palate", "replicates"), [(3, 6, 1), (3, 6, 2), (8, 6, 1), (4, 6, 2), (9, 5, 1)])
def test_grams_suffice_for_every_look_as_it_is_dealt(pulls: int, palate: int, replicates: int) -> None:
    """Every sitting of three looks dealt as a seal and its looks deal them: no pull is served more often than told."""
    hours = [4.0 * number for number in range(pulls)]
    plan = replace(
        PLAN, pulls=tuple(Pull(h) for h in hours), palate=palate, replicates=replicates, looks=3, next_sittings=2
    )
    dealt: list[list[list[int]]] = []
    for seeds in ([1, 2], [3, 4], [5, 6]):
        before = [[[own.count(place) for place in range(pulls)] for own in sitting] for sitting in dealt]
        dealt += setting_out.orders_of(plan, hours, seeds, before)
    served = Counter(place for sitting in dealt for own in sitting for place in own)
    told = {hours.index(row.hours): row.cups for row in quantities(plan)}
    assert all(served[place] <= told[place] for place in range(pulls))
    if pulls * replicates <= palate:
        assert served == told


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
        {"habits": Habits("18:00", "08:00")},
        {"habits": Habits(days=())},
        {"habits": Habits(temper_minutes=0)},
        {"habits": Habits(rest_days=0)},
        {"habits": Habits(sitting_at="07:00")},
        {"pulls": ()},
    ],
)
def test_what_no_calendar_can_hold_is_refused(wrong: dict[str, Any]) -> None:
    """Each in a sentence that says what to fix; habits stand in the way of a seal, too."""
    plan = replace(PLAN, **wrong)
    with pytest.raises(BadInput, match=r"^Fix the") as refused:
        calendar(plan)
    told = [problem.sentence for problem in problems(plan) if problem.where == "calendar"]
    assert told == ([str(refused.value)] if "habits" in wrong else [])


@pytest.mark.parametrize("wrong", [{"looks": 0}, {"sittings": 0}, {"pulls": (Pull(0.0), Pull(float("inf")))}])
def test_numbers_that_no_plan_has_are_mended_first(wrong: dict[str, Any]) -> None:
    """They are named as what they are; the calendar waits for them."""
    told = {problem.where for problem in problems(replace(PLAN, **wrong))}
    assert set(wrong) <= told
    assert "calendar" not in told


def test_without_a_start_there_is_no_calendar() -> None:
    """Said in a sentence; and nothing stands in the way of a seal."""
    plan = replace(PLAN, starts_at=None)
    for ask in (calendar, propose_start):
        with pytest.raises(BadInput, match="write when hour zero is planned"):
            ask(plan)
    assert "calendar" not in {problem.where for problem in problems(plan)}
