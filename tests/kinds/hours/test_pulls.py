"""Pulls from the conche to the verdict: who may note what, what a loss takes along, and what stays in the record."""

from __future__ import annotations

import hashlib
import random
import secrets
from collections.abc import Mapping
from dataclasses import replace
from typing import Any

import pytest

from studyapp.assets import icon
from studyapp.errors import BadInput, NotAllowed, NotFound
from studyapp.kinds.hours import deciding
from studyapp.kinds.hours.findings import hours_finding
from studyapp.kinds.hours.findings.pull_life import late_pulls, pull_departures, taken_says
from studyapp.kinds.hours.plan import HoursPlan, Pull
from studyapp.kinds.hours.report import report
from studyapp.kinds.hours.setting_out import pulls
from studyapp.records import Attribute
from studyapp.services import closing, joining, photos, planning, preparing, tasting, watching
from studyapp.services.checking import check
from studyapp.store import pulls as notes
from tests.conftest import CHECKS
from tests.printing.paper_reading import flowing_pages

MEANS = {0.0: 7.0, 8.0: 4.1, 16.0: 4.0, 24.0: 4.0}
AT = "2026-11-24 10:41"


@pytest.fixture
def plan() -> HoursPlan:
    """Two sittings before one look; four pulls; one attribute decides."""
    return HoursPlan(
        "Lost pulls",
        question="Is 8 h enough?",
        pulls=tuple(Pull(hours, 220) for hours in MEANS),
        attributes=(Attribute("Acidity"),),
        looks=1,
        sittings=2,
        rest_seconds=0,
        starts_at="2026-11-23T08:00",
        contains="cocoa",
    )


def serve(workshop: Any, number: int, cannot: Mapping[float, str] | None = None) -> None:
    """Everybody tastes one sitting; pulls of `cannot` are not judged, for their reason."""
    store, cannot = workshop.store, cannot or {}
    sitting = next(one for one in preparing.sittings(store, workshop.leader, workshop.study) if one.number == number)
    key = preparing.levels_by_code(store, workshop.preparer, sitting.id)
    for tray in preparing.trays(store, workshop.preparer, sitting.id):
        preparing.release_tray(store, workshop.preparer, sitting.id, tray.position, CHECKS, "Cleo")
    watching.open_sitting(store, workshop.leader, sitting.id)
    for link in joining.issue_links(store, workshop.leader, sitting.id):
        hand = workshop.hand(joining.join(store, link.code, "10.0.0.7", None))
        tasting.agree(store, hand.token)
        while (here := hand.place()).kind in ("serving", "warm_up"):
            hours = key.get(here.code or "", 0.0)
            if here.kind == "serving" and hours in cannot:
                tasting.cannot_judge(store, hand.token, here.serving, cannot[hours], secrets.token_hex(12))
                continue
            for line in here.lines:
                noise = random.Random(f"{number} {here.pseudonym} {hours}").gauss(0, 0.3)
                hand.mark(here.serving, line.id, MEANS[hours] + noise)
            tasting.finish_serving(store, hand.token, here.serving or "")
    watching.close_sitting(store, workshop.leader, sitting.id)


@pytest.fixture
def kitchen(workshop: Any, hand: Any) -> Any:
    """Hands for any seat of the workshop, whose first sitting is open."""
    workshop.hand = lambda token: type(hand)(workshop.store, token)
    return workshop


def lose(kitchen: Any, hours: float, sitting: int | None = None) -> None:
    """The preparer notes that a pull was dropped."""
    pulls.note_lost(kitchen.store, kitchen.preparer, kitchen.study, hours, "dropped", AT, sitting)


def opened(kitchen: Any) -> Any:
    """The verdict, once the key is open."""
    closing.open_key(kitchen.store, kitchen.leader, kitchen.study, "Ada")
    return deciding.decision(kitchen.store, kitchen.leader, kitchen.study)


# ---- a loss and the verdict ------------------------------------------------------------------------------------------
def test_a_pull_lost_before_it_was_served_does_not_take_the_study_along(kitchen: Any) -> None:
    """No cup of it on any tray, no phone waits for it, and the verdict rests on the others and says so, signed."""
    lose(kitchen, 8.0)
    first, second = preparing.sittings(kitchen.store, kitchen.leader, kitchen.study)
    for sitting in (first, second):
        cups = [cup for tray in preparing.trays(kitchen.store, kitchen.preparer, sitting.id) for cup in tray.cups]
        assert len(cups) == 4 * 5  # three pulls and the warm-up, for five people
        assert len(preparing.fill_rows(kitchen.store, kitchen.preparer, sitting.id)) == 4 * 5
    serve(kitchen, 1)
    serve(kitchen, 2)
    found = opened(kitchen)
    assert (found.verdict, found.hours, found.latest_hours) == ("stop", 16.0, None)
    said = hours_finding(found)
    assert "8 h was lost (dropped): nothing is said about it." in said.lede
    study = planning.study(kitchen.store, kitchen.leader, kitchen.study)
    first, *_rest = flowing_pages(report(kitchen.store, kitchen.leader, study, "2026-11-30T08:00:00+00:00"))
    assert "8 h was lost (dropped): nothing is said about it." in first
    assert "8 h: lost, dropped, noted by Ben at 24.11. 10:41." in first
    closing.sign(kitchen.store, kitchen.leader, kitchen.study, "ran the test")
    kept = closing.kept_verdict(kitchen.store, kitchen.leader, kitchen.study, 1)
    assert kept is not None
    assert [(one["hours"], one["reason"], one["sitting"]) for one in kept["lost"]] == [(8, "dropped", None)]
    assert deciding.shown(kitchen.store, kitchen.leader, kitchen.study).decision.lost == found.lost
    assert check(kitchen.store.url).sound


def test_a_pull_broken_in_the_second_sitting_is_compared_within_the_first(kitchen: Any) -> None:
    """Noted after the first sitting served it: lost in the other alone."""
    serve(kitchen, 1)
    lose(kitchen, 16.0)
    serve(kitchen, 2)
    found = opened(kitchen)
    assert [(one.hours, one.sitting, one.fate) for one in found.lost] == [(16.0, "2", "lost")]
    assert found.verdict == "stop"
    assert "In sitting 2, 16 h was lost (dropped)" in hours_finding(found).lede


def test_the_longest_pull_lost_gives_its_place_to_the_next(kitchen: Any) -> None:
    """As the plan sealed it."""
    lose(kitchen, 24.0)
    serve(kitchen, 1)
    serve(kitchen, 2)
    found = opened(kitchen)
    assert (found.reference_hours, found.reference_is_sealed, found.hours) == (16.0, False, 8.0)
    assert "24 h, the longest pull, was lost: everything here is held against 16 h." in hours_finding(found).lede


@pytest.mark.parametrize(("reason", "tasted"), [("piece missing", False), ("it smelled odd", True)])
def test_reasons_that_may_lie_in_the_taste_are_told_from_the_others(kitchen: Any, reason: str, tasted: bool) -> None:
    """Either way nobody judged 8 h, so it stays and does not pass; noting a loss afterwards is refused for the taste
    alone. A cup that was broken for everybody is lost, once somebody notes it."""
    serve(kitchen, 1, {8.0: reason})
    serve(kitchen, 2, {8.0: reason})
    if tasted:
        with pytest.raises(NotAllowed, match="8 h was served at"):
            lose(kitchen, 8.0)
    found = opened(kitchen)
    assert [(one.hours, one.fate) for one in found.lost] == [(8.0, "unread")]
    assert (found.verdict, found.hours) == ("stop", 16.0)
    with pytest.raises(NotAllowed, match="the key is open"):
        lose(kitchen, 16.0)


def test_leaving_and_closing_are_no_judgement(kitchen: Any) -> None:
    """Whoever goes home leaves missing scores behind, and so does a sitting that is closed early."""
    token = joining.join(kitchen.store, kitchen.links[0].code, "10.0.0.7", None)
    tasting.agree(kitchen.store, token)
    tasting.leave(kitchen.store, token, keep_marks=True)
    watching.close_sitting(kitchen.store, kitchen.leader, kitchen.sitting.id, "the power was cut")
    serve(kitchen, 2)
    assert opened(kitchen).unjudged == ()


# ---- who may note what -----------------------------------------------------------------------------------------------
def test_what_is_undone_stays_in_the_record(kitchen: Any) -> None:
    """Times are those of the clock on the wall; 24 h taken 46 h late is late, 3 minutes are not."""
    store, ben, study = kitchen.store, kitchen.preparer, kitchen.study
    pulls.note_zero(store, ben, study, "2026-11-23T09:00")
    pulls.note_pull(store, ben, study, 8.0, "2026-11-23T17:03", 221.0, 62.0, "thick")
    pulls.note_pull(store, ben, study, 24.0, "2026-11-26T07:00")
    kept = pulls.pulls_of(store, ben, study)
    assert (kept.zero_noted, str(kept.lives[1].due), kept.next.hours) == (True, "2026-11-23 17:00:00", 0.0)
    assert [life.is_late for life in kept.lives] == [False, False, False, True]
    assert late_pulls(kept) == ["The 24 h pull is 46 h late: it is a 70 h pull."]
    said = pull_departures(kept)
    assert said == [*late_pulls(kept), "Nobody noted when the pull at 0, 16 h was taken."]
    assert taken_says(kept.lives[1]) == "17:03, 221 g"
    pulls.undo(store, ben, study, 24.0, AT)
    pulls.undo(store, ben, study, None, AT)
    kept = pulls.pulls_of(store, ben, study)
    assert (kept.zero_noted, str(kept.zero), kept.lives[3].taken) == (False, "2026-11-23 08:00:00", None)
    with store.read() as tx:
        assert [note.kind for note in notes.of_study(tx, study)] == ["zero", "taken", "taken", "undone", "zero undone"]
    with pytest.raises(NotAllowed, match="nothing is noted"):
        pulls.undo(store, ben, study, 24.0, AT)
    assert check(store.url).sound


def test_a_loss_stands_once_a_sitting_went_on_without_the_pull(kitchen: Any) -> None:
    """Before that it can be taken back."""
    watching.close_sitting(kitchen.store, kitchen.leader, kitchen.sitting.id, "the power was cut")
    lose(kitchen, 16.0)
    pulls.undo(kitchen.store, kitchen.preparer, kitchen.study, 16.0, AT)
    lose(kitchen, 16.0, 2)
    second = preparing.sittings(kitchen.store, kitchen.leader, kitchen.study)[1]
    watching.open_sitting(kitchen.store, kitchen.leader, second.id)
    with pytest.raises(NotAllowed, match="has gone on without it"):
        pulls.undo(kitchen.store, kitchen.preparer, kitchen.study, 16.0, AT)


def test_who_tastes_notes_nothing_and_reasons_come_from_the_list(kitchen: Any) -> None:
    """A leader who tastes in the study knows too much."""
    with kitchen.store.write() as tx:
        person = tx.exec_driver_sql("SELECT person_id FROM assessor").scalar()
    tasting_too = replace(kitchen.leader, person=person)
    for act in (
        lambda: pulls.note_pull(kitchen.store, tasting_too, kitchen.study, 8.0, AT),
        lambda: pulls.note_lost(kitchen.store, tasting_too, kitchen.study, 8.0, "dropped", AT),
        lambda: pulls.undo(kitchen.store, tasting_too, kitchen.study, 8.0, AT),
    ):
        with pytest.raises(NotAllowed, match="you taste in this study"):
            act()
    for wrong in (
        lambda: pulls.note_lost(kitchen.store, kitchen.preparer, kitchen.study, 8.0, "tasted bad", AT),
        lambda: pulls.note_lost(kitchen.store, kitchen.preparer, kitchen.study, 9.0, "dropped", AT),
        lambda: pulls.note_pull(kitchen.store, kitchen.preparer, kitchen.study, 8.0, AT, None, 900.0),
    ):
        with pytest.raises(BadInput, match=r"^Fix the"):
            wrong()


def test_a_pull_in_front_of_somebody_is_served(kitchen: Any) -> None:
    """From the first offer on, also before any mark."""
    key = preparing.levels_by_code(kitchen.store, kitchen.preparer, kitchen.sitting.id)
    hand = kitchen.hand(joining.join(kitchen.store, kitchen.links[0].code, "10.0.0.7", None))
    here = hand.serving()
    with pytest.raises(NotAllowed, match="was served at"):
        lose(kitchen, key[here.code], 1)
    lose(kitchen, key[here.code])  # in the second sitting it may be lost still


# ---- one more pull in place of a lost one, what a phone sends, and photos --------------------------------------------
def test_a_lost_pull_is_replaced_by_one_of_its_real_hour(kitchen: Any) -> None:
    """Where the sealed sequence has room for it; the departures tell both, and undoing it brings the loss back."""
    store, ben, study = kitchen.store, kitchen.preparer, kitchen.study
    watching.close_sitting(store, kitchen.leader, kitchen.sitting.id, "the power was cut")
    lose(kitchen, 8.0)
    with pytest.raises(NotAllowed, match=r"a 16\.5 h pull, which the sealed order has no place for: the 16 h pull"):
        pulls.note_pull(store, ben, study, 8.0, "2026-11-24T00:30")
    pulls.note_pull(store, ben, study, 8.0, "2026-11-23T17:30", 200.0)  # hour zero is planned at 8 o'clock
    kept = pulls.pulls_of(store, ben, study)
    assert (kept.lives[1].gone, taken_says(kept.lives[1])) == (
        None,
        "17:30, 1 h 30 min late, in place of the lost one, 200 g",
    )
    assert pull_departures(kept)[:3] == [
        "The 8 h pull is 1 h 30 min late: it is a 9.5 h pull.",
        "8 h: lost, dropped, noted by Ben at 24.11. 10:41.",
        "8 h: replaced by one more pull, taken 23.11. 17:30; noted by Ben.",
    ]
    with store.read() as tx:
        assert notes.lost(tx, study, 2) == {}
    pulls.undo(store, ben, study, 8.0, AT)
    lose(kitchen, 16.0, 2)
    second = preparing.sittings(store, kitchen.leader, study)[1]
    watching.open_sitting(store, kitchen.leader, second.id)
    with pytest.raises(NotAllowed, match="has gone on without it"):
        pulls.note_pull(store, ben, study, 8.0, "2026-11-23T17:30")
    assert check(store.url).sound


def test_a_pull_that_a_phone_sends_twice_is_kept_once(kitchen: Any) -> None:
    """The nonce is in the event; what is no number is refused as every field is."""
    told = {"hours": 8, "at": "2026-11-23T16:03", "mass": 220, "degrees": None, "words": "", "nonce": "n" * 32}
    for _time in range(2):
        pulls.note_taken(kitchen.store, kitchen.preparer, kitchen.study, told)
    with kitchen.store.read() as tx:
        assert [note.mass_g for note in notes.of_study(tx, kitchen.study)] == [220.0]
    for wrong in ({"mass": "220"}, {"mass": []}, {"hours": None}, {"at": "soon"}):
        with pytest.raises(BadInput, match=r"^Fix the"):
            pulls.note_taken(kitchen.store, kitchen.preparer, kitchen.study, {**told, "nonce": "m" * 32, **wrong})


def test_a_photo_is_small_erasable_and_not_for_who_tastes(kitchen: Any) -> None:
    """Its hash stands in the record; a content that was changed outside the app is found."""
    store, ben, study = kitchen.store, kitchen.preparer, kitchen.study
    picture = icon()
    photos.keep(store, ben, study, 8.0, picture)
    photos.keep(store, ben, study, 8.0, picture + b"2")
    first, second = sorted(
        photos.of_study(store, ben, study), key=lambda one: len(photos.content(store, ben, one.id)[1])
    )
    assert (first.sha256, photos.content(store, ben, first.id)) == (
        hashlib.sha256(picture).hexdigest(),
        ("image/png", picture),
    )
    with store.write() as tx:
        person = tx.exec_driver_sql("SELECT person_id FROM assessor").scalar()
    tasting_too = replace(kitchen.leader, person=person)
    assert photos.of_study(store, tasting_too, study) == ()
    for act in (
        lambda: photos.content(store, tasting_too, first.id),
        lambda: photos.keep(store, tasting_too, study, 8.0, picture),
        lambda: photos.erase(store, tasting_too, study, first.id),
    ):
        with pytest.raises(NotAllowed, match="you taste in this study"):
            act()
    for wrong in (picture + bytes(photos.LARGEST), b"<svg onload=x>"):
        with pytest.raises(BadInput, match=r"^Not kept"):
            photos.keep(store, ben, study, 8.0, wrong)
    photos.erase(store, ben, study, first.id)
    with pytest.raises(NotFound):
        photos.content(store, ben, first.id)
    assert check(store.url).sound
    with store.write() as tx:
        tx.exec_driver_sql("UPDATE photo SET content = content || x'00' WHERE id = ?", (second.id,))
    assert not check(store.url).sound
