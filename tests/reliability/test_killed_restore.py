"""Restores on a bad day: killed in the middle, over a ruined store, after a server that was killed."""

from __future__ import annotations

import contextlib
import json
import os
import shutil
import signal
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from studyapp.errors import StoreProblem
from studyapp.services import accounts, backups, panel
from studyapp.services.checking import check
from studyapp.store import open_store
from studyapp.store.engine import sqlite_module
from tests.stores import earlier

pytestmark = pytest.mark.reliability


def backed_up(workshop: Any, hand: Any, folder: Path) -> tuple[Path, str]:
    """A backup with one mark, and marks after it that are still in the log of the store, as a kill leaves them."""
    here = hand.serving()
    hand.mark(here.serving, here.lines[0].id, 5.0)
    head = backups.backup(workshop.store.url, folder / "copy.sqlite")
    hand.mark(here.serving, here.lines[0].id, 6.0)
    return folder / "copy.sqlite", head


def as_after_a_kill(workshop: Any, target: Path) -> Path:
    """The store with its log, copied from under a live connection: what a pulled plug leaves on the disk."""
    source = Path(workshop.store.engine.url.database)
    assert Path(f"{source}-wal").stat().st_size > 0
    for tail in ("", "-wal", "-shm"):
        shutil.copy(f"{source}{tail}", f"{target}{tail}")
    return target


@pytest.mark.parametrize("older", [False, True], ids=["a backup of today", "a backup of the first schema"])
def test_a_restore_that_is_killed_leaves_the_old_store_or_the_new_one(
    workshop: Any, hand: Any, tmp_path: Path, draws: Callable[[int, int], int], older: bool
) -> None:
    """Killed before each step that names a file and at random moments: never half, never none; it can be redone."""
    folder = tmp_path / "rounds"
    folder.mkdir()
    copy, head = backed_up(workshop, hand, tmp_path)
    as_after_a_kill(workshop, folder / "old.sqlite")
    old_head = check(workshop.store.url).head
    workshop.store.close()
    if older:
        copy, head = earlier.unpacked("v0001", tmp_path / "v0001.sqlite"), earlier.TOLD["v0001"]["head"]
    script = str(Path(__file__).with_name("killed_restore.py"))
    command = [sys.executable, script, str(folder), str(copy), old_head, head, str(draws(2, 200)), "20261130"]
    done = subprocess.run(command, capture_output=True, text=True, timeout=280, check=False)
    assert done.returncode == 0, done.stderr
    report = json.loads(done.stdout)
    assert report["wrong"] == {}
    assert report["steps"] >= 10
    assert report["old"] >= 5
    assert report["new"] >= 1


def test_a_log_that_a_kill_left_is_no_other_program(workshop: Any, hand: Any, tmp_path: Path) -> None:
    """Nobody holds the store: it is replaced, and the old one keeps the mark that was only in its log."""
    copy, head = backed_up(workshop, hand, tmp_path)
    (tmp_path / "other").mkdir()
    file = as_after_a_kill(workshop, tmp_path / "other" / "studies.sqlite")
    old_head = check(workshop.store.url).head
    old = backups.restore(copy, str(file)).old
    assert old is not None
    assert (check(str(file)).head, check(str(old)).head) == (head, old_head)


def test_a_program_that_holds_the_store_is_waited_for(workshop: Any, hand: Any, tmp_path: Path) -> None:
    """Another process with an open store and nothing to do; once it was killed the restore goes on."""
    copy, head = backed_up(workshop, hand, tmp_path)
    url = workshop.store.url
    workshop.store.close()
    code = (
        "import sys; from studyapp.store import open_store, events\n"
        f"store = open_store({url!r})\n"
        "with store.write() as tx: events.append(tx, 'note', {'note': 'none', 'sha256': ''})\n"
        "print('open', flush=True); sys.stdin.readline()"
    )
    other = subprocess.Popen([sys.executable, "-c", code], stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True)
    try:
        assert other.stdout is not None
        assert other.stdout.readline() == "open\n"
        with pytest.raises(StoreProblem, match="Stop the app first"):
            backups.restore(copy, url)
    finally:
        other.send_signal(signal.SIGKILL)
        other.communicate()
    assert Path(f"{tmp_path / 'studies.sqlite'}-wal").exists()
    backups.restore(copy, url)
    assert check(url).head == head


# ---- a store that cannot be read -------------------------------------------------------------------------------------
def cut_off(file: Path) -> None:
    """The end is gone."""
    os.truncate(file, file.stat().st_size // 3)


def empty(file: Path) -> None:
    """Everything is gone."""
    os.truncate(file, 0)


def overwritten(file: Path) -> None:
    """The beginning is another file's."""
    file.write_bytes(b"\x5a" * 5000 + file.read_bytes()[5000:])


def without_people(file: Path) -> None:
    """The pages can be read, and the table that tells who was erased is gone."""
    with contextlib.closing(sqlite_module().connect(str(file))) as connection:
        connection.execute("PRAGMA foreign_keys=OFF")
        connection.execute("DROP TABLE person")
        connection.commit()


@pytest.mark.parametrize("ruin", [cut_off, empty, overwritten, without_people], ids=lambda ruin: ruin.__name__)
def test_a_ruined_store_is_moved_aside(workshop: Any, hand: Any, tmp_path: Path, ruin: Callable[[Path], None]) -> None:
    """It is no reason to refuse what should replace it; whom nobody can erase again is said, with the day."""
    copy, head = backed_up(workshop, hand, tmp_path)
    with workshop.store.read() as tx:
        last = tx.exec_driver_sql("SELECT at FROM event ORDER BY seq DESC LIMIT 1 OFFSET 1").scalar()
    url, file = workshop.store.url, tmp_path / "studies.sqlite"
    workshop.store.close()
    ruin(file)
    content = file.read_bytes()
    done = backups.restore(copy, url)
    assert check(url).head == head
    assert done.old is not None
    assert done.old.read_bytes()[100:] == content[100:]
    (careful,) = done.careful
    assert "who was erased" in careful
    assert last in careful


def test_a_ruined_store_that_a_program_holds_is_left(workshop: Any, hand: Any, tmp_path: Path) -> None:
    """A server may still run on a file that was cut off under it."""
    copy, _head = backed_up(workshop, hand, tmp_path)
    url, file = workshop.store.url, tmp_path / "studies.sqlite"
    workshop.store.close()
    code = (
        "import sys; from studyapp.store.engine import sqlite_module\n"
        f"connection = sqlite_module().connect({str(file)!r}, isolation_level=None)\n"
        "connection.execute('PRAGMA journal_mode=DELETE'); connection.execute('BEGIN IMMEDIATE')\n"
        "print('open', flush=True); sys.stdin.readline()"
    )
    other = subprocess.Popen([sys.executable, "-c", code], stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True)
    try:
        assert other.stdout is not None
        assert other.stdout.readline() == "open\n"
        overwritten(file)
        with pytest.raises(StoreProblem, match="Stop the app first"):
            backups.restore(copy, url)
    finally:
        other.communicate("\n")
    assert backups.restore(copy, url).old is not None


# ---- what cannot be repeated -----------------------------------------------------------------------------------------
def test_an_account_that_must_live_again_is_named(workshop: Any, tmp_path: Path) -> None:
    """The one leader that the backup knows had ended: the account stays, and its name is said."""
    backups.backup(workshop.store.url, tmp_path / "copy.sqlite")
    cleo = accounts.add_staff(workshop.store, workshop.leader, "Cleo", "leader", workshop.passphrase)
    accounts.end_account(workshop.store, cleo, workshop.leader.id)
    url = workshop.store.url
    workshop.store.close()
    (careful,) = backups.restore(tmp_path / "copy.sqlite", url).careful
    assert "the account of Ada" in careful


def test_who_is_erased_again_is_in_the_record(workshop: Any, tmp_path: Path) -> None:
    """The restored store tells that the erasure was repeated, once."""
    kite = panel.add_assessor(workshop.store, workshop.leader, "Kite", "Real Name", "real@example.org")
    backups.backup(workshop.store.url, tmp_path / "copy.sqlite")
    panel.erase_person(workshop.store, workshop.leader, kite.id)
    url = workshop.store.url
    workshop.store.close()
    backups.restore(tmp_path / "copy.sqlite", url)
    backups.backup(url, tmp_path / "again.sqlite")
    backups.restore(tmp_path / "again.sqlite", url)
    with contextlib.closing(open_store(url)) as store, store.read() as tx:
        told = tx.exec_driver_sql("SELECT body FROM event WHERE kind = 'person erased'").scalars().all()
    assert told == [f'{{"assessor":"{kite.id}"}}']


def test_what_a_killed_restore_left_behind_is_not_taken_for_the_copy(workshop: Any, hand: Any, tmp_path: Path) -> None:
    """A log under the name of the copy belongs to another file."""
    copy, head = backed_up(workshop, hand, tmp_path)
    file = as_after_a_kill(workshop, tmp_path / "left.sqlite")
    url = workshop.store.url
    workshop.store.close()
    for tail in ("", "-wal", "-shm"):
        os.replace(f"{file}{tail}", f"{tmp_path / 'studies.sqlite.restored'}{tail}")
    backups.restore(copy, url)
    assert check(url).head == head
    assert not list(tmp_path.glob("*.restored*"))
