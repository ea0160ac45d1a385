"""What the store costs: a mark alone and in a rush, and a page with ten or ten thousand other studies beside it.

Run `python tests/benchmarks/bench_store.py`. Each act is told in multiples of a bare SQLite insert with the same
durability, taken in the same turns, and again in a store that holds 10,000 other studies; ratios of medians over 20
turns each, with their range. Of the other studies 500 have servings and scores for everybody, and the chain of events
is as long as theirs together would be. Where the disk is slow to confirm a write the ratios fall towards 1: they say
what the project adds, not how fast a disk is.
"""

from __future__ import annotations

import itertools
import tempfile
import time
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from statistics import median

from sqlalchemy import Connection

from studyapp.kinds.hours.plan import HoursPlan, Pull
from studyapp.records import Attribute, Mark, Sitting, Staff
from studyapp.services import accounts, joining, panel, planning, preparing, tasting, watching
from studyapp.store import Store, open_store
from studyapp.store.engine import sqlite_module
from tests.conftest import CHECKS

RUSH, MANY, SCORED, EVENTS = 100, 10_000, 500, 100_000
BLOCK = 20
PHRASE = "a bench by the window"


def furnished(store: Store) -> tuple[Staff, str, Sitting, list[str]]:
    """A sealed study with 100 assessors at the table, each before the first cup."""
    leader = accounts.first_leader(store, "Ada", PHRASE)
    preparer = accounts.add_staff(store, leader, "Ben", "preparer", PHRASE)
    seated = tuple(panel.add_assessor(store, leader, f"Seat {number}").id for number in range(60))
    lines = (Attribute("Acidity"), Attribute("Bitterness"), Attribute("Astringency"))
    pulls = (Pull(0), Pull(8), Pull(24))
    plan = HoursPlan("Rush", "q", pulls=pulls, attributes=lines, assessors=seated, warm_up=False, contains="cocoa")
    study = planning.new_study(store, leader, "hours", plan.title)
    planning.keep_plan(store, leader, study, plan)
    planning.seal(store, leader, study, plan.title)
    sitting = preparing.sittings(store, preparer, study)[0]
    preparing.release_tray(store, preparer, sitting.id, 1, CHECKS, "Cleo")
    watching.open_sitting(store, leader, sitting.id)
    links = joining.issue_links(store, leader, sitting.id)
    tokens = [joining.join(store, link.code, "10.0.0.7", None) for link in links]
    for token in tokens:
        tasting.agree(store, token)
    return leader, study, sitting, tokens


def clocked(*acts: Callable[[], object], times: int = 200) -> list[list[float]]:
    """Milliseconds of each act, taken in turns, so that a busy moment of the machine hits all alike."""
    taken: list[list[float]] = [[] for _act in acts]
    for _ in range(times):
        for act, own in zip(acts, taken, strict=True):
            start = time.perf_counter()
            act()
            own.append(1000 * (time.perf_counter() - start))
    return taken


def ratio(mine: list[float], other: list[float]) -> str:
    """Ratio of the medians of `BLOCK` turns, single ones being at the mercy of the disk: middle and range of these."""
    starts = range(0, len(mine), BLOCK)
    found = [median(mine[i : i + BLOCK]) / median(other[i : i + BLOCK]) for i in starts]
    return f"{median(found):.2f} ({min(found):.2f} to {max(found):.2f})"


def rush(store: Store, tokens: list[str], numbers: itertools.count[int]) -> tuple[float, float]:
    """Everybody touches at one moment: milliseconds until the middle one and until 95 of 100 are kept."""
    start, taken = time.perf_counter(), []
    pages = [tasting.place(store, token) for token in tokens]
    marks = [Mark(page.serving or "", page.lines[0].id, 5.0, f"rush-{next(numbers):020d}") for page in pages]

    def touch(number: int) -> None:
        tasting.keep_mark(store, tokens[number % len(tokens)], marks[number % len(tokens)])
        taken.append(1000 * (time.perf_counter() - start))

    start = time.perf_counter()
    with ThreadPoolExecutor(40) as pool:
        list(pool.map(touch, range(RUSH)))
    taken.sort()
    return taken[RUSH // 2], taken[int(0.95 * RUSH) - 1]


def bare(folder: Path) -> Callable[[], object]:
    """A bare insert with a flush."""
    connection = sqlite_module().connect(str(folder / "bare.sqlite"), isolation_level=None)
    connection.execute("PRAGMA journal_mode=WAL")
    connection.execute("PRAGMA synchronous=FULL")
    connection.execute("CREATE TABLE bare (value REAL)")
    return lambda: connection.execute("INSERT INTO bare VALUES (5.0)")


def crowd(store: Store, study: str, count: int) -> None:
    """Put copies of a study beside it, under other ids, some with servings and scores, and a chain of events as long as
    theirs; guards and hashes are not the point here."""
    tables = {"study": "", "sample": "study_id", "attribute": "study_id", "sitting": "study_id"}
    with store.write() as tx:
        for number in range(count):
            for table, owner in tables.items():
                columns = [row[1] for row in tx.exec_driver_sql(f"PRAGMA table_info({table})")]
                wanted = [f"'{number}-'||{c}" if c in ("id", owner) else f'"{c}"' for c in columns]
                tx.exec_driver_sql(
                    f"INSERT INTO {table} SELECT {', '.join(wanted)} FROM {table} WHERE {owner or 'id'} = ?", (study,)
                )
        score_some(tx, study)
        tx.exec_driver_sql(
            "WITH RECURSIVE n(i) AS (SELECT 1 UNION ALL SELECT i + 1 FROM n WHERE i < ?) INSERT INTO event "
            "SELECT (SELECT max(seq) FROM event) + i, '', 'mark', 'other', '{}', 'prev-'||i, 'hash-'||i FROM n",
            (EVENTS,),
        )


def score_some(tx: Connection, study: str) -> None:
    """Servings and scores of `SCORED` of the copies."""
    own = "sitting_id IN (SELECT id FROM sitting WHERE study_id = ?)"
    for number in range(SCORED):
        columns = [row[1] for row in tx.exec_driver_sql("PRAGMA table_info(serving)")]
        moved = [f"'{number}-'||{c}" if c in ("id", "sitting_id", "sample_id") else f'"{c}"' for c in columns]
        tx.exec_driver_sql(f"INSERT INTO serving SELECT {', '.join(moved)} FROM serving WHERE {own}", (study,))
    tx.exec_driver_sql(
        "INSERT INTO score (serving_id, attribute_id, value, nonce, at, sha256) "
        "SELECT s.id, a.id, 5.0, s.id||a.id, '', '' FROM serving s "
        "JOIN sitting t ON t.id = s.sitting_id JOIN attribute a ON a.study_id = t.study_id "
        "WHERE t.study_id <> ?",
        (study,),
    )


def acts(store: Store, numbers: itertools.count[int]) -> tuple[dict[str, Callable[[], object]], list[str], str]:
    """What is timed in a store, its seat tokens, and the id of its study."""
    leader, study, sitting, tokens = furnished(store)
    page = tasting.place(store, tokens[0])
    serving, line = page.serving or "", page.lines[0].id
    timed: dict[str, Callable[[], object]] = {
        "a mark, alone": lambda: tasting.keep_mark(
            store, tokens[0], Mark(serving, line, 5.0, f"mark-{next(numbers):020d}")
        ),
        "an assessor's page": lambda: tasting.place(store, tokens[0]),
        "the watch page of 60 people": lambda: watching.progress(store, leader, sitting.id),
        "a study": lambda: planning.study(store, leader, study),
    }
    return timed, tokens, study


def main() -> None:
    """Print the table."""
    numbers = itertools.count()
    with tempfile.TemporaryDirectory() as name:
        small, full = (open_store(str(Path(name) / f"{which}.sqlite")) for which in ("small", "full"))
        few, tokens, _study = acts(small, numbers)
        many, _tokens, study = acts(full, numbers)
        crowd(full, study, MANY)
        insert = bare(Path(name))
        print(f"{'act':40} {'ms':>8} {'x bare insert':>24} {f'x with {MANY} studies':>24}")
        for what in few:
            yard, alone, crowded = clocked(insert, few[what], many[what])
            print(f"{what:40} {median(alone):8.2f} {ratio(alone, yard):>24} {ratio(crowded, alone):>24}")
        rounds = [rush(small, tokens, numbers) for _ in range(9)]
        yard = median(clocked(insert)[0])
        for what, taken in zip(("the middle one", "95 of 100 by"), zip(*rounds, strict=True), strict=True):
            print(f"{f'{RUSH} marks at one moment, {what}':40} {median(taken):8.2f} {median(taken) / yard:24.1f}")
        small.close()
        full.close()


if __name__ == "__main__":
    main()
