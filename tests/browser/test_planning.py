"""The plan page in a real browser: numbers grow exact by themselves while somebody goes on planning."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import replace
from typing import Any

import pytest

from studyapp.kinds.hours.plan import Habits, Pull
from studyapp.records import Attribute
from studyapp.services import panel, planning
from tests.browser.test_study import _barriers, open_step

pytestmark = pytest.mark.browser
HOURS = (0.0, 4.0, 8.0, 12.0, 16.0, 20.0, 24.0, 36.0)


@pytest.fixture
def draft(workshop: Any) -> str:
    """Eight pulls in turns: a plan that takes far longer than a moment to be tried ten thousand times."""
    store, leader = workshop.store, workshop.leader
    more = tuple(panel.add_assessor(store, leader, name).id for name in ("Rook", "Dipper", "Plover"))
    plan = replace(
        workshop.plan,
        title="Blocks",
        pulls=tuple(Pull(hour) for hour in HOURS),
        attributes=(Attribute("Acidity"), Attribute("Bitterness")),
        assessors=(*workshop.plan.assessors, *more),
        control=0.0,
        sittings=2,
        starts_at="2026-11-23T14:00",
    )
    id_ = planning.new_study(store, leader, "hours", "Blocks")
    planning.keep_plan(store, leader, id_, plan)
    return id_


@pytest.fixture
def width() -> int:
    """How wide the window of the leader is."""
    return 1280


@pytest.fixture
def page(workshop: Any, server: Any, draft: str, phone: Callable[..., tuple[Any, Any]], width: int) -> Any:
    """The leader's page of that draft, with the first numbers on it."""
    page, _heard = phone(width)
    page.goto(server.url)
    page.get_by_label("Name").fill("Ada")
    page.get_by_label("Passphrase").fill(workshop.passphrase)
    page.get_by_role("button", name="Sign in").click()
    page.get_by_text("Ada").first.wait_for()
    page.goto(f"{server.url}/plan?study={draft}")
    page.get_by_role("progressbar").wait_for()
    return page


def _done(page: Any) -> int:
    """Studies tried so far, as the page says."""
    told = re.search(r"times: ([\d\s]+) done", page.locator(".st-key-wash-power").inner_text())
    assert told is not None
    return int(re.sub(r"\s", "", told.group(1)))


def _until(page: Any, true: Callable[[], bool], seconds: int = 60) -> None:
    """Look again ten times a second until something is so."""
    for _look in range(10 * seconds):
        if true():
            return
        page.wait_for_timeout(100)
    raise AssertionError("it never came about")


def test_numbers_grow_and_a_change_begins_anew(page: Any, server: Any) -> None:
    """More studies without a touch; fewer after a change; and the server ends at once in the middle of it."""
    first = _done(page)
    _until(page, lambda: _done(page) > first + 200)
    reached = _done(page)
    open_step(page, "What is asked")
    margin = page.get_by_label("Margin of Acidity, scale units")
    margin.focus()
    margin.press("ArrowUp")
    _until(page, lambda: _done(page) < reached)
    again = _done(page)
    _until(page, lambda: _done(page) > again)
    assert server.stop() == 0
    assert '"level": "ERROR"' not in server.logged()


@pytest.mark.parametrize("width", [390])
def test_on_a_phone_the_chances_stay_in_sight_of_the_fields_that_move_them(page: Any) -> None:
    """Wherever one scrolls above their card they stand at the foot of the window, once, and cover no field that has the
    focus; a changed margin changes them there; and at the end of the page they lie in their card."""
    chances, window = page.locator(".st-key-wash-glance"), page.viewport_size["height"]
    for step, label in (
        ("The question", "Name of the study"),
        ("Who tastes", "How often the key may be opened"),
        ("On the table", "Piece, g"),
        ("What is asked", "Margin of Bitterness, scale units"),
    ):
        open_step(page, step)
        field = page.get_by_label(label, exact=True)
        field.focus()
        field.scroll_into_view_if_needed()
        box, foot = field.bounding_box(), chances.bounding_box()
        assert foot["y"] + foot["height"] == pytest.approx(window, abs=1)
        assert foot["height"] < 0.2 * window
        assert box["y"] + box["height"] <= foot["y"] + 1
    assert page.get_by_text("cannot tell", exact=True).count() == 1
    before = chances.inner_text()
    margin = page.get_by_label("Margin of Acidity, scale units")
    margin.fill("4.0")
    margin.press("Tab")
    _until(page, lambda: chances.inner_text() != before)
    page.get_by_role("button", name="Seal and make codes").focus()
    card = page.locator(".st-key-wash-last").bounding_box()
    box = chances.bounding_box()
    assert box["y"] + box["height"] < card["y"] < window


def test_what_is_typed_in_a_dialog_outlasts_the_numbers(page: Any) -> None:
    """The numbers change behind an open dialog, which keeps its words and the cursor."""
    open_step(page, "What is asked")
    page.get_by_role("button", name="Change").first.click()
    name = page.get_by_role("dialog").get_by_label("Name", exact=True)
    name.click()
    page.keyboard.type(" of lemon")
    before = _done(page)
    _until(page, lambda: _done(page) > before + 200)
    assert name.input_value() == "Acidity of lemon"
    assert name.evaluate("field => field.getRootNode().activeElement === field")


def test_how_the_workshop_works_outlasts_a_reload(page: Any, workshop: Any, draft: str) -> None:
    """Another end of the day, another rest, another start: typed once, kept with the draft, there again afterwards. By
    hand: until 21:00 somebody is there for all pulls of a run from 20:00 but those at 4 and 8 h."""
    open_step(page, "When, and how much")
    page.get_by_text("How the workshop works").click()
    until = page.get_by_role("group", name="until")
    until.get_by_role("spinbutton").first.click()
    page.keyboard.type("2100")
    page.keyboard.press("Tab")
    rest = page.get_by_label("Pieces rest before a sitting, days")
    rest.fill("12")
    rest.press("Tab")
    page.get_by_text("12 days old when it is tasted").wait_for()
    page.get_by_role("button", name="Begin on").click()
    page.get_by_text("Hour zero was moved here").wait_for()
    kept = planning.study(workshop.store, workshop.leader, draft).plan
    assert (kept.habits, kept.starts_at) == (Habits(closes="21:00", rest_days=12), "2026-11-23T20:00")
    page.reload()
    open_step(page, "When, and how much")
    page.get_by_text("12 days old when it is tasted").wait_for()
    page.get_by_text("How the workshop works").click()
    assert rest.input_value() == "12"
    assert until.get_by_role("spinbutton").all_inner_texts() == ["21", "00"]
    open_step(page, "The question")
    start = page.get_by_role("group", name="Hour zero planned at").get_by_role("spinbutton")
    assert start.all_inner_texts()[:5] == ["2026", "11", "23", "20", "00"]


def test_a_found_design_becomes_a_draft_while_the_page_looks_on(page: Any, workshop: Any, draft: str) -> None:
    """The button stands in the part of the page that is drawn each second, and leads to the new draft."""
    kept = planning.study(workshop.store, workshop.leader, draft).plan
    wide = tuple(replace(line, margin=3.0) for line in kept.attributes[:1])
    planning.keep_plan(workshop.store, workshop.leader, draft, replace(kept, attributes=wide))
    page.reload()
    page.get_by_label("Wished chance of an answer, in 100").fill("30")
    page.get_by_label("Wished chance of an answer, in 100").press("Tab")
    page.get_by_role("button", name="Find a plan").click()
    page.get_by_role("button", name="Make a draft of it").click(timeout=120000)
    page.get_by_text("Plan: Blocks, again").wait_for()
    titles = [study.plan.title for study in planning.studies(workshop.store, workshop.leader)]
    assert titles.count("Blocks, again") == 1


OPEN = "details[open] > summary"


def test_a_step_folds_once_nothing_is_left_to_fix_and_says_what_is_in_it(page: Any) -> None:
    """One is open at a time. A slip keeps its step open, with what was typed, after a reload of the page too."""
    assert page.locator(OPEN).count() == 0, "a finished plan is a line a step"
    assert page.locator("summary", has_text="0, 4, 8, 12, 16, 20, 24, 36 h").count() == 1
    open_step(page, "On the table")
    open_step(page, "The question")
    page.locator(OPEN, has_text="On the table").wait_for(state="detached")
    pulls = page.get_by_label("Pulls, hours after hour zero")
    pulls.fill("0, 8h, 24")
    pulls.press("Tab")
    page.locator(OPEN, has_text="1 thing to fix").wait_for()
    page.get_by_role("button", name="Next: What is asked").click()
    for _load in range(2):
        page.get_by_text("Fix the pulls: “8h” is not a number of hours. Write 8.").wait_for()
        page.locator(OPEN, has_text="The question").wait_for()
        _until(page, lambda: pulls.input_value() == "0, 8h, 24")
        page.reload()
    pulls.fill("0, 8, 24")
    pulls.press("Tab")
    page.locator(OPEN, has_text="0, 8, 24 h").wait_for()
    page.get_by_role("button", name="Next: What is asked").click()
    page.locator(OPEN, has_text="What is asked").wait_for()
    _until(page, lambda: page.locator(OPEN).count() == 1)


@pytest.mark.parametrize("width", [390, 640])
def test_steps_work_by_keyboard_have_no_barrier_and_fit(page: Any, width: int) -> None:
    """640 px wide is a desk of 1280 px at 200 % (WCAG 2.2, 1.4.4): nothing scrolls sideways, no line is cut."""
    for step in ("The question", "What is asked", "Who tastes", "On the table", "When, and how much"):
        line = page.locator("summary", has_text=step).first
        line.focus()
        page.keyboard.press("Enter")
        page.locator(OPEN, has_text=step).wait_for()
        # At its end, where the chances lie in their place and not above a field.
        page.evaluate("document.querySelector('.stMain').scrollTo(0, 1e6)")
        page.wait_for_timeout(400)
        page.locator('[data-test-script-state="notRunning"]').wait_for()
        _until(page, lambda: page.locator('[data-stale="true"]').count() == 0)  # what waits to be drawn anew is pale
        assert _barriers(page) == []
        assert page.evaluate("document.documentElement.scrollWidth") <= width
        cut = "all => all.filter(one => one.scrollWidth > one.clientWidth + 1).map(one => one.innerText)"
        assert page.locator("summary p, summary strong").evaluate_all(cut) == []
