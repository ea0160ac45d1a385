"""PostgreSQL stopped at once, and its connections cut, under people who taste: nothing lost, nothing doubled.

`stop -m immediate` and `pg_terminate_backend` are PostgreSQL's own (its manual, pg_ctl and Server Signaling Functions).
"""

from __future__ import annotations

import os
import random
import threading
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import httpx
import psycopg
import pytest

from studyapp.services.checking import check
from studyapp.store import open_store
from tests.conftest import PLAN, Server, Workshop, free_port, furnish
from tests.store.conftest import Served, binaries
from tests.store.test_several_processes import Patient

pytestmark = [pytest.mark.postgres, pytest.mark.reliability]
SEATS, GAP = 5, 10.0  # people; seconds in which somebody must be served again


@pytest.fixture
def cluster() -> Iterator[Served]:
    """A server of this test's own, since it is stopped."""
    if binaries() is None:
        if os.environ.get("CI") == "true":
            pytest.fail("PostgreSQL is missing")
        pytest.skip("PostgreSQL is not installed")
    made = Served()
    made.start()
    yield made
    made.remove()


def cut(cluster: Served) -> None:
    """End every connection but the one that asks, in whatever it is doing."""
    with psycopg.connect(f"{cluster.url}/postgres", autocommit=True) as connection:
        connection.execute("SELECT pg_terminate_backend(pid) FROM pg_stat_activity WHERE pid <> pg_backend_pid()")


def stop(cluster: Served) -> None:
    """Pulled, and back a moment later."""
    cluster.stop_at_once()
    time.sleep(random.uniform(0.0, 0.5))
    cluster.start()


def served_again(app: Server, watcher: httpx.Client) -> float:
    """Seconds until the app answers a seated phone from the store again, without having been started again."""
    began = time.monotonic()
    while not _place(app, watcher):
        assert time.monotonic() - began < GAP
        time.sleep(0.05)
    return time.monotonic() - began


def _place(app: Server, watcher: httpx.Client) -> bool:
    return watcher.get(f"{app.url}/place").status_code == 200


def disturbed(cluster: Served, app: Server, house: Workshop, stops: int) -> tuple[int, float]:
    """One sitting in which the store goes away: how often, and the longest time that nobody was served."""
    phones = [Patient(app, house.link(number)) for number in range(SEATS)]
    threads = [threading.Thread(target=phone.taste) for phone in phones]
    happened, longest = 0, 0.0
    with httpx.Client(headers={"Origin": app.url}, trust_env=False, timeout=GAP) as watcher:
        assert watcher.get(app.url + house.link(SEATS)).status_code == 303
        for thread in threads:
            thread.start()
        while happened < stops and any(thread.is_alive() for thread in threads):
            time.sleep(random.uniform(0.1, 0.3))
            (stop, cut)[happened % 2](cluster)
            happened += 1
            longest = max(longest, served_again(app, watcher))
    for thread in threads:
        thread.join(120)
    assert not any(thread.is_alive() for thread in threads)
    assert [phone.refused for phone in phones if phone.refused] == []
    kept = sorted((code, line, value) for code, line, value, _reason in house.scores())
    assert kept == sorted(mark for phone in phones for mark in phone.acknowledged)
    assert len(kept) == SEATS * len(PLAN.pulls) * len(PLAN.attributes)
    return happened, longest


def test_people_taste_on_while_the_database_is_stopped_and_cut_off(
    cluster: Served, tmp_path: Path, draws: Callable[[int, int], int], capsys: pytest.CaptureFixture[str]
) -> None:
    """Stops and cuts in turn, 4 of them and 50 in a search, a fresh database for each sitting."""
    wanted, done, longest = draws(4, 50), 0, 0.0
    for number in range(wanted):
        with psycopg.connect(f"{cluster.url}/postgres", autocommit=True) as connection:
            connection.execute(f"CREATE DATABASE sitting{number}")
        store = open_store(f"{cluster.url}/sitting{number}")
        house = furnish(store, PLAN, SEATS + 1)
        (tmp_path / str(number)).mkdir()
        app = Server(tmp_path / str(number), free_port(), ("--store", store.url)).start()
        try:
            happened, gap = disturbed(cluster, app, house, wanted - done)
        finally:
            app.stop()
        assert check(store.url).sound
        store.close()
        done, longest = done + happened, max(longest, gap)
        if done >= wanted:
            break
    assert done >= wanted
    with capsys.disabled():
        print(f"{done} stops and cuts, nobody served for {longest:.1f} s at most")
