"""Links, codes and seats."""

from __future__ import annotations

from typing import Any

import pytest

from studyapp.errors import NotAllowed, NotFound, TooManyTries
from studyapp.records import Mark, Staff
from studyapp.services import accounts, joining, panel, planning, preparing, tasting, watching
from studyapp.services.checking import check
from studyapp.store import open_store

PHRASE = "a bench by the window"


def test_a_code_has_eight_letters_that_cannot_be_misread(workshop: Any) -> None:
    """31 letters without 0, 1, I, L, O: 39.6 bits, and no two alike in a sitting."""
    codes = [link.code for link in workshop.links]
    assert len(set(codes)) == 5
    assert all(len(code) == 8 and set(code) <= set("23456789ABCDEFGHJKMNPQRSTUVWXYZ") for code in codes)


def test_a_code_is_kept_only_as_a_hash(workshop: Any) -> None:
    """Whoever steals the file cannot sit down."""
    with workshop.store.read() as tx:
        kept = repr(tx.exec_driver_sql("SELECT * FROM join_code").all())
    assert all(link.code not in kept for link in workshop.links)


def test_a_code_gives_a_seat_in_any_case(workshop: Any) -> None:
    """Typed small or with spaces round it, a code is the same code."""
    token = joining.join(workshop.store, f" {workshop.links[1].code.lower()} ", "10.0.0.7", None)
    seat = joining.seat_of(workshop.store, token)
    assert seat is not None
    assert (seat.pseudonym, seat.sitting) == ("Lark", workshop.sitting.id)


def test_new_links_end_the_old_ones(workshop: Any) -> None:
    """A leaked link is replaced, and with it the seat somebody may have taken through it."""
    sitting_already = joining.join(workshop.store, workshop.links[0].code, "10.0.0.7", None)
    fresh = joining.issue_links(workshop.store, workshop.leader, workshop.sitting.id)
    with pytest.raises(NotFound, match="used up"):
        joining.join(workshop.store, workshop.links[0].code, "10.0.0.7", None)
    assert joining.join(workshop.store, fresh[0].code, "10.0.0.7", None)
    assert joining.seat_of(workshop.store, sitting_already) is None


def test_one_link_answers_on_one_phone(workshop: Any) -> None:
    """The second phone takes the seat over; the first is told so, and a mark it sends is refused with a sentence."""
    store, code = workshop.store, workshop.links[0].code
    first = joining.join(store, code, "10.0.0.7", None)
    assert joining.join(store, code, "10.0.0.7", None, seat_token=first) == first, (
        "the same phone once more changes nothing"
    )
    second = joining.join(store, code, "10.0.0.8", None)
    assert joining.seat_of(store, first) is None
    gone = joining.seat_gone(store, first)
    assert gone is not None
    assert (gone[0].pseudonym, gone[1]) == ("Heron", "elsewhere")
    with pytest.raises(NotAllowed, match="Not kept: this tasting went on to another phone"):
        tasting.keep_mark(store, first, Mark("s", "l", 5.0, "n" * 24))
    assert tasting.here(store, second) == ("welcome", "welcome-0")
    assert check(store.url).sound
    assert joining.seat_gone(store, second) is None


def test_a_link_for_one_person_touches_nobody_else(workshop: Any) -> None:
    """Heron's old card ends; the phone goes on until the new one is opened; Lark's card and phone stay."""
    store = workshop.store
    heron, lark = (joining.join(store, link.code, "10.0.0.7", None) for link in workshop.links[:2])
    fresh = joining.issue_link(store, workshop.leader, workshop.sitting.id, "Heron")
    with pytest.raises(NotFound):
        joining.join(store, workshop.links[0].code, "10.0.0.7", None)
    assert joining.seat_of(store, heron)
    assert joining.join(store, fresh.code, "10.0.0.8", None)
    assert joining.seat_of(store, heron) is None
    assert joining.join(store, workshop.links[1].code, "10.0.0.7", None, seat_token=lark) == lark
    assert joining.readable_links(store, workshop.leader, workshop.sitting.id) == (fresh,)
    with pytest.raises(NotFound, match="not in this sitting"):
        joining.issue_link(store, workshop.leader, workshop.sitting.id, "Kite")


def test_a_new_set_says_whom_it_throws_out(workshop: Any) -> None:
    """Only who has joined; and their phones say that the link was replaced."""
    store, of = workshop.store, workshop.sitting.id
    assert joining.thrown_out(store, workshop.leader, of) == ()
    token = joining.join(store, workshop.links[2].code, "10.0.0.7", None)
    assert joining.thrown_out(store, workshop.leader, of) == ("Wren",)
    joining.issue_links(store, workshop.leader, of)
    gone = joining.seat_gone(store, token)
    assert gone is not None
    assert gone[1] == "replaced"
    assert len(joining.readable_links(store, workshop.leader, of)) == 5
    watching.close_sitting(store, workshop.leader, of, "fire drill")
    assert joining.readable_links(store, workshop.leader, of) == ()
    assert joining.seat_gone(store, token) is None


def test_a_code_dies_with_its_sitting(workshop: Any) -> None:
    """After the close a link opens nothing."""
    watching.close_sitting(workshop.store, workshop.leader, workshop.sitting.id, "nobody came")
    with pytest.raises(NotFound):
        joining.join(workshop.store, workshop.links[0].code, "10.0.0.7", None)
    with pytest.raises(NotAllowed, match="closed"):
        joining.issue_links(workshop.store, workshop.leader, workshop.sitting.id)


def test_guessing_codes_is_slowed_down_by_address_and_in_all(workshop: Any) -> None:
    """Five wrong codes a minute an address, fifty from everywhere; the count lies in the store."""
    for _ in range(5):
        with pytest.raises(NotFound):
            joining.join(workshop.store, "WRNGCDEX", "10.0.0.7", None)
    with pytest.raises(TooManyTries):
        joining.join(workshop.store, workshop.links[0].code, "10.0.0.7", None)
    for number in range(45):
        with pytest.raises(NotFound):
            joining.join(workshop.store, "WRNGCDEX", f"10.0.1.{number}", None)
    other = open_store(workshop.store.url)  # a restarted server counts on
    with pytest.raises(TooManyTries):
        joining.join(other, workshop.links[0].code, "10.0.2.1", None)
    other.close()


def test_who_has_seen_the_key_cannot_taste_on_that_device(workshop: Any) -> None:
    """The preparer's signed-in phone is refused once the key was opened on it, not before."""
    token = accounts.sign_in(workshop.store, "Ben", PHRASE, "10.0.0.7")
    assert joining.join(workshop.store, workshop.links[0].code, "10.0.0.7", token)
    preparing.fill_rows(workshop.store, workshop.preparer, workshop.sitting.id)
    with pytest.raises(NotAllowed, match="you hold the key"):
        joining.join(workshop.store, workshop.links[0].code, "10.0.0.7", token)


def test_who_has_seen_the_key_cannot_taste_as_a_person(workshop: Any) -> None:
    """An account tied to somebody who tastes: no key for whoever sits, no seat for whoever holds it."""
    heron, outside = panel.assessors(workshop.store, workshop.leader)[1], None
    tied = accounts.add_staff(workshop.store, workshop.leader, "Cleo", "preparer", PHRASE, heron.id)
    with pytest.raises(NotAllowed, match="you taste in this study"):
        preparing.fill_rows(workshop.store, tied, workshop.sitting.id)
    with pytest.raises(NotAllowed, match="you taste in this study"):
        preparing.quantities(workshop.store, tied, workshop.study)
    assert joining.join(workshop.store, workshop.links[0].code, "10.0.0.7", outside)


def test_a_refused_seat_is_in_the_record(workshop: Any) -> None:
    """Who tried to sit down with the key in hand can be seen later."""
    token = accounts.sign_in(workshop.store, "Ben", PHRASE, "10.0.0.7")
    preparing.fill_rows(workshop.store, workshop.preparer, workshop.sitting.id)
    with pytest.raises(NotAllowed):
        joining.join(workshop.store, workshop.links[0].code, "10.0.0.7", token)
    with workshop.store.read() as tx:
        assert tx.exec_driver_sql("SELECT count(*) FROM event WHERE kind = 'seat refused'").scalar() == 1
        assert tx.exec_driver_sql("SELECT count(*) FROM token WHERE kind = 'seat'").scalar() == 0


def test_who_may_not_taste_is_told_kindly(workshop: Any) -> None:
    """No reason is kept, none is given."""
    heron = next(a for a in panel.assessors(workshop.store, workshop.leader) if a.pseudonym == "Heron")
    panel.set_may_taste(workshop.store, workshop.leader, heron.id, False)
    with pytest.raises(NotAllowed, match="Nothing for you today"):
        joining.join(workshop.store, workshop.links[0].code, "10.0.0.7", None)


def test_only_a_leader_issues_links(workshop: Any) -> None:
    """Links are handed out by the leader."""
    with pytest.raises(NotAllowed):
        joining.issue_links(workshop.store, workshop.preparer, workshop.sitting.id)
    with pytest.raises(NotFound):
        joining.issue_links(workshop.store, workshop.leader, "no such sitting")


def test_a_made_up_member_of_staff_gets_no_further_than_a_role(workshop: Any) -> None:
    """Services trust the Staff that `staff_of` returned; a wrong role is refused by each of them."""
    nobody = Staff("0", "Nobody", "preparer")
    for act in (
        lambda: planning.new_study(workshop.store, nobody, "hours", "Mine"),
        lambda: planning.seal(workshop.store, nobody, workshop.study, "x"),
        lambda: watching.open_sitting(workshop.store, nobody, workshop.sitting.id),
        lambda: watching.close_sitting(workshop.store, nobody, workshop.sitting.id, "x"),
        lambda: panel.add_assessor(workshop.store, nobody, "Kite"),
    ):
        with pytest.raises(NotAllowed, match="another role"):
            act()
