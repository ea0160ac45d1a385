"""A night at the conche from a phone, one pull lost, and what the verdict makes of it."""

from __future__ import annotations

import random
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from studyapp.kinds.hours.plan import HoursPlan, Pull
from studyapp.records import Attribute
from studyapp.services import closing, joining, preparing, watching
from studyapp.store import pulls
from tests.browser.test_study import Desk

pytestmark = pytest.mark.browser
MEANS = {0.0: 7.0, 8.0: 4.0, 16.0: 4.0, 24.0: 4.0}


@pytest.fixture
def plan() -> HoursPlan:
    """One sitting before one look."""
    return HoursPlan(
        "Dark 72 %, lot 14",
        question="Is 8 h enough?",
        hour_zero="All sugar in",
        pulls=tuple(Pull(hours, 220) for hours in MEANS),
        attributes=(Attribute("Acidity"),),
        looks=1,
        sittings=1,
        rest_seconds=0,
        contains="cocoa",
    )


def test_a_night_pull_is_two_taps_and_a_lost_one_reaches_the_verdict(
    server: Any, workshop: Any, hand: Any, phone: Callable[..., Any], tmp_path: Path
) -> None:
    """Hour zero, a pull in two taps, an undo that stays in the record, a loss; no cup of it is waited for, and the
    verdict, which rests on the others, says so."""
    page, _heard = phone(390, "dark")
    night = Desk(page, server.url)
    night.sign_in("Ben", workshop.passphrase)
    page.goto(f"{server.url}/pulls?study={workshop.study}")
    night.press("All sugar in: hour zero now")
    night.see("Next pull")
    night.shoot(tmp_path, "next")
    page.get_by_role("button", name="Taken now").click()
    night.see("0 h pull, taken")
    night.shoot(tmp_path, "taken")
    night.press("Keep")
    night.see("220 g")
    night.press("Undo what was noted last: 0 h")
    page.get_by_role("button", name="Taken now").click()
    night.press("Keep")
    night.press("Cannot be had")
    page.get_by_text("dropped", exact=True).click()
    night.settle()
    night.shoot(tmp_path, "lost")
    night.press("Note 8 h as lost")
    night.see("lost, dropped")
    with workshop.store.read() as tx:
        told = [(note.kind, note.hours, note.reason) for note in pulls.of_study(tx, workshop.study)]
    kinds = ["zero", "taken", "undone", "taken", "lost"]
    assert told == [(kind, 8 if kind == "lost" else 0, "dropped" if kind == "lost" else None) for kind in kinds]

    key = preparing.levels_by_code(workshop.store, workshop.preparer, workshop.sitting.id)
    for link in workshop.links:
        seat = type(hand)(workshop.store, joining.join(workshop.store, link.code, "10.0.0.7", None))
        seat.taste_all(lambda place, _line: _mark(place.pseudonym, key[place.code]))
    watching.close_sitting(workshop.store, workshop.leader, workshop.sitting.id)
    closing.open_key(workshop.store, workshop.leader, workshop.study, "Ada")
    desk = Desk(phone(1280)[0], server.url)
    desk.sign_in("Ada", workshop.passphrase)
    desk.page.goto(f"{server.url}/decide?study={workshop.study}")
    desk.see("Stop at 16 hours.")
    desk.see("8 h was lost (dropped): nothing is said about it.")
    desk.see("Departures from the plan")
    desk.see("8 h: lost, dropped, noted by Ben")
    desk.page.screenshot(path=str(tmp_path / "verdict.png"), full_page=True)


def _mark(who: str, hours: float) -> float:
    return MEANS[hours] + random.Random(f"{who} {hours}").gauss(0.0, 0.3)
