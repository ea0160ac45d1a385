"""Rests, trays and pauses: the server's clock rules, and a reload or a wrong clock changes nothing."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest

from studyapp.kinds.hours.plan import HoursPlan
from studyapp.services import preparing, watching

pytestmark = pytest.mark.browser
CHECKS = frozenset({"safe_food", "allergens_shown", "sound_pieces", "labels_read"})
REST = 8


@pytest.fixture
def plan(plan: HoursPlan) -> HoursPlan:
    """A short rest."""
    return replace(plan, rest_seconds=REST)


def left(page: Any) -> int:
    """Seconds on the clock of the page."""
    minutes, seconds = page.get_by_role("timer").inner_text().split(":")
    return int(minutes) * 60 + int(seconds)


def rest(me: Any, server: Any, workshop: Any) -> None:
    """From the link to the rest after the warm-up."""
    me.page.goto(server.url + workshop.link())
    me.press("I have read this, start")
    me.press("Next serving")
    me.see("Let your mouth settle")


def test_a_rest_runs_on_the_servers_clock(server: Any, workshop: Any, hands: Any) -> None:
    """A phone an hour behind counts right; a reload goes on counting; Next comes when the time is up, not before."""
    me, _heard = hands()
    me.page.add_init_script("const late = Date.now; Date.now = () => late() - 3600_000;")
    rest(me, server, workshop)
    assert 1 <= left(me.page) <= REST
    assert me.page.get_by_role("button", name="Next serving").count() == 0
    before = left(me.page)
    me.page.reload()
    me.see("Let your mouth settle")
    assert left(me.page) <= before
    me.see("The rest is over")
    me.press("Next serving")
    me.see("Serving 1 of 3. Take cup")


def test_the_clock_speaks_seldom(server: Any, workshop: Any, hands: Any) -> None:
    """Only the last ten seconds and whole minutes are spoken; the ticking clock itself is silent."""
    me, _heard = hands()
    rest(me, server, workshop)
    assert me.page.get_by_role("timer").get_attribute("aria-live") == "off"
    me.page.locator(".spoken", has_text="3 seconds").wait_for(state="attached", timeout=12000)
    me.page.locator(".spoken", has_text="The rest is over").wait_for(state="attached", timeout=8000)


def test_a_pause_turns_the_page_both_ways(server: Any, workshop: Any, hands: Any) -> None:
    """Paused by the leader: the next step says so, and when the leader goes on the page turns by itself."""
    me, _heard = hands()
    me.page.goto(server.url + workshop.link())
    watching.pause(workshop.store, workshop.leader, workshop.sitting.id)
    me.press("I have read this, start")
    me.see("A short pause")
    watching.resume(workshop.store, workshop.leader, workshop.sitting.id)
    me.see("To warm up. Take cup")


def test_a_tray_in_the_kitchen(server: Any, workshop: Any, hands: Any) -> None:
    """Until the tray is released the page waits; then it turns by itself."""
    with workshop.store.write() as tx:
        tx.exec_driver_sql("DELETE FROM tray WHERE position = 0")
    me, _heard = hands()
    me.page.goto(server.url + workshop.link())
    me.press("I have read this, start")
    me.see("This page turns by itself.")
    me.wait(4000)
    assert me.page.locator(".code").count() == 0
    preparing.release_tray(workshop.store, workshop.preparer, workshop.sitting.id, 0, CHECKS, "Cleo")
    me.see("To warm up. Take cup")


def test_a_closed_sitting_says_so(server: Any, workshop: Any, hands: Any) -> None:
    """An open ballot learns by itself that the sitting was closed; what was marked is kept."""
    me, _heard = hands()
    rest(me, server, workshop)
    me.see("The rest is over")
    me.press("Next serving")
    me.see("Serving 1 of 3. Take cup")
    me.touch("Acidity", 0.5)
    me.saved()
    watching.close_sitting(workshop.store, workshop.leader, workshop.sitting.id, "the room is needed")
    me.see("Your 1 mark is kept.")
    me.see("You can close this page.")
