"""`studyapp check`: what a person who does not trust the app can verify from outside."""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from studyapp.cli import group
from studyapp.services import accounts, panel
from studyapp.store import Store, events
from tests.furnished import furnished


def _check(*arguments: object) -> Result:
    return CliRunner().invoke(group, ["check", *map(str, arguments)])


def _two_people(store: Store) -> None:
    panel.add_assessor(store, accounts.first_leader(store, "Juno", "a short sentence"), "Heron")


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    """A small store with a few events."""
    opened, _nothing = furnished(tmp_path / "store.sqlite", _two_people)
    yield opened
    opened.close()


def test_a_sound_record_is_exit_0_with_its_head(store: Store, tmp_path: Path) -> None:
    """By URL or by file name; the head is the one that slips print."""
    with store.read() as tx:
        count, head = events.head(tx)
    for address in (store.url, tmp_path / "store.sqlite"):
        result = _check("--store", address)
        assert result.exit_code == 0
        assert f"Sound: {count} events, head {head}." in result.stdout


def test_a_head_on_paper_is_looked_for(store: Store) -> None:
    """An earlier head is still in the chain; another one is not, and that is exit 1."""
    with store.read() as tx:
        earlier = events.all_events(tx)[0].hash
    assert _check("--store", store.url, "--head", earlier).exit_code == 0
    result = _check("--store", store.url, "--head", "0" * 63 + "1")
    assert result.exit_code == 1
    assert "Careful: the head on your slip is not in this record." in result.stderr
    assert "Sound" not in result.stdout


def test_a_changed_record_is_exit_1_with_the_row(store: Store, tmp_path: Path) -> None:
    """Changed behind the app's back, with its guards taken off."""
    from studyapp.store.engine import sqlite_module

    store.close()
    raw = sqlite_module().connect(tmp_path / "store.sqlite")
    for (name,) in raw.execute("select name from sqlite_master where type = 'trigger'").fetchall():
        raw.execute(f'drop trigger "{name}"')
    raw.execute("update event set body = '{}' where seq = 2")
    raw.commit()
    raw.close()
    result = _check("--store", tmp_path / "store.sqlite")
    assert result.exit_code == 1
    assert re.search(r"Careful: event 2 does not match its seal", result.stderr)
    assert "Sound" not in result.stdout


@pytest.mark.parametrize("made", [False, True])
def test_what_is_no_store_is_exit_2_and_left_alone(made: bool, tmp_path: Path) -> None:
    """A missing file is not created; a text file is not touched."""
    file = tmp_path / "other.sqlite"
    if made:
        file.write_text("this is no database, and long enough to be read as the header of one" * 20)
    before = {path: path.read_bytes() for path in tmp_path.iterdir()}
    result = _check("--store", file)
    assert result.exit_code in (1, 2)
    assert result.stdout == ""
    assert result.stderr.startswith(("Not done:", "Careful:"))
    assert {path: path.read_bytes() for path in tmp_path.iterdir()} == before
