"""From a signed verdict to the study that confirms its hour: draft, rule, verdict, and what the book then says."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from typing import Any

import pytest

from studyapp.kinds.hours import deciding, rule
from studyapp.kinds.hours.deciding import book as books
from studyapp.kinds.hours.findings import book as said
from studyapp.kinds.hours.findings import hours_finding
from studyapp.kinds.hours.plan import RECIPE, Confirms, HoursPlan, Pull, from_document
from studyapp.kinds.hours.rule.confirming import draft_of
from studyapp.records import Attribute, Study
from studyapp.services import closing, planning, preparing
from studyapp.services.planning import document_of
from tests.conftest import another_leader
from tests.furnished import reached
from tests.kinds.hours.decisions import ACIDITY, attribute, decision
from tests.kinds.hours.test_deciding import MEANS, hand_maker, plan, serve

__all__ = ["hand_maker", "plan"]  # fixtures of the study that chooses the hour
CHOSE = HoursPlan(
    "Lot 14", question="?", contains="cocoa", pulls=tuple(Pull(h, 60.0) for h in (0.0, 4.0, 8.0, 12.0, 24.0))
)

CHOSE_12 = decision(attribute("acidity", ACIDITY), hours=12.0, passes={0.0: False, 12.0: True, 24.0: True})


def asked(*wanted: str) -> HoursPlan:
    """The draft that asks another batch for 12 h, of deciding notes so wanted."""
    lines = tuple(Attribute(f"note {number}", wanted=one) for number, one in enumerate(wanted))  # type: ignore[arg-type]
    return draft_of(replace(CHOSE, attributes=lines), Confirms(12.0, "s1"), 24.0, "Batch 52")


def test_the_draft_serves_three_pieces_twice_and_four_where_a_note_can_fade() -> None:
    """The control, the hour and the longest; the pull just shorter closes a window; masses come along."""
    plain, fading = asked("lower", "same"), asked("lower", "higher")
    assert plain.hours_of_pulls == (0.0, 12.0, 24.0)
    assert fading.hours_of_pulls == (0.0, 8.0, 12.0, 24.0)
    for one in (plain, fading):
        assert (one.sittings, one.replicates, one.looks, one.control, one.lost_reference) == (2, 2, 1, 0.0, "none")
        assert one.palate >= 2 * len(one.pulls)
        assert {pull.mass_g for pull in one.pulls} == {60.0}
        assert (rule.rule_of(one, 1).confirms, rule.rule_of(one, 1).adjust) == (12.0, ("sitting:hours",))
        assert not [problem for problem in rule.problems(replace(one, assessors=tuple("abcdefgh"))) if problem.blocks]
        assert from_document(document_of(one)) == one
    between = replace(plain, pulls=(*plain.pulls, Pull(16.0)))
    assert "which is confirmed" in " ".join(one.sentence for one in rule.problems(between) if one.blocks)
    open_ = replace(fading, pulls=asked("lower").pulls)
    assert "its window is not asked" in " ".join(one.sentence for one in rule.problems(open_))


def entry(label: str, verdict: str, hours: float | None = 12.0) -> books.Entry:
    """A signed study; all but the first, which stops, confirm 12 h or do not."""
    told = replace(CHOSE_12, verdict=verdict, hours=hours, confirms=None if verdict == "stop" else 12.0)
    confirms = None if verdict == "stop" else Confirms(12.0, "s0")
    study = Study(label, "hours", replace(CHOSE, batch=label, confirms=confirms), "decided", "2026-11-10")
    return books.Entry(study, told, (), "2026-11-10", 2)


@pytest.mark.parametrize(
    ("others", "unsigned", "in_use", "says"),
    [
        (["confirmed"], 0, 12.0, "Each of these 2 batches: A and B"),
        (["confirmed", "confirmed"], 0, 12.0, "Each of these 3 batches: A, B and C"),
        (["confirmed", "cannot tell"], 0, 12.0, "Each of these batches: not said, 1 that was opened left it open"),
        (["confirmed"], 1, 12.0, "Each of these batches: not said, 1 that was opened left it open"),
        (["confirmed", "not confirmed"], 0, None, "New batches, any lot: C did not confirm 12 h"),
    ],
)
def test_every_batch_that_was_opened_counts(others: list[str], unsigned: int, in_use: float | None, says: str) -> None:
    """One that left the hour open keeps back what is said of each; one that failed takes it back for new batches."""
    hours = {"confirmed": 12.0}
    entries = [
        entry("A", "stop"),
        *(entry(label, one, hours.get(one)) for label, one in zip("BC", others, strict=False)),
    ]
    waiting = tuple(entry("D", "cannot tell", None).study for _one in range(unsigned))
    book = books.Book("", "", tuple(entries), (), waiting)
    assert book.in_use == in_use
    lines = [words for _sign, words, _hour in said.said_of(book)]
    assert says in lines
    assert "This batch: A; stands" in lines
    assert said.kept_pieces(book, date(2026, 12, 1)).startswith("A piece that was kept of A is 3 weeks older")


def confirmed(workshop: Any, means: dict[float, float]) -> tuple[str, Any]:
    """A study that confirms 8 h, drafted from the signed one, sealed for recipe and machine, tasted with such means
    and opened."""
    store, leader = workshop.store, workshop.leader
    study = books.confirm(store, leader, workshop.study)
    draft = planning.study(store, leader, study).plan
    wide = replace(draft, confirms=replace(draft.confirms, claim=RECIPE), sittings=1, replicates=1)
    planning.keep_plan(store, leader, study, wide)
    planning.seal(store, leader, study, draft.title)
    for number, sitting in enumerate(preparing.sittings(store, leader, study)):
        serve(workshop, sitting, 0.2, number, means)
    closing.ask_for_key(store, workshop.other, study)
    closing.open_key(store, leader, study)
    return study, deciding.decision(store, leader, study)


def sign(workshop: Any, study: str) -> None:
    """Two people sign."""
    closing.sign(workshop.store, workshop.leader, study, "ran the test")
    closing.sign(workshop.store, workshop.other, study, "decides")


@pytest.fixture
def chosen(hand_maker: Any) -> Any:
    """A signed study that chose 8 h."""

    def taste() -> None:
        serve(hand_maker, hand_maker.sitting, 0.2, 3)
        closing.open_key(hand_maker.store, hand_maker.leader, hand_maker.study, "Ada")

    reached(hand_maker.store, taste, "a study that chose 8 h")
    hand_maker.other = another_leader(hand_maker.store, hand_maker.leader)
    sign(hand_maker, hand_maker.study)
    return hand_maker


def test_one_press_confirms_and_every_batch_widens_what_is_said_or_takes_the_hour_back(chosen: Any) -> None:
    """Draft, seal, table, verdict and book; recipe and machine once three batches are there, on average over the pieces
    that all served; then the batch that fails, and what was said of the first stands."""
    store, leader = chosen.store, chosen.leader
    assert books.book_of(store, leader, chosen.study).in_use == 8.0
    study, found = confirmed(chosen, MEANS)
    assert (found.verdict, found.hours, found.confirms) == ("confirmed", 8.0, 8.0)
    assert hours_finding(found).headline == "Confirmed: 8 h is enough in this batch too."
    sign(chosen, study)
    assert deciding.shown(store, leader, study).decision == found
    book = books.book_of(store, leader, study)
    assert (book.in_use, len(book.bearing), book.on_average) == (8.0, 2, None)
    study, found = confirmed(chosen, MEANS)
    sign(chosen, study)
    book = books.book_of(store, leader, study)
    wide = book.on_average
    assert wide is not None
    assert (wide.verdict, wide.claim, wide.scope["batches"]) == ("confirmed", "recipe and machine", 3)
    assert list(wide.passes) == [0.0, 8.0, 24.0]
    assert said.widest_claim(book) == "This recipe and machine, on average"
    worse, found = confirmed(chosen, MEANS | {8.0: 6.5})
    assert found.verdict == "not confirmed"
    sign(chosen, worse)
    book = books.book_of(store, leader, worse)
    assert (book.in_use, book.on_average) == (None, None)
    assert book.withdrawn is not None
    assert book.withdrawn[0] == 8.0
    assert any("stands" in words for _sign, words, _hour in said.said_of(book))
