"""Backup and restore: a copy that is proven before it is believed, and names that stay erased."""

from __future__ import annotations

import contextlib
from pathlib import Path

from studyapp.errors import BadInput
from studyapp.services.checking import check
from studyapp.services.panel import forget
from studyapp.store import backups, open_store, people, read_store
from studyapp.words import _


def backup(store_url: str, file: Path) -> str:
    """Write a sound copy of a store to a new file while the app goes on; returns the head of its record.

    Backups keep names of people until they are deleted: keep them for 90 days at most, and in a safe place.

    Raises:
        StoreProblem: there is no such store, or the file cannot be written.
        BadInput: the copy does not verify, so the store itself is damaged.
    """
    backups.copy_to(store_url, file)
    return _proven(file)


def restore(file: Path, store_url: str) -> Path | None:
    """Put a backup in the place of a store; returns where the old store went, None when there was none.

    The old store stays whole until the copy is written and proven. People erased since the backup are erased again.

    Raises:
        StoreProblem: the app is running, there is no such backup, or the place is unfit.
        BadInput: the backup does not verify.
    """
    backups.refuse_in_use(store_url)
    _proven(file)
    target = backups.file_of(store_url)
    part = target.with_name(f"{target.name}.restored")
    with contextlib.suppress(FileNotFoundError):
        part.unlink()
    backups.copy_to(str(file), part)
    _erase_again(part, _erased(store_url) if target.exists() else ())
    _proven(part)
    return backups.swap_in(part, store_url)


def _proven(file: Path) -> str:
    report = check(str(file))
    if not report.sound:
        raise BadInput(_("Not done: {file} does not verify. {why}").format(file=file, why=report.findings[0].sentence))
    return report.head


def _erased(store_url: str) -> tuple[str, ...]:
    store = read_store(store_url)
    try:
        with store.read() as tx:
            return people.erased_assessors(tx)
    finally:
        store.close()


def _erase_again(file: Path, assessors: tuple[str, ...]) -> None:
    """A backup may know names that were erased since; they do not come back."""
    if not assessors:
        return
    store = open_store(str(file))
    try:
        with store.write() as tx:
            for id_ in assessors:
                forget(tx, id_)
    finally:
        store.close()
