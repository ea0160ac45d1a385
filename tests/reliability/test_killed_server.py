"""kill -9 of the whole server under twelve assessors: what was acknowledged is there once, and everybody goes on."""

from __future__ import annotations

import random
import secrets
import threading
import time
from dataclasses import dataclass, field
from typing import Any

import httpx
import pytest

pytestmark = pytest.mark.reliability
KILLS = 4
TURNS = 100 // KILLS  # sittings in a search


@dataclass
class Assessor:
    """A phone in a thread: marks line after line, sends each mark until it is acknowledged, and counts."""

    server: Any
    link: str
    acknowledged: list[tuple[str, str, float]] = field(default_factory=list)
    refused: list[str] = field(default_factory=list)
    codes: list[str] = field(default_factory=list)

    def taste(self) -> None:
        """The whole sitting."""
        with httpx.Client(base_url=self.server.url, headers={"Origin": self.server.url}, trust_env=False) as phone:
            self.surely(phone, "GET", self.link)
            self.surely(phone, "POST", "/agree", {})
            while (place := self.surely(phone, "GET", "/place").json()["place"])["kind"] != "done":
                if place["kind"] == "serving":
                    self.mark(phone, place)
                self.surely(phone, "POST", "/finish", {"serving": place["serving"]})

    def mark(self, phone: httpx.Client, place: dict[str, Any]) -> None:
        """Each line of one serving, resuming where the store says marks are missing."""
        self.codes.append(place["code"])
        for line in place["lines"]:
            value = round(random.uniform(0, 10), 1)
            body = {"serving": place["serving"], "line": line["id"], "value": value, "nonce": secrets.token_hex(16)}
            if self.surely(phone, "POST", "/mark", body).status_code == 200:
                self.acknowledged.append((place["code"], line["name"], value))
            time.sleep(0.05)

    def surely(self, phone: httpx.Client, method: str, path: str, body: Any = None) -> httpx.Response:
        """Until there is an answer."""
        until = time.monotonic() + 60
        while time.monotonic() < until:
            try:
                answer = phone.request(method, path, json=body, timeout=5)
            except httpx.TransportError:
                time.sleep(0.2)
                continue
            if answer.status_code >= 400:
                self.refused.append(f"{path}: {answer.text}")
            return answer
        raise AssertionError(f"no answer for {path}")


def test_killed_under_twelve_assessors(server: Any, workshop: Any, turn: int) -> None:
    """Up to four kills while all of them mark: nothing lost, nothing doubled, nobody refused."""
    phones = [Assessor(server, workshop.link(number)) for number in range(len(workshop.links))]
    threads = [threading.Thread(target=phone.taste) for phone in phones]
    for thread in threads:
        thread.start()
    kills = 0
    while kills < KILLS and any(thread.is_alive() for thread in threads):
        time.sleep(random.uniform(0.2, 0.5))
        server.kill()
        server.start()
        kills += 1
    for thread in threads:
        thread.join(120)
    assert not any(thread.is_alive() for thread in threads)
    assert kills >= KILLS // 2, "the sitting was over before it was disturbed"
    assert [phone.refused for phone in phones if phone.refused] == []
    kept = sorted((code, line, value) for code, line, value, _reason in workshop.scores())
    assert kept == sorted(mark for phone in phones for mark in phone.acknowledged)
    assert all(len(set(phone.codes)) == len(workshop.plan.pulls) for phone in phones)


@pytest.fixture
def seats() -> int:
    """Twelve assessors in this workshop."""
    return 12
