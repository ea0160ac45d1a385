"""Simulated studies of several batches: known outcomes, errors and power cell by cell, the same verdict as `decide`."""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from analysis.planning.look_batches import look_at
from analysis.planning.operating_characteristics import operating_characteristics
from analysis.planning.simulation import AttributeTruth, Design, Scenario, draw, first_order
from analysis.stopping import AttributeRule, Rule, decide
from analysis.stopping.alpha_spending import level
from analysis.stopping.verdicts import STOP, VERDICTS

Draws = Callable[[int, int], int]
HOURS = (0.0, 4.0, 8.0, 12.0, 16.0, 24.0)
RULE = Rule({"acidity": AttributeRule("lower", 1.0)})
EACH, RECIPE = replace(RULE, claim="each of these batches"), replace(RULE, claim="recipe and machine")
# Chances of 40,000 studies a scenario by a separate simulation, made when the claims were specified.
KNOWN = json.loads((Path(__file__).parents[1] / "reference" / "14_batches.json").read_text(encoding="utf-8"))
OF = {"recipe, 8 assessors, 3 batches x 2, s .3, tau 6": (RECIPE, 8, 3, 0.3)}
OF["recipe, 8 assessors, 4 batches x 2, s .3, tau 6"] = (RECIPE, 8, 4, 0.3)
OF["recipe, 12 assessors, 3 batches x 2, s .3, tau 6"] = (RECIPE, 12, 3, 0.3)
OF["recipe, 8 assessors, 3 batches x 2, s .15, tau 6"] = (RECIPE, 8, 3, 0.15)
OF["each of 2 batches, 8 x 2 a batch, s .3, tau 6 (only stop computed; the rest is in cannot tell)"] = (EACH, 8, 2, 0.3)
OF["each of 3 batches, 8 x 2 a batch, s .3, tau 6 (only stop)"] = (EACH, 8, 3, 0.3)
OF["each of 2 batches, 12 x 2 a batch, s .3, tau 6 (only stop)"] = (EACH, 12, 2, 0.3)


def batches(count: int, assessors: int, replicates: int = 2, later: int = 0, looks: int = 1) -> Design:
    """One batch a sitting."""
    return Design(assessors, replicates, count, later, batch_of=tuple(range(count + later * (looks - 1))))


@pytest.mark.simulation
@pytest.mark.parametrize("name", KNOWN["scenarios"])
def test_known_outcomes_of_several_batches_come_back(name: str, draws: Draws) -> None:
    """Every chance within four Monte Carlo errors of both simulations."""
    rule, people, count, s = OF[name]
    truth = AttributeTruth(first_order(HOURS, 7, 3.5, 6), batch=s)
    studies = draws(1500, 40_000)
    found = operating_characteristics(Scenario(HOURS, {"acidity": truth}), rule, batches(count, people), studies)
    ours = {f"stop at pull {pull}": chance for pull, chance in enumerate(found.stop.values())}
    ours |= {"conche longer": found.conche_longer, "cannot tell": found.cannot_tell}
    for what, chance in ours.items():
        known = KNOWN["scenarios"][name][what]
        spread = max(known * (1 - known), 1e-3)
        assert abs(chance - known) <= 4 * np.sqrt(spread * (1 / studies + 1 / 40_000)), what


# ---- one pull: errors and power --------------------------------------------------------------------------------------
THREE = (0.0, 12.0, 24.0)


def passing(
    rule: Rule, count: int, design: tuple[int, int], worse: float, s: float, studies: int, alone: bool = False
) -> float:
    """Share that stop at 12 h, which is truly `worse` units worse; s moves every pull of a batch, or 12 h `alone`."""
    replicates, people = design
    truth = AttributeTruth((9.0, 3.5 + worse, 3.5), batch=0.0 if alone else s)
    made, rng = batches(count, people, replicates), np.random.default_rng(count + people)
    stops = 0
    for start in range(0, studies, 500):
        size = min(500, studies - start)
        y = draw(Scenario(THREE, {"acidity": truth}), made, count, size, rng)["acidity"]
        if alone:
            y = y + np.array([0, s, 0])[:, None, None] * rng.standard_normal((size, 1, 1, count, 1))
        verdict, _pull = look_at({"acidity": y}, None, rule, level(0.05, 1), 0, None, made.batches(count))
        stops += int((verdict == STOP).sum())
    return stops / studies


# Largest error, in %, over 5 to 12 assessors (`alone`: 6 to 12) at s 0, .15, .3, .5, and at .3, .5 with the judged pull
# alone; the same separate simulation, 1,500 to 40,000 studies a cell.
ERRORS = {3: (2.4, 2.7, 3.8, 5.0, 3.7, 4.6), 4: (2.7, 2.9, 3.9, 4.4, 3.5, 4.5), 6: (3.0, 3.1, 3.7, 4.0, 4.0, 4.2)}
CELLS = [(b, at) for b in ERRORS for at in range(6)]


@pytest.mark.simulation
@pytest.mark.parametrize(("count", "at"), CELLS)
def test_a_claim_on_the_recipe_errs_no_more_than_told(count: int, at: int, draws: Draws) -> None:
    """With 12 h exactly at the margin, within two Monte Carlo errors of the largest told (which has its own)."""
    if (count, at) not in ((3, 3), (4, 5)) and draws(0, 1) == 0:
        pytest.skip("drawn in a search")
    s = (0.0, 0.15, 0.3, 0.5, 0.3, 0.5)[at]
    for people in (5, 8, 12) if at < 4 else (6, 12):
        studies = draws(600, 8000)
        told = ERRORS[count][at] / 100
        found = passing(RECIPE, count, (2, people), 1.0, s, studies, alone=at > 3)
        assert found <= told + 2 * np.sqrt(told * (1 / studies + 1 / 8000)), people


# Power in %, truly equal, at s 0, .15, .3, .5; 20,000 studies a cell of the same separate simulation.
POWER = {
    (RECIPE.claim, 3, 2, 8): (78, 74, 60, 44),
    (RECIPE.claim, 4, 2, 8): (86, 82, 72, 55),
    (RECIPE.claim, 6, 2, 12): (99, 97, 92, 78),
    (RECIPE.claim, 3, 1, 12): (80, 73, 61, 44),
    (EACH.claim, 2, 2, 8): (45, 43, 38, 34),
    (EACH.claim, 3, 2, 8): (34, 32, 26, 21),
    (EACH.claim, 2, 2, 12): (70, 65, 55, 46),
    (EACH.claim, 3, 1, 12): (30, 28, 24, 20),
}


@pytest.mark.simulation
@pytest.mark.parametrize("cell", POWER)
@pytest.mark.parametrize("at", range(4))
def test_power_over_batches_is_as_told(cell: tuple[str, int, int, int], at: int, draws: Draws) -> None:
    """Within four Monte Carlo errors of both and half a point of rounding."""
    claim, count, replicates, people = cell
    if at != 2 and draws(0, 1) == 0:
        pytest.skip("drawn in a search")
    studies, told = draws(500, 10_000), POWER[cell][at] / 100
    rule = RECIPE if claim == RECIPE.claim else EACH
    found = passing(rule, count, (replicates, people), 0.0, (0.0, 0.15, 0.3, 0.5)[at], studies)
    assert abs(found - told) <= 4 * np.sqrt(told * (1 - told) * (1 / studies + 1 / 20_000)) + 0.005


@pytest.mark.simulation
@pytest.mark.parametrize(("worse", "s", "most"), [(1.0, 0.3, 0.039), (1.0, 0.5, 0.039), (0.0, 0.3, 0.72)])
def test_batches_may_be_added_at_sealed_looks(worse: float, s: float, most: float, draws: Draws) -> None:
    """Three, then five, at .0304 each: the error at most 3.9 %, the power 72 % at s .3 (the same simulation)."""
    truth = AttributeTruth((9.0, 3.5 + worse, 3.5), batch=s)
    studies = draws(800, 20_000)
    found = operating_characteristics(
        Scenario(THREE, {"acidity": truth}), replace(RECIPE, looks=2), batches(3, 8, 2, 2, 2), studies
    )
    slack = 4 * np.sqrt(most * (1 - most) * (1 / studies + 1 / 20_000)) + 0.005
    assert found.stop[12.0] <= most + slack
    if worse == 0:
        assert found.stop[12.0] >= most - slack


@pytest.mark.simulation
@pytest.mark.parametrize(("tau", "six", "four"), [(3, 63, 73), (6, 49, 58), (10, 32, 38)])
def test_four_pulls_tasted_three_times_answer_more_often_than_six_twice(
    tau: float, six: int, four: int, draws: Draws
) -> None:
    """Stop in 73, 58, 38 % for 63, 49, 32 with as many servings, at tau 3, 6, 10 (20,000 studies of the same)."""
    studies = draws(1000, 20_000)
    for told, hours, replicates in ((six, HOURS, 2), (four, (0.0, 8.0, 16.0, 24.0), 3)):
        truth = AttributeTruth(first_order(hours, 7, 3.5, tau))
        found = operating_characteristics(Scenario(hours, {"acidity": truth}), RULE, Design(8, replicates), studies)
        share = told / 100
        slack = 4 * np.sqrt(share * (1 - share) * (1 / studies + 1 / 20_000)) + 0.005
        assert abs(sum(found.stop.values()) - share) <= slack, (hours, replicates)


# ---- the same as one file --------------------------------------------------------------------------------------------
@pytest.mark.parametrize("rule", [EACH, RECIPE], ids=["each", "recipe"])
@pytest.mark.parametrize("missing", [0.0, 0.1])
def test_a_simulated_study_is_judged_as_its_file(rule: Rule, missing: float) -> None:
    """Verdict and hours of `decide`, study by study."""
    hours = (0.0, 8.0, 16.0, 24.0)
    truth = AttributeTruth((7.0, 4.2, 3.5, 3.5), batch=0.3, error=0.6)
    made = batches(3, 8)
    drawn = draw(Scenario(hours, {"acidity": truth}, missing=missing), made, 3, 12, np.random.default_rng(3))
    verdict, pull = look_at(drawn, None, rule, 0.05, 0, None, made.batches(3))
    for study, y in enumerate(drawn["acidity"]):
        at = np.argwhere(np.isfinite(y))
        frame = pd.DataFrame(
            {
                "assessor": at[:, 0].astype(str),
                "hours": [hours[h] for h in at[:, 1]],
                "batch": at[:, 2].astype(str),
                "replicate": at[:, 3] + 1,
                "attribute": "acidity",
                "score": y[tuple(at.T)],
            }
        )
        found = decide(frame, rule)
        ours = VERDICTS[verdict[study]], hours[pull[study]] if pull[study] >= 0 else None
        assert ours == (found.verdict, found.hours)
