"""Ballots on paper: typed twice, compared, settled, kept; and that the record proves each of them."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from studyapp.errors import BadInput, NotAllowed, OutOfDate
from studyapp.services import paper_entry as paper
from studyapp.services import tasting, watching
from studyapp.services.checking import check
from studyapp.services.paper_entry import choice_of, mark_of, why_of
from tests.conftest import PLAN, furnish
from tests.furnished import furnished
from tests.kinds.aroma.aroma_kitchen import furnish_aroma


def ballot_of(workshop: Any, by: Any, name: str = "Heron") -> Any:
    """The ballot of one assessor as a member sees it."""
    return next(one for one in paper.ballots(workshop.store, by, workshop.sitting.id) if one.pseudonym == name)


def read(ballot: Any, *marks: float | None) -> dict[str, Any]:
    """A ballot on which the same marks stand at each serving."""
    return {
        mark_of(item.id, line.id): mark for item in ballot.items for line, mark in zip(item.lines, marks, strict=True)
    }


def rows(workshop: Any) -> list[tuple[Any, ...]]:
    """Every score: value, reason, source."""
    with workshop.store.read() as tx:
        found = tx.exec_driver_sql("SELECT value, reason, source FROM score ORDER BY id").all()
    return [tuple(row) for row in found]


def type_as(workshop: Any, by: Any, typed: Any, name: str = "Heron") -> bool:
    """One entry."""
    who = ballot_of(workshop, by, name).assessor
    return paper.enter(workshop.store, by, workshop.sitting.id, who, typed)


def test_two_entries_that_agree_are_in_the_record_as_paper(workshop: Any) -> None:
    """Nothing is kept before the second, who is told nothing of the first; one serving lacked its piece."""
    leader, cook = workshop.leader, workshop.preparer
    here = ballot_of(workshop, leader)
    missing, *rest = here.items
    typed = read(replace(here, items=tuple(rest)), 2.5, 7.0, 0.0) | {why_of(missing.id): "piece missing"}
    assert type_as(workshop, leader, typed) is False
    assert rows(workshop) == []
    seen = ballot_of(workshop, cook)
    assert (seen.state, seen.by, seen.mine) == ("once", ("Ada",), False)
    assert paper.differences(workshop.store, cook, workshop.sitting.id, here.assessor) == ()
    assert "2.5" not in repr(seen)
    assert type_as(workshop, cook, typed) is True
    assert rows(workshop) == [
        *[(None, "piece missing", "paper")] * 3,
        *[(2.5, None, "paper"), (7.0, None, "paper"), (0.0, None, "paper")] * 2,
    ]
    assert ballot_of(workshop, cook).state == "kept"
    assert watching.progress(workshop.store, leader, workshop.sitting.id).seats[0].saved == 3
    with pytest.raises(OutOfDate, match="kept already"):
        type_as(workshop, cook, typed)
    assert watching.deviations(workshop.store, leader, workshop.study) == ()
    assert check(workshop.store.url).sound


def test_a_changed_source_is_found(workshop: Any) -> None:
    """Whoever edits where a score came from breaks its hash."""
    for by in (workshop.leader, workshop.preparer):
        type_as(workshop, by, read(ballot_of(workshop, by), 1.0, 2.0, 3.0))
    with workshop.store.write() as tx:
        tx.exec_driver_sql("DROP TRIGGER score_no_update")
        tx.exec_driver_sql("UPDATE score SET source = NULL WHERE id = 1")
    assert not check(workshop.store.url).sound


def test_what_differs_is_settled_by_name_and_reason(workshop: Any) -> None:
    """Each difference is chosen for, and the choice stands in the record with both entries."""
    leader, cook, of = workshop.leader, workshop.preparer, workshop.sitting.id
    here = ballot_of(workshop, leader)
    one = read(here, 2.0, 5.0, 8.0)
    slip = here.items[1].fields[0]
    type_as(workshop, leader, one)
    type_as(workshop, cook, one | {slip: 2.9})
    (left,) = paper.differences(workshop.store, cook, of, here.assessor)
    assert (left.field, left.line, left.typed) == (slip, "Acidity", (2.0, 2.9))
    for chosen, reason, says in (({}, "looked again", "choose one"), ({slip: 1}, " ", "Fix the reason")):
        with pytest.raises(BadInput, match=says):
            paper.settle(workshop.store, leader, of, here.assessor, chosen, reason)
    paper.settle(workshop.store, leader, of, here.assessor, {slip: 1}, "looked at the paper together")
    assert [value for value, _reason, _source in rows(workshop)] == [2.0, 5.0, 8.0, 2.9, 5.0, 8.0, 2.0, 5.0, 8.0]
    assert check(workshop.store.url).sound


def test_one_entry_alone_is_kept_with_a_reason_and_is_a_departure(workshop: Any) -> None:
    leader, of = workshop.leader, workshop.sitting.id
    here = ballot_of(workshop, leader)
    with pytest.raises(NotAllowed, match="one person has typed"):
        paper.keep_alone(workshop.store, leader, of, here.assessor, "nobody else is here")
    type_as(workshop, leader, read(here, 1.0, 1.0, 1.0))
    paper.keep_alone(workshop.store, leader, of, here.assessor, "nobody else is here")
    (told,) = watching.deviations(workshop.store, leader, workshop.study)
    assert told.sentence == ("Tasting 1: the paper ballot of Heron was typed by one person alone: nobody else is here")
    assert len(rows(workshop)) == 9


def test_paper_takes_only_what_no_phone_has_kept(workshop: Any, hand: Any) -> None:
    """The first serving came by phone, before its battery died; a closed sitting takes no ballots."""
    here = hand.serving()
    for line in here.lines:
        hand.mark(here.serving, line.id, 4.0)
    tasting.finish_serving(workshop.store, hand.token, here.serving)
    left = ballot_of(workshop, workshop.leader)
    assert [item.number for item in left.items] == [2, 3]
    with pytest.raises(BadInput, match="not the ballot"):
        type_as(workshop, workshop.leader, {mark_of(here.serving, here.lines[0].id): 4.0})
    watching.close_sitting(workshop.store, workshop.leader, workshop.sitting.id, "everybody went home")
    with pytest.raises(NotAllowed, match="before it is closed"):
        paper.enter(workshop.store, workshop.leader, workshop.sitting.id, left.assessor, read(left, 1.0, 1.0, 1.0))


@pytest.mark.parametrize("mark", [-0.1, 10.1, float("nan"), "5"])
def test_a_mark_off_the_line_is_refused(workshop: Any, mark: Any) -> None:
    with pytest.raises(BadInput, match="between 0 and 100 mm"):
        type_as(workshop, workshop.leader, read(ballot_of(workshop, workshop.leader), mark, 1.0, 1.0))


def test_sets_are_typed_and_kept_alike(tmp_path: Path) -> None:
    """One choice a set; an empty one stays without an answer, which the record says."""
    store, kitchen = furnished(tmp_path / "aroma.sqlite", furnish_aroma)
    sitting = kitchen.sittings()[0]
    watching.open_sitting(store, kitchen.leader, sitting.id)
    here = next(one for one in paper.ballots(store, kitchen.leader, sitting.id) if one.pseudonym == "Heron")
    typed: dict[str, Any] = {choice_of(item.id): [item.codes[0]] for item in here.items[:-1]}
    with pytest.raises(BadInput, match="choose 1 of the codes"):
        paper.enter(store, kitchen.leader, sitting.id, here.assessor, {choice_of(here.items[0].id): ["000"]})
    for by in (kitchen.leader, kitchen.preparer):
        paper.enter(store, by, sitting.id, here.assessor, typed)
    with store.read() as tx:
        kept = tx.exec_driver_sql("SELECT choice IS NULL, reason, source FROM trial ORDER BY id").all()
    assert [tuple(row) for row in kept] == [*[(0, None, "paper")] * len(typed), (1, "blank on paper", "paper")]
    assert check(store.url).sound
    store.close()


MARK = st.one_of(st.none(), st.integers(0, 100).map(lambda mm: mm / 10))


@given(st.lists(MARK, min_size=9, max_size=9), st.dictionaries(st.integers(0, 8), MARK, max_size=2))
@settings(max_examples=8)
def test_two_entries_are_kept_exactly_when_they_agree(one: list[float | None], slips: dict[int, float | None]) -> None:
    """Whatever stands on the paper: what differs is found field by field, and what is kept is what both typed."""
    other = [slips.get(place, mark) for place, mark in enumerate(one)]
    with TemporaryDirectory() as folder:
        store, workshop = furnished(Path(folder) / "studies.sqlite", furnish, PLAN, 5)
        here = ballot_of(workshop, workshop.leader)
        fields = [mark_of(item.id, line.id) for item in here.items for line in item.lines]
        first, second = (dict(zip(fields, marks, strict=True)) for marks in (one, other))
        type_as(workshop, workshop.leader, first)
        agreed = type_as(workshop, workshop.preparer, second)
        assert agreed is (one == other)
        if agreed:
            assert [value for value, _reason, _source in rows(workshop)] == one
        else:
            left = paper.differences(store, workshop.leader, workshop.sitting.id, here.assessor)
            assert [each.field for each in left] == [f for f in fields if first[f] != second[f]]
            assert rows(workshop) == []
        store.close()
