"""The price of an answer: what more sittings would probably settle, by the whole rule at the level of the next looks.

Truths are drawn that the scores leave likely (`likely_truths`), new sittings from these within the palate
(`next_sittings`), and the rule judges them. Over many truths, of studies told "40 %" about 40 % settle
(`tests/benchmarks/bench_price.py`); for one truth it may err, so it is printed as "at least about".
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from analysis import orders, panels
from analysis.adjusted import adjusted, cells_in_force
from analysis.cells import BySitting, Cells, pooled
from analysis.decision import Offer
from analysis.likely_truths import Truths, draw_truths
from analysis.limits import Fitted, fitted
from analysis.many_studies import answers
from analysis.next_sittings import Course, Service, anew, share_missing, ways_on
from analysis.rule import Rule, check_rule
from analysis.verdicts import CANNOT, VERDICTS, Judged, judge

Array = NDArray[np.float64]
CHUNK = 250


@dataclass(frozen=True, slots=True)
class _Asked:
    """A study to price: its fits, by name so that the order of a rule changes no draw, whom of the panel each attribute
    was scored by, and how draws are made."""

    panel: panels.Panel
    rule: Rule
    level: float
    fits: Mapping[str, Fitted]
    people: Mapping[str, NDArray[np.intp]]
    missing: float
    draws: int
    seed: int

    @property
    def trays(self) -> bool:
        """Whether the rule reckons with trays that shift a sitting."""
        return "sitting:hours" in self.rule.adjust


def offers(scores: pd.DataFrame, rule: Rule, draws: int, seed: int, sealed: Service | None) -> tuple[Offer, ...]:
    """What could be served before the next look, and up to the last one. See `stopping.price`."""
    if rule.look >= rule.looks:
        return ()
    return _priced(scores, rule, draws, seed, lambda panel, now: ways_on(panel, now, rule, sealed))


def new_studies(scores: pd.DataFrame, rule: Rule, draws: int, seed: int) -> tuple[Offer, ...]:
    """The same study anew, and with twice the sittings. See `stopping.price_new_study`."""
    return _priced(scores, rule, draws, seed, lambda panel, _now: anew(panel))


def _priced(
    scores: pd.DataFrame,
    rule: Rule,
    draws: int,
    seed: int,
    courses: Callable[[panels.Panel, Judged], list[Course]],
) -> tuple[Offer, ...]:
    """Offers after `cannot tell`, none after an answer or where orders stand in the way of one.

    Raises:
        ValueError: draws below 1, or as `decide`.
    """
    if draws < 1:
        raise ValueError(f"draws must be 1 or more, got {draws}")
    level = check_rule(rule)
    panel = panels.read(scores, rule)
    cells = cells_in_force(panel, rule)
    now = judge(cells, rule.attributes, level, panel.control, adjusted(panel, rule, cells))
    if now.verdict[0] != CANNOT or orders.forbid(panel, rule):
        return ()
    asked = _Asked(
        panel,
        rule,
        level,
        {name: fitted(cells[name]) for name in sorted(cells)},
        _people(panel),
        share_missing(panel),
        draws,
        seed,
    )
    return tuple(_offer(asked, course) for course in courses(panel, now))


def _so_far(cells: Cells) -> BySitting:
    """The sittings so far; as one where it does not matter which was which."""
    if cells.sittings is not None:
        return cells.sittings
    return BySitting(cells.counts[..., None], cells.sums[..., None], cells.within[:, None])


def _people(panel: panels.Panel) -> dict[str, NDArray[np.intp]]:
    """Places in the panel of the assessors who scored each attribute."""
    return {name: np.unique(panel.rows(name)["person"]) for name in panel.cells}


def _offer(asked: _Asked, course: Course) -> Offer:
    """Chances of each verdict when `course` is served."""
    rng = np.random.default_rng(asked.seed)
    counts, sittings = np.zeros(len(VERDICTS)), 0.0
    for start in range(0, asked.draws, CHUNK):
        verdict, used = _ends(asked, course, min(CHUNK, asked.draws - start), rng)
        counts += np.bincount(verdict, minlength=len(VERDICTS))
        sittings += used.sum()
    chances = counts / asked.draws
    settles = round(float(1 - chances[CANNOT]), 12)
    return Offer(
        name=course.name,
        pulls=tuple(asked.panel.hours[course.pulls].tolist()),
        looks=len(course.looks),
        sittings=course.sittings,
        mean_sittings=float(sittings / asked.draws),
        replicates=max(int(served.max()) for served in course.looks),
        pieces=course.pieces,
        palates=course.sittings * asked.panel.scope["assessors"],
        servings=sum(int(served.sum()) for served in course.looks),
        chances=dict(zip(VERDICTS, chances.tolist(), strict=True)),
        settles=settles,
        monte_carlo_se=float(np.sqrt(settles * (1 - settles) / asked.draws)),
    )


def _ends(asked: _Asked, course: Course, size: int, rng: np.random.Generator) -> tuple[NDArray[np.intp], Array]:
    """Verdict and sittings used (size,) of drawn studies: the first answer ends each."""
    anew = course.name == "new study"
    hours = asked.panel.hours
    truths = {name: draw_truths(fit, hours, asked.trays, size, rng) for name, fit in asked.fits.items()}
    state = {name: _empty(fit.cells) if anew else _so_far(fit.cells) for name, fit in asked.fits.items()}
    verdict, used = np.full(size, CANNOT), np.zeros(size)
    for served in course.looks:
        used += (verdict == CANNOT) * len(served)
        for name, truth in truths.items():
            for servings in served[:, asked.people[name]]:
                state[name] = _joined(state[name], _thinned(servings, asked.missing, rng), truth, rng)
        open_ = np.flatnonzero(verdict == CANNOT)
        left = {name: _cells(asked.fits[name].cells, own.rows(open_)) for name, own in state.items()}
        verdict[open_] = answers(left, asked.rule.attributes, asked.level, asked.panel.control)[0]
    return verdict, used


# ---- new sittings ----------------------------------------------------------------------------------------------------
def _empty(cells: Cells) -> BySitting:
    """The same people and pulls before any score."""
    nothing = np.zeros((1, *cells.sums.shape[1:], 0))
    return BySitting(nothing, nothing, np.zeros((1, 0)))


def _cells(like: Cells, sittings: BySitting) -> Cells:
    """The cells of all sittings, judged as those of `like`."""
    return pooled(sittings, like.step, like.trays, like.top)


def _thinned(servings: NDArray[np.intp], missing: float, rng: np.random.Generator) -> Array:
    """Scores that come in (a, h) when as many are missing as so far; every person and every pull keeps some."""
    if missing == 0:
        return servings.astype(float)
    came = rng.binomial(servings, 1 - missing)
    lost = ((came.sum(1, keepdims=True) == 0) | (came.sum(0) == 0)) & (came == 0)
    return np.where(lost, servings, came).astype(float)


def _joined(so_far: BySitting, servings: Array, truth: Truths, rng: np.random.Generator) -> BySitting:
    """The scores so far with one drawn sitting of `servings` (a, h) added, for every truth."""
    size = len(truth.cells)
    served = servings > 0
    tray = rng.standard_normal((size, 1, servings.shape[1])) * np.sqrt(truth.tray)[:, None, None]
    noise = np.sqrt(truth.residual[:, None, None] / np.maximum(servings, 1)) * rng.standard_normal(truth.cells.shape)
    fresh = np.where(served, truth.cells + tray + noise, 0.0)
    repeats = float(servings.sum() - served.sum())
    within = truth.residual * (rng.chisquare(repeats, size) if repeats else 0.0)

    def added(old: Array, new: Array) -> Array:
        return np.concatenate([np.broadcast_to(old, (len(new), *old.shape[1:])), new[..., None]], -1)

    return BySitting(
        added(so_far.counts, servings[None]), added(so_far.sums, servings * fresh), added(so_far.within, within)
    )
