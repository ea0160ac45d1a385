"""Simulated studies under a rule that adjusts for position or sitting: the fuller model of `adjusted`, in batches.

Shapes: B studies, a assessors, h pulls, S sittings, r replicates, N = a h S r servings, P places.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

from analysis.model.fuller import FullerModel
from analysis.model.scores import Scores, positions_told_apart
from analysis.planning.alike import alike_rows, can_decide
from analysis.stopping.adjusted import InForce, models_under
from analysis.stopping.confirming import asked_under
from analysis.stopping.gates import Gating
from analysis.stopping.rule import Rule
from analysis.stopping.verdicts import judge

Codes = NDArray[np.intp]
Flags = NDArray[np.bool_]
# Entries of the columns of a model that are held at once, 2 MB; a fit holds several such.
ENTRIES_AT_ONCE = 250_000


def all_told_apart(drawn: Mapping[str, Scores]) -> Flags:
    """Whether place and pull can be told apart in every attribute (B,)."""
    found = np.ones(len(next(iter(drawn.values())).values), bool)
    for some in _portions(drawn):
        for own in drawn.values():
            found[some] &= positions_told_apart(own.rows(some))
    return found


def _portions(drawn: Mapping[str, Scores]) -> Iterator[Codes]:
    """Rows of studies whose columns fit into memory together."""
    first = next(iter(drawn.values()))
    studies, *shape = first.values.shape
    width = 2 * (sum(shape) + (0 if first.positions is None else int(first.positions.max()) + 1))
    chunk = max(1, ENTRIES_AT_ONCE // (int(np.prod(shape)) * width))
    for start in range(0, studies, chunk):
        yield np.arange(start, min(start + chunk, studies))


def judged(
    drawn: Mapping[str, Scores],
    apart: Flags | None,
    rule: Rule,
    level: float,
    control: int,
    gating: Gating | None = None,
) -> Iterator[tuple[Codes, Codes, Codes]]:
    """Rows, verdict and pull of studies; see `look_batches.look_at`. `apart`: see `all_told_apart`."""
    for some in _portions(drawn):
        position = np.zeros(len(some), bool) if apart is None else apart[some]
        scores = _some(drawn, some)
        models = models_under(rule, scores, position)
        kinds = [own.traits() for own in models.values()] + [_traits(scores[name], models.get(name)) for name in scores]
        for rows in alike_rows(np.hstack([position[:, None], *kinds])):
            part, own = _some(scores, rows), _some(models, rows)
            if all(can_decide(one.counts) for one in part.values()) and all(one.enough[0] for one in own.values()):
                force = InForce.of_alike(part, own, bool(position[rows[0]]), rule)
                own_gates = None if gating is None else gating.rows(some[rows])
                bars = asked_under(rule, next(iter(part.values())).values.shape[2])
                found = judge(force.cells, rule.attributes, level, control, force.fits, bars, gating=own_gates)
                yield some[rows], found.verdict, found.pull


T = TypeVar("T", Scores, FullerModel)


def _some(every: Mapping[str, T], rows: Codes) -> dict[str, T]:
    """Some of the studies, of every attribute."""
    return {name: own.rows(rows) for name, own in every.items()}


def _traits(scores: Scores, model: FullerModel | None) -> Flags:
    """What studies must share beside their models (B, any): people, pulls by sitting, whether scores differ."""
    seen, size, differ = scores.seen, len(scores.values), scores.differ
    served = np.asarray(seen.any((1, 4)))
    apart = np.asarray((served != served.any(1, keepdims=True)).any((1, 2)))
    if model is not None:
        apart = apart & ~(model.asked & differ)
    # Where sittings are looked at one by one, it matters who scored what at which place, so each study stands alone.
    alone = np.eye(size, dtype=bool) & apart[:, None]
    return np.hstack([seen.any((2, 3, 4)), served.reshape(size, -1), differ[:, None], alone])
