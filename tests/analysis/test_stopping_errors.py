"""How often the rule says that a pull is good enough when it is truly worse by exactly the margin.

Each test draws studies with numpy alone (not with the project's planner) and counts. The expected shares are those of
an independent simulation with 10,000 to 40,000 studies a cell; a test may exceed its share by three Monte Carlo errors,
sqrt(p (1 - p) / studies), and never more.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.optimize import brentq
from scipy.stats import norm

from analysis.model.cells import Cells
from analysis.model.scores import Scores, cells_of
from analysis.stopping import AttributeRule
from analysis.stopping.alpha_spending import level as level_of_look
from analysis.stopping.verdicts import LONGER, judge

pytestmark = pytest.mark.simulation

Array = NDArray[np.float64]
# The pull at index 3 is worse than the last by the margin exactly, as are all before it.
AT_THE_MARGIN = np.array([4.5, 4.5, 4.5, 4.5, 3.5, 3.5])
WATCHED = 3
STUDIES = 6000


def draw(
    rng: np.random.Generator, a: int = 8, r: int = 2, studies: int = STUDIES, spread: Array | None = None
) -> Array:
    """Scores (studies, assessors, pulls, replicates): assessor sd 1, assessor:hours .5, error 1, times `spread`."""
    h = len(AT_THE_MARGIN)
    noise = 0.5 * rng.standard_normal((studies, a, h, 1)) + rng.standard_normal((studies, a, h, r))
    if spread is not None:
        noise *= spread[None, None, :, None]
    return AT_THE_MARGIN[None, None, :, None] + rng.standard_normal((studies, a, 1, 1)) + noise


def panels(y: Array) -> Cells:
    """Cells of scores (studies, assessors, pulls, servings); NaN is missing."""
    return cells_of(Scores(y[:, :, :, None]))


def share_within(y: Array, level: float = 0.05) -> float:
    """How often the watched pull is called within its margin."""
    judged = judge({"x": panels(y)}, {"x": AttributeRule("lower", 1.0)}, level)
    return float(judged.attributes["x"].within_margin[:, WATCHED].mean())


def most(share: float, studies: int = STUDIES) -> float:
    """The share with three Monte Carlo errors on top."""
    return share + 3 * float(np.sqrt(share * (1 - share) / studies))


def ordinary(rng: np.random.Generator) -> Array:
    """Nothing special."""
    return draw(rng)


def heavy_tails(rng: np.random.Generator) -> Array:
    """Errors from t with 4 df instead of the normal."""
    y = draw(rng)
    return y + rng.standard_t(4, y.shape) * 0.5


def stretched(rng: np.random.Generator) -> Array:
    """Each assessor uses the scale by a factor of their own, log sd .35."""
    gain = np.exp(0.35 * rng.standard_normal((STUDIES, 8, 1, 1)))
    noise = draw(rng) - AT_THE_MARGIN[None, None, :, None]
    return gain * (AT_THE_MARGIN - 3.5)[None, None, :, None] + noise


def at_random(rng: np.random.Generator) -> Array:
    """One of eight scores anywhere; the margin is then that of all eight, so the others are further apart."""
    y = draw(rng)
    y[:, 1:] += ((AT_THE_MARGIN - 3.5) / 7)[None, None, :, None]
    y[:, 0] = rng.uniform(0, 10, y[:, 0].shape)
    return y


def spreading(rng: np.random.Generator) -> Array:
    """The spread grows with the hours."""
    return draw(rng, spread=np.linspace(0.6, 1.6, 6))


def settling(rng: np.random.Generator) -> Array:
    """The spread shrinks with the hours."""
    return draw(rng, spread=np.linspace(1.6, 0.6, 6))


def gaps(rng: np.random.Generator) -> Array:
    """15 % missing at random."""
    y = draw(rng, studies=STUDIES)
    lost = rng.random(y.shape) < 0.15
    lost[:, np.arange(8), np.arange(8) % 6] = False
    return np.where(lost, np.nan, y)


def piled_at_zero(rng: np.random.Generator) -> Array:
    """Whole numbers with many zeros; the mean of the recorded scores, not of the latent ones, is 1 apart."""
    sd = np.sqrt(1 + 0.25 + 1)

    def recorded(mean: float) -> float:
        return float(norm.sf((np.arange(1, 11) - 0.5 - mean) / sd).sum())

    low = 0.0
    high = float(brentq(lambda mean: recorded(mean) - recorded(low) - 1, 0, 5))
    latent = draw(rng) - AT_THE_MARGIN[None, None, :, None] + np.where(AT_THE_MARGIN > 4, high, low)[:, None]
    return np.clip(np.round(latent), 0, 10)


CASES: list[tuple[Callable[[np.random.Generator], Array], float]] = [
    (ordinary, 0.039),
    (heavy_tails, 0.039),
    (stretched, 0.057),
    (at_random, 0.056),
    (spreading, 0.052),
    (settling, 0.052),
    (gaps, 0.053),
    (piled_at_zero, 0.057),
]


@pytest.mark.parametrize(("panel", "share"), CASES, ids=lambda case: getattr(case, "__name__", ""))
def test_error_at_the_margin_stays_near_five_percent(
    panel: Callable[[np.random.Generator], Array], share: float
) -> None:
    """Both errors together: no more than the simulated share of that kind of panel, and not far below one per cent."""
    found = share_within(panel(np.random.default_rng(20)))
    assert 0.005 < found <= most(share)


# ---- several looks ---------------------------------------------------------------------------------------------------
@pytest.mark.parametrize("looks", [2, 3])
def test_looking_again_keeps_the_sealed_error(looks: int) -> None:
    """One sitting of two servings before each look; a pull is passed if any look passes it."""
    y = draw(np.random.default_rng(31), r=2 * looks)
    passed = np.zeros(STUDIES, bool)
    for look in range(1, looks + 1):
        judged = judge(
            {"x": panels(y[..., : 2 * look])}, {"x": AttributeRule("lower", 1.0)}, level_of_look(0.05, looks)
        )
        passed |= judged.attributes["x"].within_margin[:, WATCHED]
    assert 0.005 < passed.mean() <= most(0.05)


# ---- the last step ---------------------------------------------------------------------------------------------------
@pytest.mark.parametrize("attributes", [1, 5])
def test_a_flat_last_step_is_seldom_called_still_improving(attributes: int) -> None:
    """`conche longer` at a truly flat last step: 2 to 4 % with one to five attributes."""
    rng = np.random.default_rng(37)
    shift = np.array([7.0, 5.0, 4.0, 3.6, 3.5, 3.5]) - AT_THE_MARGIN
    cells = {f"x{k}": panels(draw(rng) + shift[None, None, :, None]) for k in range(attributes)}
    judged = judge(cells, dict.fromkeys(cells, AttributeRule("lower", 1.0)), 0.05)
    assert (judged.verdict == LONGER).mean() <= most(0.04)


# ---- sittings that disagree ------------------------------------------------------------------------------------------
def test_the_third_limit_mends_what_a_badly_tempered_tray_does() -> None:
    """Every tray moves its pull for everybody, sd .3, two sittings of two servings: 6 to 10 % without the third limit,
    3 to 5 % with it."""
    rng = np.random.default_rng(41)
    y = draw(rng, r=4).reshape(STUDIES, 8, 6, 2, 2) + 0.3 * rng.standard_normal((STUDIES, 1, 6, 2, 1))
    plain, third = (cells_of(Scores(y), trays) for trays in (False, True))
    wish = {"x": AttributeRule("lower", 1.0)}
    shares = [
        float(judge({"x": cells}, wish, 0.05).attributes["x"].within_margin[:, WATCHED].mean())
        for cells in (plain, third)
    ]
    assert shares[0] > most(0.05)
    assert 0.01 < shares[1] <= most(0.05)


# ---- notes that fade -------------------------------------------------------------------------------------------------
def test_a_faded_note_is_seldom_inside_the_window() -> None:
    """A note wanted higher that has lost exactly the margin since its peak is called inside in at most 5 %."""
    rng = np.random.default_rng(43)
    fading = np.array([3.5, 5.5, 5.5, 4.5, 4.0, 3.5])
    y = draw(rng) + (fading - AT_THE_MARGIN)[None, None, :, None]
    judged = judge({"x": panels(y)}, {"x": AttributeRule("higher", 1.0)}, 0.05)
    inside = judged.attributes["x"].inside
    assert inside[:, 3].mean() <= most(0.05)
    assert inside[:, 1].mean() > 0.5
