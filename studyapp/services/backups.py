"""Backup and restore: a copy that is proven before it is believed; names stay erased and accounts stay ended."""

from __future__ import annotations

import contextlib
from dataclasses import dataclass
from pathlib import Path

from studyapp.errors import BadInput
from studyapp.services.accounts import end_again
from studyapp.services.checking import check
from studyapp.services.panel import forget
from studyapp.store import backups, open_store, people, read_store
from studyapp.words import _


@dataclass(frozen=True, slots=True)
class _Gone:
    """Who a backup may know though they are gone since: assessors that were erased, members whose account ended."""

    assessors: tuple[str, ...] = ()
    staff: tuple[str, ...] = ()


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

    The old store stays whole until the copy is written and proven. People erased since the backup are erased again,
    and accounts that ended since end again.

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
    _take_out_again(part, _gone(store_url) if target.exists() else _Gone())
    _proven(part)
    return backups.swap_in(part, store_url)


def _proven(file: Path) -> str:
    report = check(str(file))
    if not report.sound:
        raise BadInput(_("Not done: {file} does not verify. {why}").format(file=file, why=report.findings[0].sentence))
    return report.head


def _gone(store_url: str) -> _Gone:
    store = read_store(store_url)
    try:
        with store.read() as tx:
            return _Gone(people.erased_assessors(tx), people.ended_staff(tx))
    finally:
        store.close()


def _take_out_again(file: Path, gone: _Gone) -> None:
    """What was put back knows neither the names nor the sign-ins of those who are gone."""
    if gone == _Gone():
        return
    store = open_store(str(file))
    try:
        with store.write() as tx:
            for id_ in gone.assessors:
                forget(tx, id_)
            end_again(tx, gone.staff)
    finally:
        store.close()
