"""A store of any schema that ever stood is read, copied and put back by this version, before anything was migrated."""

from __future__ import annotations

import contextlib
import hashlib
from pathlib import Path

import pytest

from studyapp.errors import BadInput, Foreign, StoreProblem
from studyapp.services import accounts, backups, packages, panel
from studyapp.services.checking import check
from studyapp.store import Store, open_store, read_as_it_stands, read_store, revisions
from studyapp.store.engine import connect, sqlite_module
from tests.forking import run
from tests.stores import earlier

OLDER = [name for name in earlier.EVERY if earlier.TOLD[name]["revision"] != revisions.today()]


@pytest.fixture(params=earlier.EVERY)
def name(request: pytest.FixtureRequest) -> str:
    """Each kept store in turn."""
    return str(request.param)


@pytest.fixture
def file(name: str, tmp_path: Path) -> Path:
    """That store, untouched."""
    return earlier.unpacked(name, tmp_path / "studies.sqlite")


def sha(file: Path) -> str:
    """The content of a file."""
    return hashlib.sha256(file.read_bytes()).hexdigest()


def revision(file: Path) -> str:
    """The revision of the tables in a file."""
    with contextlib.closing(read_as_it_stands(str(file))) as store, store.read() as tx:
        return str(revisions.revision(tx))


def spoil(file: Path, *statements: str) -> None:
    """Change a file outside the app."""
    with contextlib.closing(sqlite_module().connect(str(file))) as connection:
        for statement in statements:
            connection.execute(statement)
        connection.commit()


def test_there_is_a_store_of_every_schema() -> None:
    """A new migration needs the store that the version before it left."""
    known = {each.revision for each in revisions._script().walk_revisions()}
    assert {told["revision"] for told in earlier.TOLD.values()} | {revisions.today()} == known


def test_it_is_sound_as_it_stands_and_stays_as_it_is(name: str, file: Path) -> None:
    """The head is the one written down on that day, the age is said, and no byte changes."""
    told, before = earlier.TOLD[name], sha(file)
    report = check(str(file), told["head"])
    assert report.sound
    assert (report.head, report.events) == (told["head"], told["events"])
    said = [finding.sentence for finding in report.findings if "older version" in finding.sentence]
    assert len(said) == (1 if name in OLDER else 0)
    assert sha(file) == before


@pytest.mark.parametrize("old", OLDER)
def test_the_commands_say_older_and_work(old: str, tmp_path: Path) -> None:
    """`check`, `backup` and `export` end well; the copy is of the same age; a study comes out and goes in elsewhere."""
    file = earlier.unpacked(old, tmp_path / "studies.sqlite")
    checked = run("check", "--store", str(file))
    assert checked.returncode == 0
    assert f"older version of the app (tables {earlier.TOLD[old]['revision']})" in checked.stdout
    assert run("backup", str(tmp_path / "copy.sqlite"), "--store", str(file)).returncode == 0
    assert revision(tmp_path / "copy.sqlite") == earlier.TOLD[old]["revision"]
    study = next(study["id"] for study in earlier.TOLD[old]["studies"] if study["state"] == "decided")
    assert run("export", study, str(tmp_path / "tables"), "--store", str(file)).returncode == 0
    with contextlib.closing(open_store(str(tmp_path / "new.sqlite"))) as store:
        assert packages.bring_in(store, tmp_path / "tables") == study
    assert check(str(tmp_path / "new.sqlite")).sound
    file.write_bytes(file.read_bytes()[:5000])
    restored = run("restore", str(tmp_path / "copy.sqlite"), "--store", str(file))
    assert restored.returncode == 0
    assert "kept as" in restored.stdout
    assert restored.stderr.startswith("Careful: the store before this one could not be read")
    assert check(str(file)).head == checked.stdout.split()[-1].rstrip(".")


def test_its_backup_restores_into_a_store_of_today(name: str, file: Path) -> None:
    """Copied, brought up to date, proven, swapped: the head is the same, and the app works with it."""
    told, copy, target = earlier.TOLD[name], file.with_name("copy.sqlite"), file.with_name("new.sqlite")
    assert backups.backup(str(file), copy) == told["head"]
    assert backups.restore(copy, str(target)) == backups.Restored(None)
    assert revision(target) == revisions.today()
    assert check(str(target)).head == told["head"]
    with contextlib.closing(open_store(str(target))) as store:
        leader = accounts.staff_of(store, accounts.sign_in(store, "Ada", earlier.PASSPHRASE, "10.0.0.7"))
        assert leader is not None
        panel.add_assessor(store, leader, "Swift")
    assert check(str(target), told["head"]).sound


@pytest.mark.parametrize("old", OLDER)
def test_who_was_erased_in_an_older_store_stays_erased(old: str, tmp_path: Path) -> None:
    """The store that is replaced is of an earlier version, and still tells who is gone."""
    file, copy = earlier.unpacked(old, tmp_path / "studies.sqlite"), tmp_path / "copy.sqlite"
    backups.backup(str(file), copy)
    spoil(file, "UPDATE person SET name = NULL, contact = NULL, erased_at = '2026-11-25T00:00:00Z'")
    done = backups.restore(copy, str(file))
    assert done.careful == ()
    with contextlib.closing(read_store(str(file))) as store, store.read() as tx:
        assert tx.exec_driver_sql("SELECT count(*) FROM person WHERE name IS NOT NULL").scalar() == 0
    assert check(str(file)).sound


@pytest.mark.parametrize("old", OLDER)
def test_an_edit_in_an_older_store_is_still_named(old: str, tmp_path: Path) -> None:
    """Being old is no excuse: the first bad row is named, and no backup of it is believed."""
    file = earlier.unpacked(old, tmp_path / "studies.sqlite")
    spoil(file, "DROP TRIGGER score_no_update", "UPDATE score SET value = 9 WHERE id = 2")
    report = check(str(file))
    assert any("row 2 of score" in finding.sentence for finding in report.findings)
    with pytest.raises(BadInput, match="does not verify"):
        backups.backup(str(file), tmp_path / "copy.sqlite")


@pytest.mark.parametrize("old", OLDER)
def test_nothing_is_written_to_an_older_store_that_is_read(old: str, tmp_path: Path) -> None:
    """Whoever tries is told what to do."""
    file = earlier.unpacked(old, tmp_path / "studies.sqlite")
    with (
        contextlib.closing(read_store(str(file))) as store,
        pytest.raises(StoreProblem, match="Start the app once"),
        store.write(),
    ):
        pass


def test_rows_that_no_version_wrote_are_one_sentence(tmp_path: Path) -> None:
    """What no migration can carry over is a sentence of the check, never a trace of the program."""
    file = earlier.unpacked("v0001", tmp_path / "studies.sqlite")
    spoil(
        file,
        "INSERT INTO trial (study_id, assessor_id, method, number, presented, chosen, correct, guessed, nonce, at,"
        " sha256) SELECT study.id, assessor.id, 'triangle', 1, '[]', '1', TRUE, FALSE, 'n', 't', 'h'"
        " FROM study, assessor LIMIT 1",
    )
    with pytest.raises(StoreProblem, match=r"^Careful: the store cannot be brought up to date"):
        check(str(file))


def test_a_store_of_a_newer_version_is_not_replaced(tmp_path: Path) -> None:
    """It is in good order, and only its own version knows who was erased."""
    file, copy = earlier.unpacked("v0001", tmp_path / "studies.sqlite"), tmp_path / "copy.sqlite"
    backups.backup(str(file), copy)
    spoil(file, "UPDATE alembic_version SET version_num = '9999'")
    with pytest.raises(Foreign, match="newer version"):
        backups.restore(copy, str(file))
    with contextlib.closing(sqlite_module().connect(str(file))) as connection:
        assert connection.execute("SELECT version_num FROM alembic_version").fetchone() == ("9999",)
    assert list(tmp_path.glob("*.before-*")) == []


# ---- PostgreSQL ----------------------------------------------------------------------------------------------------
def first_tables(url: str) -> Store:
    """A database with the tables of the first version and nothing in it."""
    from alembic import command

    store = Store(connect(url))
    config = revisions._config()
    with store.write() as tx:
        config.attributes["connection"] = tx
        command.upgrade(config, "0001")
        tx.exec_driver_sql("INSERT INTO meta (key, value) VALUES ('code salt', 'salt')")
    return store


@pytest.mark.postgres
def test_an_older_database_is_read_and_stays_as_it_is(postgres: str) -> None:
    """What is brought up to date for the check is rolled back: the version that runs on it goes on."""
    with contextlib.closing(first_tables(postgres)) as store:
        report = check(postgres)
        assert report.sound
        assert "tables 0001" in report.findings[0].sentence
        with store.read() as tx:
            assert revisions.revision(tx) == "0001"
            assert "kind" not in {
                c
                for (c,) in tx.exec_driver_sql(
                    "SELECT column_name FROM information_schema.columns WHERE table_name = 'study'"
                )
            }
    with contextlib.closing(open_store(postgres)) as store, store.read() as tx:
        assert revisions.revision(tx) == revisions.today()
