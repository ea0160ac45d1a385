"""Backups that are proven, restores that cannot lose the old store, and names that stay erased."""

from __future__ import annotations

import stat
import threading
from pathlib import Path
from typing import Any

import pytest

from studyapp.errors import BadInput, NotAllowed, StoreProblem
from studyapp.services import accounts, backups, panel, tasting
from studyapp.services.checking import check
from studyapp.store import events, open_store, servings


def scores_in(file: Path) -> list[Any]:
    """Every score row of a store."""
    store = open_store(str(file))
    with store.read() as tx:
        found = servings.all_scores(tx)
    store.close()
    return found


@pytest.mark.reliability
@pytest.mark.parametrize("round_", range(20))
def test_a_backup_made_while_people_mark_holds_all_that_was_saved(
    workshop: Any, hand: Any, tmp_path: Path, round_: int
) -> None:
    """20 backups under a writer: sound, and with every mark that was acknowledged before it began."""
    here = hand.serving()
    saved: list[str] = []
    stop = threading.Event()

    def mark() -> None:
        while not stop.is_set():
            line = here.lines[len(saved) % len(here.lines)]
            saved.append(hand.mark(here.serving, line.id, len(saved) % 10))

    writer = threading.Thread(target=mark)
    writer.start()
    try:
        while len(saved) < 5:
            stop.wait(0.001)
        before = list(saved)
        head = backups.backup(workshop.store.url, tmp_path / "copy.sqlite")
    finally:
        stop.set()
        writer.join()
    assert set(before) <= {row.nonce for row in scores_in(tmp_path / "copy.sqlite")}
    assert check(workshop.store.url, head).sound
    assert round_ >= 0


def test_a_backup_is_private_and_overwrites_nothing(workshop: Any, tmp_path: Path) -> None:
    """The copy is readable by its owner alone; an existing file stays."""
    backups.backup(workshop.store.url, tmp_path / "copy.sqlite")
    assert stat.S_IMODE((tmp_path / "copy.sqlite").stat().st_mode) == 0o600
    with pytest.raises(StoreProblem, match="exists"):
        backups.backup(workshop.store.url, tmp_path / "copy.sqlite")
    with pytest.raises(StoreProblem, match="no store"):
        backups.backup(str(tmp_path / "none.sqlite"), tmp_path / "other.sqlite")
    assert sorted(path.name for path in tmp_path.glob("*copy*")) == ["copy.sqlite"]


def test_a_restore_waits_until_the_app_is_stopped(workshop: Any, tmp_path: Path) -> None:
    """A store in use is not replaced under its server."""
    backups.backup(workshop.store.url, tmp_path / "copy.sqlite")
    with pytest.raises(StoreProblem, match="Stop the app first"):
        backups.restore(tmp_path / "copy.sqlite", workshop.store.url)


def test_a_restore_brings_back_what_was_copied_and_keeps_the_old_store(
    workshop: Any, hand: Any, tmp_path: Path
) -> None:
    """Later marks are in the old file, which is named in the answer."""
    here = hand.serving()
    hand.mark(here.serving, here.lines[0].id, 5.0)
    head = backups.backup(workshop.store.url, tmp_path / "copy.sqlite")
    hand.mark(here.serving, here.lines[0].id, 6.0)
    url = workshop.store.url
    workshop.store.close()
    old = backups.restore(tmp_path / "copy.sqlite", url).old
    assert old is not None
    assert [row.value for row in scores_in(old)] == [5.0, 6.0]
    assert [row.value for row in scores_in(tmp_path / "studies.sqlite")] == [5.0]
    assert check(url).head == head


def test_a_restore_to_an_empty_place_makes_the_store(workshop: Any, tmp_path: Path) -> None:
    """On another machine there is no old store."""
    backups.backup(workshop.store.url, tmp_path / "copy.sqlite")
    (tmp_path / "other").mkdir()
    done = backups.restore(tmp_path / "copy.sqlite", str(tmp_path / "other" / "studies.sqlite"))
    assert done == backups.Restored(None)
    assert check(str(tmp_path / "other" / "studies.sqlite")).sound


def test_a_forged_backup_is_refused_and_the_store_stays(workshop: Any, hand: Any, tmp_path: Path) -> None:
    """What does not verify is not put back."""
    from studyapp.store.engine import sqlite_module

    here = hand.serving()
    hand.mark(here.serving, here.lines[0].id, 5.0)
    backups.backup(workshop.store.url, tmp_path / "copy.sqlite")
    connection = sqlite_module().connect(str(tmp_path / "copy.sqlite"))
    connection.execute("DROP TRIGGER score_no_update")
    connection.execute("UPDATE score SET value = 9")
    connection.commit()
    connection.close()
    url = workshop.store.url
    workshop.store.close()
    with pytest.raises(BadInput, match="does not verify"):
        backups.restore(tmp_path / "copy.sqlite", url)
    assert [row.value for row in scores_in(tmp_path / "studies.sqlite")] == [5.0]


def test_who_was_erased_stays_erased_after_a_restore(workshop: Any, hand: Any, tmp_path: Path) -> None:
    """A backup still knows the name; putting it back does not."""
    kite = panel.add_assessor(workshop.store, workshop.leader, "Kite", "Real Name", "real@example.org")
    tasting.send_note(workshop.store, hand.token, "grainy")
    backups.backup(workshop.store.url, tmp_path / "copy.sqlite")
    panel.erase_person(workshop.store, workshop.leader, kite.id)
    url = workshop.store.url
    workshop.store.close()
    backups.restore(tmp_path / "copy.sqlite", url)
    store = open_store(url)
    with store.read() as tx:
        assert "Real Name" not in repr(tx.exec_driver_sql("SELECT * FROM person").all())
        assert tx.exec_driver_sql("SELECT text FROM note").scalar() == "grainy"
        assert events.count(tx) > 0
    store.close()
    assert check(url).sound


def test_an_account_that_ended_stays_shut_after_a_restore(workshop: Any, tmp_path: Path) -> None:
    """A backup still knows the sign-in and the passphrase of somebody who left; putting it back opens neither."""
    token = accounts.sign_in(workshop.store, "Ben", workshop.passphrase, "10.0.0.7")
    backups.backup(workshop.store.url, tmp_path / "copy.sqlite")
    accounts.end_account(workshop.store, workshop.leader, workshop.preparer.id)
    url = workshop.store.url
    workshop.store.close()
    backups.restore(tmp_path / "copy.sqlite", url)
    store = open_store(url)
    assert accounts.staff_of(store, token) is None
    with pytest.raises(NotAllowed):
        accounts.sign_in(store, "Ben", workshop.passphrase, "10.0.0.7")
    assert accounts.sign_in(store, "Ada", workshop.passphrase, "10.0.0.7")
    store.close()
    assert check(url).sound


def test_a_restore_never_leaves_a_store_without_a_leader(workshop: Any, tmp_path: Path) -> None:
    """The one leader that the backup knows has left since: the account stays, or a stranger could begin anew."""
    backups.backup(workshop.store.url, tmp_path / "copy.sqlite")
    cleo = accounts.add_staff(workshop.store, workshop.leader, "Cleo", "leader", workshop.passphrase)
    accounts.end_account(workshop.store, cleo, workshop.leader.id)
    url = workshop.store.url
    workshop.store.close()
    backups.restore(tmp_path / "copy.sqlite", url)
    store = open_store(url)
    assert not accounts.needs_first_leader(store)
    assert accounts.sign_in(store, "Ada", workshop.passphrase, "10.0.0.7")
    store.close()
