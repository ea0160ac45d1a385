"""Backup and restore: a copy that is proven before it is believed; names stay erased and accounts stay ended."""

from __future__ import annotations

import contextlib
from dataclasses import dataclass
from pathlib import Path

from studyapp.errors import BadInput, Foreign
from studyapp.services.accounts import end_again
from studyapp.services.checking import check
from studyapp.services.panel import erase_again
from studyapp.store import backups, events, open_store, people, read_store
from studyapp.words import _


@dataclass(frozen=True, slots=True)
class Restored:
    """What a restore did: where the store before it went (None: there was none), and what a person must do now."""

    old: Path | None
    careful: tuple[str, ...] = ()


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


def restore(file: Path, store_url: str) -> Restored:
    """Put a backup, of this version or any before it, in the place of a store.

    The copy is brought up to date and proven before it takes the place; until then the old store stays whole, and
    then it stays under another name. One that cannot be read is moved aside as it is. People erased since the backup
    are erased again, and accounts that ended since end again; what of this cannot be done is said.

    Raises:
        StoreProblem: the app is running, there is no such backup, or the place is unfit or holds something that
            this version did not write.
        BadInput: the backup does not verify.
    """
    backups.settle_or_refuse(store_url)
    _proven(file)
    target = backups.file_of(store_url)
    part = target.with_name(f"{target.name}.restored")
    backups.clear(part)
    backups.copy_to(str(file), part)
    careful = _brought_up_to_date(part, _gone(store_url) if target.exists() else _Gone())
    _proven(part)
    return Restored(backups.swap_in(part, store_url), careful)


def _proven(file: Path) -> str:
    report = check(str(file))
    for finding in report.findings:
        if finding.level == "error":
            raise BadInput(_("Not done: {file} does not verify. {why}").format(file=file, why=finding.sentence))
    return report.head


def _gone(store_url: str) -> _Gone | None:
    """Who is gone, None when the store before can no longer tell."""
    try:
        with contextlib.closing(read_store(store_url)) as store, store.read() as tx:
            return _Gone(people.erased_assessors(tx), people.ended_staff(tx))
    except Foreign:
        raise
    except Exception:  # a damaged file fails in any place and with any error of the library
        return None


def _brought_up_to_date(file: Path, gone: _Gone | None) -> tuple[str, ...]:
    """The tables of today in the copy, without the names and the sign-ins of those who are gone; what is left to do."""
    store = open_store(str(file))
    try:
        with store.write() as tx:
            if gone is None:
                return (_erase_by_hand(events.last_at(tx)),)
            erase_again(tx, gone.assessors)
            kept = end_again(tx, gone.staff)
    finally:
        store.close()
    sentence = _(
        "Careful: the account of {name} had ended and lives again, because no other panel leader would be left. "
        "End it when there is one."
    )
    return tuple(sentence.format(name=member.name) for member in kept)


def _erase_by_hand(last: str) -> str:
    return _(
        "Careful: the store before this one could not be read, so nobody knows here who was erased and whose account "
        "ended after the last entry of the backup, {time}. Erase those people and end those accounts once more."
    ).format(time=last)
