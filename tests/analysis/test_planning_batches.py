"""Simulated studies of several batches: known outcomes, the same verdict as `decide`."""

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
from analysis.stopping.verdicts import VERDICTS

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
