"""Ballots on paper, typed by two people at two browsers."""

from __future__ import annotations

from typing import Any

import pytest

from studyapp.services import watching
from tests.browser.test_accounts import sign_in

pytestmark = pytest.mark.browser


def at_ballot(page: Any, server: Any, workshop: Any, name: str) -> None:
    """Signed in, on the ballot of Heron."""
    sign_in(page, server.url, name, workshop.passphrase)
    page.get_by_role("heading", name="Studies" if name == "Ada" else "Prepare").wait_for()
    page.goto(f"{server.url}/papers?sitting={workshop.sitting.id}")
    choose_heron(page)


def choose_heron(page: Any) -> None:
    page.get_by_label("Whose ballot?").click()
    page.get_by_role("option", name="Heron").click()
    page.get_by_text("Serving 1, code").wait_for()


def type_all(page: Any, marks: list[int]) -> None:
    """The marks in the order of the fields, then keep."""
    fields = page.get_by_role("spinbutton")
    for number, mark in enumerate(marks):
        fields.nth(number).fill(str(mark))
    fields.nth(len(marks) - 1).press("Tab")
    page.get_by_role("button", name="Keep this entry").click()


def test_two_people_type_a_ballot_and_settle_what_differs(server: Any, workshop: Any, phone: Any) -> None:
    """Neither sees the other's marks before both are in; then one difference, which one of them settles."""
    (desk, _), (bench, heard) = phone(1280), phone(820)
    at_ballot(desk, server, workshop, "Ada")
    type_all(desk, [20, 50, 80, 21, 51, 81, 22, 52, 82])
    desk.get_by_text("typed by Ada; a second person types it next").wait_for()
    at_ballot(bench, server, workshop, "Ben")
    assert bench.get_by_role("spinbutton").first.input_value() == ""
    assert workshop.scores() == []
    type_all(bench, [20, 50, 80, 21, 57, 81, 22, 52, 82])
    bench.get_by_text("Ada and Ben typed it differently").wait_for()
    bench.get_by_role("heading", name="What differs").wait_for()
    bench.get_by_text("Ada: 51 mm").click()
    bench.get_by_label("How it was settled").fill("the paper says 51")
    bench.get_by_role("button", name="Keep the settled ballot").click()
    bench.get_by_text("kept", exact=True).wait_for()
    assert [value for _code, _line, value, _why in workshop.scores()] == [2.0, 5.0, 8.0, 2.1, 5.1, 8.1, 2.2, 5.2, 8.2]
    assert watching.progress(workshop.store, workshop.leader, workshop.sitting.id).saved == 3
    assert not any(secret.encode() in heard.everything() for secret in workshop.secrets().values() if len(secret) > 20)
