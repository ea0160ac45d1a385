"""Sets of cups over HTTP: a choice is posted once, committed before it is called kept, and checked at the door."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import httpx
import pytest

from studyapp.services import joining, preparing, watching
from studyapp.store import trials
from tests.furnished import furnished
from tests.kinds.aroma.aroma_kitchen import CANARIES, CHECKS, Kitchen, furnish_aroma


@pytest.fixture
def kitchen(tmp_path: Path) -> Iterator[Kitchen]:
    """A triangle study with an open sitting whose trays are out, in the store that the server opens."""
    store, made = furnished(tmp_path / "studies.sqlite", furnish_aroma)
    watching.open_sitting(store, made.leader, made.sittings()[0].id)
    for tray in preparing.trays(store, made.preparer, made.sittings()[0].id):
        preparing.release_tray(store, made.preparer, tray.sitting, tray.position, CHECKS, "Cleo")
    yield made
    store.close()


@pytest.fixture
def phone(kitchen: Kitchen, run_server: Callable[..., Any]) -> Iterator[httpx.Client]:
    """The first assessor's phone, joined and agreed."""
    server = run_server()
    link = joining.issue_links(kitchen.store, kitchen.leader, kitchen.sittings()[0].id)[0]
    with httpx.Client(base_url=server.url, headers={"Origin": server.url}, trust_env=False) as client:
        assert client.get(f"/join/{link.code}").status_code == 303
        assert client.post("/agree", json={}).status_code == 200
        yield client


def here(phone: httpx.Client) -> dict[str, Any]:
    """The place as the phone reads it."""
    found: dict[str, Any] = phone.get("/place").json()["place"]
    return found


def test_a_choice_is_posted_once(phone: httpx.Client, kitchen: Kitchen) -> None:
    """Kept, heard again under its nonce, and final under any other; the second set follows."""
    place = here(phone)
    assert (place["kind"], len(place["cups"]), place["pick"]) == ("trial", 3, 1)
    body = {"set": place["trial"], "picked": [place["cups"][2]], "guess": True, "nonce": "n" * 24}
    first, again = (phone.post("/choice", json=body).json() for _time in range(2))
    assert (first["ok"], first["again"], again["again"], again["at"]) == (True, False, True, first["at"])
    other = phone.post("/choice", json={**body, "nonce": "m" * 24, "picked": [place["cups"][0]]})
    assert (other.status_code, other.json()["ok"]) == (409, False)
    assert other.json()["sentence"].startswith(f"Kept already at {first['at'][11:16]}")
    with kitchen.store.read() as tx:
        (row,) = trials.all_answers(tx)
    assert (row.choice, row.guess) == ((place["cups"][2],), True)
    assert here(phone)["number"] == 2


@pytest.mark.parametrize(
    "change",
    [
        {"picked": "739"},
        {"picked": None},
        {"picked": []},
        {"picked": [1]},
        {"picked": ["abc"]},
        {"guess": "no"},
        {"guess": None},
        {"nonce": "short"},
        {"nonce": None},
        {"set": None},
    ],
)
def test_what_is_no_choice_is_refused_with_a_sentence(
    phone: httpx.Client, kitchen: Kitchen, change: dict[str, Any]
) -> None:
    """400 and nothing kept."""
    place = here(phone)
    body = {"set": place["trial"], "picked": [place["cups"][0]], "guess": False, "nonce": "n" * 24, **change}
    answer = phone.post("/choice", json=body)
    assert (answer.status_code, answer.json()["ok"]) == (400, False)
    assert answer.json()["sentence"].startswith("Not done: ")
    with kitchen.store.read() as tx:
        assert trials.all_answers(tx) == []


def test_a_stranger_chooses_nothing(phone: httpx.Client) -> None:
    """Without the seat's cookie, or from another page."""
    place = here(phone)
    body = {"set": place["trial"], "picked": [place["cups"][0]], "guess": False, "nonce": "n" * 24}
    assert phone.post("/choice", json=body, headers={"Origin": "http://elsewhere.example"}).status_code == 403
    phone.cookies.clear()
    assert phone.post("/choice", json=body).status_code == 403


def test_the_wire_tells_no_sample(phone: httpx.Client, kitchen: Kitchen) -> None:
    """No planted word, no box and no plan in what the phone reads."""
    text = phone.get("/place").text
    with kitchen.store.read() as tx:
        secrets = [*CANARIES, kitchen.study, *(box.id for box in trials.boxes(tx, kitchen.study))]
    assert [secret for secret in secrets if secret in text] == []
