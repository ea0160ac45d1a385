"""A study of several batches from its plan to its verdict, through the services that the pages call."""

from __future__ import annotations

import random
from collections import Counter
from collections.abc import Callable
from dataclasses import replace
from itertools import product
from typing import Any

import pytest

from analysis.stopping import AttributeRule, Rule, decide
from studyapp.errors import NotAllowed
from studyapp.kinds.hours import deciding, rule
from studyapp.kinds.hours import plan as plan_part
from studyapp.kinds.hours.plan import EACH, RECIPE, THIS, HoursPlan, Pull
from studyapp.kinds.hours.rule.batches import lot
from studyapp.kinds.hours.setting_out import pulls
from studyapp.records import Attribute
from studyapp.services import batches, closing, joining, planning, preparing, watching
from studyapp.services.checking import check
from tests.conftest import CHECKS, Workshop

MEANS = {0.0: 7.0, 8.0: 4.1, 24.0: 4.0}
NOW = "2026-11-30T10:00"
PLAN = HoursPlan(
    "Two batches",
    question="Is 8 h enough in both?",
    recipe="Dark 72 %",
    machine="Conche 1",
    pulls=tuple(Pull(hours) for hours in MEANS),
    attributes=(Attribute("Acidity"),),
    looks=1,
    sittings=4,
    rest_seconds=0,
    warm_up=False,
    contains="cocoa",
    claim=EACH,
    batches=("Batch A", "Batch B"),
)


@pytest.fixture
def plan() -> HoursPlan:
    """Two batches, each in two sittings."""
    return PLAN


@pytest.fixture
def seats() -> int:
    """Six people."""
    return 6


def taste(workshop: Workshop, hand: Any, means: Callable[[str, float], float]) -> None:
    """Everybody tastes every sitting that is left; `means` by batch and hours, with a noise of .3 units that follows
    person, pull and how often the batch was tasted, so that the lot changes no verdict."""
    store, plan, before = workshop.store, workshop.plan, Counter[int]()
    pieces = plan.pieces()
    for sitting in preparing.sittings(store, workshop.leader, workshop.study):
        if sitting.state == "closed":
            continue
        key = preparing.levels_by_code(store, workshop.preparer, sitting.id)

        def value(place: Any, _line: str, key: Any = key) -> float:
            batch, hours = pieces[key[place.code]]
            noise = random.Random(f"{place.pseudonym} {batch} {hours} {before[batch]}").gauss(0.0, 0.3)
            return min(10.0, max(0.0, means(plan.batches[batch], hours) + noise))

        if sitting.state == "planned":
            for tray in preparing.trays(store, workshop.preparer, sitting.id):
                preparing.release_tray(store, workshop.preparer, sitting.id, tray.position, CHECKS, "Cleo")
            watching.open_sitting(store, workshop.leader, sitting.id)
        for link in joining.issue_links(store, workshop.leader, sitting.id):
            type(hand)(store, joining.join(store, link.code, "10.0.0.7", None)).taste_all(value)
        before.update({pieces[level][0] for level in key.values()})


def ready_at_eight(_batch: str, hours: float) -> float:
    """Both batches are ready at 8 h."""
    return MEANS[hours]


def opened(workshop: Workshop, hand: Any, means: Callable[[str, float], float]) -> Any:
    """The decision on what they taste."""
    taste(workshop, hand, means)
    closing.open_key(workshop.store, workshop.leader, workshop.study, "nobody else leads")
    return deciding.decision(workshop.store, workshop.leader, workshop.study)


# ---- from seal to verdict --------------------------------------------------------------------------------------------
def test_each_of_two_batches_from_seal_to_verdict(workshop: Workshop, hand: Any) -> None:
    """Each batch is served in two of four sittings, alone and whole; the verdict is that of `decide` on the scores with
    their batches, under the same claim."""
    store, leader, study = workshop.store, workshop.leader, workshop.study
    assert {one.draft.label for one in batches.of_study(store, leader, study)} == set(PLAN.batches)
    holds = preparing.boxes(store, workshop.preparer, study).values()
    assert sorted(holds) == [
        f"{batch}, {h:g} h" for batch, h in product(PLAN.batches, sorted(MEANS, key="{:g} h".format))
    ]
    found = opened(workshop, hand, ready_at_eight)
    assert (found.verdict, found.hours, found.claim) == ("stop", 8.0, EACH)
    frame = deciding.scores(store, leader, study)
    assert Counter(frame.groupby("sitting")["batch"].nunique()) == {1: 4}
    assert frame.groupby("batch")["sitting"].nunique().to_dict() == {"Batch A": 2, "Batch B": 2}
    assert (frame.groupby(["batch", "hours"]).size() == 2 * 6).all()
    asked = Rule({"Acidity": AttributeRule("lower", 1.0)}, adjust=("sitting:hours",), claim=EACH, batches=2)
    assert decide(frame, asked).batches == found.batches
    assert check(store.url).sound


def test_a_batch_lost_whole_steps_out_and_one_that_was_served_does_not(workshop: Workshop, hand: Any) -> None:
    """Its sittings are over, nothing is said of it, and the claim is about the other one alone."""
    store, leader, ben, study = workshop.store, workshop.leader, workshop.preparer, workshop.study
    here = preparing.levels_by_code(store, ben, workshop.sitting.id)
    (served,) = {PLAN.pieces()[level][0] for level in here.values()}
    first = type(hand)(store, joining.join(store, workshop.links[0].code, "10.0.0.7", None))
    first.serving()
    with pytest.raises(NotAllowed, match="served already"):
        pulls.note_batch_lost(store, ben, study, served, "dropped", NOW)
    pulls.note_batch_lost(store, ben, study, 1 - served, "dropped", NOW)
    assert [one.state for one in preparing.sittings(store, leader, study)].count("closed") == 2
    with pytest.raises(NotAllowed):
        pulls.undo(store, ben, study, PLAN.level(1 - served, 8.0), NOW)
    found = opened(workshop, hand, ready_at_eight)
    assert (found.verdict, found.hours, found.claim, found.lost) == ("stop", 8.0, THIS, ())
    assert check(store.url).sound


def test_the_lives_of_pulls_are_told_batch_by_batch(workshop: Workshop) -> None:
    store, ben, study = workshop.store, workshop.preparer, workshop.study
    pulls.note_zero(store, ben, study, "2026-11-30T06:00", 1)
    pulls.note_pull(store, ben, study, PLAN.level(1, 8.0), "2026-11-30T14:05")
    first, second = pulls.by_batch(store, ben, study)
    assert (first.zero, first.next and first.next.hours) == (None, 0.0)
    assert [life.taken is not None for life in second.lives] == [False, True, False]
    assert str(second.lives[1].late) == "0:05:00"
    a, b = sorted(batches.of_study(store, ben, study), key=lambda one: one.draft.label)
    assert dict(batches.pulls_of(store, ben, a))[8.0] == "planned"
    assert dict(batches.pulls_of(store, ben, b))[8.0] == "taken"
    with pytest.raises(NotAllowed, match="keeps its name"):
        batches.keep(store, workshop.leader, a.id, replace(a.draft, label="Another"))


# ---- the plan --------------------------------------------------------------------------------------------------------
FULL = replace(PLAN, assessors=tuple("abcdefgh"))


@pytest.mark.parametrize(
    ("changed", "said"),
    [
        ({"batches": ("Batch A",), "sittings": 2}, "name two or more"),
        ({"claim": RECIPE}, "three or more"),
        ({"batches": ("Batch A", "batch a")}, "a name of its own"),
        ({"sittings": 3}, "a multiple of 2"),
        ({"batches_a_sitting": 2, "palate": 5}, "two batches are 6 pieces, and a person takes 5"),
        ({"added": 1, "batches": ("A", "B", "C")}, "later opening"),
        ({"assessors": tuple("abcd")}, "at least five"),
        ({"starts_at": "2026-11-30T06:00"}, "own time"),
    ],
)
def test_what_a_claim_on_several_batches_needs(changed: dict[str, Any], said: str) -> None:
    """Three batches for the recipe, its own charge and longest pull in each, five people in common: see `analysis`."""
    found = [one.sentence for one in rule.problems(replace(FULL, **changed)) if one.blocks]
    assert any(said in sentence for sentence in found), found


def test_a_sound_plan_of_several_batches_is_not_refused() -> None:
    recipe = replace(FULL, claim=RECIPE, batches=tuple("ABCD"))
    two = replace(FULL, batches_a_sitting=2, sittings=2)
    grown = replace(FULL, claim=RECIPE, batches=tuple("ABCDE"), added=2, looks=2, sittings=3, next_sittings=2)
    for plan in (FULL, recipe, two, grown):
        assert not [one.sentence for one in rule.problems(plan) if one.blocks]


@pytest.mark.parametrize(("batches", "each", "sittings"), [(2, 1, 4), (3, 1, 6), (4, 2, 4), (3, 2, 3), (2, 2, 2)])
def test_batches_are_dealt_by_lot_and_equally_often(batches: int, each: int, sittings: int) -> None:
    """In every deal each batch as often as any other, none twice in a sitting; over deals each sitting gets each."""
    plan = replace(FULL, batches=tuple("ABCD")[:batches], batches_a_sitting=each, sittings=sittings)
    deals = [lot(plan, 1, (), seed) for seed in range(60)]
    for deal in deals:
        assert len(deal) == sittings
        assert all(len(set(group)) == each for group in deal)
        assert set(Counter(one for group in deal for one in group).values()) == {sittings * each // batches}
    assert all({one for deal in deals for one in deal[place]} == set(range(batches)) for place in range(sittings))


def test_later_openings_taste_the_batches_that_join() -> None:
    plan = replace(FULL, claim=RECIPE, batches=tuple("ABCDE"), added=2, looks=2, sittings=3, next_sittings=2)
    assert {one for (one,) in lot(plan, 1, (), 1)} == {0, 1, 2}
    assert {one for (one,) in lot(plan, 2, (), 1)} == {3, 4}
    assert [rule.rule_of(plan, look).batches for look in (1, 2)] == [3, 5]
    assert rule.rule_of(plan, 1, lost=1).batches is None  # two left: `decide` says that these are too few
    assert {one for (one,) in lot(plan, 2, {3}, 1)} == {4}


def test_a_plan_of_before_claims_one_batch_and_its_rule_is_as_it_was() -> None:
    kept = {
        name: value for name, value in planning.document_of(replace(FULL, claim=THIS)).items() if "batches" not in name
    }
    for name in ("claim", "added"):
        del kept[name]
    read = plan_part.from_document(kept)
    assert read == replace(FULL, claim=THIS, batches=())
    assert rule.rule_of(read, 1) == Rule({"Acidity": AttributeRule("lower", 1.0)}, adjust=("sitting:hours",))
