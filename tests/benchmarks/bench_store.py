"""What the store costs: a mark alone and in a rush, and a page with ten or ten thousand other studies beside it.

Run `python tests/benchmarks/bench_store.py`. The yardstick is a bare SQLite insert with the same durability.
"""

from __future__ import annotations

import itertools
import tempfile
import time
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from statistics import median

from studyapp.records import Attribute, Mark, Plan, Pull, Sitting, Staff
from studyapp.services import accounts, joining, panel, planning, preparing, tasting, watching
from studyapp.store import Store, open_store
from studyapp.store.engine import sqlite_module

RUSH, MANY = 100, 10_000
PHRASE = "a bench by the window"


def furnished(store: Store) -> tuple[Staff, str, Sitting, list[str]]:
    """A sealed study with 100 assessors at the table, each before the first cup."""
    leader = accounts.first_leader(store, "Ada", PHRASE)
    preparer = accounts.add_staff(store, leader, "Ben", "preparer", PHRASE)
    seated = tuple(panel.add_assessor(store, leader, f"Seat {number}").id for number in range(60))
    lines = (Attribute("Acidity"), Attribute("Bitterness"), Attribute("Astringency"))
    pulls = (Pull(0), Pull(8), Pull(24))
    plan = Plan("Rush", "q", pulls=pulls, attributes=lines, assessors=seated, warm_up=False, contains="cocoa")
    study = planning.new_study(store, leader, plan.title)
    planning.keep_plan(store, leader, study, plan)
    planning.seal(store, leader, study, plan.title)
    sitting = preparing.sittings(store, preparer, study)[0]
    preparing.release_tray(store, preparer, sitting.id, 1, frozenset(preparing.CHECKS), "Cleo")
    watching.open_sitting(store, leader, sitting.id)
    links = joining.issue_links(store, leader, sitting.id)
    tokens = [joining.join(store, link.code, "10.0.0.7", None) for link in links]
    for token in tokens:
        tasting.agree(store, token)
    return leader, study, sitting, tokens


def clocked(*acts: Callable[[], object], times: int = 200) -> list[float]:
    """Median milliseconds of each act, taken in turns, so that a busy moment of the machine hits all alike."""
    taken: list[list[float]] = [[] for _act in acts]
    for _ in range(times):
        for act, own in zip(acts, taken, strict=True):
            start = time.perf_counter()
            act()
            own.append(1000 * (time.perf_counter() - start))
    return [median(own) for own in taken]


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
    """Put copies of everything a study has beside it, under other ids; guards and chain are not the point here."""
    tables = {"study": "", "sample": "study_id", "attribute": "study_id", "sitting": "study_id"}
    with store.write() as tx:
        for number in range(count):
            for table, owner in tables.items():
                columns = [row[1] for row in tx.exec_driver_sql(f"PRAGMA table_info({table})")]
                wanted = [f"'{number}-'||{c}" if c in ("id", owner) else f'"{c}"' for c in columns]
                tx.exec_driver_sql(
                    f"INSERT INTO {table} SELECT {', '.join(wanted)} FROM {table} WHERE {owner or 'id'} = ?", (study,)
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
        print(f"{'act':40} {'ms':>8} {'x bare insert':>14} {f'x with {MANY} studies':>22}")
        for what in few:
            yard, alone, crowded = clocked(insert, few[what], many[what])
            print(f"{what:40} {alone:8.2f} {alone / yard:14.1f} {crowded / alone:22.2f}")
        rounds = [rush(small, tokens, numbers) for _ in range(9)]
        (yard,) = clocked(insert)
        for what, taken in zip(("the middle one", "95 of 100 by"), zip(*rounds, strict=True), strict=True):
            print(f"{f'{RUSH} marks at one moment, {what}':40} {median(taken):8.2f} {median(taken) / yard:14.1f}")
        small.close()
        full.close()


if __name__ == "__main__":
    main()
