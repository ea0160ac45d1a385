"""What many studies cost: the list, opening one, its verdict, the check of the whole record, a backup and an export.

Run `python tests/benchmarks/bench_many.py [STUDIES ...]`, for example `10 40 160`. Each is a whole study of eight
people, six pulls and five lines (240 scores) with its key opened, tasted through the services, so that every row and
event is one that `check` believes. For each size each act runs in a process of its own: milliseconds (of the second
call where an act is asked for often), the most memory that process held, and both in multiples of the smallest size.
What the figures show is how an act grows; 10,000 studies take a night to build.
"""

from __future__ import annotations

import os
import resource
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

from studyapp.kinds.hours import deciding
from studyapp.kinds.hours.plan import HoursPlan, Pull
from studyapp.records import Attribute, Staff
from studyapp.services import accounts, backups, closing, joining, packages, panel, planning, preparing, watching
from studyapp.services.checking import check
from studyapp.store import Store, open_store
from tests.conftest import CHECKS, Hand

SIZES = (5, 20)
LINES = ("Acidity", "Bitterness", "Astringency", "Cacao", "Off-notes")
HOURS = (0, 4, 8, 12, 16, 24)
ACTS = ("list", "open", "decide", "check", "backup", "export")
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
        sittings=1,
        contains="cocoa",
    )
    study = planning.new_study(store, leader, "hours", title)
    planning.keep_plan(store, leader, study, plan)
    planning.seal(store, leader, study, title)
    sitting = preparing.sittings(store, preparer, study)[0]
    for tray in preparing.trays(store, preparer, sitting.id):
        preparing.release_tray(store, preparer, sitting.id, tray.position, CHECKS, "Cleo")
    watching.open_sitting(store, leader, sitting.id)
    for link in joining.issue_links(store, leader, sitting.id):
        Hand(store, joining.join(store, link.code, "bench", None)).taste_all()
    watching.close_sitting(store, leader, sitting.id, "")
    closing.open_key(store, leader, study, "Ada")
    return study


def act(name: str, file: str, study: str, folder: Path) -> Callable[[], object]:
    """One act on the store in `file`, by its leader."""
    if name in ("check", "backup"):
        return lambda: check(file) if name == "check" else backups.backup(file, folder / "copy.sqlite")
    store = open_store(file)
    leader = accounts.staff_of(store, accounts.sign_in(store, "Ada", "a bench by the window", "bench"))
    assert leader is not None
    deed: dict[str, Callable[[], object]] = {
        "list": lambda: planning.studies(store, leader),
        "open": lambda: planning.study(store, leader, study),
        "decide": lambda: deciding.decision(store, leader, study),
        "export": lambda: packages.take_out(store, study, folder / "package"),
    }
    return deed[name]


def measured(name: str, file: str, study: str) -> None:
    """Print milliseconds and the most megabytes of one act; in a process of its own."""
    with tempfile.TemporaryDirectory() as folder:
        deed = act(name, file, study, Path(folder))
        if name in OFTEN:
            deed()
        start = time.perf_counter()
        deed()
        took = 1000 * (time.perf_counter() - start)
    print(took, resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024)


def asked(name: str, file: str, study: str) -> tuple[float, float]:
    """The same from outside."""
    command = [sys.executable, __file__, "act", name, file, study]
    told = subprocess.run(command, capture_output=True, text=True, check=True).stdout.split()
    return float(told[0]), float(told[1])


def main(sizes: tuple[int, ...]) -> None:
    """Print the table."""
    print(f"{'studies, scores':<20}" + "".join(f"{name:>24}" for name in ACTS) + "   ms (x), MB (x)")
    first: dict[str, tuple[float, float]] = {}
    with tempfile.TemporaryDirectory() as folder:
        file = str(Path(folder) / "studies.sqlite")
        store = open_store(file)
        leader = accounts.first_leader(store, "Ada", "a bench by the window")
        preparer = accounts.add_staff(store, leader, "Ben", "preparer", "a bench by the window")
        seated = tuple(panel.add_assessor(store, leader, f"Seat {number}").id for number in range(8))
        made: list[str] = []
        for size in sorted(sizes):
            made += [taste(store, leader, preparer, seated, f"Study {n}") for n in range(len(made), size)]
            row = f"{size}, {size * 8 * len(HOURS) * len(LINES)}"
            cells = []
            for name in ACTS:
                ms, mb = asked(name, file, made[0])
                of_ms, of_mb = first.setdefault(name, (ms, mb))
                cells.append(f"{ms:8.0f} ({ms / of_ms:.1f}) {mb:4.0f} ({mb / of_mb:.1f})")
            print(f"{row:<20}" + "".join(f"{cell:>24}" for cell in cells), flush=True)
        store.close()
    print(f"load {os.getloadavg()[0]:.0f}")


if __name__ == "__main__":
    if sys.argv[1:2] == ["act"]:
        measured(*sys.argv[2:5])
    else:
        main(tuple(map(int, sys.argv[1:])) or SIZES)
