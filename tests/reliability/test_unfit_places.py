"""A file or folder that cannot hold a store: one sentence, and nothing is made or changed."""

from __future__ import annotations

import hashlib
import os
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

from studyapp.errors import StoreProblem
from studyapp.services.checking import check
from studyapp.store import open_store, read_store
from studyapp.store.engine import sqlite_module
from tests.forking import run

pytestmark = pytest.mark.reliability


def good(folder: Path) -> Path:
    """A sound, empty store."""
    file = folder / "studies.sqlite"
    open_store(str(file)).close()
    return file


def read_only_file(folder: Path) -> Path:
    """The file may only be read."""
    file = good(folder)
    file.chmod(0o400)
    return file


def read_only_folder(folder: Path) -> Path:
    """The folder may only be read, so that no log could lie beside the file."""
    file = good(folder)
    folder.chmod(0o500)
    return file


def new_in_read_only_folder(folder: Path) -> Path:
    """There is no file yet, and none may be made."""
    folder.chmod(0o500)
    return folder / "studies.sqlite"


def wrong_owner(folder: Path) -> Path:
    """The file belongs to another account."""
    if os.geteuid() != 0:
        pytest.skip("only the administrator can give a file away")
    file = good(folder)
    os.chown(file, 12345, 12345)
    return file


def missing_folder(folder: Path) -> Path:
    """The folder does not exist."""
    return folder / "no" / "such" / "studies.sqlite"


def a_folder(folder: Path) -> Path:
    """The name is taken by a folder."""
    (folder / "studies.sqlite").mkdir()
    return folder / "studies.sqlite"


def text_file(folder: Path) -> Path:
    """Somebody's notes."""
    file = folder / "studies.sqlite"
    file.write_text("Pull at 8, 12 and 24 hours.\n" * 400)
    return file


def damaged_head(folder: Path) -> Path:
    """The first bytes are gone."""
    file = good(folder)
    file.write_bytes(os.urandom(64) + file.read_bytes()[64:])
    return file


def another_program(folder: Path) -> Path:
    """A database of another program, with tables of its own."""
    file = folder / "studies.sqlite"
    connection = sqlite_module().connect(str(file))
    connection.execute("CREATE TABLE recipes (name TEXT)")
    connection.commit()
    connection.close()
    return file


def another_migrated_program(folder: Path) -> Path:
    """A database of another program that counts its versions in the same way."""
    file = another_program(folder)
    connection = sqlite_module().connect(str(file))
    connection.execute("CREATE TABLE alembic_version (version_num TEXT)")
    connection.execute("INSERT INTO alembic_version VALUES ('0001')")
    connection.commit()
    connection.close()
    return file


def newer_schema(folder: Path) -> Path:
    """A store that a later version of the app has written."""
    file = good(folder)
    connection = sqlite_module().connect(str(file))
    connection.execute("UPDATE alembic_version SET version_num = '9999'")
    connection.commit()
    connection.close()
    return file


UNFIT: dict[Callable[[Path], Path], str] = {
    read_only_file: "may only be read",
    read_only_folder: "may only be read",
    new_in_read_only_folder: "may only be read",
    wrong_owner: "another account",
    missing_folder: "does not exist",
    a_folder: "not a file",
    text_file: "not a store",
    damaged_head: "not a store",
    another_program: "not a store",
    another_migrated_program: "not a store",
    newer_schema: "newer version",
}
READABLE = {read_only_file, read_only_folder, wrong_owner}  # sound stores that may still be checked


@pytest.fixture
def folder(tmp_path: Path) -> Iterator[Path]:
    """A folder that can be removed again."""
    made = tmp_path / "data"
    made.mkdir()
    yield made
    made.chmod(0o700)


def picture(folder: Path) -> dict[str, Any]:
    """Every name below a folder with its rights and content."""
    return {
        str(path.relative_to(folder)): (
            path.stat().st_mode,
            hashlib.sha256(path.read_bytes()).hexdigest() if path.is_file() else None,
        )
        for path in sorted(folder.rglob("*"))
    }


@pytest.mark.parametrize(("make", "part"), UNFIT.items(), ids=lambda value: getattr(value, "__name__", ""))
def test_an_unfit_place_is_refused_in_one_sentence(folder: Path, make: Callable[[Path], Path], part: str) -> None:
    """What is wrong, where, what to do; nothing is created, nothing changed."""
    file = make(folder)
    before = picture(folder)
    with pytest.raises(StoreProblem, match=part) as refusal:
        open_store(str(file))
    assert str(refusal.value).startswith("Not done: ")
    assert "\n" not in str(refusal.value)
    assert picture(folder) == before


@pytest.mark.parametrize("make", [make for make in UNFIT if make not in READABLE], ids=lambda make: make.__name__)
def test_what_is_no_store_cannot_be_checked_either(folder: Path, make: Callable[[Path], Path]) -> None:
    """The check opens for reading only, refuses in one sentence and leaves no trace."""
    file = make(folder)
    before = picture(folder)
    with pytest.raises(StoreProblem, match=r"^Not done: [^\n]+$"):
        check(str(file))
    assert picture(folder) == before


@pytest.mark.parametrize("make", sorted(READABLE, key=lambda make: make.__name__), ids=lambda make: make.__name__)
def test_a_store_that_may_only_be_read_can_still_be_checked(folder: Path, make: Callable[[Path], Path]) -> None:
    """An auditor with a copy needs no right to write."""
    assert check(str(make(folder))).sound


@pytest.mark.parametrize(
    ("command", "make"),
    [
        (["check"], missing_folder),
        (["check"], text_file),
        (["check"], newer_schema),
        (["check"], new_in_read_only_folder),
        (["run"], read_only_file),
        (["run"], newer_schema),
        (["run"], wrong_owner),
        (["import", "tables"], another_program),
    ],
    ids=lambda value: getattr(value, "__name__", "-"),
)
def test_the_command_says_one_sentence_and_ends_with_2(
    folder: Path, command: list[str], make: Callable[[Path], Path]
) -> None:
    """On the shell: the sentence on stderr, nothing on stdout, exit 2, nothing made."""
    file = make(folder)
    before = picture(folder)
    done = run(*command, "--store", str(file))
    assert (done.returncode, done.stdout) == (2, "")
    assert done.stderr.startswith("Not done: ")
    assert done.stderr.count("\n") == 1
    assert picture(folder) == before


def test_a_store_that_does_not_exist_is_not_made_by_a_check(folder: Path) -> None:
    """Reading never creates."""
    with pytest.raises(StoreProblem, match="no store at"):
        read_store(str(folder / "studies.sqlite"))
    assert picture(folder) == {}
