"""Staff, roles and secrets."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from typing import Any

import pytest

from studyapp.errors import BadInput, NotAllowed, TooManyTries
from studyapp.services import accounts
from studyapp.services.standing import stamp
from studyapp.store import open_store


@pytest.fixture
def store(tmp_path: Any) -> Any:
    """An empty store."""
    opened = open_store(str(tmp_path / "studies.sqlite"))
    yield opened
    opened.close()


PHRASE = "a bench by the window"


def test_an_empty_store_takes_one_first_leader(store: Any) -> None:
    """The first who comes leads; a second first leader is refused."""
    assert accounts.needs_first_leader(store)
    leader = accounts.first_leader(store, " Ada ", PHRASE)
    assert (leader.name, leader.role) == ("Ada", "leader")
    assert not accounts.needs_first_leader(store)
    with pytest.raises(NotAllowed, match="Sign in"):
        accounts.first_leader(store, "Eve", PHRASE)


@pytest.mark.parametrize(("name", "phrase"), [("", PHRASE), ("x" * 61, PHRASE), ("Ada", "short")])
def test_a_leader_needs_a_name_and_a_long_passphrase(store: Any, name: str, phrase: str) -> None:
    """What is wrong is said in a sentence that begins with what to mend."""
    with pytest.raises(BadInput, match=r"^Fix the"):
        accounts.first_leader(store, name, phrase)
    assert accounts.needs_first_leader(store)


def test_signing_in_gives_a_token_that_signing_out_ends(store: Any) -> None:
    """A token is who you are until it is ended."""
    leader = accounts.first_leader(store, "Ada", PHRASE)
    token = accounts.sign_in(store, "Ada", PHRASE, "10.0.0.7")
    assert accounts.staff_of(store, token) == leader
    accounts.sign_out(store, token)
    assert accounts.staff_of(store, token) is None
    assert accounts.staff_of(store, None) is None


def test_neither_passphrase_nor_token_lies_in_the_store(store: Any) -> None:
    """Whoever steals the file learns no secret that opens the app."""
    accounts.first_leader(store, "Ada", PHRASE)
    token = accounts.sign_in(store, "Ada", PHRASE, "10.0.0.7")
    with store.read() as tx:
        tables = [row[0] for row in tx.exec_driver_sql("SELECT name FROM sqlite_master WHERE type='table'")]
        everything = repr([tx.exec_driver_sql(f"SELECT * FROM {table}").all() for table in tables])
    assert "Ada" in everything
    assert PHRASE not in everything
    assert token not in everything


@pytest.mark.parametrize(("name", "phrase"), [("Ada", "a bench by the door"), ("Eve", PHRASE)])
def test_a_wrong_name_and_a_wrong_passphrase_read_the_same(store: Any, name: str, phrase: str) -> None:
    """The answer does not tell which of the two was wrong."""
    accounts.first_leader(store, "Ada", PHRASE)
    with pytest.raises(NotAllowed, match="do not belong together"):
        accounts.sign_in(store, name, phrase, "10.0.0.7")


def test_guessing_a_passphrase_is_slowed_down_by_address(store: Any) -> None:
    """Five wrong tries a minute; the right phrase must wait as well, another address need not."""
    accounts.first_leader(store, "Ada", PHRASE)
    for _ in range(5):
        with pytest.raises(NotAllowed):
            accounts.sign_in(store, "Ada", "a bench by the door", "10.0.0.7")
    with pytest.raises(TooManyTries, match="minute"):
        accounts.sign_in(store, "Ada", PHRASE, "10.0.0.7")
    assert accounts.sign_in(store, "Ada", PHRASE, "10.0.0.8")


def test_a_token_ends_by_itself_after_two_weeks(store: Any) -> None:
    """A forgotten tablet does not stay a leader for ever."""
    leader = accounts.first_leader(store, "Ada", PHRASE)
    token = accounts.sign_in(store, "Ada", PHRASE, "10.0.0.7")
    for days, who in ((13, leader), (15, None)):
        made = stamp(datetime.now(UTC) - timedelta(days=days))
        with store.write() as tx:
            tx.exec_driver_sql("UPDATE token SET created_at = ?", (made,))
        assert accounts.staff_of(store, token) == who


def test_only_a_leader_adds_staff(store: Any) -> None:
    """A preparer cannot make accounts, and nobody does without signing in."""
    leader = accounts.first_leader(store, "Ada", PHRASE)
    preparer = accounts.add_staff(store, leader, "Ben", "preparer", PHRASE)
    for by in (preparer, None):
        with pytest.raises(NotAllowed):
            accounts.add_staff(store, by, "Cleo", "leader", PHRASE)
    with pytest.raises(BadInput, match="already"):
        accounts.add_staff(store, leader, "Ben", "preparer", PHRASE)
    with pytest.raises(BadInput, match="role"):
        accounts.add_staff(store, leader, "Cleo", "owner", PHRASE)  # type: ignore[arg-type]
    assert [member.name for member in accounts.staff_list(store, leader)] == ["Ada", "Ben"]


def test_the_demo_door_is_shut_outside_the_demo(store: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    """Nobody enters a real store without a passphrase."""
    leader = accounts.first_leader(store, "Ada", PHRASE)
    monkeypatch.delenv("STUDYAPP_DEMO", raising=False)
    with pytest.raises(NotAllowed, match="invented"):
        accounts.enter_demo(store, "leader")
    monkeypatch.setenv("STUDYAPP_DEMO", "1")
    assert accounts.staff_of(store, accounts.enter_demo(store, "leader")) == leader
