"""What an assessor's browser gets: never what a code stands for, never anything from outside, always our headers."""

from __future__ import annotations

import re
from typing import Any

import pytest

pytestmark = pytest.mark.browser


def planted(workshop: Any) -> dict[str, bytes]:
    """Everything that must stay on the server: names, hours, masses and ids."""
    plan = workshop.plan
    words = [*plan.title.split()[:1], *plan.recipe.split()[:1], *plan.batch.split()[:1], plan.machine, plan.hour_zero]
    numbers = [f"{number:g}" for pull in plan.pulls for number in (pull.hours, pull.mass_g)]
    return {each: each.encode() for each in [*words, *numbers, *workshop.secrets().values()]}


def test_no_canary_reaches_an_assessor(server: Any, workshop: Any, hands: Any) -> None:
    """Through a whole sitting no frame, header, address, page or console line holds what the key holds."""
    me, heard = hands()
    pages = []
    me.start(server.url + workshop.link())
    pages.append(me.page.content())
    for number in (1, 2, 3):
        me.see(f"Serving {number} of 3. Take cup")
        me.mark_all()
        pages.append(me.sent())
        me.press("Next serving")
    me.see("Thank you, Heron")
    pages.append(me.sent())
    pages.append(str(me.page.evaluate("fetch('/place').then(answer => answer.text())")))
    heap = heard.everything() + "\n".join(pages).encode()
    assert len(heard.frames) >= 5
    assert b"Acidity" in heap, "the search must see what is really sent"
    for what, bytes_ in planted(workshop).items():
        assert bytes_ not in heap, f"{what} reached the browser"


def test_nothing_leaves_this_server(server: Any, workshop: Any, hands: Any) -> None:
    """No page of the sitting asks any other host for anything."""
    me, heard = hands()
    me.start(server.url + workshop.link())
    me.mark_all()
    me.wait(500)
    assert len(heard.requests) > 20
    assert heard.outside(server.url) == []


def test_protecting_headers_are_on_every_answer(server: Any, workshop: Any, hands: Any) -> None:
    """Every response, page, script or route, carries the policy; only files that never change may be stored."""
    me, _heard = hands()
    answers: list[Any] = []
    me.page.on("response", lambda answer: answers.append(answer))
    me.start(server.url + workshop.link())
    me.mark_all()
    plain = [answer for answer in answers if answer.url.startswith("http")]
    assert len(plain) > 20
    for answer in plain:
        headers = answer.headers
        policy = headers["content-security-policy"]
        assert "default-src 'self'" in policy, answer.url
        assert "'unsafe-eval'" not in policy
        assert re.search(r"script-src 'self' blob: 'sha256-[\w+/=]+'", policy)
        assert headers["x-content-type-options"] == "nosniff"
        assert headers["referrer-policy"] == "no-referrer"
        lasting = "/static/" in answer.url or "/font/" in answer.url
        assert lasting or headers["cache-control"] == "no-store", answer.url


def test_no_script_can_read_who_this_is(server: Any, workshop: Any, hands: Any) -> None:
    """The seat is a cookie out of reach of scripts, for this site alone; the code is in no address."""
    me, heard = hands()
    me.start(server.url + workshop.link())
    cookies = {cookie["name"]: cookie for cookie in me.page.context.cookies()}
    assert cookies["seat"]["httpOnly"]
    assert cookies["seat"]["sameSite"] == "Lax"
    assert "seat" not in me.page.evaluate("document.cookie")
    code = workshop.links[0].code
    assert [url for url in heard.requests if code in url] == [f"{server.url}/join/{code}"]
    assert cookies["seat"]["value"].encode() not in b"".join(heard.frames)


def test_an_assessor_reaches_no_other_page(server: Any, workshop: Any, hands: Any) -> None:
    """Addresses of other screens draw the tasting, nothing else."""
    me, _heard = hands()
    me.start(server.url + workshop.link())
    for path in ("studies", "prepare", "watch", "decide", "bring"):
        me.page.goto(f"{server.url}/{path}?study={workshop.study}")
        me.see("Serving 1 of 3. Take cup")
    assert me.page.evaluate("fetch('/print/fill-sheet/x').then(answer => answer.status)") == 403


def test_a_defect_shows_a_code_and_nothing_else(server: Any, workshop: Any, hands: Any) -> None:
    """When something fails on our side the page and the terminal say nothing of what failed; the log has the code."""
    with workshop.store.write() as tx:
        guards = "SELECT name FROM sqlite_master WHERE type = 'trigger' AND tbl_name = 'study'"
        for name in tx.exec_driver_sql(guards).scalars().all():
            tx.exec_driver_sql(f"DROP TRIGGER {name}")
        tx.exec_driver_sql("UPDATE study SET plan = 'Drehmaschine'")
    me, heard = hands()
    me.page.goto(server.url + workshop.link())
    me.see("Not done: something failed on our side (code ")
    code = re.search(r"code (\w{4})", me.page.locator(".stAlert").inner_text())
    assert code is not None
    assert code.group(1) in server.logged()
    for place in (heard.everything(), server.printed().encode(), server.logged().encode()):
        assert b"Drehmaschine" not in place
        assert b"Traceback" not in place
