"""How a study may end when more is served: truths that its scores leave likely, new sittings from these, and the rule.

Shapes: B drawn studies, a assessors, h pulls, S sittings.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from analysis.model.cells import BySitting, Cells, pooled
from analysis.planning.likely_truths import Truths, draw_truths
from analysis.planning.many_studies import answers
from analysis.planning.pooled_spreads import Strata
from analysis.stopping.fates import Bars
from analysis.stopping.gates import Gating
from analysis.stopping.rule import AttributeRule
from analysis.stopping.standard_errors import Fitted
from analysis.stopping.verdicts import CANNOT

Array = NDArray[np.float64]
Codes = NDArray[np.intp]
CHUNK = 400


@dataclass(frozen=True, slots=True, eq=False)
class Undecided:
    """A study that ended a look in `cannot tell`.

    Attributes:
        fits: of each deciding attribute, by name so that the order of a rule changes no draw.
        wishes: what is wanted of each.
        hours: of the pulls (h,).
        level: of the next looks.
        control: place of the control pull.
        people: places among all assessors of those who scored an attribute; none named: everybody.
        trays: whether the rule reckons with trays that shift a sitting.
        missing: share of scores that never came.
        earlier: sums of squares of the panel's other studies, of the attributes that have any.
        bars: what may not be said, since sealed pulls are missing.
        gating: limits of instruments as they were read.
    """

    fits: Mapping[str, Fitted]
    wishes: Mapping[str, AttributeRule]
    hours: Array
    level: float
    control: int = 0
    people: Mapping[str, Codes] = field(default_factory=dict)
    trays: bool = False
    missing: float = 0.0
    earlier: Mapping[str, Strata] = field(default_factory=dict)
    bars: Bars | None = None
    gating: Gating | None = None


def ends(
    study: Undecided, looks: Sequence[Codes], draws: int, seed: int, anew: bool, more: int = 0
) -> tuple[Codes, Array]:
    """Verdict and sittings used (draws,) when `looks` are served: the first answer ends a study.

    Args:
        study: what was scored so far.
        looks: for each look, servings (sittings, assessors, h).
        draws: how many ends.
        seed: of the draws.
        anew: whether the scores so far do not count again; only pulls that are served are judged then.
        more: how many of the assessors served, the last ones, have not tasted so far.
    """
    rng = np.random.default_rng(seed)
    parts = [_part(study, looks, size, rng, anew, more) for size in _sizes(draws)]
    verdict, used = zip(*parts, strict=True)
    return np.concatenate(verdict), np.concatenate(used)


def _sizes(draws: int) -> Iterator[int]:
    for start in range(0, draws, CHUNK):
        yield min(CHUNK, draws - start)


def _part(
    study: Undecided, looks: Sequence[Codes], size: int, rng: np.random.Generator, anew: bool, more: int
) -> tuple[Codes, Array]:
    """As `ends`."""
    fits, a = study.fits, looks[0].shape[1] - more
    pulls = np.flatnonzero(np.concatenate(looks).any((0, 1))) if anew else np.arange(len(study.hours))
    truths = {name: _truth(study, name, size, more, rng).at(pulls) for name in fits}
    state = {name: _empty(truths[name]) if anew else so_far(fit.cells) for name, fit in fits.items()}
    control = int(np.flatnonzero(pulls == study.control)[0])
    gating = None if study.gating is None else study.gating.at(pulls)
    verdict, used = np.full(size, CANNOT), np.zeros(size)
    for served in looks:
        used += (verdict == CANNOT) * len(served)
        for name, truth in truths.items():
            people = np.append(study.people.get(name, np.arange(a)), np.arange(a, a + more))
            for servings in served[:, people][..., pulls]:
                state[name] = joined(state[name], thinned(servings, study.missing, rng), truth, rng)
        open_ = np.flatnonzero(verdict == CANNOT)
        left = {name: _cells(fits[name].cells, own.rows(open_)) for name, own in state.items()}
        bars = study.bars and (study.bars.anew(len(pulls)) if anew else study.bars)
        verdict[open_] = answers(left, study.wishes, study.level, control, bars, gating)[0]
    return verdict, used


def _truth(study: Undecided, name: str, size: int, more: int, rng: np.random.Generator) -> Truths:
    """Draws of what may be true of one attribute, of `more` people too."""
    found = draw_truths(study.fits[name], study.hours, study.trays, size, rng, study.earlier.get(name))
    return found.joined_by(more, rng) if more else found


# ---- new sittings ----------------------------------------------------------------------------------------------------
def so_far(cells: Cells) -> BySitting:
    """The sittings so far; as one where it does not matter which was which."""
    if cells.sittings is not None:
        return cells.sittings
    return BySitting(cells.counts[..., None], cells.sums[..., None], cells.within[:, None])


def _empty(truths: Truths) -> BySitting:
    """Its people and pulls before any score."""
    nothing = np.zeros((1, *truths.cells.shape[1:], 0))
    return BySitting(nothing, nothing, np.zeros((1, 0)))


def _cells(like: Cells, sittings: BySitting) -> Cells:
    """The cells of all sittings, judged as those of `like`."""
    return pooled(sittings, like.step, like.trays, like.top)


def thinned(servings: Codes, missing: float, rng: np.random.Generator) -> Array:
    """Scores that come in (a, h) when as many are missing as so far; every person and every pull keeps some."""
    if missing == 0:
        return servings.astype(float)
    came = rng.binomial(servings, 1 - missing)
    lost = ((came.sum(1, keepdims=True) == 0) | (came.sum(0) == 0)) & (came == 0)
    return np.where(lost, servings, came).astype(float)


def joined(so_far: BySitting, servings: Array, truth: Truths, rng: np.random.Generator) -> BySitting:
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
