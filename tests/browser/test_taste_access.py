"""Every page of a sitting against WCAG 2.2 AA by axe-core, on a phone and a desk, in light and in dark."""

from __future__ import annotations

from dataclasses import replace
from importlib.resources import files
from pathlib import Path
from typing import Any

import pytest

from studyapp.kinds.hours.plan import HoursPlan

pytestmark = pytest.mark.browser
AXE = Path(__file__).with_name("axe.min.js")
RULES = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]


@pytest.fixture
def plan(plan: HoursPlan) -> HoursPlan:
    """A sitting with a long rest, so that its page can be looked at."""
    return replace(plan, rest_seconds=600)


def faults(page: Any) -> list[str]:
    """What axe-core finds wrong, as `rule: element`."""
    page.evaluate(AXE.read_text(encoding="utf-8"))
    found = page.evaluate("rules => axe.run(document, {runOnly: {type: 'tag', values: rules}})", RULES)
    assert found["passes"], "axe-core looked at something"
    return [f"{fault['id']}: {node['html'][:160]}" for fault in found["violations"] for node in fault["nodes"]]


@pytest.mark.parametrize(("width", "scheme"), [(390, "dark"), (1280, "light")])
def test_every_page_of_a_sitting(width: int, scheme: str, server: Any, workshop: Any, hands: Any) -> None:
    """Welcome, warm-up, rest, and after stopping; nothing scrolls sideways."""
    me, _heard = hands(width, scheme)
    page = me.page
    seen: dict[str, list[str]] = {}

    def look(name: str) -> None:
        seen[name] = faults(page)
        assert page.evaluate("document.documentElement.scrollWidth <= innerWidth"), f"{name} scrolls sideways"

    page.goto(server.url + workshop.link())
    me.see("You are Heron today")
    look("welcome")
    me.press("I have read this, start")
    me.see("To warm up. Take cup")
    look("warm-up")
    me.press("Next serving")
    me.see("Let your mouth settle")
    look("rest")
    me.press("I want to stop")
    look("stop")
    me.press("Stop, keep my marks")
    me.see("You have stopped")
    look("stopped")
    assert {name: wrong for name, wrong in seen.items() if wrong} == {}
    assert len(seen) >= 5


@pytest.mark.parametrize("scheme", ["dark"])
def test_the_ballot_and_its_questions(scheme: str, server: Any, workshop: Any, hands: Any) -> None:
    """The ballot empty, marked, with a gap, and asking why; and the form to sign in."""
    me, _heard = hands(390, scheme)
    with workshop.store.write() as tx:
        tx.exec_driver_sql("UPDATE serving SET finished_at = '2026-01-05T09:00:00Z' WHERE position = 0")
    me.page.goto(server.url + workshop.link())
    me.press("I have read this, start")
    me.see("Serving 1 of 3. Take cup")
    seen = {"empty": faults(me.page)}
    me.touch("Bitterness", 0.3)
    me.saved()
    me.press("Next serving")
    me.see("Two lines have no mark yet")
    seen["gap"] = faults(me.page)
    me.page.emulate_media(color_scheme="light" if scheme == "dark" else "dark")
    me.wait(500)
    seen["device changed its mind"] = faults(me.page)
    me.page.emulate_media(color_scheme=scheme)
    me.press("I cannot judge this one")
    me.press("I cannot judge another one either")
    seen["why"] = faults(me.page)
    me.page.context.clear_cookies()
    me.page.goto(server.url)
    me.see("Passphrase")
    seen["sign in"] = faults(me.page)
    assert {name: wrong for name, wrong in seen.items() if wrong} == {}
    assert len(seen) == 5


def test_what_is_touched_is_large_enough(server: Any, workshop: Any, hands: Any) -> None:
    """Lanes and buttons are at least 60 px high; the code stays in sight while the lines scroll."""
    me, _heard = hands(390, "light")
    with workshop.store.write() as tx:
        tx.exec_driver_sql("UPDATE serving SET finished_at = '2026-01-05T09:00:00Z' WHERE position = 0")
    me.page.set_viewport_size({"width": 390, "height": 500})
    me.page.goto(server.url + workshop.link())
    me.press("I have read this, start")
    me.see("Serving 1 of 3. Take cup")
    for target in me.page.locator(".lane, button:visible").all():
        box = target.bounding_box()
        assert box is not None
        assert box["height"] >= 60
    me.page.get_by_role("button", name="Next serving").scroll_into_view_if_needed()
    me.wait(300)
    code = me.page.locator(".code").bounding_box()
    assert code is not None
    assert 0 <= code["y"] < 120


def test_no_movement_for_those_who_ask_for_none(server: Any, workshop: Any, hands: Any) -> None:
    """Under reduced motion the bar of the rest does not glide."""
    me, _heard = hands(390, "light", reduced_motion="reduce")
    me.page.goto(server.url + workshop.link())
    me.press("I have read this, start")
    me.press("Next serving")
    me.see("Let your mouth settle")
    glide = me.page.locator(".track i").evaluate("bar => getComputedStyle(bar).transitionDuration")
    assert glide == "0s"
    assert me.page.locator(".page").get_attribute("lang") == "en"


def test_the_copy_of_axe_is_the_published_one() -> None:
    """The checker is unchanged: its notice is in place and it is no part of the installed package."""
    assert AXE.read_text(encoding="utf-8").startswith("/*! axe v4.14.1")
    assert not any("axe" in entry.name for entry in files("studyapp").iterdir())
