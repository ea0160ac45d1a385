"""When batches are made, aged and tasted: worked out by hand from the calendar of November 2026 (the 23rd a Monday)."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime
from typing import Any

import pytest

from studyapp.calendars import Habits
from studyapp.errors import BadInput
from studyapp.kinds.aroma import plan as aroma
from studyapp.kinds.aroma import report, rule
from studyapp.kinds.aroma.findings.calendar import in_words
from studyapp.kinds.aroma.plan import AromaPlan, Control
from studyapp.kinds.aroma.rule.run_calendar import calendar
from studyapp.records import Study

# Somebody is there from 8 to 18 on working days; pieces rest seven days; sittings begin at 10:30.
PLAN = AromaPlan("Mint", assessors=tuple("abcdef"), sittings=2, sets_a_sitting=2, starts_at="2026-11-23T14:00")


def _told(plan: AromaPlan) -> list[tuple[str, str, bool]]:
    return [
        (in_words(one, plan)[0], f"{one.starts:%d %H:%M}", one.outside)
        for one in calendar(plan).appointments
        if one.kind != "rest"
    ]


@pytest.mark.parametrize(
    ("changes", "made"),
    [
        ({}, [("blank: the same hot air, no plant", "23 14:00", False), ("infuse", "23 15:00", False)]),
        (
            {"aim": "dose", "doses": (40.0, 0.0, 7.5, 20.0), "batch_minutes": 90},
            [
                ("blank: the same hot air, no plant", "23 14:00", False),
                ("infuse, 7.5 min", "23 15:30", False),
                ("infuse, 20 min", "23 17:00", False),
                ("infuse, 40 min", "23 18:30", True),
            ],
        ),
        (
            {"aim": "carry over", "batches": (3, 1), "control": Control(holds="twice as long")},
            [
                ("infuse", "23 14:00", False),
                ("plain batch +1", "23 15:00", False),
                ("plain batch +3", "23 17:00", False),
                ("control: stronger infusion, twice as long", "23 18:00", False),
            ],
        ),
        (
            {"aim": "linger", "batches": (1, 5)},
            [
                ("infuse", "23 14:00", False),
                ("plain batch after 1 day", "24 14:00", False),
                ("plain batch after 5 days", "28 14:00", True),
            ],
        ),
    ],
)
def test_batches_come_in_an_order_that_carries_nothing_over(changes: dict[str, Any], made: list[Any]) -> None:
    """The blank first, small doses before large ones; what falls on an evening or a Saturday is marked."""
    told = _told(replace(PLAN, **changes))
    assert told[: len(made)] == made
    first = "30" if changes.get("aim") == "linger" else "24"
    assert told[len(made)][:2] == ("temper and mould for tasting 1", f"{first} 08:00")


def test_sittings_follow_with_pieces_of_one_age() -> None:
    """Moulded on the 24th and 25th, seven days of rest: tasted on the 1st and 2nd of December, half past ten."""
    found = calendar(PLAN)
    assert [one.starts for one in found.appointments if one.kind == "sitting"] == [
        datetime(2026, 12, 1, 10, 30),
        datetime(2026, 12, 2, 10, 30),
    ]
    ages = {one.number: one.ends - one.starts for one in found.appointments if one.kind == "rest"}
    assert ages == {1: found.age, 2: found.age}


def test_the_file_says_it_in_entries() -> None:
    """RFC 5545 is held by the tests of its writer; here: one entry an appointment, none tentative, in local time."""
    file = report.calendar(None, None, Study("s", "aroma", PLAN, "sealed", "2026-11-20T08:00:00Z", 0)).decode()
    assert file.count("BEGIN:VEVENT") == len(calendar(PLAN).appointments) == 8
    assert "SUMMARY:Mint: infuse\r\n" in file
    assert "DTSTART:20261123T150000\r\n" in file
    assert "TENTATIVE" not in file
    early = Study("s", "aroma", replace(PLAN, sequential=True, cap=24), "sealed", "2026-11-20T08:00:00Z", 0)
    assert report.calendar(None, None, early).count(b"TENTATIVE") == 3, "a second sitting may not be needed"


def test_what_no_calendar_can_hold_keeps_a_plan_from_its_seal() -> None:
    """No start is no problem; no working day is one, beside its field and in the file."""
    unfit = replace(PLAN, habits=Habits(days=()))
    assert [one.sentence[:21] for one in rule.problems(unfit) if one.where == "calendar"] == ["Fix the working hours"]
    assert not [one for one in rule.problems(replace(PLAN, starts_at=None)) if one.where == "calendar"]
    with pytest.raises(BadInput, match="write when infusing is planned"):
        calendar(replace(PLAN, starts_at=None))


def test_days_stay_with_their_study_and_habits_with_the_workshop() -> None:
    """A copy has no day of its own; a new study begins with the habits of the newest; a document reads back whole."""
    late = replace(PLAN, habits=Habits(rest_days=14, days=(0, 1)))
    assert aroma.again(late).starts_at is None
    assert aroma.new("Next", late).habits == late.habits
    document = {"title": "Mint", "habits": {"rest_days": 14, "days": [0, 1]}, "starts_at": late.starts_at}
    assert (aroma.from_document(document).habits, aroma.from_document({"title": "x"}).habits) == (late.habits, Habits())
