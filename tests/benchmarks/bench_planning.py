"""What the planner says and what it costs: known outcomes, errors in adverse cells, time and memory beside drawing.

Run `python tests/benchmarks/bench_planning.py`, or with a number of studies a cell. One BLAS thread. The stated figures
come from separate simulations with 10,000 to 40,000 studies a cell, made when the rule was specified.
"""

from __future__ import annotations

import os

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import sys
import time
import tracemalloc
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np
from bench_rule_attacks import main as misled
from numpy.typing import NDArray
from scipy.optimize import brentq
from scipy.stats import norm

from analysis.design import blocks
from analysis.design.serving import serving_orders
from analysis.model.scores import Scores, cells_of
from analysis.planning.dealt_orders import dealt
from analysis.planning.operating_characteristics import operating_characteristics
from analysis.planning.simulation import AttributeTruth, Design, Scenario, draw, first_order
from analysis.stopping import AttributeRule, Rule
from analysis.stopping.alpha_spending import level
from analysis.stopping.verdicts import CANNOT, judge

Array = NDArray[np.float64]
HOURS = (0.0, 4.0, 8.0, 12.0, 16.0, 24.0)
LOWER = AttributeRule("lower", 1.0)
NAMES = ("acidity", "bitterness", "astringency", "smoke", "cacao", "nutty")
# Truly worse than the last by exactly the margin up to the pull that is watched.
MARGIN = np.array([4.5, 4.5, 4.5, 4.5, 3.5, 3.5])
WATCHED = 3
ROOM = 500


# ---- the five outcomes -----------------------------------------------------------------------------------------------
def outcomes(studies: int) -> None:
    """Every stated chance beside ours, and the largest difference in Monte Carlo errors of both."""
    slow = AttributeTruth(first_order(HOURS, 7, 3.5, 6))
    three = {
        "a": AttributeTruth(first_order(HOURS, 7, 3.5, 4)),
        "b": AttributeTruth(first_order(HOURS, 6, 4, 5)),
        "c": AttributeTruth(first_order(HOURS, 4, 1, 3), assessor=0.8, error=0.9),
    }
    piled = AttributeTruth((4, 2.5, 1.2, 0.5, 0.1, -0.3), interaction=0.7, rounded=True)
    late = AttributeTruth((7, 6, 5, 4.5, 3.5, 3.5), sitting=0.3)
    cases = [
        ("8 x 2, tau 6", {"a": slow}, Design(8, 2), 1, (0, 0.039, 0.181, 0.273, 0.037, 0.470)),
        ("12 x 3, tau 6", {"a": slow}, Design(12, 3), 1, (0, 0.075, 0.392, 0.311, 0.066, 0.156)),
        ("piled up at zero", {"a": piled}, Design(8, 2), 1, (0, 0.033, 0.248, 0.339, 0.017, 0.363)),
        ("three attributes", three, Design(10, 2), 1, (0.001, 0.077, 0.176, 0.238, 0.006, 0.502)),
        ("two looks", {"a": late}, Design(8, 2), 2, (0, 0, 0.019, 0.721, 0.028, 0.232)),
    ]
    print(f"{'outcome':18s} {'stop at 4, 8, 12, 16; conche longer; cannot tell':44s} {'stated':37s} largest z")
    for name, truths, design, looks, stated in cases:
        rule = Rule(dict.fromkeys(truths, LOWER), looks=looks, control=0.0)
        found = operating_characteristics(Scenario(HOURS, truths), rule, design, studies, 11)
        ours = [found.stop[h] for h in (4.0, 8.0, 12.0, 16.0)] + [found.conche_longer, found.cannot_tell]
        spread = [np.sqrt(max(p, 1e-3) * (1 - p) * (1 / studies + 1 / 40_000)) for p in stated]
        worst = max(abs(a - b) / s for a, b, s in zip(ours, stated, spread, strict=True))
        print(f"{name:18s} {_row(ours):44s} {_row(stated):37s} {worst:5.1f}   looks {found.mean_looks:.3f}")


def _row(chances: object) -> str:
    return " ".join(f"{100 * p:5.1f}" for p in chances)  # type: ignore[attr-defined]


# ---- errors in adverse cells -----------------------------------------------------------------------------------------
@dataclass(frozen=True, slots=True)
class Cell:
    """An adverse cell: what is stated (per cent, low and high), and how often the rule errs in so many studies."""

    name: str
    stated: tuple[float, float]
    errs: Callable[[np.random.Generator, int], float]


def noise(rng: np.random.Generator, n: int, a: int = 8, r: int = 2, spread: Array | None = None) -> Array:
    """(n, a, pulls, r): assessor 1, assessor:hours .5, error 1."""
    inner = 0.5 * rng.standard_normal((n, a, 6, 1)) + rng.standard_normal((n, a, 6, r))
    if spread is not None:
        inner = inner * spread[:, None]
    return np.asarray(rng.standard_normal((n, a, 1, 1)) + inner)


def passes(y: Array, at: float = 0.05, by_sitting: bool = False, sittings: int = 1) -> Array:
    """Whether each study passes the watched pull; y (n, a, pulls, servings), sitting by sitting."""
    table = y.reshape(*y.shape[:3], sittings, -1)
    judged = judge({"x": cells_of(Scores(table), by_sitting)}, {"x": LOWER}, at)
    return np.asarray(judged.attributes["x"].within_margin[:, WATCHED], float)


def _share(one: Callable[[np.random.Generator, int], Array]) -> Callable[[np.random.Generator, int], float]:
    """The mean over so many studies, in portions."""

    def errs(rng: np.random.Generator, studies: int) -> float:
        portions = [one(rng, min(ROOM, studies - start)) for start in range(0, studies, ROOM)]
        return float(np.concatenate(portions).mean())

    return errs


def level_pull(mean: Array) -> Array:
    """Means per pull as they stand in (n, a, pulls, r)."""
    return mean[None, None, :, None]


def stretched(sd: float) -> Callable[[np.random.Generator, int], Array]:
    """Assessors stretch the scale."""

    def one(rng: np.random.Generator, n: int) -> Array:
        gain = np.exp(sd * rng.standard_normal((n, 8, 1, 1)))
        return passes(gain * level_pull(MARGIN - 3.5) / np.exp(sd**2 / 2) + noise(rng, n))

    return one


def one_notices(a: int) -> Callable[[np.random.Generator, int], Array]:
    """One person in four notices the note at all, the others score zero; the mean is worse by the margin."""

    def one(rng: np.random.Generator, n: int) -> Array:
        notices = rng.random((n, a, 1, 1)) < 0.25
        own = 4 * level_pull(MARGIN - 3.5) + 0.5 + 0.5 * noise(rng, n, a)
        return passes(np.where(notices, np.clip(own, 0, 10), 0.0))

    return one


def at_random(rng: np.random.Generator, n: int) -> Array:
    """One of eight scores anything."""
    y = level_pull((MARGIN - 3.5) * 8 / 7 + 3.5) + noise(rng, n)
    y[:, 0] = rng.uniform(0, 10, y[:, 0].shape)
    return passes(y)


def recorded_at_zero(rng: np.random.Generator, n: int, r: int) -> Array:
    """Whole numbers piled up at zero, whose recorded means differ by the margin exactly."""
    sd = np.sqrt(1 + 0.25 + 1)

    def recorded(mean: float) -> float:
        return float(norm.sf((np.arange(1, 11) - 0.5 - mean) / sd).sum())

    high = float(brentq(lambda mean: recorded(mean) - recorded(0.0) - 1, 0, 5))
    return np.clip(np.round(level_pull(np.where(MARGIN > 4, high, 0.0)) + noise(rng, n, r=r)), 0, 10)


def piled_up(rng: np.random.Generator, n: int) -> Array:
    """A note that most people score zero."""
    return passes(recorded_at_zero(rng, n, 2))


def gaps(share: float) -> Callable[[np.random.Generator, int], Array]:
    """Scores missing at random."""

    def one(rng: np.random.Generator, n: int) -> Array:
        y = level_pull(MARGIN) + noise(rng, n)
        lost = rng.random(y.shape) < share
        lost[:, np.arange(8), np.arange(8) % 6] = False
        return passes(np.where(lost, np.nan, y))

    return one


def four_of_six(rng: np.random.Generator, n: int) -> Array:
    """Balanced blocks of four pulls, reference and control always, two sittings."""
    days = np.array(blocks.servings(6, 4, 8, 2, 1, (0, 5))).transpose(1, 2, 0)
    return passes(np.where(days > 0, level_pull(MARGIN) + noise(rng, n), np.nan))


def chosen_pulls(piled: bool) -> Callable[[np.random.Generator, int], Array]:
    """Two looks; the second sitting serves only what the first left open, reference and control. Whether the watched
    pull or an earlier one passes at either."""

    def one(rng: np.random.Generator, n: int) -> Array:
        y = recorded_at_zero(rng, n, 4) if piled else level_pull(MARGIN) + noise(rng, n, r=4)
        first = judge({"x": cells_of(Scores(y[..., None, :2]))}, {"x": LOWER}, level(0.05, 2))
        open_ = ~first.passes & ~first.fails
        open_[:, [0, 5]] = True
        y[..., 2:] = np.where(open_[:, None, :, None], y[..., 2:], np.nan)
        second = judge({"x": cells_of(Scores(y[..., None, :]))}, {"x": LOWER}, level(0.05, 2))
        again = first.verdict == CANNOT
        return np.asarray((first.shortest <= WATCHED) | again & (second.shortest <= WATCHED), float)

    return one


FIRST_THEN_TIRED = np.array([1.0, 0.0, -0.1, -0.2, -0.3, -0.4])


def in_order(kind: str) -> Callable[[np.random.Generator, int], Array]:
    """+1 on the first serving of a sitting, then tiring; eight assessors, two sittings."""

    def one(rng: np.random.Generator, n: int) -> Array:
        y = level_pull(MARGIN) + noise(rng, n)
        for sitting in (0, 1):
            place = _places(kind, rng, n)
            y[..., sitting] += FIRST_THEN_TIRED[place]
        return passes(y)

    return one


def _places(kind: str, rng: np.random.Generator, n: int) -> NDArray[np.intp]:
    """The position of each pull for each assessor (n, 8, 6)."""
    if kind == "balanced":
        orders = np.array([serving_orders(6, 8, 1, int(rng.integers(2**31))) for _ in range(n)])
        return np.argsort(orders, axis=2)
    if kind == "one order for all":
        return np.broadcast_to(np.argsort(rng.random((n, 1, 6)), axis=2), (n, 8, 6))
    place = np.argsort(rng.random((n, 8, 6)), axis=2)
    if kind == "reference first":
        rest = np.argsort(np.argsort(place[..., :5], axis=2), axis=2) + 1
        place = np.concatenate([rest, np.zeros((n, 8, 1), np.intp)], axis=2)
    return place


def trays(sd: float, third: bool) -> Callable[[np.random.Generator, int], Array]:
    """Two sittings of two servings; a tray prepared differently moves its pull for everybody."""

    def one(rng: np.random.Generator, n: int) -> Array:
        moved = np.repeat(sd * rng.standard_normal((n, 1, 6, 2)), 2, axis=3)
        return passes(level_pull(MARGIN) + noise(rng, n, r=4) + moved, by_sitting=third, sittings=2)

    return one


def simulated(adjust: tuple[str, ...] = (), looks: int = 1, **more: Any) -> Callable[[np.random.Generator, int], float]:
    """Through the planner itself: the watched pull is worse by the margin and the control far worse. `more`: `position`
    and `sitting` of the attribute, `dropout`, `missing`, `pattern` of the design."""
    own = {name: more.pop(name) for name in ("position", "sitting") if name in more}
    pattern = more.pop("pattern", None)
    truth = AttributeTruth((8.0, 7.0, 6.0, 4.5, 3.5, 3.5), **own)
    rule = Rule({"x": LOWER}, looks=looks, adjust=adjust, control=0.0)
    design = Design(8, 2 if pattern is None else 1, pattern=pattern)

    def errs(rng: np.random.Generator, studies: int) -> float:
        scenario = Scenario(HOURS, {"x": truth}, **more)
        return operating_characteristics(scenario, rule, design, studies, int(rng.integers(2**31))).too_early

    return errs


def spreading(low: float, high: float) -> Callable[[np.random.Generator, int], Array]:
    """The spread changes with the hours."""

    def one(rng: np.random.Generator, n: int) -> Array:
        return passes(level_pull(MARGIN) + noise(rng, n, spread=np.linspace(low, high, 6)))

    return one


def adverse() -> list[Cell]:
    """Every cell with its stated error; a largest error over panels is stated as 0 to that."""

    def plain(rng: np.random.Generator, n: int) -> Array:
        return passes(level_pull(MARGIN) + noise(rng, n))

    cells = [
        ("ordinary panel", (0, 3.9), plain),
        ("scale stretched, log sd .35", (0, 5.7), stretched(0.35)),
        ("scale stretched, log sd .6", (0, 8.1), stretched(0.6)),
        ("whole numbers piled up at zero", (0, 5.7), piled_up),
        ("one of eight at random", (0, 5.6), at_random),
        ("spread grows with hours", (0, 5.2), spreading(0.6, 1.6)),
        ("spread shrinks with hours", (0, 5.2), spreading(1.6, 0.6)),
        ("15 % missing", (0, 5.3), gaps(0.15)),
        ("25 % missing", (0, 5.3), gaps(0.25)),
        ("blocks, 4 of 6 pulls", (0, 5.3), four_of_six),
        ("one in four notices, 5 people", (0, 23.5), one_notices(5)),
        ("one in four notices, 8 people", (0, 12), one_notices(8)),
        ("next sitting chosen from the data", (0, 4), chosen_pulls(False)),
        ("the same, piled up at zero", (0, 4.7), chosen_pulls(True)),
        ("first serving: balanced orders", (2, 3), in_order("balanced")),
        ("first serving: orders at random", (3, 4), in_order("at random")),
        ("first serving: one order for all", (10, 20), in_order("one order for all")),
        ("first serving: reference first", (56, 98), in_order("reference first")),
        ("trays sd .15, two limits", (4, 5), trays(0.15, False)),
        ("trays sd .3, two limits", (6, 10), trays(0.3, False)),
        ("trays sd .5, two limits", (10, 14), trays(0.5, False)),
        ("trays sd .3, third limit", (3, 5), trays(0.3, True)),
        ("trays sd .5, third limit", (3, 5), trays(0.5, True)),
    ]
    tired = tuple(FIRST_THEN_TIRED)
    turns = np.array(blocks.servings(6, 4, 8, 1, 1, (0, 5))).transpose(1, 2, 0)
    whole = [
        ("planner: ordinary, two looks", (0, 3.9), simulated(looks=2)),
        ("planner: one in ten leaves, two looks", (0, 5.3), simulated(looks=2, dropout=0.1)),
        ("planner: three in ten leave, three looks", (0, 5.3), simulated(looks=3, dropout=0.3)),
        ("planner: places, dealt orders", (0, 3), simulated(position=tired)),
        ("planner: places taken out", (0, 5), simulated(("position",), position=tired)),
        ("planner: places taken out, 15 % missing", (0, 5.3), simulated(("position",), position=tired, missing=0.15)),
        ("planner: places, blocks of 4", (0, 5.3), simulated(position=tired, pattern=turns)),
        ("planner: the same, taken out", (0, 5.3), simulated(("position",), position=tired, pattern=turns)),
        ("planner: sittings taken out, two looks", (0, 5), simulated(("sitting",), looks=2, sitting=0.5)),
    ]
    return [Cell(name, stated, _share(one)) for name, stated, one in cells] + [Cell(*row) for row in whole]


def errors(studies: int) -> None:
    """The table of adverse cells; those of the planner judge whole studies, the others the limits of one pull."""
    print(f"\n{'error at a true worsening of one margin':40s} {'found %':>8s} {'+-':>5s} {'stated %':>10s}")
    for number, cell in enumerate(adverse()):
        found = cell.errs(np.random.default_rng(100 + number), studies)
        error = 100 * np.sqrt(max(found, 1e-3) * (1 - found) / studies)
        low, high = cell.stated
        said = f"at most {high:g}" if low == 0 else f"{low:g} to {high:g}"
        outside = max(low - 100 * found, 100 * found - high) / error
        print(
            f"{cell.name:40s} {100 * found:8.1f} {error:5.1f} {said:>12s}{f'   z {outside:.1f}' if outside > 2 else ''}"
        )


# ---- time and memory -------------------------------------------------------------------------------------------------
def costs(studies: int) -> None:
    """The rule on top of drawing, and the memory beside the result; six attributes, 12 people, 6 pulls, 3 servings.

    The rule is what `operating_characteristics` takes beyond drawing the same scores alone, by turns in one run. What a
    study costs depends on what is true of it, since one that cannot answer is spared the dearest limits: every row is
    drawn from several courses, and told as the median of all turns with the range. Since drawing is ours too, it stands
    beside as many bare normal numbers from numpy. Blocks are as a plan deals them, four pulls a sitting for three
    sittings, so that people score some pulls more often than others.
    """
    turns = np.array(blocks.servings(6, 4, 12, 3, 1, (0, 5))).transpose(1, 2, 0)
    kinds = [
        ("complete", Design(12, 3), 0.0, NAMES, (), 1, studies),
        ("complete, one attribute", Design(12, 3), 0.0, NAMES[:1], (), 1, studies),
        ("5 % missing", Design(12, 3), 0.05, NAMES, (), 1, studies // 4),
        ("5 % missing, one attribute", Design(12, 3), 0.05, NAMES[:1], (), 1, studies // 4),
        ("blocks, 4 of 6 pulls", Design(12, 1, first=3, pattern=turns), 0.0, NAMES, (), 1, studies // 4),
        ("place taken out, one attribute", Design(12, 3), 0.0, NAMES[:1], ("position",), 1, studies // 10),
        ("the same, 5 % missing", Design(12, 3), 0.05, NAMES[:1], ("position",), 1, studies // 10),
        ("sitting taken out, two looks", Design(12, 3), 0.0, NAMES[:1], ("sitting",), 2, studies // 10),
    ]
    print(f"\n{'s for 10,000 studies':31s} {'normals':>8s} {'drawing':>8s} {'rule':>8s} {'rule / drawing':>24s} memory")
    for name, design, missing, names, adjust, looks, n in kinds:
        served = dealt(design, len(HOURS), looks, 1) if adjust else design
        print(f"{name:31s} {_cost(_courses(names, missing, bool(adjust)), served, n, adjust, looks)}", flush=True)


# Time constants, hours: nearly every study stops early, most stop, hardly any can answer.
COURSES = (2.0, 6.0, 15.0)
ROUNDS = 3


def _courses(names: tuple[str, ...], missing: float, tiring: bool) -> list[Scenario]:
    """The same attributes changing fast, as usual and slowly."""
    place = {"position": tuple(FIRST_THEN_TIRED)} if tiring else {}
    truths = (AttributeTruth(first_order(HOURS, 7.0, 3.5, tau), **place) for tau in COURSES)
    return [Scenario(HOURS, dict.fromkeys(names, truth), missing=missing) for truth in truths]


def _cost(scenarios: list[Scenario], design: Design, n: int, adjust: tuple[str, ...], looks: int) -> str:
    """Turns of bare normals, drawing alone, and drawing and judging, over the scenarios."""
    rule = Rule(dict.fromkeys(scenarios[0].attributes, LOWER), control=0.0, adjust=adjust, looks=looks)
    served = design.assessors * len(HOURS) * design.sittings(looks) * design.replicates
    size = (ROOM, served * len(scenarios[0].attributes))
    found = []
    for seed, scenario in enumerate(scenarios * ROUNDS):
        rng = np.random.default_rng(seed)
        bare = _seconds(lambda rng=rng: [rng.standard_normal(size) for _start in range(0, n, ROOM)])
        drawn = _seconds(lambda scenario=scenario: _draw_all(scenario, design, looks, n))
        both = _seconds(lambda scenario=scenario: operating_characteristics(scenario, rule, design, n))
        found.append((bare, drawn, both - drawn, both / drawn - 1))
    bare, drawn, judged, ratio = np.median(found, axis=0)
    each, (low, *_, high) = 1e4 / n, np.sort([row[3] for row in found])
    peak = max(_peak(lambda s=s: operating_characteristics(s, rule, design, 1000)) for s in scenarios)
    spread = f"{ratio:.2f} ({low:.2f} to {high:.2f})"
    return f"{bare * each:8.2f} {drawn * each:8.2f} {judged * each:8.2f} {spread:>24s} {peak:3.0f} MB"


def _draw_all(scenario: Scenario, design: Design, sittings: int, studies: int) -> None:
    rng = np.random.default_rng(1)
    for _start in range(0, studies, ROOM):
        draw(scenario, design, sittings, ROOM, rng)


def _seconds(work: Callable[[], object]) -> float:
    """Processor time of one call."""
    start = time.process_time()
    work()
    return time.process_time() - start


def _peak(work: Callable[[], object]) -> float:
    """Most memory held at once during a call, MB."""
    tracemalloc.start()
    work()
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    return peak / 2**20


def main() -> None:
    """Print the tables."""
    studies = int(sys.argv[1]) if len(sys.argv) > 1 else 10_000
    outcomes(studies)
    errors(studies)
    misled(min(studies, 4000))
    costs(studies)


if __name__ == "__main__":
    main()
