"""The life of an account in real browsers: changed by its owner, given anew, ended, brought back."""

from __future__ import annotations

from typing import Any

import pytest

from studyapp.services import accounts
from tests.conftest import own_passphrase

pytestmark = pytest.mark.browser
CHANGED, GIVEN, OWN, AGAIN = "a stool by the stove", "three sacks of nibs", "two sieves in a row", "the long way home"


def sent_by(page: Any) -> list[bytes]:
    """What a page sends through its socket, from now on."""
    frames: list[bytes] = []

    def keep(frame: str | bytes) -> None:
        frames.append(frame.encode() if isinstance(frame, str) else frame)

    page.on("websocket", lambda opened: opened.on("framesent", keep))
    return frames


def sign_in(page: Any, url: str, name: str, passphrase: str) -> None:
    """Fill the form at the door."""
    page.goto(url)
    page.get_by_role("heading", name="Sign in").wait_for()
    page.get_by_label("Name").fill(name)
    page.get_by_label("Passphrase").fill(passphrase)
    page.keyboard.press("Enter")


def open_member(page: Any, id_: str) -> Any:
    """The dialog of one member on the page Panel."""
    page.locator(f".st-key-person-{id_}").get_by_role("button", name="Open").click()
    dialog = page.get_by_role("dialog")
    dialog.wait_for()
    return dialog


def shut(page: Any) -> None:
    """Close a dialog; the list behind it is drawn anew."""
    page.get_by_role("dialog").get_by_role("button", name="Close").click()
    page.get_by_role("dialog").wait_for(state="hidden")


def test_an_account_lives_changes_ends_and_comes_back(server: Any, workshop: Any, phone: Any) -> None:
    """Two people, three browsers; no passphrase ever goes through a socket, and every step is seen by the other."""
    (desk, at_desk), (mine, at_mine), (tablet, _heard) = phone(1280), phone(390), phone(390)
    sent = [sent_by(page) for page in (desk, mine)]
    sign_in(desk, server.url, "Ada", workshop.passphrase)
    desk.get_by_role("heading", name="Studies").wait_for()
    for page in (mine, tablet):
        sign_in(page, server.url, "Ben", workshop.passphrase)
        page.get_by_role("heading", name="Prepare").wait_for()

    # Ben changes his own passphrase; the tablet is signed out, his phone is not.
    mine.get_by_role("link", name="Account").click()
    mine.get_by_text("You: preparer, signed in at 2 browsers").wait_for()
    mine.get_by_label("Passphrase until now").fill("a guess of mine")
    mine.get_by_label("New passphrase").fill(CHANGED)
    mine.get_by_role("button", name="Change the passphrase").click()
    mine.get_by_text("Not done: the old passphrase is another one.").wait_for()
    mine.get_by_label("Passphrase until now").fill(workshop.passphrase)
    mine.get_by_role("button", name="Change the passphrase").click()
    mine.get_by_text("Kept. The new passphrase holds from now on").wait_for()
    mine.get_by_role("link", name="Prepare").click()
    mine.get_by_role("heading", name="Prepare").wait_for()
    tablet.reload()
    tablet.get_by_role("heading", name="Sign in").wait_for()

    # He forgets it; Ada sees where he is signed in and gives him a first one again.
    desk.goto(f"{server.url}/panel")
    desk.get_by_text("preparer, signed in since").wait_for()
    dialog = open_member(desk, workshop.preparer.id)
    dialog.get_by_role("button", name="Give this passphrase").click()
    dialog.get_by_text("Fill in first: First passphrase, at least 10 letters.").wait_for()
    dialog.get_by_label("First passphrase").fill(GIVEN)
    dialog.get_by_label("Show what I write").check()
    assert dialog.get_by_label("First passphrase").get_attribute("type") == "text"
    dialog.get_by_role("button", name="Give this passphrase").click()
    dialog.get_by_text("Kept. Tell Ben the passphrase yourself").wait_for()
    shut(desk)
    desk.get_by_text("preparer, signed in nowhere").wait_for()
    sign_in(mine, server.url, "Ben", CHANGED)
    mine.get_by_text("Not done: name and passphrase do not belong together.").wait_for()
    mine.get_by_label("Passphrase").fill(GIVEN)
    mine.keyboard.press("Enter")
    mine.get_by_text("Whoever gave you your passphrase knows it.").wait_for()
    mine.goto(f"{server.url}/prepare")
    mine.get_by_text("Whoever gave you your passphrase knows it.").wait_for()
    mine.get_by_label("Passphrase until now").fill(GIVEN)
    mine.get_by_label("New passphrase").fill(OWN)
    mine.get_by_role("button", name="Change the passphrase").click()
    mine.get_by_text("Kept. The new passphrase holds from now on").wait_for()
    mine.get_by_role("link", name="Prepare").click()
    mine.get_by_role("heading", name="Prepare").wait_for()

    # He leaves the firm: a tick, then the account ends at once.
    dialog = open_member(desk, workshop.preparer.id)
    dialog.get_by_role("button", name="End the account").click()
    dialog.get_by_text("Tick the box above first.").wait_for()
    dialog.get_by_text("Ben shall be signed out now").click()
    dialog.get_by_role("button", name="End the account").click()
    desk.get_by_text("preparer, ended").wait_for()
    mine.reload()
    sign_in(mine, server.url, "Ben", OWN)
    mine.get_by_text("Not done: name and passphrase do not belong together.").wait_for()

    # Somebody new cannot take his name; he comes back himself.
    desk.get_by_role("button", name="Add a preparer or leader").click()
    dialog = desk.get_by_role("dialog")
    dialog.get_by_label("Name").fill("Ben")
    dialog.get_by_label("First passphrase").fill(AGAIN)
    dialog.get_by_role("button", name="Add this person").click()
    dialog.get_by_text("Fix the name: the account of Ben has ended.").wait_for()
    dialog.get_by_label("Name").fill("Cleo")
    dialog.get_by_label("Role").select_option("panel leader")
    dialog.get_by_label("Tastes as").select_option("Heron")
    dialog.get_by_role("button", name="Add this person").click()
    dialog.get_by_text("Kept. Tell them name and passphrase yourself").wait_for()
    shut(desk)
    desk.get_by_text("panel leader, signed in nowhere").wait_for()
    dialog = open_member(desk, workshop.preparer.id)
    dialog.get_by_label("First passphrase").fill(AGAIN)
    dialog.get_by_role("button", name="Bring the account back").click()
    dialog.get_by_text("Kept. Tell Ben the passphrase yourself").wait_for()
    mine.get_by_label("Passphrase").fill(AGAIN)
    mine.keyboard.press("Enter")
    mine.get_by_text("Whoever gave you your passphrase knows it.").wait_for()

    passed = b"\n".join([*sent[0], *sent[1], at_desk.everything(), at_mine.everything(), server.logged().encode()])
    assert len(sent[0]) > 5, "the socket was listened to"
    assert [word for word in (workshop.passphrase, CHANGED, GIVEN, OWN, AGAIN) if word.encode() in passed] == []
    assert at_desk.outside(server.url) == []


def test_an_open_dialog_does_nothing_for_an_account_that_ended(server: Any, workshop: Any, phone: Any) -> None:
    """A tap in a dialog does not draw its page again: the act itself asks whether its member is still there."""
    cleo = accounts.add_staff(workshop.store, workshop.leader, "Cleo", "leader", GIVEN)
    own_passphrase(workshop.store, "Cleo", GIVEN, workshop.passphrase)
    page, _heard = phone(1280)
    sign_in(page, server.url, "Cleo", workshop.passphrase)
    page.get_by_role("heading", name="Studies").wait_for()
    page.goto(f"{server.url}/panel")
    page.locator("[class*='st-key-card-panel']").get_by_role("button", name="Open").first.click()
    page.get_by_role("dialog").get_by_role("button", name="Does not taste for now").wait_for()
    accounts.end_account(workshop.store, workshop.leader, cleo.id)
    page.get_by_role("dialog").get_by_role("button", name="Does not taste for now").click()
    page.get_by_text("Not done: your account has ended. Ask the panel leader.").wait_for()
    with workshop.store.read() as tx:
        assert tx.exec_driver_sql("SELECT count(*) FROM assessor WHERE NOT may_taste").scalar() == 0
