"""Two server processes behind one address against one PostgreSQL: any of them may die, and neither forgets a guess."""

from __future__ import annotations

import contextlib
import os
import shutil
import subprocess
import threading
import time
from collections.abc import Iterator
from importlib.resources import files
from pathlib import Path
from typing import Any

import httpx
import pytest
from websockets.exceptions import ConnectionClosed
from websockets.sync.client import connect

from studyapp.services import accounts
from studyapp.services.checking import check
from studyapp.store import open_store
from tests.conftest import PLAN, Server, Workshop, free_port, furnish
from tests.reliability.test_killed_server import Assessor

pytestmark = [pytest.mark.postgres, pytest.mark.reliability]


@pytest.fixture
def house(postgres: str) -> Iterator[Workshop]:
    """A workshop in PostgreSQL."""
    store = open_store(postgres)
    yield furnish(store, PLAN, 5)
    store.close()


@pytest.fixture
def pair(postgres: str, house: Workshop, tmp_path: Path) -> Iterator[tuple[Server, Server]]:
    """Two processes on its store."""
    made = []
    for name in ("one", "two"):
        (tmp_path / name).mkdir()
        made.append(Server(tmp_path / name, free_port(), ("--store", postgres)).start())
    yield made[0], made[1]
    for each in made:
        each.stop()


@pytest.fixture
def front(pair: tuple[Server, Server]) -> Iterator[str]:
    """The one address, kept by HAProxy with the project's own configuration."""
    program = shutil.which("haproxy", path=f"{os.environ['PATH']}:/usr/sbin")
    if program is None:
        if os.environ.get("CI") == "true":
            pytest.fail("haproxy is missing")
        pytest.skip("haproxy is not installed")
    bind = f"127.0.0.1:{free_port()}"
    processes = {f"STUDYAPP_{name}": f"127.0.0.1:{each.port}" for name, each in zip(("ONE", "TWO"), pair, strict=True)}
    told = {**os.environ, **processes, "STUDYAPP_BIND": bind}
    configuration = str(files("studyapp").joinpath("assets", "haproxy.cfg"))
    running = subprocess.Popen([program, "-db", "-f", configuration], env=told, stderr=subprocess.DEVNULL)
    until = time.monotonic() + 30
    while time.monotonic() < until and not answers(f"http://{bind}"):
        time.sleep(0.1)
    assert running.poll() is None
    yield f"http://{bind}"
    running.terminate()
    running.wait(10)


def answers(url: str) -> bool:
    """Whether somebody is there."""
    try:
        return httpx.get(f"{url}/health", trust_env=False).status_code == 200
    except httpx.TransportError:
        return False


class Patient(Assessor):
    """A phone that comes again when no process answered, as the pages do."""

    def surely(self, phone: httpx.Client, method: str, path: str, body: Any = None) -> httpx.Response:
        """Until a process has answered."""
        while True:
            answer = super().surely(phone, method, path, body)
            if answer.status_code < 500:
                return answer
            self.refused.pop()
            time.sleep(0.2)


def test_any_process_may_die_during_a_sitting(front: str, pair: tuple[Server, Server], house: Workshop) -> None:
    """First one is killed and comes back, then the other: nothing lost, nothing doubled, nobody refused, a sound
    record."""
    there = type("There", (), {"url": front})()
    phones = [Patient(there, house.link(number)) for number in range(5)]
    threads = [threading.Thread(target=phone.taste) for phone in phones]
    for thread in threads:
        thread.start()
    kills = 0
    for each in pair:
        time.sleep(1)
        if any(thread.is_alive() for thread in threads):
            each.kill()
            kills += 1
            time.sleep(1)
            each.start()
    for thread in threads:
        thread.join(120)
    assert not any(thread.is_alive() for thread in threads)
    assert kills
    assert [phone.refused for phone in phones if phone.refused] == []
    kept = sorted((code, line, value) for code, line, value, _reason in house.scores())
    assert kept == sorted(mark for phone in phones for mark in phone.acknowledged)
    assert len(kept) == 5 * len(PLAN.pulls) * len(PLAN.attributes)
    assert check(house.store.url).sound


def _answers(phone: httpx.Client) -> bool:
    """Whether somebody behind the proxy answers; it may still close what it had open to the one that died."""
    with contextlib.suppress(httpx.TransportError):
        return phone.get("/health").status_code == 200
    return False


def test_a_browser_stays_with_its_process(front: str, pair: tuple[Server, Server], house: Workshop) -> None:
    """Requests and socket go to one of the two: the socket outlives the other and ends with its own, and then the phone
    is served again. Its address comes through, and what it claims about itself does not."""
    with httpx.Client(base_url=front, headers={"Origin": front}, trust_env=False, timeout=60) as phone:
        assert phone.get(house.link()).status_code == 303
        at = phone.cookies["at"]
        assert [phone.get("/place").headers.get("set-cookie") for _time in range(4)] == [None] * 4
        cookies = "; ".join(f"{name}={value}" for name, value in phone.cookies.items())
        told: Any = {"origin": front, "additional_headers": {"Cookie": cookies}, "proxy": None}
        with connect(front.replace("http", "ws") + "/_stcore/stream", **told) as socket:
            mine, other = pair if at == "one" else pair[::-1]
            other.kill()
            assert socket.ping().wait(30)
            mine.kill()
            with pytest.raises(ConnectionClosed):
                socket.recv(30)
            mine.start()
        while not _answers(phone):
            time.sleep(0.2)
        claim = {"X-Forwarded-For": "192.0.2.1"}
        phone.post("/sign-in", json={"name": "Eve", "passphrase": "a guess of mine"}, headers=claim)
    with house.store.read() as tx:
        counted = tx.exec_driver_sql("SELECT address FROM attempt WHERE kind = 'sign-in'").scalars().all()
    assert list(counted) == ["127.0.0.1"]


def test_guesses_count_in_both_processes(pair: tuple[Server, Server], house: Workshop) -> None:
    """Twelve at one moment, half of them at each: five are looked at, whichever process hears them."""
    found: list[int] = []

    def guess(server: Server) -> None:
        for _ in range(3):
            told = {"name": "Ada", "passphrase": "a guess of mine"}
            head = {"Origin": server.url}
            answer = httpx.post(f"{server.url}/sign-in", json=told, headers=head, trust_env=False, timeout=120)
            found.append(answer.status_code)

    threads = [threading.Thread(target=guess, args=(server,)) for server in pair * 2]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(120)
    assert found.count(403) == accounts.MINE
    assert set(found) == {403, 429}
