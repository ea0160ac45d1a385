"""What is kept of a passphrase: its cost, older costs, and how much memory a crowd takes."""

from __future__ import annotations

import hashlib
import threading
import time
from concurrent.futures import ThreadPoolExecutor
from typing import Any

import pytest

from studyapp.errors import BadInput, NotAllowed
from studyapp.services import accounts, passphrases
from studyapp.services.checking import check
from studyapp.store import Store, people
from tests.furnished import empty

PHRASE = "a bench by the window"
# RFC 7914, section 12, third vector: scrypt of "pleaseletmein" with salt "SodiumChloride" at N = 16384, r = 8, p = 1.
SALT = b"SodiumChloride".hex()
RAW = (
    "7023bdcb3afd7348461c06cd81fd38ebfda8fbba904f8e3ea9b543f6545da1f2"
    "d5432955613f0fcf62d49705242a9af9e61e85dc0d651e40dfcf017b45575887"
)


@pytest.mark.parametrize("kept", [f"{SALT}${RAW}", f"scrypt:16384:8:1${SALT}${RAW}"])
def test_a_hash_of_an_earlier_cost_still_opens_and_is_made_anew(kept: str) -> None:
    """As the first version wrote it, without its cost, and as any later one does."""
    fresh = passphrases.fitting("pleaseletmein", kept)
    assert fresh is not None
    assert fresh.startswith(f"scrypt:{passphrases.TODAY.n}:8:1$")
    assert passphrases.fitting("pleaseletmein", fresh) == fresh
    assert passphrases.fitting("pleaseletmeout", kept) is None


def test_no_account_fits_no_passphrase() -> None:
    """Neither nothing, nor an ended account's empty hash, nor a hash cut short."""
    for kept in (None, "", f"{SALT}$", f"scrypt:1024:8:1${SALT}$"):
        assert passphrases.fitting("", kept) is None
        assert passphrases.fitting("pleaseletmein", kept) is None


def test_a_short_one_is_refused() -> None:
    """With the number of letters it takes."""
    assert passphrases.secret_of("ten chars!")
    with pytest.raises(BadInput, match="at least 10"):
        passphrases.secret_of("nine char")


def test_a_crowd_takes_the_memory_of_one(monkeypatch: pytest.MonkeyPatch) -> None:
    """However many come at once, one is hashed at a time: 128 MiB at the real cost, not 128 MiB each."""
    scrypt, busy, most = hashlib.scrypt, threading.Semaphore(0), []

    def noted(passphrase: bytes, **how: Any) -> bytes:
        busy.release()
        most.append(busy._value)
        time.sleep(0.01)
        raw = scrypt(passphrase, **how)
        busy.acquire()
        return raw

    monkeypatch.setattr(hashlib, "scrypt", noted)
    with ThreadPoolExecutor(12) as crowd:
        list(crowd.map(lambda _number: passphrases.fitting(PHRASE, None), range(24)))
    assert (len(most), max(most)) == (24, 1)


@pytest.fixture
def store(tmp_path: Any) -> Any:
    """A store with one leader, whose hash is as the first version wrote it."""
    opened: Store = empty(tmp_path / "studies.sqlite")
    leader = accounts.first_leader(opened, "Ada", PHRASE)
    raw = hashlib.scrypt(PHRASE.encode(), salt=b"\x07" * 16, n=2**14, r=8, p=1)
    with opened.write() as tx:
        people.renew_secret(tx, leader.id, f"{'07' * 16}${raw.hex()}")
    yield opened
    opened.close()


def test_signing_in_renews_the_hash_and_ends_nothing(store: Store) -> None:
    """Others stay signed in, the record proves as before, and the next sign-in leaves the hash alone."""
    first = accounts.sign_in(store, "Ada", PHRASE, "10.0.0.7")
    member = accounts.staff_of(store, first)
    assert member is not None
    with store.read() as tx:
        kept = people.secret(tx, member.id)
    assert kept is not None
    assert kept.startswith(f"scrypt:{passphrases.TODAY.n}:")
    accounts.sign_in(store, "Ada", PHRASE, "10.0.0.7")
    assert accounts.staff_of(store, first) == member
    with store.read() as tx:
        assert people.secret(tx, member.id) == kept
    assert check(store.url).sound


# ---- guesses ---------------------------------------------------------------------------------------------------------
def wrong(store: Store, address: str, device: str | None = None) -> None:
    """One guess."""
    with pytest.raises(NotAllowed, match="belong together"):
        accounts.sign_in(store, "Ada", "a bench by the door", address, device)


def refused(store: Store, address: str, device: str | None = None) -> bool:
    """Whether even the right passphrase has to wait there."""
    try:
        accounts.sign_in(store, "Ada", PHRASE, address, device)
    except accounts.TooManyTries:
        return True
    return False


def test_one_account_is_guessed_at_twenty_times_a_minute_from_everywhere(store: Store) -> None:
    """From twenty addresses once each; another account is not shut with it."""
    with store.read() as tx:
        leader = people.everybody(tx)[0]
    accounts.add_staff(store, leader, "Ben", "preparer", PHRASE)
    for number in range(accounts.ONE_ACCOUNT):
        wrong(store, f"10.0.1.{number}")
    assert refused(store, "10.0.2.1")
    assert accounts.sign_in(store, "Ben", PHRASE, "10.0.2.2")


def test_a_browser_that_was_here_before_is_counted_by_itself(store: Store) -> None:
    """Neither its address nor the account can be shut for it by others; its own five tries can. Slow Down Online
    Guessing Attacks with Device Cookies, owasp.org, read November 2026."""
    device = accounts.sign_in(store, "Ada", PHRASE, "10.0.0.7")
    accounts.sign_out(store, device)
    for number in range(accounts.ONE_ACCOUNT):
        wrong(store, f"10.0.1.{number}")
    for _ in range(accounts.MINE):
        assert not refused(store, "10.0.1.1", device)
        wrong(store, "10.0.0.7", device)
    assert refused(store, "10.0.0.7", device)
    assert refused(store, "10.0.3.1", "made-up")


def test_right_ones_are_not_counted(store: Store) -> None:
    """Who signs in often is no guesser."""
    for _ in range(2 * accounts.MINE):
        assert not refused(store, "10.0.0.7")
