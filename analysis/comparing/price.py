"""The price of an answer: what more sittings of a comparison would probably settle, by the whole rule.

As for hours (`planning.price`): truths are drawn that the scores leave likely, new sittings from these, and the rule
judges them at the level of the next look; what is told of the share that settles is less.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import pandas as pd

from analysis.comparing.claims import CANNOT, judge
from analysis.comparing.deciding import Weighed, weigh
from analysis.comparing.rule import MakeRule
from analysis.model.cells import pooled
from analysis.planning.likely_ends import joined, so_far
from analysis.planning.likely_truths import draw_truths
from analysis.planning.price import told
from analysis.stopping import orders
from analysis.stopping.standard_errors import fitted


@dataclass(frozen=True, slots=True)
class MakeOffer:
    """A way to an answer on the makes that are open: so many more `sittings`, in each every piece `servings` times.

    `settles`: for each open make the share of drawn studies with an answer, `told` what is said of it.
    """

    sittings: int
    servings: int
    settles: Mapping[str, float]
    told: Mapping[str, float]
    monte_carlo_se: float


def price(
    scores: pd.DataFrame,
    rule: MakeRule,
    sittings: tuple[int, ...] = (1, 2),
    draws: int = 1000,
    seed: int = 1,
    readings: pd.DataFrame | None = None,
) -> tuple[MakeOffer, ...]:
    """Ways on after `cannot tell`; none once every make has an answer, where orders stand in the way of one, and for a
    claim on the make, whose number of batches is sealed; nor where servings could not be judged, whose taste nobody
    knows, or where it hangs on whether a missing piece can be served.

    Args:
        scores, rule, readings: as for `compare`; limits of instruments stay as they were read. Where no sealed look is
            left, the same is told, as a new study needs no fewer.
        sittings: how many more, each a way of its own.
        draws: simulated studies a way.
        seed: of the draws.
    """
    found = weigh(scores, rule, readings)
    open_ = np.flatnonzero(found.judged.verdict[0] == CANNOT)
    if not len(open_) or rule.claim == "make" or orders.forbid(found.served.panel, found.left.rule.plain):
        return ()
    if found.fills or found.left.rule.control != rule.control or any(one.fate != "lost" for one in found.left.lost):
        return ()
    servings = max(1, round(_servings(found)))
    return tuple(_offer(found, rule, count, servings, draws, seed) for count in sittings)


def _servings(found: Weighed) -> float:
    """Of a piece to a person in a sitting so far."""
    panel = found.served.panel
    cells = next(iter(found.force.cells.values()))
    return float(cells.counts[0].mean() / panel.scope["sittings"])


def _offer(found: Weighed, rule: MakeRule, sittings: int, servings: int, draws: int, seed: int) -> MakeOffer:
    rng = np.random.default_rng(seed)
    cells = {}
    for name in sorted(found.force.cells):
        own = found.force.cells[name]
        truths = draw_truths(fitted(own), None, own.trays, draws, rng)
        state = so_far(own)
        for _sitting in range(sittings):
            state = joined(state, np.full(own.sums.shape[1:], float(servings)), truths, rng)
        cells[name] = pooled(state, own.step, own.trays, own.top)
    judged = judge(cells, rule.attributes, found.level, found.served.first, gated=found.judged.beside.gated)
    makes = [(number, name) for number, name in enumerate(found.served.makes)]
    open_ = [(number, name) for number, name in makes if found.judged.verdict[0, number] == CANNOT]
    settles = {name: float((judged.verdict[:, number] != CANNOT).mean()) for number, name in open_}
    said = {name: told(share, [None]) for name, share in settles.items()}
    worst = max(share * (1 - share) for share in settles.values())
    return MakeOffer(sittings, servings, settles, said, float(np.sqrt(worst / draws)))
