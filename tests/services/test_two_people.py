"""Who is behind an act: accounts open and sign, a passphrase is its owner's, and no key holder tastes anywhere."""

from __future__ import annotations

from typing import Any

import pytest

from studyapp.errors import BadInput, NotAllowed, StoreProblem, TooManyTries
from studyapp.records import Staff
from studyapp.services import (
    accounts,
    closing,
    evidence,
    first_code,
    joining,
    packages,
    panel,
    planning,
    preparing,
    ties,
    watching,
)
from studyapp.services.devices import Device
from studyapp.store import open_store
from tests.conftest import Hand, Workshop, another_leader
from tests.furnished import reached

PHONE = Device("a random mark", "Mozilla/5.0 (Linux; Android 14) invented")


@pytest.fixture
def tasted(workshop: Any, hands: list[Any]) -> Any:
    """Everything is tasted; the key is shut."""

    def taste() -> None:
        for hand in hands:
            hand.taste_all(lambda _place, _line: 5.0)
        watching.close_sitting(workshop.store, workshop.leader, workshop.sitting.id)

    reached(workshop.store, taste, "tasted by all")
    return workshop


def _ida(shop: Any) -> Staff:
    return another_leader(shop.store, shop.leader)


# ---- opening and signing -------------------------------------------------------------------------------------------
def test_two_leaders_open_a_key_from_two_accounts(tasted: Any) -> None:
    """One asks, and cannot open; the other opens, and cannot before somebody asked. Both stand in the record."""
    store, study, ida = tasted.store, tasted.study, _ida(tasted)
    with pytest.raises(NotAllowed, match="two panel leaders open a key"):
        closing.open_key(store, ida, study, "nobody else was here")
    closing.ask_for_key(store, tasted.leader, study)
    closing.ask_for_key(store, ida, study)  # the later request takes nothing over
    with pytest.raises(NotAllowed, match="two panel leaders open a key"):
        closing.open_key(store, tasted.leader, study)
    closing.open_key(store, ida, study)
    (key,) = closing.opened_keys(store, ida, study)
    assert (key.name, key.alone) == ("Ada, Ida", False)
    assert {name for _at, name, _role in evidence.of_study(store, ida, study).seen} == {"Ada", "Ida"}


def test_who_asked_and_left_opens_nothing(tasted: Any) -> None:
    """Accounts count as they are when the key opens."""
    ida = _ida(tasted)
    closing.ask_for_key(tasted.store, ida, tasted.study)
    accounts.end_account(tasted.store, tasted.leader, ida.id)
    assert closing.who_opens(tasted.store, tasted.leader, tasted.study).alone
    with pytest.raises(BadInput, match="why nobody opens the key"):
        closing.open_key(tasted.store, tasted.leader, tasted.study)
    with pytest.raises(NotAllowed, match="your account has ended"):
        closing.open_key(tasted.store, ida, tasted.study, "alone")


def test_one_person_is_said_to_be_one(tasted: Any) -> None:
    """Opened alone after a reason, signed once: both sentences, and the reason among the departures."""
    store, study = tasted.store, tasted.study
    closing.open_key(store, tasted.leader, study, "Nobody else leads here.")
    closing.sign(store, tasted.leader, study, "ran the test")
    said = evidence.of_study(store, tasted.leader, study).said
    assert said == ("The key was opened by one person, Ada.", "Second signature missing.")
    (noted,) = watching.deviations(store, tasted.leader, study)
    assert (noted.sentence, noted.known) == (
        "The key was opened by one person: Nobody else leads here.",
        "results not opened",
    )
    closing.sign(store, _ida(tasted), study, "decides")
    assert "Second signature missing." not in evidence.of_study(store, tasted.leader, study).said


def test_who_reads_an_opened_key_later_is_kept_once(tasted: Any) -> None:
    """A leader who was not there when the key opened has seen it as well, from the moment of reading."""
    store, study = tasted.store, tasted.study
    closing.note_reader(store, tasted.leader, study)
    closing.open_key(store, tasted.leader, study, "alone")
    assert [name for _at, name, _role in evidence.of_study(store, tasted.leader, study).seen] == ["Ada"]
    ida = _ida(tasted)
    for _time in range(2):
        closing.note_reader(store, ida, study)
    assert sorted(name for _at, name, _role in evidence.of_study(store, ida, study).seen) == ["Ada", "Ida"]


# ---- an edited state -----------------------------------------------------------------------------------------------
EDITS = {
    "opened": ("UPDATE study SET state = 'opened'",),
    "decided": ("UPDATE study SET state = 'decided'",),
    "a word of one's own": ("UPDATE study SET state = 'running'",),
    "a draft again": ("UPDATE study SET state = 'draft', seal = NULL, sealed_at = NULL",),
    "an opening by hand": (
        "UPDATE study SET state = 'opened'",
        "INSERT INTO opening (study_id, look, by, name, at) SELECT id, 1, sealed_by, 'Eve', sealed_at FROM study",
    ),
}


@pytest.mark.parametrize("edit", EDITS)
def test_an_edited_state_gives_nothing_away(tasted: Any, tmp_path: Any, edit: str) -> None:
    """No page, note, verdict or table; the chain alone says that a key is open."""
    store, by, study = tasted.store, tasted.leader, tasted.study
    with store.write() as tx:
        tx.exec_driver_sql("DROP TRIGGER study_fixed")
        for statement in EDITS[edit]:
            tx.exec_driver_sql(statement)
    for asked in (
        lambda: packages.take_out(store, study, tmp_path / "out"),
        lambda: watching.notes(store, by, study),
        lambda: evidence.of_study(store, by, study),
        lambda: closing.sign(store, by, study, "decides"),
    ):
        with pytest.raises((NotAllowed, StoreProblem)):
            asked()
    assert not (tmp_path / "out").exists()
    assert closing.opened_keys(store, by, study) == ()


# ---- passphrases ---------------------------------------------------------------------------------------------------
def test_a_first_passphrase_opens_nothing_but_its_own_change(workshop: Any) -> None:
    """Whoever gave it knows it: until it is changed no service hears the member, and the same one does not count."""
    store = workshop.store
    accounts.add_staff(store, workshop.leader, "Cleo", "leader", "given for a start")
    token = accounts.sign_in(store, "Cleo", "given for a start", "10.0.0.7")
    cleo = accounts.staff_of(store, token)
    assert cleo is not None
    assert cleo.first
    for act in (planning.studies, panel.assessors, accounts.everybody):
        with pytest.raises(NotAllowed, match="passphrase of your own"):
            act(store, cleo)
    with pytest.raises(BadInput, match="another one than before"):
        accounts.change_passphrase(store, token, "given for a start", "given for a start", "10.0.0.7")
    token = accounts.change_passphrase(store, token, "given for a start", "two sieves in a row", "10.0.0.7")
    cleo = accounts.staff_of(store, token)
    assert cleo is not None
    assert planning.studies(store, cleo)
    accounts.give_passphrase(store, workshop.leader, cleo.id, "given once more")
    again = accounts.staff_of(store, accounts.sign_in(store, "Cleo", "given once more", "10.0.0.7"))
    assert again is not None
    assert again.first


def test_the_first_leader_needs_the_code_of_this_start(tmp_path: Any) -> None:
    """Another code, an earlier one and none are refused and counted; once somebody leads there is no code."""
    store = open_store(str(tmp_path / "studies.sqlite"))
    earlier, code = first_code.make(store), first_code.make(store)
    assert earlier is not None
    assert code is not None
    for wrong in ("", "2222-3333-4444", earlier):
        with pytest.raises(NotAllowed, match="the code is another one"):
            first_code.begin(store, wrong, "Eve", Workshop.passphrase, "10.0.0.7")
    with pytest.raises(BadInput, match="Fix the passphrase"):
        first_code.begin(store, code, "Ada", "short", "10.0.0.7")
    assert first_code.begin(store, code.lower(), "Ada", Workshop.passphrase, "10.0.0.7").role == "leader"
    assert first_code.make(store) is None
    with pytest.raises(NotAllowed, match="has a panel leader already"):
        first_code.begin(store, code, "Eve", Workshop.passphrase, "10.0.0.7")
    for _time in range(2):
        with pytest.raises(NotAllowed, match="the code is another one"):
            first_code.begin(store, "2222-3333-4444", "Eve", Workshop.passphrase, "10.0.0.7")
    with pytest.raises(TooManyTries):
        first_code.begin(store, code, "Eve", Workshop.passphrase, "10.0.0.7")
    store.close()


# ---- tasting -------------------------------------------------------------------------------------------------------
def test_a_key_holder_tastes_at_no_browser(workshop: Any) -> None:
    """Tied to an assessor after the fact: the seat ends at once, the link opens nothing, and the tie stays."""
    store, heron = workshop.store, workshop.plan.assessors[0]
    preparing.fill_rows(store, workshop.preparer, workshop.sitting.id)
    link = next(each for each in workshop.links if each.pseudonym == "Heron")
    seat = joining.join(store, link.code, "10.0.0.8", None, PHONE)
    assert joining.seat_of(store, seat) is not None
    ties.tie(store, workshop.leader, workshop.preparer.id, heron)
    assert ties.tastes_as(store, workshop.leader, workshop.preparer.id) == heron
    assert joining.seat_of(store, seat) is None
    with pytest.raises(NotAllowed, match="you hold the key"):
        joining.join(store, link.code, "10.0.0.9", None)
    with pytest.raises(NotAllowed, match="stays as it is"):
        ties.tie(store, workshop.leader, workshop.preparer.id, "")


def test_the_record_tells_which_link_was_opened_on_which_device(tasted: Any) -> None:
    """Two links on one device carry one number; a signed-in browser is named; no address and no model is kept."""
    store, ida = tasted.store, _ida(tasted)
    closing.ask_for_key(store, tasted.leader, tasted.study)
    closing.open_key(store, ida, tasted.study)
    before = evidence.of_study(store, ida, tasted.study)
    assert {link.device for link in before.links} == {None}, "tests join without a device"
    assert PHONE.told("one study") != PHONE.told("another study")
    assert PHONE.told("one study")["system"] == "Android"
    assert "invented" not in str(PHONE.told("one study"))


def test_two_links_on_one_device_are_seen(workshop: Any, hands: list[Any]) -> None:
    """The first two links once more, on one device, at a browser where the leader is signed in."""
    staff = accounts.sign_in(workshop.store, "Ada", workshop.passphrase, "10.0.0.7")
    seats = [joining.join(workshop.store, link.code, "10.0.0.8", staff, PHONE) for link in workshop.links[:2]]
    for hand in [*(Hand(workshop.store, seat) for seat in seats), *hands[2:]]:
        hand.taste_all(lambda _place, _line: 5.0)
    watching.close_sitting(workshop.store, workshop.leader, workshop.sitting.id)
    closing.open_key(workshop.store, workshop.leader, workshop.study, "alone")
    told = evidence.of_study(workshop.store, workshop.leader, workshop.study)
    assert [(one.pseudonym, one.device, one.system, one.account) for one in told.links[-2:]] == [
        (link.pseudonym, 1, "Android", "Ada") for link in workshop.links[:2]
    ]
    assert [name for _at, name, _sitting in told.issued] == ["Ada"]
