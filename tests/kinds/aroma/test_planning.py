"""From plain words to a sealed aroma plan: what it can show, what is to mend, what the seal deals."""

from __future__ import annotations

import json
from collections import Counter
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from studyapp.errors import BadInput, NotAllowed
from studyapp.kinds.aroma import deciding, plan, rule
from studyapp.kinds.aroma.plan import AromaPlan, Botanical
from studyapp.kinds.aroma.rule import proposal
from studyapp.kinds.aroma.setting_out import deal_sets
from studyapp.kinds.hours import deciding as hours_deciding
from studyapp.methods import METHODS
from studyapp.services import planning, preparing, watching
from studyapp.services.checking import check
from studyapp.store import openings, trials
from tests.furnished import furnished
from tests.kinds.aroma.aroma_kitchen import CHECKS, PLAN, Kitchen, furnish_aroma

PEOPLE = tuple("abcdefgh")


@pytest.fixture
def kitchen(tmp_path: Path) -> Any:
    """A sealed triangle study of six people, three sets each."""
    store, made = furnished(tmp_path / "studies.sqlite", furnish_aroma, PLAN, 6)
    yield made
    store.close()


# ---- the proposal --------------------------------------------------------------------------------------------------
@pytest.mark.parametrize(
    ("nameable", "lingers", "method", "sets", "sittings"),
    [
        (True, False, "three-alternative", 2, 2),
        (True, True, "two-alternative", 1, 3),
        (False, False, "triangle", 2, 2),
        (False, True, "duo-trio", 1, 3),
    ],
)
def test_plain_words_choose_the_test(nameable: bool, lingers: bool, method: str, sets: int, sittings: int) -> None:
    """A named taste is asked for by name; a taste that stays gets one set a sitting (ISO 4120 clause 1, ISO 5495)."""
    found = proposal.propose(nameable, lingers, 8, 0.3)
    assert (found.method, found.trials_each, found.sets_a_sitting, found.sittings) == (method, 3, sets, sittings)


# Exact binomial sums and all-or-none mixtures worked out outside the project: guess rate 1/3, alpha .05, three sets
# each; smallest share found, smallest limit shown with 80 % and 90 % chance, and 1 - .05^(1/people).
@pytest.mark.parametrize(
    ("people", "found", "shown", "floor"),
    [
        (6, (50, 60), (61, 68), 39),
        (8, (46, 55), (51, 57), 31),
        (10, (39, 47), (44, 49), 26),
        (12, (38, 45), (39, 47), 22),
    ],
)
def test_a_proposal_says_what_the_panel_can_show(people: int, found: Any, shown: Any, floor: int) -> None:
    """The numbers stand in the proposal and the first of them in its sentences."""
    made = proposal.propose(False, False, people, 0.3)
    reach = [made.by_power[0.8], made.by_power[0.9]]
    assert tuple(round(100 * (each.detectable_pd or 0)) for each in reach) == found
    assert tuple(round(100 * each.demonstrable_pd) for each in reach) == shown
    assert round(100 * made.floor_pd) == floor
    said = " ".join(made.sentences)
    assert f"fewer than {shown[0]} % notice, not fewer than 30 %" in said
    assert (f"below {floor} %" in said) == (floor > 30), "said only of a limit that so few people cannot show"


def test_a_proposal_has_the_marks_of_its_plan() -> None:
    """18 triangles: 10 right are the exact mark at .05 (ISO 4120 Table A.1); at 60 % up to 8 by the worst mixture."""
    made = proposal.propose(False, False, 6, 0.61)
    assert (made.minimum_correct, made.maximum_correct) == (10, 8)
    assert "not fewer" not in " ".join(made.sentences)


@pytest.mark.parametrize(("people", "limit"), [(0, 0.3), (61, 0.3), (6, 0.0), (6, 1.0)])
def test_a_proposal_needs_people_and_a_share(people: int, limit: float) -> None:
    """One sentence instead of a number that means nothing."""
    with pytest.raises(BadInput, match="Fix the panel"):
        proposal.propose(False, False, people, limit)


# ---- problems ------------------------------------------------------------------------------------------------------
SOUND = replace(PLAN, assessors=PEOPLE)


@pytest.mark.parametrize(
    ("change", "where"),
    [
        ({"question": " "}, "question"),
        ({"method": "guess"}, "method"),
        ({"method": "three-alternative"}, "note"),
        ({"botanical": Botanical("Mentha", "leaf", "", "L7")}, "botanical"),
        ({"process": ""}, "process"),
        ({"blank": " "}, "blank"),
        ({"aim": "carry over", "batches": (1,), "reference": ""}, "reference"),
        ({"contains": ""}, "contains"),
        ({"safe_food_by": ""}, "safe_food_by"),
        ({"aim": "dose", "doses": (5.0, 10.0, 20.0)}, "doses"),
        ({"aim": "dose", "doses": (5.0, 5.0, 10.0, 20.0, 40.0)}, "doses"),
        ({"aim": "dose", "doses": (-5.0, 5.0, 10.0, 20.0, 40.0)}, "doses"),
        ({"aim": "linger", "reference": "before", "batches": ()}, "batches"),
        ({"alpha": 0.0}, "alpha"),
        ({"beta": 0.5}, "beta"),
        ({"pd_limit": 1.0}, "pd_limit"),
        ({"trials_each": 0}, "trials_each"),
        ({"sets_a_sitting": 7}, "sets_a_sitting"),
        ({"sequential": True}, "cap"),
        ({"sequential": True, "cap": 24, "aim": "dose", "doses": (1.0, 2.0, 4.0, 8.0)}, "sequential"),
        ({"assessors": PEOPLE[:2]}, "assessors"),
        ({"aim": "dose", "doses": (1.0, 2.0, 4.0, 8.0), "assessors": PEOPLE[:4]}, "assessors"),
        ({"assessors": ("a", "a", "b")}, "assessors"),
        ({"sittings": 3}, "sittings"),
        ({"piece_g": 0}, "piece_g"),
        ({"rest_seconds": 4000}, "rest_seconds"),
        ({"assessors": PEOPLE[:3], "trials_each": 1, "sittings": 1, "alpha": 0.01}, "trials_each"),
    ],
)
def test_what_blocks_a_seal_stands_beside_its_field(change: dict[str, Any], where: str) -> None:
    """Each fault alone is named, in a sentence that says what to do."""
    assert not [problem for problem in rule.problems(SOUND) if problem.blocks]
    blocking = [problem for problem in rule.problems(replace(SOUND, **change)) if problem.blocks]
    assert where in {problem.where for problem in blocking}
    assert all(problem.sentence.startswith("Fix ") for problem in blocking)


def test_a_tired_palate_is_a_caution_only() -> None:
    """Seven pieces and more a sitting are said, not forbidden."""
    plan = replace(SOUND, sets_a_sitting=3, sittings=1)
    assert [(problem.where, problem.blocks) for problem in rule.problems(plan)][:1] == [("sets_a_sitting", False)]


def test_the_rule_reads_in_sentences_with_its_marks() -> None:
    """What is sealed is read first: the blank, the marks, and that taste clears nothing as food."""
    said = rule.sentences(replace(SOUND, pd_limit=0.5))
    text = " ".join(said)
    assert "same hot air, no botanical" in text
    assert "Found from 13 right of 24." in text  # ISO 4120 Table A.1: 13 of 24 at .05
    assert "clears nothing as food" in said[-1]


# ---- the seal ------------------------------------------------------------------------------------------------------
def test_a_seal_is_over_the_whole_plan(kitchen: Kitchen) -> None:
    """The kept plan still has the sealed hash, and any change has another."""
    kept = planning.study(kitchen.store, kitchen.leader, kitchen.study)
    assert (kept.kind, kept.state, kept.plan) == ("aroma", "sealed", kitchen.plan)
    assert planning.seal_of(kept.plan, rule_version=2) == kept.seal
    assert planning.seal_of(replace(kept.plan, blank="untreated"), rule_version=2) != kept.seal
    assert plan.from_document(json.loads(json.dumps(planning.document_of(kept.plan)))) == kept.plan
    assert check(kitchen.store.url).sound


def test_nothing_of_a_sealed_plan_moves(kitchen: Kitchen) -> None:
    """Neither kept again nor sealed again."""
    with pytest.raises(NotAllowed, match="sealed"):
        planning.keep_plan(kitchen.store, kitchen.leader, kitchen.study, PLAN)
    with pytest.raises(NotAllowed, match="sealed"):
        planning.seal(kitchen.store, kitchen.leader, kitchen.study, PLAN.title)


def test_a_seal_needs_the_title_and_a_sound_plan(kitchen: Kitchen) -> None:
    """The name is typed; the first thing to mend is said."""
    id_ = planning.new_study(kitchen.store, kitchen.leader, "aroma", "Second")
    with pytest.raises(BadInput, match="type the name"):
        planning.seal(kitchen.store, kitchen.leader, id_, "First")
    with pytest.raises(BadInput, match="Fix the question"):
        planning.seal(kitchen.store, kitchen.leader, id_, "Second")
    with pytest.raises(NotAllowed):
        planning.new_study(kitchen.store, kitchen.preparer, "aroma", "Third")


def test_both_kinds_stand_in_one_list_and_keep_apart(kitchen: Kitchen) -> None:
    """A study is listed with its kind; the acts of one kind refuse the other in a sentence."""
    hours = planning.new_study(kitchen.store, kitchen.leader, "hours", "Hours")
    kinds = {one.id: one.kind for one in planning.studies(kitchen.store, kitchen.leader)}
    assert kinds == {hours: "hours", kitchen.study: "aroma"}
    copy = planning.copy(kitchen.store, kitchen.leader, kitchen.study)
    assert planning.study(kitchen.store, kitchen.leader, copy).kind == "aroma"
    with pytest.raises(NotAllowed, match="another kind"):
        hours_deciding.scores(kitchen.store, kitchen.leader, kitchen.study)
    with pytest.raises(NotAllowed, match="another kind"):
        deciding.answers(kitchen.store, kitchen.leader, hours)
    with pytest.raises(NotAllowed, match="another kind"):
        planning.keep_plan(kitchen.store, kitchen.leader, hours, kitchen.plan)


# ---- what the seal deals -------------------------------------------------------------------------------------------
@pytest.mark.parametrize("method", ["triangle", "duo-trio", "two-alternative", "three-alternative", "tetrad"])
def test_orders_are_used_equally_at_every_level(method: str) -> None:
    """ISO 4120 7.1: every order equally often over the panel, or once more, at each dose by itself."""
    plan = AromaPlan("x", aim="dose", doses=(1.0, 2.0, 4.0, 8.0), method=method, trials_each=3, assessors=PEOPLE)
    dealt = deal_sets(plan, 7)
    assert [len(own) for own in dealt] == [12] * 8
    for dose in plan.doses:
        used = Counter(order for own in dealt for level, order in own if level == dose)
        counts = [used[order] for order in METHODS[method].orders]
        assert sum(counts) == 24
        assert max(counts) - min(counts) <= 1


def test_doses_come_in_no_common_order() -> None:
    """Every round holds each dose once; people meet them in orders of their own, so no tray is a dose."""
    plan = AromaPlan("x", aim="dose", doses=(1.0, 2.0, 4.0, 8.0), trials_each=3, assessors=PEOPLE)
    dealt = [[level for level, _order in own] for own in deal_sets(plan, 7)]
    for own in dealt:
        assert [sorted(own[start : start + 4]) for start in (0, 4, 8)] == [[1.0, 2.0, 4.0, 8.0]] * 3
    assert len({tuple(own) for own in dealt}) == 8


def test_codes_are_unique_in_a_sitting_and_never_come_back(kitchen: Kitchen) -> None:
    """Three random digits, new for each set; nobody meets a code twice in a study."""
    met: dict[str, list[str]] = {}
    for sitting in kitchen.sittings():
        cups = [cup for tray in preparing.trays(kitchen.store, kitchen.leader, sitting.id) for cup in tray.cups]
        assert len({cup.code for cup in cups}) == len(cups)
        for cup in cups:
            assert 100 <= int(cup.code) <= 999
            met.setdefault(cup.pseudonym, []).append(cup.code)
    assert {len(codes) for codes in met.values()} == {9}
    assert all(len(set(codes)) == 9 for codes in met.values())


def test_the_fill_sheet_is_the_key(kitchen: Kitchen) -> None:
    """Codes in the order of tasting with their boxes; a triangle holds two of one and one of the other."""
    sitting = kitchen.sittings()[0]
    rows = preparing.fill_rows(kitchen.store, kitchen.preparer, sitting.id)
    assert len(rows) == 12
    assert {tuple(sorted(Counter(letter for _code, letter in row.cups).values())) for row in rows} == {(1, 2)}
    with kitchen.store.read() as tx:
        assert openings.knows_samples(tx, kitchen.study, kitchen.preparer)
        assert {box.letter for box in trials.boxes(tx, kitchen.study)} == {"A", "B"}
    with pytest.raises(NotAllowed):
        preparing.fill_rows(kitchen.store, kitchen.leader, sitting.id)


def test_quantities_hold_every_cup_and_a_spare_for_ten(kitchen: Kitchen) -> None:
    """Six people, three triangles: 54 cups, evenly of both boxes since the six orders are used equally."""
    found = preparing.quantities(kitchen.store, kitchen.preparer, kitchen.study)
    assert [(one.letter, one.cups, one.grams) for one in found] == [("A", 30, 135.0), ("B", 30, 135.0)]
    assert {one.holds for one in found} == {"infused", PLAN.blank}
    for sitting in kitchen.sittings():
        watching.close_sitting(kitchen.store, kitchen.leader, sitting.id, "the room was needed")
    late = preparing.quantities(kitchen.store, kitchen.preparer, kitchen.study)
    assert [(one.letter, one.cups, one.grams) for one in late] == [("A", 30, 135.0), ("B", 30, 135.0)]


@pytest.mark.parametrize("check_", sorted(CHECKS))
def test_a_tray_leaves_only_when_all_is_checked(kitchen: Kitchen, check_: str) -> None:
    """Cleared as food, allergens shown, botanical named, pieces sound, labels read by a second person."""
    sitting = kitchen.sittings()[0]
    with pytest.raises(BadInput, match="Not released"):
        preparing.release_tray(kitchen.store, kitchen.preparer, sitting.id, 1, CHECKS - {check_}, "Cleo")
    with pytest.raises(BadInput, match="somebody else reads the labels"):
        preparing.release_tray(kitchen.store, kitchen.preparer, sitting.id, 1, CHECKS, "Ben")
    assert not any(tray.released_at for tray in preparing.trays(kitchen.store, kitchen.preparer, sitting.id))
    preparing.release_tray(kitchen.store, kitchen.preparer, sitting.id, 1, CHECKS, "Cleo")
    released = [
        tray.position for tray in preparing.trays(kitchen.store, kitchen.preparer, sitting.id) if tray.released_at
    ]
    assert released == [1]


def test_a_tray_waits_for_the_one_before_it(kitchen: Kitchen) -> None:
    """The second tray cannot leave while the first is in the kitchen, and then it can."""
    sitting = kitchen.sittings()[0]
    with pytest.raises(NotAllowed, match="tray 1 is still in the kitchen"):
        preparing.release_tray(kitchen.store, kitchen.preparer, sitting.id, 2, CHECKS, "Cleo")
    for position in (1, 2):
        preparing.release_tray(kitchen.store, kitchen.preparer, sitting.id, position, CHECKS, "Cleo")
    assert all(tray.released_at for tray in preparing.trays(kitchen.store, kitchen.preparer, sitting.id)[:2])
