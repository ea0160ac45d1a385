"""Many studies at once end as each of them would alone, whatever is spared on the way."""

from __future__ import annotations

import numpy as np
import pytest

from analysis.design import blocks
from analysis.model.scores import Scores, cells_of
from analysis.planning.many_studies import answers
from analysis.planning.simulation import AttributeTruth, Design, Scenario, draw, first_order
from analysis.stopping import AttributeRule
from analysis.stopping.verdicts import CANNOT, judge

HOURS = (0.0, 4.0, 8.0, 12.0, 24.0)


def invented(rng: np.random.Generator) -> tuple[dict[str, AttributeRule], dict[str, AttributeTruth]]:
    """One to three attributes: settled or changing, best half-way, near their limit, in whole numbers or not."""
    wishes, truths = {}, {}
    for number in range(rng.integers(1, 4)):
        wanted = str(rng.choice(["lower", "higher", "same"]))
        sign = -1 if wanted == "higher" else 1
        mean = np.array(first_order(HOURS, 3.5 + sign * rng.uniform(0, 4), 3.5, rng.uniform(1, 12)))
        mean[-1] += sign * rng.choice([0, 0, rng.uniform(0, 2.5)])
        mean[1:4] -= sign * rng.choice([0, 0, rng.uniform(0, 2.5)])
        limit = rng.choice([np.nan, mean[-1] + sign * rng.uniform(-0.5, 2)])
        name = f"note {number}"
        wishes[name] = AttributeRule(wanted, rng.uniform(0.5, 1.5), None if np.isnan(limit) else float(limit))  # type: ignore[arg-type]
        truths[name] = AttributeTruth(
            tuple(mean.tolist()), interaction=rng.uniform(0, 1), rounded=bool(rng.random() < 0.3), sitting=0.2
        )
    return wishes, truths


@pytest.mark.parametrize("by_sitting", [False, True])
@pytest.mark.parametrize(("missing", "served"), [(0.0, 5), (0.1, 5), (0.0, 4), (0.1, 4)])
def test_studies_that_cannot_answer_are_spared_work_but_no_answer_is_lost(
    missing: float, served: int, by_sitting: bool
) -> None:
    """Against `judge`, which works out every limit of every study."""
    rng = np.random.default_rng(5 + served)
    verdicts = np.zeros(4, int)
    for _ in range(8):
        wishes, truths = invented(rng)
        people = int(rng.integers(4, 10))
        pattern = None
        if served < 5:
            pattern = np.array(blocks.servings(5, served, people, 2, 1, (0, 4))).transpose(1, 2, 0)
        design = Design(people, int(rng.integers(1, 3)), first=2, pattern=pattern)
        drawn = draw(Scenario(HOURS, truths, missing=missing), design, 2, 200, rng)
        cells = {name: cells_of(Scores(y), by_sitting) for name, y in drawn.items()}
        whole = judge(cells, wishes, 0.05)
        verdict, pull = answers(cells, wishes, 0.05)
        np.testing.assert_array_equal(verdict, whole.verdict)
        np.testing.assert_array_equal(pull, whole.pull)
        verdicts += np.bincount(verdict, minlength=4)
    assert 0 < verdicts[CANNOT] < verdicts.sum()
