"""What many studies cost: the list, opening one, its verdict, the check of the record, a backup and an export.

Run `python tests/benchmarks/bench_many.py [postgres] [STUDIES ...]`, for example `100 1000 10000`. Each is a whole
study of eight people, six pulls, five lines and two sittings (480 scores) with its key opened: the first is tasted
through the services, the others are copies of its rows and events with every hash made anew (`bulk.py`), so that
`check` believes each. For each size each act runs in a process of its own: milliseconds (of the second call where an
act is asked for often), the most memory that process held, and both in multiples of the smallest size. `whole` is the
check of everything, `check` the next one after somebody did something in one study. A backup of PostgreSQL is left to
its own tools. 10,000 studies are 4.8 million scores and 7 million events: 4 to 5 GB.
"""

from __future__ import annotations

import os
import resource
import secrets
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

from studyapp.kinds.hours import deciding
from studyapp.kinds.hours.plan import HoursPlan, Pull
from studyapp.records import Attribute, Staff
from studyapp.services import accounts, backups, closing, joining, packages, panel, planning, preparing, watching
from studyapp.services.checking import check
from studyapp.store import Store, open_store
from tests.benchmarks import bulk
from tests.conftest import CHECKS, Hand
from tests.store.conftest import served

SIZES = (5, 20)
LINES = ("Acidity", "Bitterness", "Astringency", "Cacao", "Off-notes")
HOURS = (0, 4, 8, 12, 16, 24)
ACTS = ("list", "open", "decide", "new", "whole", "check", "backup", "export")
OFTEN = ("list", "open", "decide")


def taste(store: Store, leader: Staff, preparer: Staff, seated: tuple[str, ...], title: str) -> str:
    """One study from its draft to the opened key."""
    plan = HoursPlan(
        title,
        "When does it stop improving?",
        pulls=tuple(Pull(hour) for hour in HOURS),
        attributes=tuple(Attribute(name) for name in LINES),
        assessors=seated,
        warm_up=False,
        rest_seconds=0,
        looks=1,
        sittings=2,
        contains="cocoa",
    )
    study = planning.new_study(store, leader, "hours", title)
    planning.keep_plan(store, leader, study, plan)
    planning.seal(store, leader, study, title)
    for sitting in preparing.sittings(store, preparer, study):
        for tray in preparing.trays(store, preparer, sitting.id):
            preparing.release_tray(store, preparer, sitting.id, tray.position, CHECKS, "Cleo")
        watching.open_sitting(store, leader, sitting.id)
        for link in joining.issue_links(store, leader, sitting.id):
            Hand(store, joining.join(store, link.code, "bench", None)).taste_all()
        watching.close_sitting(store, leader, sitting.id, "")
    closing.open_key(store, leader, study, "Ada")
    return study


def act(name: str, url: str, study: str, folder: Path) -> Callable[[], object]:
    """One act on a store, by its leader; points lie in `folder`, beside everything else."""
    if name in ("whole", "check"):
        return lambda: proven(url, folder, name == "whole")
    if name == "backup":
        return lambda: None if "://" in url else backups.backup(url, folder / "copy.sqlite")
    store = open_store(url)
    leader = accounts.staff_of(store, accounts.sign_in(store, "Ada", "a bench by the window", "bench"))
    assert leader is not None
    deed: dict[str, Callable[[], object]] = {
        "list": lambda: planning.studies(store, leader),
        "open": lambda: planning.study(store, leader, study),
        "decide": lambda: deciding.decision(store, leader, study),
        "new": lambda: planning.new_study(store, leader, "hours", "One more"),
        "export": lambda: packages.take_out(store, study, folder / secrets.token_hex(4)),
    }
    return deed[name]


def proven(url: str, folder: Path, whole: bool) -> None:
    """A check, which must find nothing; before one that goes on from a point, somebody does something in one study."""
    if not whole:
        store = open_store(url)
        leader = accounts.staff_of(store, accounts.sign_in(store, "Ada", "a bench by the window", "bench"))
        assert leader is not None
        watching.note_deviation(store, leader, planning.studies(store, leader)[-1].id, "The room was warm.")
        store.close()
    report = check(url, None, folder, whole)
    assert report.sound, report


def measured(name: str, url: str, study: str, folder: Path) -> None:
    """Print milliseconds and the most megabytes of one act; in a process of its own."""
    deed = act(name, url, study, folder)
    if name in OFTEN:
        deed()
    start = time.perf_counter()
    deed()
    took = 1000 * (time.perf_counter() - start)
    print(took, resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024)


def asked(name: str, url: str, study: str, folder: str) -> tuple[float, float]:
    """The same from outside."""
    command = [sys.executable, __file__, "act", name, url, study, folder]
    told = subprocess.run(command, capture_output=True, text=True, check=True).stdout.split()
    return float(told[0]), float(told[1])


@contextmanager
def place(folder: str, postgres: bool) -> Iterator[str]:
    """The address of an empty store."""
    if not postgres:
        yield str(Path(folder) / "studies.sqlite")
        return
    with contextmanager(served)() as url:
        yield f"{url}/postgres"


def main(sizes: tuple[int, ...], postgres: bool) -> None:
    """Print the table."""
    print(f"{'studies, scores':<20}" + "".join(f"{name:>26}" for name in ACTS) + "   ms (x), MB (x)")
    first: dict[str, tuple[float, float]] = {}
    with tempfile.TemporaryDirectory() as folder, place(folder, postgres) as url:
        store = open_store(url)
        leader = accounts.first_leader(store, "Ada", "a bench by the window")
        preparer = accounts.add_staff(store, leader, "Ben", "preparer", "a bench by the window")
        seated = tuple(panel.add_assessor(store, leader, f"Seat {number}").id for number in range(8))
        study, have = taste(store, leader, preparer, seated, "Study 0"), 1
        for size in sorted(sizes):
            begun = time.perf_counter()
            bulk.fill(store, study, have, size)
            have, took = size, time.perf_counter() - begun
            cells = []
            for name in ACTS:
                ms, mb = asked(name, url, study, folder)
                of_ms, of_mb = first.setdefault(name, (ms, mb))
                cells.append(f"{ms:9.0f} ({ms / of_ms:.1f}) {mb:4.0f} ({mb / of_mb:.1f})")
                Path(folder, "copy.sqlite").unlink(missing_ok=True)
            row = f"{size}, {size * 2 * 8 * len(HOURS) * len(LINES)}"
            print(f"{row:<20}" + "".join(f"{cell:>26}" for cell in cells) + f"   made in {took:.0f} s", flush=True)
        store.close()
    print(f"load {os.getloadavg()[0]:.0f}")


if __name__ == "__main__":
    if sys.argv[1:2] == ["act"]:
        measured(*sys.argv[2:5], Path(sys.argv[5]))
    else:
        wanted = [word for word in sys.argv[1:] if word != "postgres"]
        main(tuple(map(int, wanted)) or SIZES, "postgres" in sys.argv)
