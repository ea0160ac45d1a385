"""Opening a store: where it lies, who may read it, how its tables come about."""

from __future__ import annotations

import stat
import subprocess
import sys
import threading
from pathlib import Path
from typing import Any

import pytest
from alembic.autogenerate import compare_metadata
from alembic.migration import MigrationContext

from studyapp.errors import StoreProblem
from studyapp.store import Store, events, open_store, read_store, schema
from studyapp.store import place as store_place
from studyapp.store.engine import parse, sqlite_module, write_ahead_is_safe


def pragma(store: Store, name: str) -> Any:
    """A setting of the writer's connection."""
    with store.write() as tx:
        return tx.exec_driver_sql(f"PRAGMA {name}").scalar()


def test_a_new_store_is_private_and_durable(tmp_path: Path) -> None:
    """Only its owner reads it, and a commit reaches the disk before it is acknowledged."""
    store = open_store(str(tmp_path / "studies.sqlite"))
    safe = write_ahead_is_safe(tuple(sqlite_module().sqlite_version_info))
    assert stat.S_IMODE((tmp_path / "studies.sqlite").stat().st_mode) == 0o600
    assert pragma(store, "journal_mode") == ("wal" if safe else "delete")
    assert pragma(store, "synchronous") == (2 if safe else 3)
    assert pragma(store, "foreign_keys") == 1
    store.close()


def test_a_store_others_could_read_is_tightened(tmp_path: Path) -> None:
    """A copy that came with wide rights gets narrow ones."""
    file = tmp_path / "studies.sqlite"
    open_store(str(file)).close()
    file.chmod(0o644)
    open_store(str(file)).close()
    assert stat.S_IMODE(file.stat().st_mode) == 0o600


def test_the_usual_folder_is_made_private(tmp_path: Path) -> None:
    """The first start makes the data folder of this account, for this account alone."""
    code = (
        "from studyapp.settings import settings; from studyapp.store import open_store;"
        "open_store(settings().store).close(); print(settings().store)"
    )
    environment = {"HOME": str(tmp_path), "PATH": "/usr/bin", "XDG_DATA_HOME": str(tmp_path / "data")}
    done = subprocess.run([sys.executable, "-c", code], env=environment, capture_output=True, text=True, check=True)
    file = Path(done.stdout.strip().removeprefix("sqlite:///"))
    assert file.is_file()
    assert stat.S_IMODE(file.parent.stat().st_mode) == 0o700


def test_the_write_ahead_floor_is_the_published_one() -> None:
    """sqlite.org/wal.html: the reset bug is fixed in 3.51.3, 3.50.7 and 3.44.6."""
    safe = [(3, 44, 6), (3, 44, 9), (3, 50, 7), (3, 51, 3), (3, 52, 0), (3, 53, 4)]
    unsafe = [(3, 7, 0), (3, 40, 1), (3, 44, 5), (3, 45, 0), (3, 46, 1), (3, 50, 6), (3, 51, 2)]
    assert all(write_ahead_is_safe(version) for version in safe)
    assert not any(write_ahead_is_safe(version) for version in unsafe)


def test_migrated_tables_are_the_tables_the_code_expects(tmp_path: Path) -> None:
    """The migrations lead to the schema in `store.schema`, column by column."""
    store = open_store(str(tmp_path / "studies.sqlite"))
    with store.read() as tx:
        assert compare_metadata(MigrationContext.configure(tx, opts={"compare_type": True}), schema.metadata) == []
    store.close()


def test_opening_again_changes_nothing(tmp_path: Path) -> None:
    """A second start finds its tables."""
    file = tmp_path / "studies.sqlite"
    open_store(str(file)).close()
    before = file.read_bytes()
    open_store(str(file)).close()
    assert file.read_bytes() == before


@pytest.mark.reliability
@pytest.mark.parametrize("round_", range(5))
def test_two_servers_may_start_at_the_same_moment(tmp_path: Path, round_: int) -> None:
    """Each step of the migration runs once, and both can work (5 rounds, four processes each)."""
    file = tmp_path / f"studies{round_}.sqlite"
    code = (
        "import sys; sys.stdin.readline(); from studyapp.store import open_store, events\n"
        f"store = open_store({str(file)!r})\n"
        "with store.write() as tx: events.append(tx, 'started', {})\n"
        "store.close()"
    )
    command = [sys.executable, "-c", "import studyapp.store\n" + code]
    racers = [
        subprocess.Popen(command, stdin=subprocess.PIPE, stderr=subprocess.PIPE, text=True) for _ in range(4)
    ]  # each imports first and then waits for the same line
    said = [""] * 4

    def run(number: int) -> None:
        said[number] = racers[number].communicate("go\n", timeout=60)[1]

    threads = [threading.Thread(target=run, args=(number,)) for number in range(4)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert [racer.returncode for racer in racers] == [0, 0, 0, 0], said
    store = read_store(str(file))
    with store.read() as tx:
        assert [event.kind for event in events.all_events(tx)] == ["started"] * 4
        assert tx.exec_driver_sql("SELECT count(*) FROM alembic_version").scalar() == 1
        assert tx.exec_driver_sql("SELECT count(*) FROM meta").scalar() == 1
    store.close()


def test_a_failed_migration_leaves_nothing_behind(tmp_path: Path) -> None:
    """Tables come all or not at all: our own BEGIN makes SQLite's DDL part of the transaction."""
    store = open_store(str(tmp_path / "studies.sqlite"))

    def fail() -> None:
        with store.write() as tx:
            tx.exec_driver_sql("CREATE TABLE half (id INTEGER)")
            raise RuntimeError("power cut")

    with pytest.raises(RuntimeError, match="power cut"):
        fail()
    with store.read() as tx:
        assert tx.exec_driver_sql("SELECT count(*) FROM sqlite_master WHERE name = 'half'").scalar() == 0
    store.close()


@pytest.mark.parametrize("url", ["", "mysql://host/name", "sqlite://", "sqlite:///:memory:", "no words://x"])
def test_an_address_that_is_no_store_is_refused(url: str) -> None:
    """One sentence that shows how to write it."""
    with pytest.raises(StoreProblem, match="is no store"):
        parse(url)


def test_a_path_and_an_address_mean_the_same_file(tmp_path: Path) -> None:
    """`FILE` and `sqlite:///FILE` are one store, odd characters included."""
    file = tmp_path / "Größe? 100% #1.sqlite"
    store = open_store(str(file))
    with store.write() as tx:
        events.append(tx, "here", {})
    store.close()
    again = open_store(f"sqlite:///{file.as_posix()}") if "?" not in file.name else open_store(str(file))
    with again.read() as tx:
        assert events.count(tx) == 1
    again.close()


@pytest.mark.parametrize("kind", ["nfs4", "cifs", "fuse.sshfs", "9p"])
def test_a_network_drive_is_refused_by_its_kind(tmp_path: Path, kind: str, monkeypatch: pytest.MonkeyPatch) -> None:
    """The write-ahead log does not work over a network (sqlite.org/wal.html); the sentence names the way out."""
    mounts = f"/dev/sda1 / ext4 rw 0 0\nserver:/share {tmp_path} {kind} rw 0 0\n"
    real = Path.read_text
    monkeypatch.setattr(
        Path, "read_text", lambda path, **how: mounts if str(path) == "/proc/self/mounts" else real(path, **how)
    )
    with pytest.raises(StoreProblem, match="PostgreSQL"):
        open_store(str(tmp_path / "studies.sqlite"))
    assert list(tmp_path.iterdir()) == []


def test_the_mount_table_is_read_from_the_longest_point() -> None:
    """The root's type does not hide a mount below it."""
    assert store_place._file_system(Path("/proc/self")) == "proc"
