"""Whole copies of a SQLite store, made by SQLite itself: a plain copy of a file in use is not a backup."""

from __future__ import annotations

import contextlib
import os
from pathlib import Path

from studyapp.errors import StoreProblem
from studyapp.store import place, read_store
from studyapp.store.engine import parse, sqlite_module
from studyapp.store.events import now
from studyapp.words import _


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
    store = read_store(url)
    try:
        with contextlib.closing(store.engine.raw_connection()) as connection:
            connection.cursor().execute("VACUUM INTO ?", (str(part),))
    except sqlite_module().Error as error:
        raise StoreProblem(_("Not done: the copy could not be written. Free some space and try again.")) from error
    finally:
        store.close()
    place.flush(part)


def refuse_in_use(url: str) -> None:
    """Raise StoreProblem unless the store may be replaced: nobody has it open."""
    target = file_of(url)
    place.refuse_unfit(target, read_only=False)
    if target.exists() and not place.is_still(target):
        raise StoreProblem(_("Not done: another program holds the store. Stop the app first."))


def swap_in(part: Path, url: str) -> Path | None:
    """Put a proven file in the place of a store; where the old one went, or None when there was none."""
    target = file_of(url)
    stamp = now().replace(":", "").replace("-", "")
    old = target.with_name(f"{target.name}.before-{stamp}") if target.exists() else None
    if old is not None:
        os.replace(target, old)
    for tail in ("-wal", "-shm"):  # left by the old file, they would be taken for the new one's
        with contextlib.suppress(FileNotFoundError):
            Path(f"{target}{tail}").unlink()
    os.replace(part, target)
    place.flush(target.parent)
    return old
