"""The doors of accounts as plain HTTP: who is heard, what is answered, and what the browser holds afterwards."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator
from typing import Any

import httpx
import pytest

from studyapp.services import accounts

OTHER = "a stool by the stove"


@pytest.fixture
def desk(server: Any, workshop: Any) -> Iterator[Callable[[str], httpx.Client]]:
    """Make browsers in which somebody has signed in; "" for nobody."""
    made: list[httpx.Client] = []

    def open_(name: str) -> httpx.Client:
        made.append(httpx.Client(base_url=server.url, headers={"Origin": server.url}, trust_env=False))
        if name:
            told = {"name": name, "passphrase": workshop.passphrase}
            assert made[-1].post("/sign-in", json=told).status_code == 200
        return made[-1]

    yield open_
    for each in made:
        each.close()


def test_a_change_gives_this_browser_a_new_token(desk: Any, server: Any, workshop: Any) -> None:
    """The cookie changes and holds; the one before, wherever a copy of it lies, is worthless."""
    ben, elsewhere = desk("Ben"), desk("Ben")
    before = ben.cookies["staff"]
    answer = ben.post("/passphrase", json={"old": workshop.passphrase, "new": OTHER})
    assert answer.status_code == 200
    assert "HttpOnly" in answer.headers["set-cookie"]
    assert ben.cookies["staff"] not in (before, elsewhere.cookies["staff"])
    labels = f"/print/labels/{workshop.sitting.id}"
    assert (ben.get(labels).status_code, elsewhere.get(labels).status_code) == (200, 403)
    with httpx.Client(base_url=server.url, headers={"Cookie": f"staff={before}"}, trust_env=False) as thief:
        assert thief.get(labels).status_code == 403


@pytest.mark.parametrize(
    ("path", "body"),
    [
        ("/staff", {"name": "Cleo", "role": "leader", "passphrase": OTHER, "tastes": ""}),
        ("/staff/passphrase", {"staff": "ADA", "passphrase": OTHER}),
    ],
)
def test_only_a_leader_is_heard_behind_the_door(desk: Any, workshop: Any, path: str, body: dict[str, str]) -> None:
    """Nobody, a preparer and an assessor are refused with a sentence; no account is made and none taken over."""
    sent = {name: workshop.leader.id if value == "ADA" else value for name, value in body.items()}
    seat = desk("")
    assert seat.get(workshop.link()).status_code == 303
    for browser in (desk(""), desk("Ben"), seat):
        answer = browser.post(path, json=sent)
        assert answer.status_code == 403
        assert answer.json()["sentence"].startswith("Not done: ")
    assert [one.member.name for one in accounts.everybody(workshop.store, workshop.leader)] == ["Ada", "Ben"]
    assert accounts.sign_in(workshop.store, "Ada", workshop.passphrase, "10.0.0.9")


def test_a_leader_adds_somebody_and_gives_a_passphrase_again(desk: Any, workshop: Any) -> None:
    """The first passphrase opens the door; a second one given later ends what the first had opened."""
    ada, heron = desk("Ada"), workshop.plan.assessors[0]
    told = {"name": "Cleo", "role": "preparer", "passphrase": OTHER, "tastes": heron}
    assert ada.post("/staff", json=told).status_code == 200
    cleo = desk("")
    assert cleo.post("/sign-in", json={"name": "Cleo", "passphrase": OTHER}).status_code == 200
    (kept,) = [one.member for one in accounts.everybody(workshop.store, workshop.leader) if one.member.name == "Cleo"]
    assert (kept.role, kept.person is not None) == ("preparer", True)
    again = {"staff": kept.id, "passphrase": "three sacks of nibs"}
    assert ada.post("/staff/passphrase", json=again).status_code == 200
    assert cleo.get(f"/print/labels/{workshop.sitting.id}").status_code == 403


@pytest.mark.parametrize(
    ("change", "status"),
    [
        ({"role": "owner"}, 400),
        ({"tastes": "nobody"}, 404),
        ({"name": "Ben"}, 400),
        ({"passphrase": "short"}, 400),
        ({"passphrase": "half a letter \ud800"}, 400),
    ],
)
def test_what_is_no_account_is_refused_with_a_sentence(
    desk: Any, workshop: Any, change: dict[str, str], status: int
) -> None:
    """No such role, no such assessor, a taken name, a passphrase that is short or no text: nothing is kept."""
    told = {"name": "Cleo", "role": "leader", "passphrase": OTHER, "tastes": ""} | change
    content, kind = json.dumps(told).encode(), {"Content-Type": "application/json"}
    answer = desk("Ada").post("/staff", content=content, headers=kind)
    assert (answer.status_code, answer.json()["ok"]) == (status, False)
    assert len(accounts.everybody(workshop.store, workshop.leader)) == 2


def test_guessing_the_old_passphrase_is_slowed_down(desk: Any, workshop: Any) -> None:
    """Five wrong ones a minute; then this door and the sign-in both wait."""
    ben, told = desk("Ben"), {"old": "a guess of mine", "new": OTHER}
    assert [ben.post("/passphrase", json=told).status_code for _time in range(6)] == [403] * 5 + [429]
    assert ben.post("/passphrase", json=told | {"old": workshop.passphrase}).status_code == 429
    assert desk("").post("/sign-in", json={"name": "Ben", "passphrase": workshop.passphrase}).status_code == 429


def test_an_ended_account_gets_no_paper(desk: Any, workshop: Any) -> None:
    """A browser that was signed in is refused by the next request already."""
    ben, labels = desk("Ben"), f"/print/labels/{workshop.sitting.id}"
    assert ben.get(labels).status_code == 200
    accounts.end_account(workshop.store, workshop.leader, workshop.preparer.id)
    assert ben.get(labels).status_code == 403
