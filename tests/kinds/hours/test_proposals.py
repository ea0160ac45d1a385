"""Proposals: the cheapest design that reaches a chance, what helps where none does, and designs side by side."""

from __future__ import annotations

from dataclasses import replace

import pytest

from analysis.planning.operating_characteristics import operating_characteristics
from analysis.planning.simulation import AttributeTruth, Design, Scenario
from analysis.stopping import AttributeRule, Rule
from studyapp.errors import BadInput
from studyapp.kinds.hours.deciding import proposals
from studyapp.kinds.hours.deciding.prospects import what_it_can_show
from studyapp.kinds.hours.plan import HoursPlan, Pull
from studyapp.kinds.hours.rule import problems
from studyapp.records import Attribute

SIX = tuple(Pull(float(hours)) for hours in (0, 4, 8, 12, 16, 24))
PLAN = HoursPlan(
    "x",
    "From how many hours on?",
    pulls=SIX,
    attributes=(Attribute("Acidity"),),
    assessors=tuple(f"a{n}" for n in range(8)),
    contains="Cocoa mass",
    sittings=2,
    looks=1,
)


@pytest.mark.parametrize(("hours", "control"), [((0.0, 24.0), None), ((0.0, 8.0, 24.0), 8.0)])
def test_nothing_is_proposed_while_no_pull_is_in_question(hours: tuple[float, ...], control: float | None) -> None:
    """No design makes the control, which must be found worse, a good answer."""
    with pytest.raises(BadInput, match="between the control and the longest"):
        proposals.propose(replace(PLAN, pulls=tuple(map(Pull, hours)), control=control))


@pytest.mark.simulation
@pytest.mark.parametrize("worse", [0.3, 0.5, 0.7])
def test_two_pulls_hardly_ever_give_a_stop(worse: float) -> None:
    """What the plan page says of two pulls and 12 people tasting three times: at most about 5 of 100 studies, wherever
    the control truly lies. 4,000 studies, three Monte Carlo errors of 0.34 points."""
    truth = Scenario((0.0, 24.0), {"acidity": AttributeTruth((3.5 + worse, 3.5))})
    rule = Rule({"acidity": AttributeRule("lower", 1.0)})
    found = operating_characteristics(truth, rule, Design(12, 3), 4000, 1)
    assert sum(found.stop.values()) < 0.05 + 0.01


def test_a_proposal_reaches_what_was_wished_and_can_be_sealed() -> None:
    """Its chance is that of a fresh simulation with another seed, within four errors; nothing in it blocks a seal."""
    found = proposals.propose(PLAN, 0.6, seed=2).found
    assert found is not None
    assert found.chance >= 0.6
    truth = proposals.truth_of(PLAN, 12.0)
    again = proposals.reckon(found.plan, truth, 12.0, seed=77, studies=4000)
    assert again.chance == pytest.approx(found.chance, abs=4 * (found.monte_carlo_se + again.monte_carlo_se))
    assert not [problem for problem in problems(found.plan) if problem.blocks]
    assert found.pieces <= PLAN.palate
    assert {0.0, 12.0, 24.0} <= {pull.hours for pull in found.plan.pulls}
    assert found.too_early <= 0.05


def test_nothing_cheaper_reaches_it() -> None:
    """Every design that asks for fewer pieces falls short, by a simulation of its own."""
    found = proposals.propose(PLAN, 0.65, seed=2).found
    assert found is not None
    truth = proposals.truth_of(PLAN, 12.0)
    cheaper = [
        plan for plan in proposals._candidates(PLAN, 12.0) if proposals._pieces(plan) < proposals._pieces(found.plan)
    ]
    assert cheaper
    for plan in cheaper:
        reckoned = proposals.reckon(plan, truth, 12.0, seed=5, studies=600)
        assert reckoned.chance < 0.65 + 4 * reckoned.monte_carlo_se


def test_where_no_design_reaches_it_what_helps_is_named() -> None:
    """Five people, three attributes, nine in ten: not to be had; what helps is said with its chance, best first."""
    small = replace(PLAN, assessors=PLAN.assessors[:5], attributes=tuple(Attribute(name) for name in "ABC"))
    told = proposals.propose(small, 0.9)
    assert told.found is None
    assert told.nearest.chance < 0.9
    assert {one.what for one in told.helps} == {
        "two more people", "four more people", "wider margin", "fewer attributes", "twice the sittings",
    }  # fmt: skip
    assert [one.chance for one in told.helps] == sorted((one.chance for one in told.helps), reverse=True)
    assert told.helps[0].chance > told.nearest.chance


def test_designs_side_by_side_count_people_pieces_and_grams() -> None:
    """By hand: 8 people, 6 pieces and a warm-up, 2 sittings, 4.5 g; with 12 pieces, 13 of them."""
    once, twice = proposals.compare((PLAN, replace(PLAN, replicates=2, palate=12)), studies=500)
    assert (once.people, once.pieces, once.most_sittings, once.grams) == (8, 6, 2, 8 * 7 * 2 * 4.5)
    assert (twice.pieces, twice.grams) == (12, 8 * 13 * 2 * 4.5)
    assert twice.chance > once.chance
    assert once.monte_carlo_se == pytest.approx((once.chance * (1 - once.chance) / 500) ** 0.5)


def test_a_comparison_agrees_with_what_the_plan_says_of_itself() -> None:
    """One seed, one number, wherever it is asked."""
    (row,) = proposals.compare((PLAN,), seed=4, studies=400)
    assert row.chance == what_it_can_show(PLAN, seed=4, studies=400).stop_by.share


def test_blocks_can_be_held_beside_whole_servings() -> None:
    """Eight pulls in turns beside six of them served whole, on one truth."""
    eight = replace(PLAN, pulls=(*SIX, Pull(20.0), Pull(30.0)))
    turns, whole = proposals.compare((eight, replace(eight, pulls=(*SIX[1:], Pull(30.0)))), studies=300)
    assert turns.pieces == whole.pieces == 6
    assert turns.enough_hours == whole.enough_hours == 16.0
    assert turns.chance < whole.chance


@pytest.mark.parametrize(
    "wrong",
    [
        lambda: proposals.compare(()),
        lambda: proposals.compare((PLAN,) * 5),
        lambda: proposals.compare((PLAN, replace(PLAN, attributes=(Attribute("Other"),)))),
        lambda: proposals.propose(PLAN, 1.5),
        lambda: proposals.propose(replace(PLAN, pulls=())),
        lambda: proposals.which_test(replace(PLAN, attributes=()), nameable=True),
    ],
)
def test_what_cannot_be_compared_is_refused(wrong: object) -> None:
    """In a sentence that says what to fix."""
    with pytest.raises(BadInput, match=r"^Fix the"):
        wrong()  # type: ignore[operator]


def test_a_named_taste_is_asked_for_by_name() -> None:
    """Scores first, then the tests that can be asked; a taste without a name gets the tests that need none."""
    named, nameless = (proposals.which_test(PLAN, nameable) for nameable in (True, False))
    assert [row.test for row in named] == ["scores", "two-alternative", "three-alternative"]
    assert [row.test for row in nameless] == ["scores", "triangle", "tetrad"]
    assert min(row.noticed for row in named) > max(row.noticed for row in nameless[1:])
