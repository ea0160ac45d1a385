"""The positive control in a study: sealed, dealt after a person's own sets, filled, served blind, and judged first."""

from __future__ import annotations

from collections import Counter
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from studyapp.errors import BadInput, NotAllowed
from studyapp.kinds.aroma import deciding, rule, setting_out
from studyapp.kinds.aroma.deciding import prospects
from studyapp.kinds.aroma.findings import rounds, told, verdicts
from studyapp.kinds.aroma.plan import AromaPlan, Control, from_document
from studyapp.printing.papers import paper
from studyapp.records import CONTROL, Staff
from studyapp.services import closing, packages, planning, preparing, watching
from studyapp.services.checking import check
from studyapp.store import open_store, trials
from tests.kinds.aroma.aroma_kitchen import PLAN, Kitchen, draft
from tests.printing.paper_reading import flowing

HELD = "40 g per kg, 30 min"
FIXED = replace(PLAN, pd_limit=0.5, control=Control("stronger", HELD, 9))
ROUNDS = replace(PLAN, pd_limit=0.5, sequential=True, cap=36, beta=0.05, control=Control("spike", "mint oil", 12))


# ---- the plan ------------------------------------------------------------------------------------------------------
@pytest.fixture
def found_of(make: Any) -> Any:
    """The problems of the plan for six people, by where they stand."""
    kitchen = make()

    def problems(**changes: Any) -> dict[str, tuple[str, bool]]:
        plan = replace(kitchen.plan, **{"control": FIXED.control, **changes})
        plan = replace(plan, sittings=rule.sittings_needed(plan))
        return {one.where: (one.sentence, one.blocks) for one in rule.problems(plan)}

    return problems


def test_a_control_is_planned_whole_or_not_sealed(found_of: Any) -> None:
    """What is in it, enough sets, and a count that would find it; a study of doses has none."""
    assert "control" not in found_of()
    assert "what is in the cup" in found_of(control=Control("spike", " ", 9))["control"][0]
    assert "takes 9 to 18 sets" in found_of(control=Control("spike", "mint oil", 8))["control"][0]
    assert "takes 16 to 18 sets" in found_of(control=FIXED.control, method="duo-trio")["control"][0]
    # All 9 right come by guessing in 3^-9 = .00005 of cases: at a risk of .00001 no count finds it (by hand).
    assert "no result would count" in found_of(alpha=0.00001)["control"][0]
    assert "a study of doses has none" in found_of(aim="dose", doses=(5.0, 10.0, 20.0, 40.0))["control"][0]


def test_a_plan_without_one_is_sealed_and_says_what_it_can_find(found_of: Any, make: Any) -> None:
    """A caution on the plan page, and in the rule no mark of close enough."""
    sentence, blocks = found_of(control=None)["control"]
    assert not blocks
    assert "never “close enough”" in sentence
    plan = make().plan
    said = " ".join(rule.sentences(plan))
    assert "never “close enough”" in said
    assert "of people like these notice it" not in said
    assert "never shown to be gone" in " ".join(rule.sentences(replace(plan, aim="linger", batches=(1, 2))))


def test_the_rule_names_the_control_and_its_mark(make: Any) -> None:
    """Found from 6 of 9 at guess 1/3: P(X >= 6) is .042, P(X >= 5) .145 (scipy)."""
    assert stats.binom.sf(5, 9, 1 / 3) <= 0.05 < stats.binom.sf(4, 9, 1 / 3)
    said = " ".join(rule.sentences(make(FIXED).plan))
    assert f"stronger infusion, {HELD}; 9 sets, always after the other sets of a sitting" in said
    assert "found from 6 right" in said


def test_a_seal_of_before_there_were_controls_keeps_its_rule(make: Any) -> None:
    """Its document has no control and names no version: read, it says what it said, and its marks are those sealed."""
    plan = make().plan
    document = planning.document_of(plan)
    del document["control"]
    assert from_document(document) == plan
    said = " ".join(rule.sentences(plan, {}))
    assert "control" not in said.casefold()
    assert "So few people cannot show the limit of 30 %" in said


# ---- the deal ------------------------------------------------------------------------------------------------------
def dealt(kitchen: Kitchen) -> dict[tuple[str, int], list[tuple[int, bool]]]:
    """For everybody in every sitting the sets in order: position, and whether it is the control's."""
    found: dict[tuple[str, int], list[tuple[int, bool]]] = {}
    with kitchen.store.read() as tx:
        for sitting in kitchen.sittings():
            for assessor in kitchen.plan.assessors:
                controls = trials.controls(tx, kitchen.study)
                sets = trials.blind(tx, sitting.id, assessor)
                found[assessor, sitting.number] = [(one.position, one.id in controls) for one in sets]
    return found


@pytest.mark.parametrize(("people", "count"), [(6, 9), (8, 9), (5, 15), (4, 12)])
def test_a_fixed_number_comes_after_a_persons_own_sets(make: Any, people: int, count: int) -> None:
    """Never before them in a sitting; nobody gets two more than another, in all and in a sitting."""
    kitchen = make(replace(FIXED, control=Control("stronger", HELD, count)), people)
    sets = dealt(kitchen)
    for own in sets.values():
        order = [is_control for _position, is_control in own]
        assert order == sorted(order)
    each = Counter({key: sum(is_control for _position, is_control in own) for key, own in sets.items()})
    assert each.total() == count
    assert max(each.values()) - min(each.values()) <= 1
    by_person = Counter(dict.fromkeys(kitchen.plan.assessors, 0))
    for (who, _number), some in each.items():
        by_person[who] += some
    assert max(by_person.values()) - min(by_person.values()) <= 1
    assert check(kitchen.store.url).sound


@pytest.mark.parametrize("people", [4, 6, 7])
def test_by_rounds_a_third_of_the_people_get_one_after_every_round(make: Any, people: int) -> None:
    """In rotation, until all are dealt."""
    plan = replace(ROUNDS, cap=6 * people, control=Control("spike", "mint oil", max(12, 2 * people)))
    kitchen = make(plan, people)
    trays: dict[tuple[int, int], list[tuple[str, bool]]] = {}
    for (who, number), own in dealt(kitchen).items():
        for position, is_control in own:
            trays.setdefault((number, position), []).append((who, is_control))
    rotation: list[str] = []
    for sitting, tray in sorted(trays):
        here = {is_control for _who, is_control in trays[sitting, tray]}
        assert len(here) == 1
        if here == {True}:
            assert len(trays[sitting, tray]) <= -(-people // 3)
            rotation += [who for who, _is_control in trays[sitting, tray]]
            assert {is_control for _who, is_control in trays[sitting, tray - 1]} == {False}
    assert len(rotation) == max(12, 2 * people)
    turns = Counter(rotation)
    assert max(turns.values()) - min(turns.values()) <= 1


@pytest.mark.hypothesis
@given(people=st.integers(3, 12), count=st.integers(1, 60), seed=st.integers(0, 2**40))
def test_orders_and_turns_of_the_control_are_even(people: int, count: int, seed: int) -> None:
    """Six orders of a triangle, as many seats: none is used more than once oftener than another."""
    made = setting_out.deal_controls(replace(FIXED, assessors=tuple("abcdefghijkl"[:people])), count, seed)
    seats, orders = Counter(seat for seat, _set in made), Counter(order for _seat, (_level, order) in made)
    for used, kinds in ((seats, people), (orders, 6)):
        tally = [*used.values(), *([0] * (kinds - len(used)))]
        assert max(tally) - min(tally) <= 1
    assert sum(seats.values()) == count
    assert {level for _seat, (level, _order) in made} == {CONTROL}


def test_it_is_filled_counted_and_served_blind(make: Any) -> None:
    """The preparer reads what is in its box, and how much of it; a phone is asked the same question with new codes."""
    kitchen = make(FIXED)
    boxes = preparing.boxes(kitchen.store, kitchen.preparer, kitchen.study)
    letter = next(key for key, words in boxes.items() if words == f"control: stronger infusion, {HELD}")
    held = {one.letter: one.cups for one in preparing.quantities(kitchen.store, kitchen.preparer, kitchen.study)}
    with kitchen.store.read() as tx:
        orders = [
            one.order
            for sitting in kitchen.sittings()
            for who in kitchen.plan.assessors
            for one in trials.keyed(tx, sitting.id, who)
            if one.level == CONTROL
        ]
    cups = sum(sum(order) for order in orders)
    assert (len(orders), held[letter]) == (9, cups + -(-cups // 10)), "one spare for every ten cups"
    tasters = kitchen.serve(kitchen.sittings()[0])
    first = kitchen.sittings()[0].id
    assert HELD in flowing(paper(kitchen.store, kitchen.preparer, "fill", first)[1])
    assert HELD not in flowing(paper(kitchen.store, kitchen.leader, "trays", first)[1])
    asked = {(here.ask, here.pick, len(here.cups)) for taster in tasters for here in taster.sets() if taster.choose(
        here, (here.cups[0],)
    )}  # fmt: skip
    assert len(asked) == 1
    assert {taster.place().kind for taster in tasters} == {"done"}


# ---- the verdict ---------------------------------------------------------------------------------------------------
def judged(kitchen: Kitchen, main: int, of_control: int) -> Any:
    """Tasted to the end with so many right, the key opened."""
    left = {False: iter([True] * main + [False] * 99), True: iter([True] * of_control + [False] * 99)}
    kitchen.taste_all(lambda _name, level, _number: next(left[level == CONTROL]))
    closing.open_key(kitchen.store, kitchen.leader, kitchen.study, "Ada")
    return deciding.verdict(kitchen.store, kitchen.leader, kitchen.study)


def _told(kitchen: Kitchen) -> Any:
    return told.told(kitchen.store, kitchen.leader, planning.study(kitchen.store, kitchen.leader, kitchen.study))


@pytest.mark.parametrize(
    ("found", "verdict", "headline"),
    [(6, "similar", "Close enough."), (5, "cannot tell", "Cannot tell: the control was not found.")],
)
def test_close_enough_needs_the_control_found(make: Any, found: int, verdict: str, headline: str) -> None:
    """18 triangles of 6 people at 50 %: up to 6 right are close enough (exact), and 6 of 9 find the control."""
    kitchen = make(FIXED)
    result = judged(kitchen, 6, found)
    assert (result.trials, result.correct) == (18, 6)
    assert (result.control.trials, result.control.correct, result.control.minimum_correct) == (9, found, 6)
    assert result.verdict == verdict
    said = _told(kitchen)
    assert said.finding.headline == headline
    facts = {fact.label: fact.value for fact in said.finding.facts}
    assert facts["Control"] == f"{found} of 9"
    assert said.ways == (), "more sets of the same are no way out of a control that was not found"
    document = deciding.document(kitchen.store, kitchen.leader, kitchen.study)
    assert document["control"]["found"] is (found == 6)


def test_without_one_the_page_says_so(make: Any) -> None:
    """The same answers, sealed without: never close enough."""
    kitchen = make(replace(FIXED, control=None))
    assert judged(kitchen, 6, 0).reason == "no control"
    finding = _told(kitchen).finding
    assert finding.headline == "Cannot tell: no control was served."
    assert "Close enough" not in " ".join((finding.headline, *(fact.value for fact in finding.facts)))


def test_a_difference_stands_whatever_the_control(make: Any) -> None:
    """Ten of 18 triangles are found (ISO 4120 Table A.1)."""
    assert judged(make(FIXED), 10, 0).verdict == "different"


# ---- by rounds -----------------------------------------------------------------------------------------------------
def until_it_ends(kitchen: Kitchen, main: Any, of_control: bool) -> Staff:
    """Sittings one after the other until the plan has come to its end."""
    for sitting in kitchen.sittings():
        if deciding.standing(kitchen.store, kitchen.leader, kitchen.study).standing != "go on":
            break
        for seat, taster in enumerate(kitchen.serve(sitting)):
            taster.finish(lambda level, number, own=seat: of_control if level == CONTROL else main(own))
        watching.close_sitting(kitchen.store, kitchen.leader, sitting.id, "")
    return kitchen.leader


def test_what_is_left_of_it_is_served_alone(make: Any) -> None:
    """One right a round: the count ends after two, with 4 of 12 control sets in; eight are served before the key.

    Wald 1947, p0 1/3, p1 2/3, 5 % each: lower line n / 2 - 2.124, so 1 of 6 goes on and 2 of 12 are the same.
    """
    kitchen = make(ROUNDS)
    leader = until_it_ends(kitchen, lambda seat: seat < 1, True)
    here = deciding.standing(kitchen.store, leader, kitchen.study)
    assert (here.standing, here.served, here.control_left, here.control_waits) == ("same", 2, 8, True)
    with pytest.raises(NotAllowed, match="waits for the control"):
        closing.open_key(kitchen.store, leader, kitchen.study, "Ada")
    made = deciding.serve_control(kitchen.store, leader, kitchen.study)
    assert [one.id for one in kitchen.sittings() if one.state != "closed"] == [made.id]
    assert not deciding.standing(kitchen.store, leader, kitchen.study).control_waits
    with pytest.raises(NotAllowed, match="no sets of the control"):
        deciding.serve_control(kitchen.store, leader, kitchen.study)
    for taster in kitchen.serve(made):
        taster.finish(lambda level, _number: level == CONTROL)
    closing.open_key(kitchen.store, leader, kitchen.study, "Ada")
    result = deciding.verdict(kitchen.store, leader, kitchen.study)
    assert (result.judged.control.trials, result.judged.control.correct) == (12, 12)
    assert (result.standing, result.judged.reason) == ("same", None)
    assert (result.given, result.right) == (12, 2), "answers to the control count nowhere else"
    assert result.controls == ((2, 2), (2, 2)), "a third of six after each round; the rest came alone"
    heads, rows = rounds.table(result.judged, result.controls)
    assert [row[heads.index("control")] for row in rows] == ["2 of 2"] * 2
    assert check(kitchen.store.url).sound


def test_who_gets_nothing_in_that_sitting_is_not_waited_for(make: Any) -> None:
    """Two sets are left for six people: two links, two seats to watch."""
    kitchen = make(ROUNDS)
    with kitchen.store.write() as tx:
        made = setting_out.serve_control(tx, kitchen.study, kitchen.plan, 2)
    assert len(kitchen.serve(made)) == 2
    assert [seat.of for seat in watching.progress(kitchen.store, kitchen.leader, made.id).seats] == [1, 1]


def test_by_rounds_without_one_nothing_is_the_same(make: Any) -> None:
    """At the lower line the plan has come to its end and cannot tell."""
    kitchen = make(replace(ROUNDS, control=None))
    leader = until_it_ends(kitchen, lambda seat: seat < 1, False)
    closing.open_key(kitchen.store, leader, kitchen.study, "Ada")
    result = deciding.verdict(kitchen.store, leader, kitchen.study)
    assert (result.standing, result.judged.reason) == ("cannot tell", "no control")
    with pytest.raises(NotAllowed):
        deciding.serve_control(kitchen.store, leader, kitchen.study)


# ---- elsewhere -----------------------------------------------------------------------------------------------------
def test_a_study_with_a_control_travels_whole(make: Any, tmp_path: Path) -> None:
    """Taken out as tables and brought in again: the same rows, the same verdict."""
    kitchen = make(FIXED)
    result = judged(kitchen, 6, 9)
    first = packages.take_out(kitchen.store, kitchen.study, tmp_path / "first")
    there = open_store(str(tmp_path / "there.sqlite"))
    packages.bring_in(there, tmp_path / "first")
    assert [one.read_bytes() for one in first] == [
        one.read_bytes() for one in packages.take_out(there, kitchen.study, tmp_path / "second")
    ]
    assert check(there.url).sound
    leader = Staff("x", "Zoe", "leader")
    assert deciding.verdict(there, leader, kitchen.study) == result
    there.close()


def test_a_rule_of_a_later_version_is_refused() -> None:
    """A package that names it is not decided by a rule it was not sealed with; none named is the first."""
    deciding.refuse_foreign({}, [])
    deciding.refuse_foreign({"rule_version": 2}, [])
    with pytest.raises(BadInput, match="names version 3 of the rule"):
        deciding.refuse_foreign({"rule_version": 3}, [])


def test_lost_answers_leave_no_mark_that_was_never_offered(make: Any) -> None:
    """Before the key, one answer lost: with a control the mark of close enough is told, without one it is not."""
    for plan, offered in ((FIXED, True), (replace(FIXED, control=None), False)):
        kitchen = make(plan)
        study = planning.study(kitchen.store, kitchen.leader, kitchen.study)
        found = prospects.left(study, (3, 3, 3, 3, 3, 2))
        assert found is not None
        said = " ".join(fact.note for fact in verdicts.marks_held(found[1], found[0]))
        assert ("close enough up to" in said) is offered
        assert ("no “close enough”: no control" in said) is not offered


def test_a_copy_takes_its_control_along(make: Any) -> None:
    kitchen = make(FIXED)
    copied = planning.study(kitchen.store, kitchen.leader, planning.copy(kitchen.store, kitchen.leader, kitchen.study))
    assert copied.plan.control == FIXED.control


def test_a_control_too_small_is_not_sealed(make: Any) -> None:
    kitchen = make(FIXED)
    other = draft(kitchen.store, kitchen.leader, kitchen.preparer, replace(FIXED, control=Control("spike", "oil", 3)))
    with pytest.raises(BadInput, match="9 to 18 sets"):
        planning.seal(kitchen.store, kitchen.leader, other.study, other.plan.title)


def test_a_plan_is_its_own_document() -> None:
    """What JSON gives back is the plan."""
    assert from_document(planning.document_of(FIXED)) == FIXED
    assert isinstance(FIXED, AromaPlan)
