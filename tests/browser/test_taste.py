"""An assessor's way through a sitting in a real browser."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

pytestmark = pytest.mark.browser
LINES = ("Acidity", "Bitterness", "Astringency")


def test_a_whole_sitting_by_link(server: Any, workshop: Any, hands: Any) -> None:
    """Join, read, warm up, mark three servings, reload in the middle: every mark is in the store once, at its value."""
    me, _heard = hands()
    me.start(server.url + workshop.link())
    assert me.page.url == f"{server.url}/", "the code must leave the address bar"
    for number, share in ((1, 0.2), (2, 0.5), (3, 0.9)):
        me.see(f"Serving {number} of 3. Take cup")
        code = me.code()
        me.touch("Acidity", share)
        me.saved()
        me.page.reload()
        me.see(f"Serving {number} of 3. Take cup")
        assert me.code() == code
        assert me.page.get_by_text("not marked").count() == 2
        for line in LINES[1:]:
            me.touch(line, share)
        me.saved()
        me.press("Next serving")
        me.page.locator(".code", has_text=code).wait_for(state="detached")
    me.see("Thank you, Heron")
    me.see("All your 9 marks are kept.")
    kept = workshop.scores()
    assert len(kept) == 9
    for place, share in enumerate((2.0, 5.0, 9.0)):
        assert [value for _code, _line, value, _reason in kept[place * 3 : place * 3 + 3]] == pytest.approx(
            [share] * 3, abs=0.11
        )


def test_nothing_is_marked_before_a_touch(server: Any, workshop: Any, hands: Any) -> None:
    """A fresh ballot shows no mark and tells a screen reader so."""
    me, _heard = hands()
    me.start(server.url + workshop.link())
    assert me.page.locator(".mark:visible").count() == 0
    for name in LINES:
        assert me.page.get_by_role("slider", name=name).get_attribute("aria-valuetext") == "not marked"
    me.touch("Acidity", 0.3)
    me.saved()
    spoken = me.page.get_by_role("slider", name="Acidity").get_attribute("aria-valuetext")
    assert spoken == "3.0 of 10, from none to very strong"


def test_every_serving_begins_at_its_top(server: Any, workshop: Any, hands: Any) -> None:
    """Who pressed a button far down does not land in the middle of the next cup, its first line behind the code."""
    me, _heard = hands()
    me.page.set_viewport_size({"width": 390, "height": 500})
    me.start(server.url + workshop.link())
    me.mark_all()
    slow = ".stMainBlockContainer { min-height: 300vh }"  # a slow phone keeps the height of the page that leaves
    me.page.add_style_tag(content=slow)
    me.press("Next serving")
    me.see("Serving 2 of 3. Take cup")
    me.page.wait_for_function("document.querySelector('.stMain').scrollTop === 0", timeout=5000)
    lane, code = me.page.get_by_role("slider", name="Acidity").bounding_box(), me.page.locator(".cup").bounding_box()
    assert lane["y"] > code["y"] + code["height"]


def test_next_names_the_lines_without_a_mark(server: Any, workshop: Any, hands: Any) -> None:
    """Next with a gap names the lines, puts the focus on the first of them and stays."""
    me, _heard = hands()
    me.start(server.url + workshop.link())
    me.touch("Bitterness", 0.4)
    me.saved()
    me.press("Next serving")
    me.see("Two lines have no mark yet: Acidity, Astringency.")
    assert me.page.get_by_role("slider", name="Acidity").evaluate("lane => lane.getRootNode().activeElement === lane")
    assert len(workshop.scores()) == 1


def test_a_changed_mark_is_added_not_overwritten(server: Any, workshop: Any, hands: Any) -> None:
    """Touching a line again keeps both rows; the last one stands after a reload."""
    me, _heard = hands()
    me.start(server.url + workshop.link())
    for share in (0.3, 0.8):
        me.touch("Acidity", share)
        me.wait(400)
    me.saved()
    assert [value for _code, _line, value, _reason in workshop.scores()] == pytest.approx([3.0, 8.0], abs=0.11)
    me.page.reload()
    me.see("Serving 1 of 3. Take cup")
    assert "8.0 of 10" in str(me.page.get_by_role("slider", name="Acidity").get_attribute("aria-valuetext"))


def finger(me: Any, path: list[tuple[float, float]]) -> None:
    """Draw a finger over the glass, as the browser gets it from a touch screen."""
    glass = me.page.context.new_cdp_session(me.page)
    for step, (x, y) in enumerate(path):
        kind = "touchMove" if step else "touchStart"
        glass.send("Input.dispatchTouchEvent", {"type": kind, "touchPoints": [{"x": x, "y": y}]})
        me.wait(30)
    glass.send("Input.dispatchTouchEvent", {"type": "touchEnd", "touchPoints": []})
    me.wait(400)


def test_a_finger_marks_and_drags(server: Any, workshop: Any, hands: Any) -> None:
    """A tap marks; a drag along the line marks once, where it ends."""
    me, _heard = hands()
    me.start(server.url + workshop.link())
    box = me.page.get_by_role("slider", name="Acidity").bounding_box()
    left, width, middle = box["x"] + 23, box["width"] - 46, box["y"] + 30
    finger(me, [(left + 0.2 * width, middle)])
    me.saved()
    finger(me, [(left + share * width, middle) for share in (0.2, 0.3, 0.5, 0.7)])
    me.saved()
    assert [value for _code, _line, value, _reason in workshop.scores()] == pytest.approx([2.0, 7.0], abs=0.11)


def test_a_finger_that_scrolls_marks_nothing(server: Any, workshop: Any, hands: Any) -> None:
    """A finger that starts on a line and moves the page leaves the line as it was."""
    me, _heard = hands()
    me.page.set_viewport_size({"width": 390, "height": 500})
    me.start(server.url + workshop.link())
    box = me.page.get_by_role("slider", name="Bitterness").bounding_box()
    x, y = box["x"] + 150, box["y"] + 30
    finger(me, [(x, y - 12 * step) for step in range(14)])
    after = me.page.get_by_role("slider", name="Bitterness").bounding_box()
    assert after["y"] < box["y"] - 20, "the page has moved"
    assert me.page.get_by_role("slider", name="Bitterness").get_attribute("aria-valuetext") == "not marked"
    assert workshop.scores() == []


def test_a_double_tap_on_next_leaves_one_serving(server: Any, workshop: Any, hands: Any) -> None:
    """Two quick taps on Next go one step, and no score is doubled."""
    me, _heard = hands()
    me.start(server.url + workshop.link())
    me.mark_all()
    me.page.get_by_role("button", name="Next serving").dblclick()
    me.see("Serving 2 of 3. Take cup")
    me.wait(800)
    me.see("Serving 2 of 3. Take cup")
    assert len(workshop.scores()) == 3
    assert me.page.locator(".mark:visible").count() == 0


def test_by_keyboard_alone(server: Any, workshop: Any, hands: Any) -> None:
    """Every step can be done with keys: Tab, Enter, arrows, Page, Home, End and digits."""
    me, _heard = hands(1280)
    me.page.goto(server.url + workshop.link())
    me.see("You are Heron today")
    keys = me.page.keyboard

    def tab_to(words: str) -> None:
        for _step in range(30):
            keys.press("Tab")
            focused = me.page.evaluate(FOCUSED)
            if words in focused:
                return
        raise AssertionError(f"{words} cannot be reached")

    tab_to("I have read this, start")
    keys.press("Enter")
    me.see("To warm up. Take cup")
    tab_to("Next serving")
    keys.press("Enter")
    me.see("Serving 1 of 3. Take cup")
    for name, pressed in (
        ("Acidity", ["Home", "ArrowRight"]),
        ("Bitterness", ["End", "PageDown"]),
        ("Astringency", ["5"]),
    ):
        tab_to(name)
        for key in pressed:
            keys.press(key)
    tab_to("Next serving")
    keys.press("Space")
    me.see("Serving 2 of 3. Take cup")
    last = {line: value for _code, line, value, _reason in workshop.scores()}
    assert last == {"Acidity": 0.1, "Bitterness": 9.0, "Astringency": 5.0}


FOCUSED = """() => {
  let at = document.activeElement;
  while (at && at.shadowRoot && at.shadowRoot.activeElement) at = at.shadowRoot.activeElement;
  const named = at.getAttribute("aria-labelledby");
  return named ? at.getRootNode().getElementById(named).textContent : at.textContent;
}"""


def test_a_cup_that_cannot_be_judged(server: Any, workshop: Any, hands: Any) -> None:
    """All lines become missing with the reason, and the sitting goes on."""
    me, _heard = hands()
    me.start(server.url + workshop.link())
    code = me.code()
    me.press("I cannot judge this one")
    me.press("I cannot judge another one either")
    me.press("Leave this cup unjudged")
    me.see("Choose a reason first, or write a few words.")
    me.page.get_by_role("radio", name="Another reason").check()
    me.page.get_by_role("textbox", name="Another reason").fill("it fell to the floor")
    me.press("Leave this cup unjudged")
    me.see("Serving 2 of 3. Take cup")
    assert sorted(workshop.scores()) == sorted((code, line, None, "it fell to the floor") for line in LINES)


@pytest.mark.parametrize(("label", "values"), [("Stop, keep my marks", True), ("Stop, take my marks out", False)])
def test_stopping_keeps_or_takes_out(label: str, values: bool, server: Any, workshop: Any, hands: Any) -> None:
    """Who stops decides about the marks so far; nothing is deleted, a mark taken out is superseded by a missing one."""
    me, _heard = hands()
    me.start(server.url + workshop.link())
    me.mark_all()
    me.press("Next serving")
    me.see("Serving 2 of 3. Take cup")
    me.press("I want to stop")
    me.press(label)
    me.see("You have stopped")
    last = {(code, line): value for code, line, value, _reason in workshop.scores()}
    assert sum(value is not None for value in last.values()) == (3 if values else 0)


def test_not_today(server: Any, workshop: Any, hands: Any) -> None:
    """Sitting out asks nothing and keeps nothing; a slip can be undone."""
    me, _heard = hands()
    me.page.goto(server.url + workshop.link())
    me.press("Not today")
    me.see("Nothing for you today")
    me.press("I have read this, start")
    me.see("To warm up. Take cup")


def test_a_note_and_the_next_person_on_the_same_phone(server: Any, workshop: Any, hands: Any) -> None:
    """After stopping a note can be sent, and the phone can be freed: then it is nobody."""
    me, _heard = hands()
    me.start(server.url + workshop.link())
    me.press("I want to stop")
    me.press("Stop, keep my marks")
    me.page.get_by_label("Anything the panel leader should know?").fill("A draught by the door")
    me.press("Send note")
    me.see("Your note is kept.")
    me.press("Free this phone for somebody else")
    me.see("Sign in")
    me.page.goto(server.url + workshop.link(1))
    me.see("You are Lark today")


def test_a_sitting_loads_nothing_heavy(run_server: Any, workshop: Any, hands: Any) -> None:
    """The running server draws and keeps without numpy, pandas or arrow: none of their libraries is mapped."""
    server = run_server(installed=True)
    maps = Path(f"/proc/{server.process.pid}/maps")
    if not maps.exists():
        pytest.skip("needs Linux to look into a process")
    me, _heard = hands()
    me.start(server.url + workshop.link())
    me.mark_all()
    me.press("Next serving")
    me.see("Serving 2 of 3. Take cup")
    mapped = maps.read_text()
    assert "pysqlite3" in mapped or "sqlite" in mapped, "the look into the process sees libraries"
    assert [name for name in ("numpy", "pandas", "arrow", "scipy") if f"/{name}" in mapped] == []
