"""Run as a process of its own: restore a backup and pull the plug before the n-th step that names a file, for every n.

Usage: killed_restore.py FOLDER BACKUP OLD_HEAD NEW_HEAD RANDOM_KILLS SEED

FOLDER holds `old.sqlite`, a whole store whose last marks are still in its log, as after a kill. Each round works on a
copy of it. After each kill the store must be the old one or the new one, whole and sound, and a second restore must
come to its end; where a kill leaves the very files that an earlier one left, that second restore is the same one and
is not made again. Prints one JSON object.
"""

from __future__ import annotations

import json
import os
import random
import re
import shutil
import signal
import sys
import time
from collections.abc import Callable
from pathlib import Path

from studyapp.records import CheckReport
from studyapp.services import backups
from studyapp.services.checking import check
from studyapp.store import read_store

STEPS = {"os.rename", "os.remove", "os.link", "os.chmod", "open", "os.truncate"}


def old_store(folder: Path, number: int) -> Path:
    """A copy of the old store with the log that lies beside it."""
    work = folder / f"round{number}"
    work.mkdir()
    for tail in ("", "-wal", "-shm"):
        if (source := folder / f"old.sqlite{tail}").exists():
            shutil.copy(source, work / f"studies.sqlite{tail}")
    return work / "studies.sqlite"


def killed(act: Callable[[], object], root: str, at: int | None, after: float | None) -> bool:
    """Do something in a child that dies before its step number `at` at a file under `root` (a file of code that is read
    on the way is no step), or after some seconds; whether it died."""
    child = os.fork()
    if child == 0:
        seen = 0

        def count(what: str, arguments: tuple[object, ...]) -> None:
            nonlocal seen
            if what in STEPS and str(arguments[0]).startswith(root):
                seen += 1
                if seen == at:
                    os.kill(os.getpid(), signal.SIGKILL)

        if at is not None:
            sys.addaudithook(count)
        try:
            act()
        except BaseException as error:
            print(error, file=sys.stderr)
            os._exit(1)
        os._exit(0)
    if after is not None:
        time.sleep(after)
        os.kill(child, signal.SIGKILL)
    _pid, status = os.waitpid(child, 0)
    if os.WIFEXITED(status) and os.WEXITSTATUS(status):
        raise SystemExit(f"step {at}: the restore failed")
    return os.WIFSIGNALED(status)


def left(file: Path) -> tuple[tuple[str, int], ...]:
    """The files of a round by name and size; the moment in a name is left out."""
    files = file.parent.iterdir()
    beside = ((re.sub(r"before-.*?(?=-wal|-shm|$)", "before", one.name), one.stat().st_size) for one in files)
    return tuple(sorted(beside))


def unsound(report: CheckReport, heads: tuple[str, str]) -> list[str]:
    """What does not hold right after a kill."""
    wrong = [finding.sentence for finding in report.findings if finding.level == "error"]
    return wrong + ([] if report.head in heads else [f"a head of neither: {report.head}"])


def redone(file: Path, heads: tuple[str, str], backup: Path) -> list[str]:
    """What does not hold after a second restore."""
    backups.restore(backup, str(file))
    wrong = [] if check(str(file)).head == heads[1] else ["the second restore did not come to its end"]
    others = [other for other in file.parent.glob("*.before-*") if not other.name.endswith(("-wal", "-shm"))]
    kept = {check(str(other)).head for other in others if other.stat().st_nlink == 1}
    wrong += [] if heads[0] in kept else ["the old store is gone"]
    wrong += ["a file with two names"] if len(kept) == 0 or file.stat().st_nlink > 1 else []
    return wrong


def main() -> None:
    """All rounds; the answer goes to stdout."""
    folder, backup = Path(sys.argv[1]), Path(sys.argv[2])
    heads, kills, rng = (sys.argv[3], sys.argv[4]), int(sys.argv[5]), random.Random(int(sys.argv[6]))
    read_store(str(backup)).close()  # what a restore imports is imported before the first fork
    wrong: dict[str, list[str]] = {}
    found = dict.fromkeys(heads, 0)
    seen = set()
    step, dies = 0, True
    while dies:
        step += 1
        file = old_store(folder, step)
        dies = killed(lambda file=file: backups.restore(backup, str(file)), str(file.parent), step, None)
        state, report = left(file), check(str(file))
        found[report.head] += 1
        problems = unsound(report, heads) if dies else []
        if dies and (report.head, state) not in seen:
            problems += redone(file, heads, backup)
        seen.add((report.head, state))
        if problems:
            wrong[f"step {step}"] = problems
    for number in range(kills):
        file = old_store(folder, 10_000 + number)
        killed(lambda file=file: backups.restore(backup, str(file)), str(file.parent), None, rng.uniform(0.0, 0.4))
        if problems := unsound(check(str(file)), heads) + redone(file, heads, backup):
            wrong[f"kill {number}"] = problems
    print(json.dumps({"steps": step - 1, "old": found[heads[0]], "new": found[heads[1]], "wrong": wrong}))


if __name__ == "__main__":
    main()
