"""Instruments: published and constructed values, reference libraries, and error rates by simulation."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pytest
import statsmodels.api as sm
from scipy import stats

from analysis.instruments import (
    Gate,
    GateLevels,
    GateLimits,
    Repeats,
    Spread,
    answered,
    butter_worth,
    casson,
    check_gates,
    gap,
    judge_gates,
    ladder_curve,
    odd_curve,
    odd_values,
    over_portions,
    read_off,
    sauter_mean,
    settling,
    stress_at,
    surface,
    viscosity_at,
)

# Constructed data with answers by code written apart, numpy and scipy alone.
MADE = json.loads((Path(__file__).parents[1] / "reference" / "14_gates.json").read_text(encoding="utf-8"))
HOURS = (0, 4, 8, 12, 16, 24)
Array = np.ndarray[Any, Any]


def table(readings: list[list[float]], quantity: str = "moisture", **columns: str) -> pd.DataFrame:
    """Readings (pulls, repeats) as rows."""
    rows = [(hour, quantity, value) for hour, own in zip(HOURS, readings, strict=False) for value in own]
    return pd.DataFrame(rows, columns=["hours", "quantity", "value"]).assign(**columns)


# ---- flow curves -----------------------------------------------------------------------------------------------------
RATES = (2, 5, 10, 20, 30, 40, 50)
# Casson's parameters as published on public pages of two makers of rheometers, with the stress at 5 and the viscosity
# at 40 1/s recomputed from them.
PUBLISHED = {
    "milk": (14.28, 1.863, 46.6617, 3.8511),
    "dark": (29.02, 6.056, 118.5866, 10.9737),
    "milk by another": (9.3, 1.42, 32.6518, 2.8017),
}
NOISY = [49.0, 71.86, 91.67, 110.0, 128.68, 145.54, 164.41, 183.71, 197.01, 213.13]  # constructed, 1 % noise


@pytest.mark.parametrize("mass", PUBLISHED)
def test_published_parameters_come_back_from_their_own_curve(mass: str) -> None:
    """Fit, stress at 5 and viscosity at 40 1/s, whatever the order of the points."""
    yields, plastic, slow, fast = PUBLISHED[mass]
    stress = (np.sqrt(yields) + np.sqrt(plastic * np.array(RATES))) ** 2
    found = casson(RATES[::-1], stress[::-1])
    assert (found.yield_pa, found.plastic_pa_s) == (pytest.approx(yields), pytest.approx(plastic))
    assert stress_at(RATES, stress) == pytest.approx(slow, abs=1e-4)
    assert viscosity_at(RATES[::-1], stress[::-1]) == pytest.approx(fast, abs=1e-4)
    # Between neighbours the root of a curve that fits is a straight line, so leaving 40 1/s out changes nothing.
    assert viscosity_at(np.delete(RATES, 5), np.delete(stress, 5)) == pytest.approx(fast, abs=1e-4)


def test_a_noisy_curve_is_fitted_as_statsmodels_fits_it() -> None:
    """Coefficients, residual spread and the p of a square term; the first four constructed as well."""
    rate = np.arange(5, 51, 5)
    found, made = casson(rate, NOISY), MADE["G4"]["reference 09 noisy"]
    x, y = np.sqrt(rate), np.sqrt(NOISY)
    line, bent = (sm.OLS(y, np.vander(x, size, increasing=True)).fit() for size in (2, 3))
    assert (found.intercept, found.slope) == (pytest.approx(line.params[0]), pytest.approx(line.params[1]))
    assert found.residual_sd == pytest.approx(np.sqrt(line.mse_resid))
    assert found.bend_p == pytest.approx(bent.pvalues[2])
    assert [found.intercept, found.slope, found.yield_pa, found.plastic_pa_s, found.residual_sd] == pytest.approx(
        [made[name] for name in ("a", "b", "yield_pa", "plastic", "s")], abs=1e-5
    )


def test_no_value_is_read_outside_the_rates_measured() -> None:
    """Neither below nor above, and the fit needs five points between 5 and 50 1/s; a line that meets 0 has no yield."""
    assert stress_at([10, 20], [30, 50], 5) is None
    assert viscosity_at([5, 30], [30, 90], 40) is None
    with pytest.raises(ValueError, match="five are needed"):
        casson([2, 5, 10, 20, 40], [10, 20, 30, 50, 80])
    assert casson([5, 10, 20, 30, 40], [1, 4, 12, 21, 31]).yield_pa == 0


def test_a_mass_that_builds_up_has_a_gap_between_its_branches() -> None:
    """By hand: 55 going up, 50 going down at 5 1/s are 10 % of the latter; values come from the way down."""
    curve = pd.DataFrame(
        [(5, 55, "up"), (40, 168, "up"), (5, 50, "down"), (40, 160, "down")], columns=["shear_rate", "stress", "branch"]
    )
    assert (gap(curve, 5), gap(curve, 40)) == (pytest.approx(10), pytest.approx(5))
    assert (read_off(curve, "stress"), read_off(curve, "viscosity")) == (pytest.approx(50), pytest.approx(4))
    assert read_off(curve, "stress at 40 1/s") == pytest.approx(160)
    assert read_off(curve, "moisture") is None
    assert gap(curve[curve["branch"] == "down"], 5) is None


def test_an_interval_over_portions_is_t_on_logs() -> None:
    """scipy's interval of a mean; one portion has none."""
    values = [11.2, 12.4, 12.9]
    low, high = stats.t.interval(0.9, 2, np.log(values).mean(), stats.sem(np.log(values)))
    found = over_portions(values)
    assert (found.low, found.high) == (pytest.approx(np.exp(low)), pytest.approx(np.exp(high)))
    assert found.estimate == pytest.approx(stats.gmean(values))
    assert over_portions([12.0]).low is None


@pytest.mark.simulation
def test_intervals_over_portions_hold_the_truth(draws: Callable[[int, int], int]) -> None:
    """90 % over three curves whose portions differ by 4 %."""
    rng, n = np.random.default_rng(3), draws(500, 20_000)
    read = 12 * np.exp(rng.normal(0, 0.04, (n, 3)))
    held = [over.low < 12 < over.high for over in map(over_portions, read) if over.low and over.high]
    assert np.mean(held) == pytest.approx(0.9, abs=3.5 * np.sqrt(0.09 / n))


# ---- surface ---------------------------------------------------------------------------------------------------------
def test_surface_by_hand() -> None:
    """6 / (density d): 150 and 18 um at 1500 kg/m3; shares .2, .3, .3, .2 at 5, 10, 20, 40 um have 360 m2/kg."""
    assert (surface(150, 1500), surface(18, 1500)) == (
        pytest.approx(26.6667, abs=1e-4),
        pytest.approx(222.2222, abs=1e-4),
    )
    size = sauter_mean([0.2, 0.3, 0.3, 0.2], [5, 10, 20, 40])
    assert (size, surface(size, 1500)) == (pytest.approx(11.11111, abs=1e-5), pytest.approx(360))


# ---- butter ----------------------------------------------------------------------------------------------------------
ADDED = np.repeat([0, 1, 2, 3, 4], 2).astype(float)


def ladder(rng: np.random.Generator, bend: float = 0.0, sd: float = 0.02, truth: float = 2.2) -> tuple[Array, Array]:
    """Viscosities of a ladder and of three portions of a conched mass worth `truth` per cent."""
    noise = rng.normal(0, sd, 13)
    curve = 1.6 - 0.105 * ADDED + bend * ADDED**2
    return np.exp(curve + noise[:10]), np.exp(1.6 - 0.105 * truth + bend * truth**2 + noise[10:])


def test_a_straight_ladder_has_the_interval_of_fieller() -> None:
    """Against the closed formula of Fieller (1954) for a straight line with repeats, from memory."""
    readings, conched = ladder(np.random.default_rng(1))
    y, y0, n, k = np.log(readings), np.log(conched), 10, 3
    line = stats.linregress(ADDED, y)
    rest = ((y - line.intercept - line.slope * ADDED) ** 2).sum() + ((y0 - y0.mean()) ** 2).sum()
    df = n - 2 + k - 1
    s, t, across = np.sqrt(rest / df), stats.t.ppf(0.95, df), ((ADDED - 2) ** 2).sum()
    g, c = t**2 * rest / df / (line.slope**2 * across), (y0.mean() - y.mean()) / line.slope
    reach = t * s / abs(line.slope) * np.sqrt((1 - g) * (1 / k + 1 / n) + c**2 / across)
    found = butter_worth(ADDED, readings, conched, degree=1)
    assert found.df == df
    assert found.estimate == pytest.approx(2 + c, abs=1e-6)
    assert (found.low, found.high) == (
        pytest.approx(2 + (c - reach) / (1 - g), abs=1e-5),
        pytest.approx(2 + (c + reach) / (1 - g), abs=1e-5),
    )


def test_a_ladder_known_by_its_line_alone_has_the_interval_worked_out() -> None:
    """Ten portions, three of the conched mass: any readings with that line and spread have that estimate and those ends,
    worked out by numpy code apart."""
    made = MADE["G4"]["butter ladder public"]
    straight = np.vander(ADDED, 2, increasing=True)
    rest = np.cos(np.arange(10.0) ** 2)
    rest -= straight @ np.linalg.lstsq(straight, rest, rcond=None)[0]
    rest *= made["s"] * np.sqrt(made["df"] / (rest**2).sum())
    line = made["intercept"] + made["slope"] * np.array([made["estimate"]])
    found = butter_worth(
        ADDED, np.exp(straight @ [made["intercept"], made["slope"]] + rest), np.exp(np.repeat(line, 3)), degree=1
    )
    assert found.df == made["df"]
    ends = [found.estimate, found.low, found.high]
    assert ends == pytest.approx([made["estimate"], made["low"], made["high"]], abs=2e-5)


def test_a_ladder_says_no_more_than_it_reaches() -> None:
    """Thinner than the whole ladder, thicker, flat, rising, too short."""
    rng = np.random.default_rng(2)
    thinner = butter_worth(ADDED, *ladder(rng, truth=7))
    assert (thinner.estimate, thinner.low, thinner.high) == (None, 4.0, None)
    thicker = butter_worth(ADDED, *ladder(rng, truth=-3))
    assert (thicker.low, thicker.high) == (None, 0.0)
    readings, conched = ladder(rng)
    assert butter_worth(-ADDED, readings, conched).why_not == "not falling"
    assert butter_worth(ADDED, *ladder(rng, sd=0.8)).why_not in ("flat", "not falling")
    assert butter_worth([0, 2], [5, 4], [4.5]).why_not == "too few readings"
    with pytest.raises(ValueError, match="above 0"):
        butter_worth(ADDED, readings, [0.0])


def test_the_curve_of_a_ladder_is_that_of_least_squares() -> None:
    """statsmodels' fit of second degree and its standard errors of the mean, widened to the spread of both masses."""
    readings, conched = ladder(np.random.default_rng(1))
    found = ladder_curve(ADDED, readings, conched)
    fit = sm.OLS(np.log(readings), np.vander(ADDED, 3)).fit()
    told = fit.get_prediction(np.vander(found[:, 0], 3))
    y0, df = np.log(conched), 10 - 3 + 3 - 1
    wider = np.sqrt((fit.ssr + ((y0 - y0.mean()) ** 2).sum()) / df / fit.mse_resid)
    reach = stats.t.ppf(0.95, df) * wider * told.se_mean
    np.testing.assert_allclose(found[:, 1], np.exp(told.predicted_mean), rtol=1e-9)
    np.testing.assert_allclose(found[:, 2:], np.exp(told.predicted_mean[:, None] + reach[:, None] * [-1, 1]), rtol=1e-9)
    assert len(ladder_curve([0, 2], [5, 4], [4.5])) == 0


@pytest.mark.simulation
@pytest.mark.parametrize("bend", [0.0, 0.01])
def test_butter_at_least_errs_as_said(bend: float, draws: Callable[[int, int], int]) -> None:
    """Either end misses the truth in 5 %, also where the ladder bends too little to be seen."""
    rng, n = np.random.default_rng(4), draws(300, 10_000)
    found = [butter_worth(ADDED, *ladder(rng, bend)) for _ in range(n)]
    missed = [(one.low or 0) > 2.2 for one in found], [(one.high or 4) < 2.2 for one in found]
    for side in missed:
        assert np.mean(side) == pytest.approx(0.05, abs=3.5 * np.sqrt(0.0475 / n))


# ---- limits ----------------------------------------------------------------------------------------------------------
@pytest.mark.parametrize("name", ["viscosity", "moisture", "moisture_u", "at_least"])
def test_limits_of_the_constructed_readings(name: str) -> None:
    """Mean, guard, answer of every pull, spread and its degrees of freedom."""
    made = MADE["G3"][name]
    bound = {"at_most" if made["at_most"] else "at_least": made["limit"]}
    gate = Gate(quantity="moisture", log=made["log"], uncertainty=made["u"], **bound)
    (found,) = judge_gates(table(made["readings"]), {"x": gate}, HOURS[: len(made["readings"])], 0.05)
    assert (found.sd, found.df, found.improving) == (pytest.approx(made["s"], abs=1e-6), made["df"], made["improving"])
    for pull, told in zip(found.pulls, made["pulls"], strict=True):
        assert (pull.mean, pull.guard) == (
            pytest.approx(told["mean"], abs=1e-5),
            pytest.approx(told["guard"], abs=1e-5),
        )
        assert pull.answer == told["answer"]


def test_more_repeats_settle_as_constructed() -> None:
    """Moisture of the fifth pull: mean .955 under 1.0, two repeats so far."""
    for more, chance in MADE["G3"]["more repeats of moisture at pull 4"].items():
        assert settling(-0.045, 0.0365148, 6, 2, int(more), 0.05) == pytest.approx(chance, abs=1e-5)


def test_why_a_pull_stays_open() -> None:
    """Not read, read once, read too little; nothing is put in between."""
    read = table([[1.6, 1.5, 1.6], [], [1.2], [0.5, 0.6], [0.4, 0.5, 0.4], [0.4, 0.3, 0.4]])
    gate = Gate(quantity="moisture", at_most=1.0, repeats=3)
    (found,) = judge_gates(read, {"dry": gate}, HOURS, 0.05)
    whys = [None, "not read", "too few repeats", "too few repeats", None, None]
    assert [pull.why for pull in found.pulls] == whys
    (single,) = judge_gates(read, {"dry": Gate(quantity="moisture", at_most=1.0)}, HOURS, 0.05)
    assert single.pulls[2].why == "single reading"
    sealed = Gate(quantity="moisture", at_most=1.0, sd=0.05, df=9)
    (known,) = judge_gates(table([[1.6], [0.9], [0.7], [0.7], [0.7], [0.7]]), {"dry": sealed}, HOURS, 0.05)
    # By hand: guard of one reading t(.95, 9) .05 = .0917, so .9 passes and .95 would not.
    assert known.pulls[1].guard == pytest.approx(stats.t.ppf(0.95, 9) * 0.05)
    assert [pull.answer for pull in known.pulls] == ["fails", "passes", "passes", "passes", "passes", "passes"]
    assert known.shortest_hours == 4
    (flat,) = judge_gates(table([[0.5, 0.5]] * 6), {"dry": Gate(quantity="moisture", at_most=1.0)}, HOURS, 0.05)
    assert {pull.why for pull in flat.pulls} == {"no spread"}
    (none,) = judge_gates(None, {"dry": gate}, HOURS, 0.05)
    assert {pull.why for pull in none.pulls} == {"not read"}


def test_until_and_monotone() -> None:
    """A limit is asked up to `until`; where nothing can get worse, a pull not read takes the next shorter answer."""
    turns = table([[6, 6.1], [5, 5.1], [3.6, 3.5], [3.4, 3.5], [3.5, 3.4], [4.6, 4.7]], "viscosity")
    asked = [Gate(quantity="viscosity", at_most=4.0, log=True, until=until) for until in (None, 16)]
    whole, part = (judge_gates(turns, {"thin": gate}, HOURS, 0.05)[0] for gate in asked)
    assert (whole.shortest_hours, whole.turns) == (None, True)
    assert (part.shortest_hours, part.turns) == (8, False)
    unread = table([[1.6, 1.5], [], [0.7, 0.8], [], [0.6, 0.7], [0.5, 0.5]])
    for monotone, answer in ((False, "open"), (True, "passes")):
        gate = Gate(quantity="moisture", at_most=1.0, monotone=monotone)
        (found,) = judge_gates(unread, {"dry": gate}, HOURS, 0.05)
        assert (found.pulls[3].answer, found.pulls[3].inferred) == (answer, monotone)
        assert found.pulls[1].answer == "open"  # the next shorter one fails


def test_a_curve_stands_for_a_portion_and_another_method_is_refused() -> None:
    """Three curves a pull are three repeats of viscosity at 40 1/s; batches share one spread."""
    rows = [
        (hour, rate, factor * (3 + 1.2 * np.sqrt(rate)) ** 2, "down", curve, batch)
        for batch, thinner in (("A", 1.0), ("B", 0.9))
        for hour, own in ((0, 2.0), (24, 1.0))
        for curve, factor in enumerate(own * thinner * np.array([0.98, 1.0, 1.03]))
        for rate in (5, 20, 40)
    ]
    curves = pd.DataFrame(rows, columns=["hours", "shear_rate", "stress", "branch", "curve", "batch"])
    gate = Gate(quantity="viscosity", unit="Pa.s", at_most=3.0, log=True, method="40 C, down")
    found = judge_gates(curves, {"thin": gate}, (0, 24), 0.05)
    assert [(one.batch, [pull.answer for pull in one.pulls]) for one in found] == [
        ("A", ["fails", "passes"]),
        ("B", ["fails", "passes"]),
    ]
    mean = stats.gmean([0.98, 1.0, 1.03]) * (3 + 1.2 * np.sqrt(40)) ** 2 / 40
    assert (found[0].pulls[1].mean, found[0].df) == (pytest.approx(mean), 8)
    with pytest.raises(ValueError, match="'up, cold' reads otherwise"):
        judge_gates(curves.assign(method="up, cold"), {"thin": gate}, (0, 24), 0.05)
    with pytest.raises(ValueError, match="cannot be read off flow curve 0 at 0 h"):
        judge_gates(curves[curves["shear_rate"] < 30], {"thin": gate}, (0, 24), 0.05)


@pytest.mark.parametrize(
    ("wrong", "says"),
    [
        ({}, "at_most"),
        ({"at_most": 1.0, "at_least": 2.0}, "at_most"),
        ({"at_most": -1.0, "log": True}, "log"),
        ({"at_most": 1.0, "sd": 0.1}, "sd and df"),
        ({"at_most": 1.0, "sd": 0.1, "df": 5}, "6 degrees"),
        ({"at_most": 1.0, "quantity": "viscosity", "monotone": True}, "rise again"),
        ({"at_most": 1.0, "quantity": "Casson yield"}, "stress or viscosity"),
        ({"at_most": float("nan")}, "finite"),
    ],
)
def test_impossible_limits_are_refused(wrong: dict[str, Any], says: str) -> None:
    """Each with the key to mend."""
    with pytest.raises(ValueError, match=f"gates.x.*{says}"):
        check_gates({"x": Gate(**{"quantity": "moisture", **wrong})})


# ---- risk, cell by cell ----------------------------------------------------------------------------------------------
def limits(
    truths: list[float], n: int, seed: int, repeats: int = 2, level: float = 0.05, own: float = 0.0, **gate: Any
) -> GateLimits:
    """What readings with spread 1 show of `n` series of pulls that many spreads above the limit, with an own deviation
    of the instrument for every series."""
    rng = np.random.default_rng(seed)
    limit = Gate(quantity="q", at_most=0.0, **gate)
    off = own * rng.normal(size=(n, 1, 1))
    values = np.array(truths)[:, None] + off + rng.normal(size=(n, len(truths), repeats))
    read = Repeats.of(values, np.full(len(truths), repeats))
    hours = np.arange(float(len(truths)))
    levels = GateLevels(level, np.full(len(truths), level), level)
    return answered(read, limit, Spread.of(limit, [read]), hours, levels)


def near(rate: float, share: float, n: int, slack: float = 0.005) -> bool:
    """Within two errors of drawing, and the half point of the tables."""
    return bool(abs(rate - share) < 2.5 * np.sqrt(share * (1 - share) / n) + slack)


@pytest.mark.simulation
def test_at_the_limit_one_in_twenty_passes(draws: Callable[[int, int], int]) -> None:
    """5 % by the pooled spread, for two, three and five repeats; 2 s inside 80 and 95 % pass, 1 s inside 35 and 49 %;
    the larger of pooled and own takes a little off each. A single reading with a spread from ten pairs: 5.1 %; an
    instrument off by s keeps 5 % once that is said. Figures of the plan: 40,000 series a cell."""
    n = draws(4000, 40_000)
    at = {r: limits([0.0, -9, -9, -9, -9, -9], n, r, r).passes[:, 0].mean() for r in (2, 3, 5)}
    assert all(0.03 < rate < 0.052 + 2.5 * np.sqrt(0.0475 / n) for rate in at.values()), at
    for inside, low, high in ((1, 0.25, 0.37), (2, 0.68, 0.82), (3, 0.93, 0.99)):
        rate = limits([-float(inside), -9, -9, -9, -9, -9], n, 11 + inside).passes[:, 0].mean()
        assert low < rate < high, (inside, rate)
    off = limits([0.0, -9, -9, -9, -9, -9], n, 20, own=1.0, uncertainty=1.0).passes[:, 0].mean()
    silent = limits([0.0, -9, -9, -9, -9, -9], n, 20, own=1.0).passes[:, 0].mean()
    assert off < 0.055 + 2.5 * np.sqrt(0.0475 / n)
    assert silent > 0.1  # 15 % and more where it is not said


@pytest.mark.simulation
def test_a_chain_of_limits_keeps_the_error(draws: Callable[[int, int], int]) -> None:
    """Five pulls at the limit: one of them passes in 22 % when taken alone, from the longest on in at most 5 %. A pull
    not read errs in 5 % by the next shorter one with all longer ones."""
    n = draws(4000, 40_000)
    five = limits([0.0] * 5, n, 5, level=0.05)
    assert five.passes.any(1).mean() > 0.15
    assert (five.own_shortest() < 5).mean() < 0.05 + 2.5 * np.sqrt(0.0475 / n)
    rng = np.random.default_rng(6)
    values = rng.normal(size=(n, 5, 2)) + np.array([0.0, 0, 0, -9, -9])[:, None]
    counts = np.array([2, 2, 0, 2, 2])
    values[:, 2] = np.nan
    gate = Gate(quantity="q", at_most=0.0, monotone=True)
    read = Repeats.of(values, counts)
    found = answered(read, gate, Spread.of(gate, [read]), np.arange(5.0), GateLevels(0.05, np.full(5, 0.05), 0.05))
    assert found.passes[:, 2].mean() < 0.05 + 2.5 * np.sqrt(0.0475 / n)


# ---- questions -------------------------------------------------------------------------------------------------------
def test_odd_values_are_asked_about() -> None:
    """A stress that falls with the rate, a moisture above 100 %; nothing of what is ordinary or not known."""
    (fall,) = odd_curve([5, 10, 20, 40], [28.0, 43.8, 16.9, 60.0])
    assert (fall.code, fall.at, fall.value, fall.other, fall.slower) == ("falls", 2, 16.9, 43.8, 10)
    assert odd_curve([40, 5, 20], [60.0, 28.0, 50.0]) == []
    assert [(one.code, one.at) for one in odd_values("moisture", [0.8, 101, 12])] == [("impossible", 1), ("unusual", 2)]
    assert odd_values("viscosity", [2.0]) == []
    assert odd_values("viscosity at 40 1/s", [0.0])[0].code == "impossible"
    assert odd_values("gloss", [-5]) == []
