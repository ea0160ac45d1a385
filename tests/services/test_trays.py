"""Trays on their way out: second readings, several at once, and what a code says."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest

from studyapp.errors import BadInput, NotAllowed
from studyapp.services import joining, planning, preparing, tasting, trays, watching
from studyapp.services.checking import check
from tests.conftest import CHECKS

TICKED = CHECKS - {"labels_read"}


@pytest.fixture
def planned(workshop: Any) -> Any:
    """The sitting of a freshly sealed study: no tray is out."""
    id_ = planning.new_study(workshop.store, workshop.leader, "hours", "Second")
    planning.keep_plan(workshop.store, workshop.leader, id_, replace(workshop.plan, title="Second"))
    planning.seal(workshop.store, workshop.leader, id_, "Second")
    return preparing.sittings(workshop.store, workshop.preparer, id_)[0]


def test_trays_leave_together_each_with_its_own_reading(workshop: Any, planned: Any) -> None:
    """Warm-up and tray 1 were read, tray 3 too: the gap at tray 2 holds tray 3 back."""
    store, cook = workshop.store, workshop.preparer
    with pytest.raises(BadInput, match="reads the labels"):
        trays.release_read(store, cook, planned.id, TICKED)
    for position, second in ((0, "Cleo"), (1, "Dora"), (3, "Cleo")):
        trays.note_reading(store, cook, planned.id, position, second)
    trays.note_reading(store, cook, planned.id, 1, "Cleo")
    with pytest.raises(BadInput, match=r"^Not released"):
        trays.release_read(store, cook, planned.id, TICKED - {"sound_pieces"})
    assert trays.release_read(store, cook, planned.id, TICKED) == (0, 1)
    with store.read() as tx:
        kept = tx.exec_driver_sql(
            "SELECT position, second_person, checks FROM tray WHERE sitting_id = ? ORDER BY position", (planned.id,)
        ).all()
        told = tx.exec_driver_sql("SELECT count(*) FROM event WHERE kind = 'labels read'").scalar()
    assert [(row[0], row[1]) for row in kept] == [(0, "Cleo"), (1, "Dora")]
    assert all("labels_read" in row[2] for row in kept)
    assert told == 3, "a repeat is no second reading"
    here = trays.kitchen(store, cook, planned.id)
    assert (here.ticked, here.second) == (CHECKS, "Dora"), "remembered for the next tray"
    assert check(store.url).sound


@pytest.mark.parametrize(("second", "says"), [("", "second person"), ("ben", "is you")])
def test_nobody_reads_their_own_labels(workshop: Any, planned: Any, second: str, says: str) -> None:
    with pytest.raises(BadInput, match=says):
        trays.note_reading(workshop.store, workshop.preparer, planned.id, 0, second)
    with pytest.raises(BadInput, match="no tray 9"):
        trays.note_reading(workshop.store, workshop.preparer, planned.id, 9, "Cleo")
    with pytest.raises(NotAllowed):
        trays.note_reading(workshop.store, workshop.leader, planned.id, 0, "Cleo")


def test_who_does_not_taste_is_left_out(workshop: Any, planned: Any) -> None:
    """Heron says not today: no cup of Heron's on a tray that is still in the kitchen."""
    link = joining.issue_links(workshop.store, workshop.leader, planned.id)[0]
    tasting.sit_out(workshop.store, joining.join(workshop.store, link.code, "10.0.0.7", None))
    here = trays.kitchen(workshop.store, workshop.preparer, planned.id)
    assert here.absent == ("Heron",)
    assert {cup.pseudonym for tray in here.trays for cup in tray.cups} == {"Lark", "Wren", "Tern", "Siskin"}


def test_a_code_says_at_once_whether_its_cup_belongs_here(workshop: Any, planned: Any) -> None:
    """Right, one place on, another tray, another sitting's or nobody's, left out, out already, and wanted once more."""
    store, cook, of = workshop.store, workshop.preparer, planned.id
    first, second = trays.kitchen(store, cook, of).trays[1:3]
    codes = [cup.code for cup in first.cups]

    def says(code: str, position: int = 1) -> str:
        return trays.check_code(store, cook, of, position, code).says

    assert says(codes[1]) == "other seat"
    assert says(f" {codes[0]} ") == "right"
    assert says(codes[1]) == "right", "the next place is filled now"
    assert says(codes[0]) == "right", "read twice is read"
    assert says(second.cups[0].code) == "other tray"
    every = {cup.code for tray in trays.kitchen(store, cook, of).trays for cup in tray.cups}
    stranger = next(str(code) for code in range(100, 1000) if str(code) not in every)
    assert says(stranger) == "unknown"
    assert trays.kitchen(store, cook, of).unread(1) == 3
    for position in (0, 1):
        trays.note_reading(store, cook, of, position, "Cleo")
    trays.release_read(store, cook, of, TICKED)
    assert says(codes[0], 2) == "served"
    with store.read() as tx:
        told = tx.exec_driver_sql("SELECT body FROM event WHERE kind = 'trays let go'").scalar()
    assert '"unread cups":{"0":5,"1":3}' in told
    first_said, _then = trays.said(trays.check_code(store, cook, of, 2, codes[2]))
    assert first_said == f"{codes[2]} was served already."


def test_a_code_of_another_sitting_is_named(workshop: Any) -> None:
    """Two sittings of one study: a cup of the second has no business on a tray of the first."""
    id_ = planning.new_study(workshop.store, workshop.leader, "hours", "Two")
    planning.keep_plan(workshop.store, workshop.leader, id_, replace(workshop.plan, title="Two", sittings=2))
    planning.seal(workshop.store, workshop.leader, id_, "Two")
    first, second = preparing.sittings(workshop.store, workshop.preparer, id_)
    mine = {cup.code for tray in preparing.trays(workshop.store, workshop.preparer, first.id) for cup in tray.cups}
    theirs = {cup.code for tray in preparing.trays(workshop.store, workshop.preparer, second.id) for cup in tray.cups}
    answer = trays.check_code(workshop.store, workshop.preparer, first.id, 1, min(theirs - mine))
    assert (answer.says, answer.label) == ("other sitting", second.label)


def test_a_closed_sitting_notes_nothing_more(workshop: Any) -> None:
    watching.close_sitting(workshop.store, workshop.leader, workshop.sitting.id, "fire drill")
    with pytest.raises(NotAllowed, match="closed"):
        trays.note_reading(workshop.store, workshop.preparer, workshop.sitting.id, 0, "Cleo")
