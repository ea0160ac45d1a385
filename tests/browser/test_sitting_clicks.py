"""A sitting of six people and seven trays by hand, with every press counted by the browser itself."""

from __future__ import annotations

import secrets
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from studyapp.kinds.hours.plan import HoursPlan, Pull
from studyapp.records import Mark
from studyapp.services import accounts, joining, planning, preparing, tasting, watching
from tests.conftest import PLAN

pytestmark = pytest.mark.browser
# A press is a pointer that goes down, on whatever it goes down; keys are not counted.
COUNT = """addEventListener('pointerdown', () => {
  localStorage.setItem('presses', 1 + Number(localStorage.presses || 0));
}, true)"""


@pytest.fixture
def plan() -> HoursPlan:
    """Six pulls and a warm-up: seven trays."""
    pulls = tuple(Pull(hours) for hours in (4.0, 8.0, 12.0, 16.0, 20.0, 24.0))
    return replace(PLAN, pulls=pulls, attributes=PLAN.attributes[:1], rest_seconds=1)


@pytest.fixture
def seats() -> int:
    """Six people."""
    return 6


def presses(page: Any) -> int:
    """How often something was pressed in this browser."""
    return int(page.evaluate("Number(localStorage.presses || 0)"))


def _staff(server: Any, workshop: Any, page: Any, who: str) -> Any:
    token = accounts.sign_in(workshop.store, who, workshop.passphrase, "10.0.0.6")
    page.context.add_cookies([{"name": "staff", "value": token, "url": server.url}])
    page.add_init_script(COUNT)
    return page


def _settle(page: Any) -> None:
    page.wait_for_timeout(200)
    page.locator('[data-test-script-state="notRunning"]').wait_for(timeout=20000)


def _press(page: Any, name: str) -> None:
    page.get_by_role("button", name=name, exact=True).click()


def _fill_and_release(bench: Any, url: str) -> None:
    bench.goto(url)
    _press(bench, "Open the fill list")
    bench.get_by_text("How much to set aside").wait_for()
    for words in ("Cleared as food", "The allergen list", "No bloom"):
        bench.locator(".stCheckbox label", has_text=words).click()
        _settle(bench)
    bench.keyboard.press("Tab")
    bench.keyboard.type("Cleo")
    bench.keyboard.press("Tab")
    _settle(bench)
    for tray in range(7):
        bench.locator(f".st-key-tray-line-{tray} button").click()
        bench.locator(f".st-key-tray-line-{tray}", has_text="read by Cleo").wait_for(timeout=20000)
    _press(bench, "Release warm-up and trays 1 to 6")
    bench.get_by_text("7 of 7 trays are out.").first.wait_for()


def _taste_the_rest(store: Any, token: str, plan: HoursPlan) -> None:
    """By the services: what is not looked at here."""
    tasting.agree(store, token)
    here = tasting.place(store, token)
    while here.kind != "done":
        for line in here.lines:
            tasting.keep_mark(store, token, Mark(here.serving, line.id, 5.0, secrets.token_hex(12)))
        if here.serving:
            tasting.finish_serving(store, token, here.serving)
        with store.write() as tx:  # the rest of a second would be slept away twenty times
            tx.exec_driver_sql("UPDATE serving SET finished_at = '2026-01-05T09:00:00Z' WHERE finished_at IS NOT NULL")
        here = tasting.place(store, token)


def test_a_sitting_takes_few_presses(server: Any, workshop: Any, phone: Any, hands: Any, tmp_path: Path) -> None:
    """Leader at most 4, one of them for a wrong cup; preparer at most 12; assessor at most 2 a serving."""
    store = workshop.store
    study = planning.copy(store, workshop.leader, workshop.study)
    planning.seal(store, workshop.leader, study, planning.study(store, workshop.leader, study).plan.title)
    (sitting,) = preparing.sittings(store, workshop.leader, study)
    desk = _staff(server, workshop, phone(1280)[0], "Ada")
    bench = _staff(server, workshop, phone(820)[0], "Ben")
    desk.goto(f"{server.url}/watch?sitting={sitting.id}")
    _press(desk, "Open the sitting")
    _press(desk, "Make the links")
    desk.locator(".qr img").nth(5).wait_for()
    assert desk.title() == f"Tasting 1, {planning.study(store, workshop.leader, study).plan.title}: watch"
    _fill_and_release(bench, f"{server.url}/prepare?sitting={sitting.id}")
    bench.screenshot(path=str(tmp_path / "prepare.png"), full_page=True)

    links = joining.issue_links(store, workshop.leader, sitting.id)
    me, heard = hands()
    me.page.add_init_script(COUNT)
    me.page.goto(f"{server.url}/join/{links[0].code}")
    me.press("I have read this, start")
    me.press("Next serving")
    me.see("The rest is over")
    me.press("Next serving")
    me.see("Serving 1 of 6. Take cup")
    theirs = next(cup.code for cup in preparing.trays(store, workshop.leader, sitting.id)[2].cups if cup.seat == 2)
    me.press("Something is wrong with my cup")
    me.page.get_by_label("The code on the cup").fill(theirs)
    me.press("This code is on my cup")
    me.see("The panel leader has been told")
    me.press("Go back")
    desk.get_by_text(f"{links[0].pseudonym} holds a cup {theirs}.").or_(
        desk.get_by_text(f"{links[0].pseudonym} holds {theirs}.")
    ).first.wait_for(timeout=15000)
    desk.screenshot(path=str(tmp_path / "watch.png"), full_page=True)
    _press(desk, "Cup swapped")
    desk.get_by_text("Needs you now").wait_for(state="detached", timeout=15000)
    before = presses(me.page)
    me.touch("Acidity", 0.5)
    me.saved()
    me.press("Next serving")
    me.see("The rest is over")
    me.press("Next serving")
    me.see("Serving 2 of 6. Take cup")
    beside = presses(me.page) - before - 1  # one line, one mark
    seat = next(one["value"] for one in me.page.context.cookies() if one["name"] == "seat")
    others = [joining.join(store, link.code, "10.0.0.7", None) for link in links[1:]]
    for token in (seat, *others):
        _taste_the_rest(store, token, workshop.plan)
    desk.get_by_text("36 of 36 servings saved.").wait_for(timeout=15000)
    _press(desk, "Close the sitting")
    desk.get_by_text("This sitting is closed.").wait_for()
    counted = {"leader": presses(desk), "preparer": presses(bench), "assessor, a serving": beside}
    print("presses:", counted)
    assert counted["leader"] <= 4
    assert counted["preparer"] <= 12
    assert counted["assessor, a serving"] <= 2
    with store.read() as tx:
        read = tx.exec_driver_sql("SELECT count(*) FROM event WHERE kind = 'labels read'").scalar()
    assert read == 7
    assert [one.sentence for one in watching.deviations(store, workshop.leader, study)] != []
    assert not heard.outside(server.url)
