"""The calendar file over HTTP: for leader and preparer, never for somebody who tastes."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import httpx
import pytest

from studyapp.calendars import Habits
from studyapp.kinds.hours.plan import Pull
from studyapp.services import planning


def client(server: Any) -> httpx.Client:
    """A client that sends what a page of this server sends."""
    return httpx.Client(base_url=server.url, headers={"Origin": server.url}, trust_env=False)


@pytest.fixture
def planned(workshop: Any) -> str:
    """A draft whose start is planned."""
    id_ = planning.new_study(workshop.store, workshop.leader, "hours", "Planned")
    plan = replace(workshop.plan, title="Planned", pulls=(Pull(0.0), Pull(8.0)), starts_at="2026-11-23T08:00")
    early = Habits(opens="07:00", rest_days=9)
    planning.keep_plan(workshop.store, workshop.leader, id_, replace(plan, habits=early))
    return id_


def test_leader_and_preparer_take_the_calendar_and_nobody_else(server: Any, workshop: Any, planned: str) -> None:
    """It tells hours, so a seat and a stranger are refused."""
    for name in ("Ada", "Ben"):
        with client(server) as desk:
            desk.post("/sign-in", json={"name": name, "passphrase": workshop.passphrase})
            answer = desk.get(f"/calendar/{planned}")
            assert answer.status_code == 200
            assert answer.headers["content-type"].startswith("text/calendar")
            assert answer.headers["cache-control"] == "no-store"
            assert answer.headers["content-disposition"] == 'attachment; filename="calendar.ics"'
            assert answer.content.startswith(b"BEGIN:VCALENDAR\r\n")
            assert b"DTSTART:20261124T070000\r\n" in answer.content
    with client(server) as stranger:
        assert stranger.get(f"/calendar/{planned}").status_code == 403
    with client(server) as phone:
        phone.get(workshop.link())
        assert phone.get(f"/calendar/{planned}").status_code == 403


def test_what_cannot_be_answered_is_said_in_a_sentence(server: Any, workshop: Any, planned: str) -> None:
    """No start, no such study, a week without a working day."""
    never = replace(planning.study(workshop.store, workshop.leader, planned).plan, habits=Habits(days=()))
    planning.keep_plan(workshop.store, workshop.leader, planned, never)
    with client(server) as desk:
        desk.post("/sign-in", json={"name": "Ada", "passphrase": workshop.passphrase})
        for address, status, said in (
            (workshop.study, 400, "write when hour zero is planned"),
            ("nothing", 404, ""),
            (planned, 400, "Fix the working hours: choose at least one day"),
        ):
            answer = desk.get(f"/calendar/{address}")
            assert answer.status_code == status, address
            assert said in answer.json()["sentence"]
