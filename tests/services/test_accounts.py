"""Staff, roles and secrets."""

from __future__ import annotations

import hashlib
import threading
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from datetime import UTC, datetime, timedelta
from typing import Any

import pytest

from studyapp.errors import BadInput, NotAllowed, NotFound, StudyError, TooManyTries
from studyapp.records import Account, Staff
from studyapp.services import accounts, panel, passphrases
from studyapp.services.checking import check
from studyapp.services.standing import stamp
from studyapp.store import Store, events, people, schema
from tests.furnished import empty

PHRASE = "a bench by the window"
OTHER = "a stool by the stove"
HERE, THERE = "10.0.0.7", "10.0.0.8"


@pytest.fixture
def store(tmp_path: Any) -> Any:
    """An empty store."""
    opened = empty(tmp_path / "studies.sqlite")
    yield opened
    opened.close()


def crew(store: Store) -> tuple[Staff, Staff]:
    """A leader and a preparer with the same passphrase."""
    leader = accounts.first_leader(store, "Ada", PHRASE)
    return leader, accounts.add_staff(store, leader, "Ben", "preparer", PHRASE)


def account(store: Store, by: Staff, name: str) -> Account:
    """One account of the list."""
    return next(one for one in accounts.everybody(store, by) if one.member.name == name)


def outcome(act: Callable[[], object]) -> type[Exception] | None:
    """How an act was refused, None when it was not."""
    try:
        act()
    except StudyError as refused:
        return type(refused)
    return None


def hashing(monkeypatch: pytest.MonkeyPatch, then: Callable[[], None]) -> None:
    """Do something once, as soon as a passphrase was hashed."""
    scrypt, done = hashlib.scrypt, threading.Event()

    def noted(passphrase: bytes, **how: Any) -> bytes:
        raw = scrypt(passphrase, **how)
        if not done.is_set():
            done.set()
            then()
        return raw

    monkeypatch.setattr(hashlib, "scrypt", noted)


def told(store: Store) -> list[tuple[str, dict[str, Any]]]:
    """What the record says, kinds and bodies; without what it keeps of a passphrase."""
    with store.read() as tx:
        found = events.all_events(tx)
    return [(event.kind, {name: event.body[name] for name in event.body if name != "secret"}) for event in found]


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
        everything = repr([tx.execute(table.select()).all() for table in schema.metadata.tables.values()])
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
            tx.execute(schema.token.update().values(created_at=made))
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
    assert [account.member.name for account in accounts.everybody(store, leader)] == ["Ada", "Ben"]


def test_an_account_is_tied_to_somebody_who_tastes_by_their_pseudonym(store: Any) -> None:
    """The tie is looked up here, so that no page can name a human who is not kept."""
    leader = accounts.first_leader(store, "Ada", PHRASE)
    heron = panel.add_assessor(store, leader, "Heron")
    assert accounts.add_staff(store, leader, "Ben", "preparer", PHRASE, heron.id).person == heron.person
    with pytest.raises(NotFound, match="pseudonym"):
        accounts.add_staff(store, leader, "Cleo", "preparer", PHRASE, "nobody")


# ---- another passphrase ----------------------------------------------------------------------------------------------
def test_a_changed_passphrase_ends_every_other_sign_in(store: Any) -> None:
    """The token that comes back is the only one that holds; the old passphrase opens nothing any more."""
    _leader, preparer = crew(store)
    before = [accounts.sign_in(store, "Ben", PHRASE, where) for where in (HERE, THERE)]
    after = accounts.change_passphrase(store, before[0], PHRASE, OTHER, HERE)
    assert [accounts.staff_of(store, token) for token in (*before, after)] == [None, None, preparer]
    with pytest.raises(NotAllowed, match="belong together"):
        accounts.sign_in(store, "Ben", PHRASE, HERE)
    assert accounts.sign_in(store, "Ben", OTHER, HERE)


def test_somebody_else_stays_signed_in(store: Any) -> None:
    """A change is about one account."""
    leader, _preparer = crew(store)
    ada, ben = (accounts.sign_in(store, name, PHRASE, HERE) for name in ("Ada", "Ben"))
    accounts.change_passphrase(store, ben, PHRASE, OTHER, HERE)
    assert accounts.staff_of(store, ada) == leader
    assert accounts.sign_in(store, "Ada", PHRASE, HERE)


def test_the_record_tells_of_a_change_and_not_the_passphrase(store: Any) -> None:
    """Who and when; neither the words nor their hash stand in the chain, which nobody can shorten later."""
    _leader, preparer = crew(store)
    accounts.change_passphrase(store, accounts.sign_in(store, "Ben", PHRASE, HERE), PHRASE, OTHER, HERE)
    assert ("passphrase changed", {"staff": preparer.id}) in told(store)
    with store.read() as tx:
        hashes = [row.secret for row in tx.execute(schema.staff.select())]
    assert not [secret for secret in (PHRASE, OTHER, *hashes) if secret in repr(told(store))]
    assert check(store.url).sound


@pytest.mark.parametrize(
    ("old", "new", "refusal", "said"),
    [(OTHER, "a long enough one", NotAllowed, "old passphrase"), (PHRASE, "too short", BadInput, "at least 10")],
)
def test_a_refused_change_changes_nothing(store: Any, old: str, new: str, refusal: Any, said: str) -> None:
    """The old one must be right and the new one long enough; otherwise everybody stays as they were."""
    _leader, preparer = crew(store)
    token = accounts.sign_in(store, "Ben", PHRASE, HERE)
    with pytest.raises(refusal, match=said):
        accounts.change_passphrase(store, token, old, new, HERE)
    assert accounts.staff_of(store, token) == preparer
    assert accounts.sign_in(store, "Ben", PHRASE, THERE)


def test_who_is_not_signed_in_cannot_even_try(store: Any) -> None:
    """No token, no guess: it is not compared, and it is not counted."""
    crew(store)
    for token in (None, "", "worthless"):
        with pytest.raises(NotAllowed, match="signed out"):
            accounts.change_passphrase(store, token, PHRASE, OTHER, HERE)
    assert "refused" not in [kind for kind, _body in told(store)]


def test_a_door_more_is_not_five_tries_more(store: Any) -> None:
    """Wrong old passphrases and wrong sign-ins of one address count together, and stop both doors."""
    crew(store)
    token = accounts.sign_in(store, "Ben", PHRASE, HERE)
    for _ in range(3):
        with pytest.raises(NotAllowed, match="old passphrase"):
            accounts.change_passphrase(store, token, "a guess of mine", OTHER, HERE)
    for _ in range(2):
        with pytest.raises(NotAllowed, match="belong together"):
            accounts.sign_in(store, "Ben", "a guess of mine", HERE)
    with pytest.raises(TooManyTries):
        accounts.change_passphrase(store, token, PHRASE, OTHER, HERE)
    with pytest.raises(TooManyTries):
        accounts.sign_in(store, "Ben", PHRASE, HERE)
    assert accounts.change_passphrase(store, token, PHRASE, OTHER, THERE)


@pytest.mark.parametrize(
    "act",
    [
        lambda store, _token: accounts.sign_in(store, "Ben", PHRASE, HERE),
        lambda store, token: accounts.change_passphrase(store, token, PHRASE, OTHER, HERE),
    ],
)
def test_a_passphrase_that_changes_while_it_is_hashed_opens_nothing(
    store: Any, monkeypatch: pytest.MonkeyPatch, act: Any
) -> None:
    """Between reading the hash and giving the token somebody else may change it: then the old one is worthless."""
    leader, preparer = crew(store)
    token = accounts.sign_in(store, "Ben", PHRASE, HERE)

    def changed() -> None:
        with store.write() as tx:
            people.set_secret(tx, preparer.id, "00$another")

    hashing(monkeypatch, changed)
    assert outcome(lambda: act(store, token)) is NotAllowed
    assert account(store, leader, "Ben").browsers == 0


def test_guesses_of_one_moment_are_heard_one_by_one(store: Any) -> None:
    """Twenty at once from one address: five are compared and counted, the others wait like everybody after five."""
    crew(store)
    with ThreadPoolExecutor(20) as crowd:
        tries = [crowd.submit(outcome, lambda: accounts.sign_in(store, "Ben", OTHER, HERE)) for _ in range(20)]
    found = [each.result() for each in tries]
    assert (found.count(NotAllowed), found.count(TooManyTries)) == (5, 15)


@pytest.mark.parametrize("name", ["Ben", "Eve", "Cleo"])
def test_nobody_learns_from_the_work_done_whether_an_account_lives(
    store: Any, monkeypatch: pytest.MonkeyPatch, name: str
) -> None:
    """One hash of the same cost for a live account, for no account and for one that ended, and the same sentence."""
    leader, _preparer = crew(store)
    accounts.end_account(store, leader, accounts.add_staff(store, leader, "Cleo", "preparer", PHRASE).id)
    scrypt, seen = hashlib.scrypt, []

    def noted(passphrase: bytes, **how: Any) -> bytes:
        seen.append((passphrase, len(how["salt"]), how["n"], how["r"], how["p"]))
        return scrypt(passphrase, **how)

    monkeypatch.setattr(hashlib, "scrypt", noted)
    with pytest.raises(NotAllowed, match=r"^Not done: name and passphrase do not belong together\.$"):
        accounts.sign_in(store, name, OTHER, HERE)
    cost = passphrases.TODAY
    assert seen == [(OTHER.encode(), 16, cost.n, cost.r, cost.p)]


# ---- the end of an account -------------------------------------------------------------------------------------------
def test_an_ended_account_is_shut_at_once_and_its_record_stays(store: Any) -> None:
    """Every browser of it is signed out, the passphrase opens nothing, the row and its events are where they were."""
    leader, preparer = crew(store)
    tokens = [accounts.sign_in(store, "Ben", PHRASE, where) for where in (HERE, THERE)]
    before = told(store)
    accounts.end_account(store, leader, preparer.id)
    assert [accounts.staff_of(store, token) for token in tokens] == [None, None]
    with pytest.raises(NotAllowed, match="belong together"):
        accounts.sign_in(store, "Ben", PHRASE, HERE)
    assert told(store)[: len(before)] == before
    (ended,) = (body for kind, body in told(store) if kind == "account ended")
    assert ended == {"staff": preparer.id, "by": leader.id, "at": account(store, leader, "Ben").ended_at}
    ended = account(store, leader, "Ben")
    assert (ended.member, ended.browsers, ended.ended_at is not None) == (preparer, 0, True)
    assert check(store.url).sound


def test_only_another_leader_ends_an_account(store: Any) -> None:
    """Not a preparer, not nobody, not oneself, and not somebody unknown; one leader always stays."""
    leader, preparer = crew(store)
    for by in (preparer, None):
        with pytest.raises(NotAllowed):
            accounts.end_account(store, by, leader.id)
    with pytest.raises(NotAllowed, match="nobody ends their own"):
        accounts.end_account(store, leader, leader.id)
    with pytest.raises(NotFound, match="no such account"):
        accounts.end_account(store, leader, "nobody")
    accounts.end_account(store, leader, preparer.id)
    with pytest.raises(NotAllowed, match="ended already"):
        accounts.end_account(store, leader, preparer.id)
    assert not accounts.needs_first_leader(store)


def test_of_two_leaders_who_end_each_other_the_first_is_heard(store: Any) -> None:
    """The second comes with a page that was drawn before: it is refused, and the last leader stays."""
    ada = accounts.first_leader(store, "Ada", PHRASE)
    cleo = accounts.add_staff(store, ada, "Cleo", "leader", PHRASE)
    accounts.end_account(store, ada, cleo.id)
    for act in (
        lambda: accounts.end_account(store, cleo, ada.id),
        lambda: accounts.give_passphrase(store, cleo, ada.id, OTHER),
        lambda: accounts.still(store, cleo),
    ):
        with pytest.raises(NotAllowed, match="your account has ended"):
            act()
    assert accounts.still(store, ada) == ada
    assert accounts.staff_of(store, accounts.sign_in(store, "Ada", PHRASE, HERE)) == ada


def test_the_name_of_an_ended_account_stays_with_it(store: Any) -> None:
    """Records are signed with names, so nobody new takes one over; the sentence says what can be done."""
    leader, preparer = crew(store)
    accounts.end_account(store, leader, preparer.id)
    with pytest.raises(BadInput, match="account of Ben has ended"):
        accounts.add_staff(store, leader, "Ben", "leader", OTHER)


# ---- a first passphrase once more ------------------------------------------------------------------------------------
def test_who_forgot_gets_a_first_passphrase_again(store: Any) -> None:
    """The old one and every sign-in with it end; the new one can be changed by its owner like any other."""
    leader, preparer = crew(store)
    before = accounts.sign_in(store, "Ben", PHRASE, HERE)
    accounts.give_passphrase(store, leader, preparer.id, OTHER)
    assert accounts.staff_of(store, before) is None
    with pytest.raises(NotAllowed):
        accounts.sign_in(store, "Ben", PHRASE, HERE)
    token = accounts.sign_in(store, "Ben", OTHER, HERE)
    assert accounts.staff_of(store, accounts.change_passphrase(store, token, OTHER, PHRASE, HERE)) == preparer
    assert ("passphrase given", {"staff": preparer.id, "by": leader.id}) in told(store)


def test_only_a_leader_gives_a_passphrase_and_never_to_themselves(store: Any) -> None:
    """One's own needs the old one: a leader's browser left open must not be enough to take the account over."""
    leader, preparer = crew(store)
    for by in (preparer, None):
        with pytest.raises(NotAllowed):
            accounts.give_passphrase(store, by, leader.id, OTHER)
    with pytest.raises(NotAllowed, match="page Account"):
        accounts.give_passphrase(store, leader, leader.id, OTHER)
    with pytest.raises(NotFound):
        accounts.give_passphrase(store, leader, "nobody", OTHER)
    with pytest.raises(BadInput, match="at least 10"):
        accounts.give_passphrase(store, leader, preparer.id, "short")
    assert accounts.sign_in(store, "Ben", PHRASE, HERE)


def test_an_ended_account_comes_back_with_a_new_passphrase_and_no_old_sign_in(store: Any) -> None:
    """The same member in the same role; what was signed in before it ended stays signed out."""
    leader, preparer = crew(store)
    before = accounts.sign_in(store, "Ben", PHRASE, HERE)
    accounts.end_account(store, leader, preparer.id)
    accounts.give_passphrase(store, leader, preparer.id, OTHER)
    assert accounts.staff_of(store, before) is None
    assert accounts.staff_of(store, accounts.sign_in(store, "Ben", OTHER, HERE)) == preparer
    assert account(store, leader, "Ben").ended_at is None
    assert ("account brought back", {"staff": preparer.id, "by": leader.id}) in told(store)


def test_a_member_of_an_imported_study_has_no_account(store: Any) -> None:
    """They stand in the record under their name; nobody gives them a passphrase, and none opens anything."""
    leader, _preparer = crew(store)
    with store.write() as tx:
        gone = {"secret": "", "created_at": "t", "ended_at": "t"}
        tx.execute(schema.staff.insert().values(id="far", name="Dora", role="leader", **gone))
    assert [one.member.name for one in accounts.everybody(store, leader)] == ["Ada", "Ben"]
    with pytest.raises(NotFound):
        accounts.give_passphrase(store, leader, "far", OTHER)
    for phrase in ("", OTHER):
        with pytest.raises(NotAllowed):
            accounts.sign_in(store, "Dora", phrase, HERE)
    with pytest.raises(BadInput, match="somebody here is called Dora"):
        accounts.add_staff(store, leader, "Dora", "leader", OTHER)


# ---- who is signed in ------------------------------------------------------------------------------------------------
def test_the_list_tells_where_people_are_signed_in(store: Any) -> None:
    """Live sign-ins are counted, with the newest; what was left, ended or is too old is not."""
    leader, preparer = crew(store)
    assert (account(store, leader, "Ben").browsers, account(store, leader, "Ben").latest) == (0, None)
    tokens = [accounts.sign_in(store, "Ben", PHRASE, HERE) for _ in range(3)]
    accounts.sign_out(store, tokens[0])
    seen = account(store, leader, "Ben")
    with store.read() as tx:
        newest = max(row.created_at for row in tx.execute(schema.token.select()))
    assert (seen.browsers, seen.latest) == (2, newest)
    assert accounts.own(store, preparer) == seen
    with store.write() as tx:
        tx.execute(schema.token.update().values(created_at=stamp(datetime.now(UTC) - timedelta(days=15))))
    assert account(store, leader, "Ben").browsers == 0
    with pytest.raises(NotAllowed):
        accounts.everybody(store, preparer)


def test_the_demo_door_is_shut_outside_the_demo(store: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    """Nobody enters a real store without a passphrase."""
    leader = accounts.first_leader(store, "Ada", PHRASE)
    monkeypatch.delenv("STUDYAPP_DEMO", raising=False)
    with pytest.raises(NotAllowed, match="invented"):
        accounts.enter_demo(store, "leader")
    monkeypatch.setenv("STUDYAPP_DEMO", "1")
    assert accounts.staff_of(store, accounts.enter_demo(store, "leader")) == leader
