"""Acknowledged is kept, and touched goes out: kills, cuts and silences, counted outside the server."""

from __future__ import annotations

from typing import Any

import pytest

pytestmark = [pytest.mark.browser, pytest.mark.reliability]


def values(workshop: Any) -> list[tuple[str, float | None]]:
    """Line and value of every row, oldest first."""
    return [(line, value) for _code, line, value, _reason in workshop.scores()]


def test_a_killed_server_comes_back_at_the_same_serving(server: Any, workshop: Any, hands: Any) -> None:
    """kill -9, a touch while it is down, a restart: the touch arrives by itself, once, and the serving goes on."""
    me, _heard = hands()
    me.start(server.url + workshop.link())
    code = me.code()
    me.touch("Acidity", 0.2)
    me.saved()
    server.kill()
    me.touch("Bitterness", 0.6)
    me.see("No connection. Your marks wait on this phone and go out by themselves.")
    assert me.page.locator(".kept").inner_text() == "waiting"
    server.start()
    me.saved()
    assert me.code() == code
    me.touch("Astringency", 0.4)
    me.saved()
    me.press("Next serving")
    me.see("Serving 2 of 3. Take cup")
    assert values(workshop) == [
        ("Acidity", pytest.approx(2.0, abs=0.11)),
        ("Bitterness", pytest.approx(6.0, abs=0.11)),
        ("Astringency", pytest.approx(4.0, abs=0.11)),
    ]


def test_a_dead_battery_resumes_on_the_way_back(server: Any, workshop: Any, hands: Any) -> None:
    """Marks that never went out wait in the phone over a reload and a restart of the server."""
    me, _heard = hands()
    me.start(server.url + workshop.link())
    me.touch("Acidity", 0.2)
    me.saved()
    server.kill()
    me.touch("Bitterness", 0.6)
    me.wait(1500)
    server.start()
    me.page.reload()
    me.see("Serving 1 of 3. Take cup")
    me.page.locator(".line.marked", has_text="Bitterness").wait_for()
    assert [line for line, _value in values(workshop)] == ["Acidity", "Bitterness"]


def test_cut_lines_lose_and_double_nothing(server: Any, workshop: Any, line: Any, hands: Any) -> None:
    """Ten cuts in the middle of marking: each line is kept at its last touch, each touch at most once."""
    me, _heard = hands()
    me.start(line.url + workshop.link())
    touched = []
    for turn in range(10):
        name = ("Acidity", "Bitterness", "Astringency")[turn % 3]
        share = 0.05 + 0.09 * turn
        me.touch(name, share)
        line.set("cut")
        me.wait(60 + 37 * turn)
        line.set("pass")
        touched.append((name, pytest.approx(share * 10, abs=0.11)))
        me.saved()
        me.page.wait_for_function("() => !Object.keys(localStorage).some(key => key.startsWith('marks-'))")
    assert values(workshop) == touched
    me.press("Next serving")
    me.see("Serving 2 of 3. Take cup")


def test_a_silent_line_says_waiting_and_never_saved(server: Any, workshop: Any, line: Any, hands: Any) -> None:
    """While the network swallows everything the page does not say saved; afterwards the mark arrives once."""
    me, _heard = hands()
    me.start(line.url + workshop.link())
    me.touch("Acidity", 0.2)
    me.saved()
    line.set("hole")
    me.touch("Acidity", 0.9)
    me.wait(9500)
    assert me.page.locator(".kept").inner_text() == "waiting"
    assert len(values(workshop)) == 1
    line.set("cut")
    me.wait(300)
    line.set("pass")
    me.saved()
    assert values(workshop) == [("Acidity", pytest.approx(2.0, abs=0.11)), ("Acidity", pytest.approx(9.0, abs=0.11))]


def test_next_goes_on_when_the_socket_is_dead(server: Any, workshop: Any, line: Any, hands: Any) -> None:
    """Next is acknowledged by a plain request; when no redraw follows the page loads itself anew."""
    me, _heard = hands()
    me.start(line.url + workshop.link())
    me.mark_all()
    server.kill()
    me.press("Next serving")
    me.see("No connection. This goes on by itself as soon as there is one.")
    server.start()
    me.see("Serving 2 of 3. Take cup")
    assert len(values(workshop)) == 3
