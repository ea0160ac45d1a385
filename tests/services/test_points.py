"""A check goes on from the last point that was proven: what that spares, and what it must never hide."""

from __future__ import annotations

import json
import shutil
from collections.abc import Callable
from contextlib import closing
from dataclasses import replace
from pathlib import Path

import pytest
from sqlalchemy import event

from studyapp.records import CheckReport
from studyapp.services import batches, packages, planning, points, readings, watching
from studyapp.services.checking import check
from studyapp.store import Store, checks, open_store, proofs, read_store, schema, scope, state_checks
from studyapp.store.engine import sqlite_module
from tests.conftest import Hand, Workshop
from tests.services.test_batches import DOWN, DRAFT
from tests.stores import earlier


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """Where the account that checks keeps its data."""
    return tmp_path / "data"


@pytest.fixture
def kept(workshop: Workshop, hand: Hand, folder: Path) -> Workshop:
    """The workshop with marks in it, proven once."""
    hand.taste_all()
    assert check(workshop.store.url, points=folder).sound
    return workshop


def said(report: CheckReport, level: str) -> list[str]:
    """The sentences of a level."""
    return [finding.sentence for finding in report.findings if finding.level == level]


def forged(store: Store, change: str) -> None:
    """Beside the app, with the guards out of the way and put back."""
    with sqlite_module().connect(str(store.engine.url.database)) as connection:
        guards = connection.execute("SELECT name, sql FROM sqlite_master WHERE type = 'trigger'").fetchall()
        for name, _sql in guards:
            connection.execute(f"DROP TRIGGER {name}")
        connection.executescript(change)
        for _name, sql in guards:
            connection.execute(sql)


def test_a_second_check_proves_only_what_is_new(kept: Workshop, folder: Path) -> None:
    """Nothing first; then the one study that went on, and not the one beside it."""
    (told,) = said(check(kept.store.url, points=folder), "info")
    assert told.startswith("0 studies were proven anew")
    assert told.endswith("(1 studies).")
    planning.new_study(kept.store, kept.leader, "hours", "Another")
    (told,) = said(check(kept.store.url, points=folder), "info")
    assert told.startswith("1 study was proven anew")
    assert told.endswith("(1 studies).")
    assert said(check(kept.store.url, points=folder, whole=True), "info") == []


def test_a_study_that_is_as_it_was_is_not_proven_again(kept: Workshop, folder: Path) -> None:
    """Counted in statements: without the point, each cover of the study is asked for."""
    asked: dict[bool, int] = {}
    for whole in (False, True):
        with closing(read_store(kept.store.url)) as store, store.read() as tx:
            before = None if whole else points.load(folder, store, tx)
            heard: list[str] = []
            event.listen(store.engine, "before_cursor_execute", lambda *call, heard=heard: heard.append(call[2]))
            proofs.proof(tx, before.point if before else None, lambda _share: None)
            asked[whole] = len(heard)
    assert asked[False] < asked[True] - len(proofs.ROWS)


@pytest.mark.parametrize(
    ("change", "named"),
    [
        ("UPDATE score SET value = 1 WHERE id = 1", "row 1 of score"),
        ("UPDATE event SET body = replace(body, 'score', 'scare') WHERE kind = 'score'", "does not match its seal"),
        ("UPDATE serving SET outcome = 'missing' WHERE outcome = 'judged'", "outcome in row"),
        ("DELETE FROM event WHERE kind = 'agreed'", "is not what the record tells"),
        ("UPDATE study SET look = 2", "look in row"),
    ],
)
def test_an_edit_before_the_point_is_named_though_work_went_on(
    kept: Workshop, folder: Path, change: str, named: str
) -> None:
    """The edit is older than the point, and new events stand after it."""
    forged(kept.store, change)
    watching.note_deviation(kept.store, kept.leader, kept.study, "The room was warm.")
    report = check(kept.store.url, points=folder)
    assert any(named in sentence for sentence in said(report, "error")), report
    again = check(kept.store.url, points=folder)  # what did not hold leaves no point behind that would hide it
    assert said(again, "error") == said(report, "error")


def _signed_anew(file: Path) -> None:
    """Whoever can write the point and not read the key."""
    kept = json.loads(file.read_text())
    kept["point"]["digests"] = dict.fromkeys(kept["point"]["digests"], "0" * 64)
    file.write_text(json.dumps(kept))


def _of_another_key(file: Path) -> None:
    (file.parent.parent / points.KEY).write_bytes(b"k" * 32)


def _no_json(file: Path) -> None:
    file.write_text("{")


@pytest.mark.parametrize("spoil", [_signed_anew, _of_another_key, _no_json])
def test_a_point_that_is_not_ours_is_not_believed(kept: Workshop, folder: Path, spoil: Callable[[Path], None]) -> None:
    """Everything is proven, as if there were none."""
    (file,) = (folder / points.FOLDER).iterdir()
    spoil(file)
    assert check(kept.store.url, points=folder).findings == ()
    assert said(check(kept.store.url, points=folder), "info")[0].startswith("0 studies were proven anew")


def test_a_record_that_lost_its_end_is_said_without_a_slip(kept: Workshop, folder: Path, tmp_path: Path) -> None:
    """The whole record written anew, or an older copy put back: sound in itself, and not what was proven."""
    copy = tmp_path / "before.sqlite"
    with sqlite_module().connect(str(copy)) as target, kept.store.read() as tx:
        tx.connection.driver_connection.backup(target)
    watching.note_deviation(kept.store, kept.leader, kept.study, "The room was warm.")
    assert check(kept.store.url, points=folder).sound
    file = Path(str(kept.store.engine.url.database))
    kept.store.close()
    for beside in file.parent.glob(f"{file.name}-*"):
        beside.unlink()
    shutil.copy(copy, file)
    assert "the record no longer has them so" in said(check(str(file), points=folder), "warning")[0]
    assert said(check(str(file), points=folder), "warning") == []


def test_a_folder_that_cannot_be_written_keeps_no_point(kept: Workshop, tmp_path: Path) -> None:
    """The check is none the worse, and says so."""
    (tmp_path / "file").write_text("")
    report = check(kept.store.url, points=tmp_path / "file")
    assert report.sound
    assert said(report, "info") == [f"No point was kept: {tmp_path / 'file'} cannot be written."]


def test_the_share_that_is_done_only_grows(kept: Workshop) -> None:
    """From nothing to nearly all."""
    shares: list[float] = []
    check(kept.store.url, heard=shares.append)
    assert shares == sorted(shares)
    assert 0 <= shares[0] <= shares[-1] <= 1


@pytest.mark.parametrize("name", ["v0002_rule_1", "v0004"])
def test_study_by_study_sees_what_all_at_once_sees(name: str, tmp_path: Path) -> None:
    """A row that belongs to no study's share would be proven by nobody: a row of each table goes, and both ways of
    looking tell the same faults."""
    with closing(open_store(str(earlier.unpacked(name, tmp_path / "s.sqlite")))) as store, store.engine.connect() as tx:
        tx.begin()
        for (guard,) in tx.exec_driver_sql("SELECT name FROM sqlite_master WHERE type = 'trigger'").all():
            tx.exec_driver_sql(f"DROP TRIGGER {guard}")
        tx.exec_driver_sql("PRAGMA defer_foreign_keys=ON")
        for table in ("score", "trial", "presence", "token", "note", "seat", "staff", "key_view", "trial_set"):
            tx.exec_driver_sql(f"DELETE FROM {table} WHERE rowid = (SELECT max(rowid) FROM {table})")
        told = checks.chain(tx)
        at_once = {fault for part in proofs.ROWS for fault in part(tx, told)}
        at_once |= {*state_checks.state_faults(tx, told.sound).faults}
        found = proofs.proof(tx, None, lambda _share: None).faults
        one_by_one = {each for each in found if each.code not in ("orphan", "guard missing")}
    assert len(at_once) >= 8
    assert one_by_one == at_once


def test_the_scopes_of_a_store_share_out_every_row(tmp_path: Path) -> None:
    """Each row is in one of them."""
    with closing(open_store(str(earlier.unpacked("v0004", tmp_path / "s.sqlite")))) as store, store.read() as tx:
        every = scope.of_store(tx)
        for table in (each for each in schema.metadata.sorted_tables if scope.through(each) is not None):
            rows = tx.execute(table.select()).all()
            assert sum(len(tx.execute(table.select().where(one.rows(table))).all()) for one in every) == len(rows)


def test_an_imported_study_goes_on_from_a_point_too(tmp_path: Path, folder: Path) -> None:
    """Its rows are held by the digests of its import; what cannot be proved of it is still said."""
    (tmp_path / "there").mkdir()
    with earlier.opened("v0002_rule_1", tmp_path / "there") as there:
        packages.take_out(there.store, there.study("Hours, signed"), tmp_path / "tables")
    with closing(open_store(str(tmp_path / "here.sqlite"))) as here:
        packages.bring_in(here, tmp_path / "tables")
    first, second = (check(str(tmp_path / "here.sqlite"), points=folder) for _turn in range(2))
    assert (first.sound, second.sound) == (True, True)
    assert [*said(first, "info")] == said(second, "info")[:-1]


# ---- batches, which may belong to no study ---------------------------------------------------------------------------
@pytest.fixture
def batches_of(workshop: Workshop) -> tuple[str, str]:
    """One that belongs to no study, and one that was given to the study after it was written."""
    store, by = workshop.store, workshop.preparer
    alone = batches.add(store, by, DRAFT)
    given = batches.add(store, by, replace(DRAFT, label="Batch 34"))
    for one in (alone, given):
        readings.keep(store, by, one, [DOWN])
    batches.join(store, workshop.leader, given, workshop.study)
    return alone, given


MORE = "INSERT INTO flow_point SELECT batch_id, curve, position + 7, {rest} FROM flow_point WHERE batch_id = "
TAKEN = {
    "given to a study": ("UPDATE batch SET study_id = (SELECT id FROM study) WHERE id = '{alone}'", "of batch"),
    "taken out of its study": ("UPDATE batch SET study_id = NULL WHERE id = '{given}'", "of batch"),
    "called otherwise": ("UPDATE batch SET label = 'Batch 35' WHERE id = '{alone}'", "label in row {alone} of batch"),
    "a point of a curve more, of nobody's": (MORE + "'{alone}'", "flow_point"),
    "a point of a curve more, of a study's": (MORE + "'{given}'", "flow_point"),
}


@pytest.mark.parametrize("name", TAKEN)
def test_an_edit_of_a_batch_is_named(workshop: Workshop, batches_of: tuple[str, str], folder: Path, name: str) -> None:
    """With a point and without, of a batch that is nobody's and of one that a study was given."""
    assert check(workshop.store.url, points=folder).sound
    assert check(workshop.store.url, points=folder).sound
    keys = ("batch_id", "curve", "position")
    rest = ", ".join(f'"{column.name}"' for column in schema.flow_point.columns if column.name not in keys)
    places = {"alone": batches_of[0], "given": batches_of[1], "rest": rest}
    change, wanted = (text.format(**places) for text in TAKEN[name])
    forged(workshop.store, change)
    for points_in in (None, folder):
        report = check(workshop.store.url, points=points_in)
        assert any(wanted in sentence for sentence in said(report, "error")), report
