"""The first account of an empty store, and signing in afterwards."""

from __future__ import annotations

from typing import Any

import pytest

pytestmark = pytest.mark.browser


def test_the_first_leader_starts_and_comes_back(run_server: Any, phone: Any) -> None:
    """An empty store asks for its first leader, refuses a wrong code and a short passphrase, later asks to sign in."""
    served = run_server()
    page, heard = phone(1280)
    page.goto(served.url)
    page.get_by_role("button", name="Plan my own study").click()
    page.get_by_role("heading", name="Start as panel leader").wait_for()
    page.get_by_role("button", name="Start", exact=True).click()
    page.get_by_text("Fill in first: Code that the app printed when it was started.").wait_for()
    page.get_by_label("Code").fill("2222-3333-4444")
    page.get_by_label("Name").fill("Ada")
    page.get_by_label("Passphrase").fill("short")
    page.keyboard.press("Enter")
    page.get_by_text("Not done: the code is another one.").wait_for()
    page.get_by_label("Code").fill(served.first_code())
    page.keyboard.press("Enter")
    page.get_by_text("Fix the passphrase").wait_for()
    page.get_by_label("Passphrase").fill("a bench by the window")
    page.keyboard.press("Enter")
    page.get_by_role("heading", name="Studies").wait_for()
    page.get_by_role("button", name="Sign out").click()
    page.get_by_role("heading", name="Sign in").wait_for()
    page.get_by_label("Name").fill("Ada")
    page.get_by_label("Passphrase").fill("a bench by the door")
    page.keyboard.press("Enter")
    page.get_by_text("Not done: name and passphrase do not belong together.").wait_for()
    page.get_by_label("Passphrase").fill("a bench by the window")
    page.keyboard.press("Enter")
    page.get_by_role("heading", name="Studies").wait_for()
    assert heard.outside(served.url) == []
    assert b"a bench by the window" not in heard.everything()
