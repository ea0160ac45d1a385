"""Risks and chances of limits of instruments, cell by cell, by the project and by numpy written apart.

The unit is the spread of repeats, the limit lies at 0 and up is worse; six pulls are read. Many of these chances were
told with a spread pooled over pulls; the rule has since taken the pull's own where that is larger, which passes less.
So the rule apart is held against what was told either way, and the project against the rule apart, series by series.
"""

from __future__ import annotations

import numpy as np
import pytest
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
    over_portions,
    settling,
)
from tests.analysis.apart import Array, Flags
from tests.analysis.cells import Cell, Draws, hold, some

KNOWN = 40_000
SCALE = Gate(quantity="q", at_most=0.0)


def readings(truths: tuple[float, ...], repeats: int, series: int, seed: int = 1) -> Array:
    """(series, pulls, repeats) with spread 1."""
    rng = np.random.default_rng([seed, repeats])
    return np.asarray(np.array(truths)[:, None] + rng.standard_normal((series, len(truths), repeats)))


def first(truth: float) -> tuple[float, ...]:
    """The first of six pulls is in question."""
    return (truth, *(-9.0,) * 5)


def passing_apart(values: Array, own: bool = True, at: float = 0.05, u: float = 0.0) -> Flags:
    """Whether each pull passes: a spread pooled over pulls, or the pull's own where that is larger; degrees of freedom
    by Satterthwaite where the instrument's own u is beside it."""
    r = values.shape[2]
    squares = ((values - values.mean(2, keepdims=True)) ** 2).sum(2)
    df = values.shape[1] * (r - 1)
    variance = squares.sum(1, keepdims=True) / df
    if own:
        variance = np.maximum(variance, squares / (r - 1))
    total = variance / r + u**2
    return np.asarray(values.mean(2) + stats.t.isf(at, total**2 / ((variance / r) ** 2 / df)) * np.sqrt(total) < 0)


def by_the_project(values: Array, gate: Gate = SCALE, counts: tuple[int, ...] | None = None) -> GateLimits:
    """What the project shows of the same readings."""
    pulls = values.shape[1]
    read = Repeats.of(values, np.array(counts or (values.shape[2],) * pulls))
    levels = GateLevels(0.05, np.full(pulls, 0.05 / pulls), 0.05)
    return answered(read, gate, Spread.of(gate, [read]), np.arange(float(pulls)), levels)


@pytest.mark.parametrize("u", [0.0, 0.5])
def test_guards_written_apart_are_the_projects(u: float) -> None:
    """Series by series, with and without an uncertainty of the instrument."""
    values = readings((0.0, -1.0, -2.0, -1.0, -3.0), 3, 500)
    gate = Gate(quantity="q", at_most=0.0, uncertainty=u)
    assert (by_the_project(values, gate).passes == passing_apart(values, u=u)).all()


# ---- risk ------------------------------------------------------------------------------------------------------------
@pytest.mark.simulation
@pytest.mark.parametrize(("repeats", "one_portion"), [(2, "15"), (3, "19"), (5, "24")])
def test_risk_at_the_limit(repeats: int, one_portion: str, draws: Draws) -> None:
    """4.8-5.2 % pooled, no more with the pull's own; repeats of one portion, or an instrument off by one spread, pass
    so much more often, and 4.9-5.3 % once the uncertainty says so."""
    n = draws(2000, KNOWN)
    values = readings(first(0.0), repeats, n)
    off = values + np.random.default_rng(2).standard_normal((n, 6, 1))
    told = {
        "4.8-5.2": passing_apart(values, own=False),
        "0-5.2": by_the_project(values).passes,
        one_portion: passing_apart(off, own=False),
        "4.9-5.3": passing_apart(off, own=False, u=1.0),
        "0-5.3": by_the_project(off, Gate(quantity="q", at_most=0.0, uncertainty=1.0)).passes,
    }
    hold([Cell(f"{repeats} repeats, {told}", told, float(p[:, 0].mean()), n, KNOWN) for told, p in told.items()])


@pytest.mark.simulation
def test_risk_of_a_single_reading_and_of_any_true_value(draws: Draws) -> None:
    """A spread sealed from ten pairs: 5.1 % at the limit. True values anywhere within five spreads of it: of what is
    accepted .3-.4 % breaks it, without a guard 4.7-5.6 %."""
    n = draws(2000, KNOWN)
    rng = np.random.default_rng(3)
    sealed = np.sqrt(rng.chisquare(10, n) / 10)
    gate = Gate(quantity="q", at_most=0.0, sd=1.0, df=10)
    cells = []
    for inside, told in ((0.0, "5.1"), (1.0, "24"), (2.0, "58"), (3.0, "87"), (4.0, "98")):
        read = Repeats.of(readings(first(-inside), 1, n, 4), np.ones(6, int))
        found = answered(read, gate, Spread(sealed, 10.0), np.arange(6.0), GateLevels(0.05, np.full(6, 0.05), 0.05))
        cells.append(Cell(f"single, {inside:g} inside", told, float(found.passes[:, 0].mean()), n, KNOWN))
    truth = rng.uniform(-5, 5, n)
    values = readings(first(0.0), 2, n, 5) + (np.arange(6) == 0)[:, None] * truth[:, None, None]
    for name, told, taken in (
        ("pooled", "0.3-0.4", passing_apart(values, own=False)[:, 0]),
        ("the project", "0-0.4", by_the_project(values).passes[:, 0]),
        ("no guard", "4.7-5.6", values[:, 0].mean(1) < 0),
    ):
        cells.append(
            Cell(f"accepted that break, {name}", told, float((truth[taken] > 0).mean()), int(taken.sum()), KNOWN // 2)
        )
    hold(cells)


@pytest.mark.simulation
def test_one_pull_noisier_than_the_others(draws: Draws) -> None:
    """By two and three spreads: 10-20 % pooled, 7-10 % by the larger of pooled and own, which is told beside it."""
    n, cells = draws(2000, KNOWN), []
    for repeats, more in some([(2, 2), (3, 2), (3, 3), (5, 2), (5, 3)], draws):
        values = readings(first(0.0), repeats, n)
        values[:, 0] *= more
        cells.append(
            Cell(f"pooled, {repeats}, {more}", "10-20", float(passing_apart(values, own=False)[:, 0].mean()), n)
        )
        cells.append(Cell(f"ours, {repeats}, {more}", "7-10", float(by_the_project(values).passes[:, 0].mean()), n))
    hold(cells)


# ---- power -----------------------------------------------------------------------------------------------------------
# Repeats: per cent that pass 1, 2, 3, 4 spreads inside, pooled and by the pull's own spread alone.
INSIDE = {2: ("35 80 98 100", "18 34 49 62"), 3: ("49 95 100 100", "32 71 93 99")}


@pytest.mark.simulation
@pytest.mark.parametrize("repeats", INSIDE)
def test_passing_inside_the_limit(repeats: int, draws: Draws) -> None:
    """As told by the rule apart; the project, by the larger of both, lies between the two and costs at most 10
    points."""
    n, cells = draws(1500, KNOWN), []
    for inside, pooled, own in zip((1.0, 2.0, 3.0, 4.0), *(row.split() for row in INSIDE[repeats]), strict=True):
        values = readings(first(-inside), repeats, n)
        whole, alone = passing_apart(values, own=False)[:, 0].mean(), passing_apart(values[:, :1])[:, 0].mean()
        cells += [Cell(f"pooled, {inside:g}", pooled, float(whole), n, KNOWN)]
        cells += [Cell(f"own, {inside:g}", own, float(alone), n, KNOWN)]
        assert whole - 0.1 < by_the_project(values).passes[:, 0].mean() <= whole
    hold(cells)


# ---- chains, readings that are missing -------------------------------------------------------------------------------
@pytest.mark.simulation
def test_a_chain_of_pulls_at_the_limit(draws: Draws) -> None:
    """Five pulls: some passes in 22 % when taken alone, pooled over five repeats; in a chain at most 5 %."""
    n = draws(2000, KNOWN)
    values = readings((0.0,) * 5, 5, n)
    chain = by_the_project(values).own_shortest() < 5
    hold([Cell("any", "22", float(passing_apart(values, own=False).any(1).mean()), n, KNOWN),
          Cell("chain", "0-5", float(chain.mean()), n, KNOWN)])  # fmt: skip


@pytest.mark.simulation
def test_a_pull_not_read(draws: Draws) -> None:
    """Third of five, none read there, where nothing gets worse with hours: the next shorter pull with all longer ones
    at most 5 %; "any shorter one passes" would give 18."""
    n = draws(2000, KNOWN)
    values = readings((0.0, 0.0, 0.0, -9.0, -9.0), 5, n)
    shorter = passing_apart(values[:, [0, 1, 3, 4]], own=False)[:, :2]
    several = readings((0.0,) * 4 + (-9.0,), 5, n, 2)
    values[:, 2] = np.nan
    gate = Gate(quantity="q", at_most=0.0, monotone=True)
    found = by_the_project(values, gate, (5, 5, 0, 5, 5))
    assert found.inferred[:, 2].any()
    any_of_four = passing_apart(several, own=False)[:, :4].any(1)
    cells = [
        ("next shorter", "0-5.0", found.passes[:, 2]),
        ("next shorter, pooled", "5.0", shorter[:, 1]),
        ("any of four", "18", any_of_four),
    ]
    hold([Cell(name, told, float(passed.mean()), n, KNOWN) for name, told, passed in cells])


# ---- more repeats ----------------------------------------------------------------------------------------------------
def passes_at_some_try(tries: int, at: float, series: int, own: bool) -> float:
    """One more portion of a pull at its limit at every try, two at first and two of each of five other pulls."""
    values, hit = readings(first(0.0), 2 + tries, series, tries), np.zeros(series, bool)
    elsewhere = values[:, 1:, :2].var(2, ddof=1).sum(1)
    for r in range(2, 2 + tries):
        mine = values[:, 0, :r]
        variance = ((r - 1) * mine.var(1, ddof=1) + elsewhere) / (r + 4)
        if own:
            variance = np.maximum(variance, mine.var(1, ddof=1))
        hit |= mine.mean(1) + stats.t.isf(at, r + 4) * np.sqrt(variance / r) < 0
    return float(hit.mean())


@pytest.mark.simulation
def test_more_repeats_are_a_look(draws: Draws) -> None:
    """At the full level three tries give 9.4 %, ten 15.5; at the level of three looks 4.6."""
    n = draws(2000, KNOWN)
    hold([Cell(f"{tries} tries at {at}", told, passes_at_some_try(tries, at, n, own=False), n, KNOWN)
          for tries, at, told in ((3, 0.05, "9.4"), (10, 0.05, "15.5"), (3, 0.0232, "4.6"))])  # fmt: skip
    assert passes_at_some_try(3, 0.0232, n, own=True) < 0.05


@pytest.mark.simulation
def test_what_is_told_of_more_repeats_comes(draws: Draws) -> None:
    """Truths anywhere, two repeats, open; two more: told about 30, 50, 70 %, came 31, 53, 72 of a pooled spread. The
    larger of pooled and own passes a little less often."""
    n = draws(40_000, 400_000)
    rng = np.random.default_rng(8)
    truth = rng.uniform(-6, 4, n)
    values = readings(first(0.0), 4, n, 9) + (np.arange(6) == 0)[:, None] * truth[:, None, None]
    elsewhere = values[:, 1:, :2].var(2, ddof=1).sum(1)
    sd = np.sqrt((values[:, 0, :2].var(1, ddof=1) + elsewhere) / 6)
    excess = values[:, 0, :2].mean(1)
    open_ = (excess < 0) & (excess > -4) & (excess + stats.t.isf(0.05, 6) * sd / np.sqrt(2) >= 0)
    at = np.flatnonzero(open_)[: n // 20]
    told = np.array([settling(excess[i], sd[i], 6, 2, 2, 0.05) for i in at])
    after = np.sqrt((3 * values[at, 0].var(1, ddof=1) + elsewhere[at]) / 8)
    came = values[at, 0].mean(1) + stats.t.isf(0.05, 8) * after / 2 < 0
    cells = []
    for middle, due in ((0.3, "31"), (0.5, "53"), (0.7, "72")):
        near = np.abs(told - middle) < 0.05
        cells.append(Cell(f"told {middle}", due, float(came[near].mean()), int(near.sum()), 4000))
    hold(cells)


# ---- curves and butter -----------------------------------------------------------------------------------------------
RATES = np.arange(5.0, 51, 5)


@pytest.mark.simulation
@pytest.mark.parametrize(("sd", "told"), [(0.02, "25"), (0.04, "13")])
def test_one_curve_does_not_know_its_portion(sd: float, told: str, draws: Draws) -> None:
    """A Casson mass, points 1 % off, portions by `sd`: 90 % limits of the viscosity at 40 1/s from the residuals of one
    curve hold the truth so often; over three curves of fresh portions in 90 %."""
    n, rng = draws(200, 4000), np.random.default_rng(6)
    root = 3.4 + 1.55 * np.sqrt(RATES)
    portion = np.exp(rng.normal(0, sd, (n, 3)))
    x, at = np.column_stack([np.ones(10), np.sqrt(RATES)]), np.array([1.0, np.sqrt(40)])
    stress = root**2 * portion[:, :1] * np.exp(rng.normal(0, 0.01, (n, 10)))
    fits = [casson(RATES, own) for own in stress]
    reach = stats.t.isf(0.05, 8) * np.sqrt(at @ np.linalg.inv(x.T @ x) @ at)
    one = [abs(fit.intercept + fit.slope * at[1] - at @ [3.4, 1.55]) < reach * fit.residual_sd for fit in fits]
    every = [over_portions(list(own)) for own in portion]
    three = [found.low is not None and found.high is not None and found.low < 1 < found.high for found in every]
    hold([Cell("one curve", told, float(np.mean(one)), n), Cell("three", "90", float(np.mean(three)), n)])


ADDED = np.repeat([0.0, 1.0, 2.0, 3.0, 4.0], 2)


def ladder(n: int, cv: float, seed: int, bend: float = 0.0, day: float = 0.0) -> tuple[Array, Array]:
    """Log viscosities of a ladder (n, 10) and of three portions (n, 3) worth 2.2 %, perhaps read on another day."""
    rng = np.random.default_rng([seed, int(1000 * cv)])
    steps = 1.6 - 0.105 * ADDED + bend * ADDED**2 + rng.normal(0, cv, (n, 10))
    truth = 1.6 - 0.105 * 2.2 + bend * 2.2**2
    return np.asarray(steps), np.asarray(truth + rng.normal(0, cv, (n, 3)) + rng.normal(0, day, (n, 1)))


def ends(steps: Array, conched: Array, degree: int) -> tuple[Array, Array]:
    """Both ends of each interval, the ladder's own where it reaches beyond."""
    found = [butter_worth(ADDED, np.exp(y), np.exp(own), degree=degree) for y, own in zip(steps, conched, strict=True)]
    low = np.array([0.0 if one.low is None else one.low for one in found])
    return low, np.array([4.0 if one.high is None else one.high for one in found])


@pytest.mark.simulation
@pytest.mark.parametrize(("cv", "wide"), [(0.02, 0.4), (0.04, 0.9), (0.08, 1.9)])
def test_butter_by_a_straight_ladder(cv: float, wide: float, draws: Draws) -> None:
    """Coverage 89.5-90.3 % and width as told; a ladder of another day, off by 4 %, holds the truth in 68."""
    n = draws(100, 4000)
    low, high = ends(*ladder(n, cv, 1), degree=1)
    cells = [Cell("coverage", "89.5-90.3", float(((low < 2.2) & (high > 2.2)).mean()), n)]
    assert np.median(high - low) == pytest.approx(wide, abs=0.07)
    if cv == 0.04:
        low, high = ends(*ladder(n, cv, 2, day=0.04), degree=1)
        cells.append(Cell("another day", "68", float(((low < 2.2) & (high > 2.2)).mean()), n))
    hold(cells)


@pytest.mark.simulation
@pytest.mark.parametrize("bend", [0.0, 0.01, 0.02])
def test_butter_by_a_curved_ladder(bend: float, draws: Draws) -> None:
    """Each end misses in 5 %, however the ladder bends; where it is straight the interval is .52 wide for .46."""
    n = draws(100, 4000)
    low, high = ends(*ladder(n, 0.02, 3, bend), degree=2)
    hold([Cell("at least", "5", float((low > 2.2).mean()), n), Cell("at most", "5", float((high < 2.2).mean()), n)])
    if bend == 0:
        assert np.mean(high - low) == pytest.approx(0.52, abs=0.04)
