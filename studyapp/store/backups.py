"""Whole copies of a SQLite store, made by SQLite itself: a plain copy of a file in use is not a backup."""

from __future__ import annotations

import contextlib
import os
from pathlib import Path

from studyapp.errors import StoreProblem
from studyapp.store import place, read_as_it_stands
from studyapp.store.engine import parse, sqlite_module
from studyapp.store.events import now
from studyapp.words import _

TAILS = ("-wal", "-shm", "-journal")


def file_of(url: str) -> Path:
    """The file of a SQLite store.

    Raises:
        StoreProblem: the store is a PostgreSQL database, which has tools of its own.
    """
    parsed = parse(url)
    if parsed.get_backend_name() != "sqlite":
        raise StoreProblem(_("Not done: this store is a PostgreSQL database. Use pg_dump and pg_restore."))
    return Path(parsed.database or "").resolve()


def copy_to(url: str, target: Path) -> None:
    """Write everything committed so far to the new file `target`; writers go on meanwhile.

    Raises:
        StoreProblem: there is no such store, the target exists, or its folder cannot take it.
    """
    file_of(url)
    target = target.resolve()
    if target.exists():
        raise StoreProblem(_("Not done: {path} exists. Name a new file.").format(path=target))
    place.refuse_unfit(target, read_only=False)
    part = target.with_name(f"{target.name}.part")
    with contextlib.suppress(FileNotFoundError):
        part.unlink()
    try:
        place.make(part)
        _vacuum(url, part)
        os.replace(part, target)
    finally:
        with contextlib.suppress(FileNotFoundError):
            part.unlink()


def _vacuum(url: str, part: Path) -> None:
    """A compact copy as of one moment, on the disk when this returns."""
    store = read_as_it_stands(url)
    try:
        with contextlib.closing(store.engine.raw_connection()) as connection:
            connection.cursor().execute("VACUUM INTO ?", (str(part),))
    except sqlite_module().Error as error:
        raise StoreProblem(_("Not done: the copy could not be written. Free some space and try again.")) from error
    finally:
        store.close()
    place.flush(part)


def settle_or_refuse(url: str) -> None:
    """Make one file of a store that nobody has open, with everything that was committed in it.

    What counts is a lock that another program holds. A log that lies beside the file only says that somebody was
    killed: it is written into the file. A ruined file holds nothing to settle.

    Raises:
        StoreProblem: another program holds the store, or its place is unfit.
    """
    target = file_of(url)
    place.refuse_unfit(target, read_only=False)
    if not target.exists():
        return
    place.make(target)
    if _held(target) or place.is_locked(target):
        raise StoreProblem(_("Not done: another program holds the store. Stop the app first."))


def _held(target: Path) -> bool:
    """Whether a connection of any program stands in the way of one that suffers no company; else the log is now in
    the file. Each step of this may be cut short: the log goes only when all of it is in the file.

    https://sqlite.org/wal.html, "Use of WAL Without Shared-Memory".
    """
    if target.stat().st_size == 0:  # SQLite would begin a database in it
        return False
    module = sqlite_module()
    with contextlib.closing(module.connect(str(target), timeout=0, isolation_level=None)) as connection:
        try:
            connection.execute("PRAGMA locking_mode=EXCLUSIVE").fetchone()
            connection.execute("BEGIN EXCLUSIVE")
            connection.execute("COMMIT")
            connection.execute("PRAGMA wal_checkpoint(TRUNCATE)").fetchone()
        except module.OperationalError as error:
            return "locked" in str(error)
        except module.Error:
            return False
    return False


def clear(part: Path) -> None:
    """Remove what a restore that was killed left under this name, logs too: they would be taken for the new file's."""
    for tail in ("", *TAILS, ".part"):
        with contextlib.suppress(FileNotFoundError):
            Path(f"{part}{tail}").unlink()


def swap_in(part: Path, url: str) -> Path | None:
    """Put a proven file in the place of a store; where the old one went, or None when there was none.

    At every moment the store is the old or the new one: the old file gets a second name, then the new one takes the
    first in one step.
    """
    target = file_of(url)
    place.flush(part)
    stamp = now().replace(":", "").replace("-", "")
    old = _free(target.with_name(f"{target.name}.before-{stamp}")) if target.exists() else None
    if old is not None:
        for tail in TAILS:  # left here, they would be taken for the new file's
            _aside(Path(f"{target}{tail}"), Path(f"{old}{tail}"))
        place.name_twice(target, old)
    os.replace(part, target)
    place.flush(target.parent)
    clear(part)
    return old


def _aside(log: Path, other: Path) -> None:
    """Let a log go with its store; only that of a ruined one holds anything, and the index of a log never does."""
    with contextlib.suppress(FileNotFoundError):
        if log.stat().st_size and not log.name.endswith("-shm"):
            os.replace(log, other)
        else:
            log.unlink()


def _free(wanted: Path) -> Path:
    """This name, or the next one that no file has: of two restores in one second neither loses a store."""
    names = (wanted, *(wanted.with_name(f"{wanted.name}-{number}") for number in range(2, 1000)))
    return next(name for name in names if not name.exists())
