"""A comparison of two makes in a real browser: from the plan to the report."""

from __future__ import annotations

import random
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import expect

from studyapp.kinds.comparison import deciding
from studyapp.services import joining, planning, preparing, watching
from tests.browser.test_study import Desk, _barriers, next_step
from tests.conftest import CHECKS, Hand

pytestmark = pytest.mark.browser
TITLE = "Old mill or new"
# What the control, A and B taste like; the second make is as good as the first.
TASTE = {0.0: 8.0, 11.0: 3.0, 21.0: 3.0}


def write_the_plan(desk: Desk, names: tuple[str, ...]) -> None:
    """Every field that must be filled, as a leader does."""
    desk.page.get_by_text("Is another way of making it as good?").click()
    desk.page.get_by_label("Name of a new study").fill(TITLE)
    desk.press("Plan a study")
    desk.see(f"Plan: {TITLE}")
    desk.settle()
    for label, value in (
        ("What shall this study decide?", "Is the old mill as good as the new one?"),
        ("A, the usual way, against which the others are held", "new mill"),
        ("B: route, machine or programme", "old mill"),
        ("Control: a piece known to differ, which the panel must find", "new mill, two hours"),
    ):
        desk.type(label, value)
    next_step(desk.page, "What is asked, and what is claimed")
    desk.press("Add the first")
    desk.page.get_by_label("Attribute", exact=True).wait_for()
    desk.type("Attribute", "Acidity")
    next_step(desk.page, "What should be alike")
    desk.press("Add a quantity")
    desk.page.get_by_label("Quantity", exact=True).wait_for()
    desk.settle()
    for label, value in (("Quantity", "Fat"), ("Unit", "%"), ("Read of A", "31.0 31.1"), ("Read of B", "31,0")):
        desk.type(label, value)
    desk.see("Fix the reading: “31,0” is not a number.")
    desk.page.reload()
    desk.see("Fix the reading: “31,0” is not a number.")
    desk.settle()
    expect(desk.page.get_by_label("Read of B", exact=True)).to_have_value("31,0", timeout=60000)
    desk.type("Read of B", "31.0 31.1")
    next_step(desk.page, "Who tastes, and how often")
    desk.choose("Assessors", *names)
    desk.type("Sittings before the key is first opened", "1")
    next_step(desk.page, "On the table")
    for label, value in (
        ("Rest between pieces, minutes", "0"),
        ("Contains: every ingredient, allergens named", "cocoa, cane sugar"),
    ):
        desk.type(label, value)
    desk.page.get_by_text("Serve A first to all, not scored, as a warm-up").click()
    desk.settle()
    desk.see("What this plan can show")


def seal(desk: Desk) -> None:
    """Read what the verdict will be about, and seal."""
    desk.press("Seal and make codes")
    dialog = desk.page.get_by_role("dialog")
    dialog.get_by_text("Acidity decides: less is wanted; claimed is no worse than A by 1.0 units or more.").wait_for()
    dialog.get_by_text("Read what the verdict will be about").first.wait_for()
    dialog.get_by_role("textbox").fill(TITLE)
    dialog.get_by_role("button", name="Seal the rule").click()
    desk.see("Seal of the record after")


def taste(workshop: Any, study: str) -> None:
    """Everybody marks every piece, by the services of the phones."""
    store, leader = workshop.store, workshop.leader
    (sitting,) = preparing.sittings(store, leader, study)
    for tray in preparing.trays(store, workshop.preparer, sitting.id):
        preparing.release_tray(store, workshop.preparer, sitting.id, tray.position, CHECKS, "Cleo")
    watching.open_sitting(store, leader, sitting.id)
    pieces = preparing.levels_by_code(store, workshop.preparer, sitting.id)
    for link in joining.issue_links(store, leader, sitting.id):
        hand = Hand(store, joining.join(store, link.code, "10.0.0.7", None))
        chance = random.Random(link.pseudonym)
        hand.taste_all(lambda place, _line, chance=chance: round(TASTE[pieces[place.code]] + chance.gauss(0, 0.2), 1))
    watching.close_sitting(store, leader, sitting.id, "")


def test_from_the_plan_to_the_report(server: Any, workshop: Any, phone: Any, tmp_path: Path) -> None:
    """Planned, sealed, tasted, opened, read and printed; the page has no barrier and asks nothing from outside."""
    page, heard = phone(1280)
    desk = Desk(page, server.url)
    desk.sign_in(workshop.leader.name, workshop.passphrase)
    write_the_plan(desk, tuple(link.pseudonym for link in workshop.links))
    desk.shoot(tmp_path, "plan")
    seal(desk)
    study = next(one for one in planning.studies(workshop.store, workshop.leader) if one.plan.title == TITLE)
    taste(workshop, study.id)
    desk.page.goto(f"{server.url}/open-key?study={study.id}")
    desk.see("Opening joins the codes to the makes")
    desk.page.get_by_label("Why nobody opens it with you").fill("Nobody else leads here.")
    desk.press("Open the key")
    desk.see("B is no worse than A.")
    desk.see("This is about these batches, not about ways of making.")
    desk.see("Not “because of the way of making”: one batch of each was tasted.")
    desk.page.locator("svg.marks").first.wait_for()
    desk.page.get_by_text("The numbers").click()
    desk.settle()
    desk.shoot(tmp_path, "verdict")
    assert _barriers(desk.page) == []
    assert not heard.outside(server.url)
    answer = desk.page.request.get(f"{server.url}/print/report/{study.id}")
    assert answer.body().startswith(b"%PDF")
    found = deciding.compared(workshop.store, workshop.leader, study.id)
    assert [one.verdict for one in found.makes.values()] == ["shown"]
