"""Scores of several batches under the sealed claim: what became of each batch, the limits, what is told of them.

"Each of these batches" judges every batch alone and joins them by AND; "recipe and machine" asks for means over
batches, with the batch as a unit beside the assessor. Averaging batches without that would let one that is far worse
hide behind the others.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import partial

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from analysis.model.scores import Scores, cells_of
from analysis.stopping import fates, orders, panels, unjudged
from analysis.stopping.adjusted import contrasts_under
from analysis.stopping.confirming import asked_of
from analysis.stopping.copies import copied
from analysis.stopping.each_batch import in_each
from analysis.stopping.evidence import FEWEST_ASSESSORS, WHY_NOT
from analysis.stopping.fates import Bars, Fates
from analysis.stopping.gates import Gating
from analysis.stopping.over_batches import OverBatches
from analysis.stopping.panels import Panel, batches_in, of_batch
from analysis.stopping.rule import EACH, FEWEST_BATCHES, RECIPE, THIS, Claim, Rule
from analysis.stopping.standard_errors import Contrasts
from analysis.stopping.verdicts import Judged, any_of, gate_table, judge, judged_of

Array = NDArray[np.float64]
Flags = NDArray[np.bool_]
Weigh = Callable[[Panel, Fates, int, Gating | None], Judged]


def tested_claim(scores: pd.DataFrame, rule: Rule) -> Claim:
    """The claim that is tested on these scores: the sealed one, or where none was sealed what their batches allow.

    Raises:
        ValueError: the scores hold several batches and the claim is about one, or more batches than were sealed.
    """
    found = batches_in(scores[scores["attribute"].isin(list(rule.attributes)) & scores["score"].notna()])
    if len(found) > 1 and "" in found:
        raise ValueError(f"batch: some scores name their batch and others name none, among {list(found[1:])}")
    claim = claim_on(len(found), rule)
    if claim == THIS:
        return THIS  # several batches are refused where the scores are read
    if rule.batches is not None and len(found) > rule.batches:
        raise ValueError(f"batch: {rule.batches} were sealed, and the scores are of {len(found)}, {list(found)}")
    return claim


def claim_on(batches: int, rule: Rule) -> Claim:
    """The claim on so many batches: the sealed one; where none was sealed, each of them."""
    if rule.claim is not None:
        return rule.claim
    return THIS if max(batches, rule.batches or 1) < 2 or rule.confirms is not None else EACH


@dataclass(frozen=True, slots=True)
class Batch:
    """One batch: what became of its pulls, and the scores that count."""

    name: str
    told: Fates

    @property
    def hours(self) -> frozenset[float]:
        """The pulls that hold scores."""
        return frozenset(self.told.scored["hours"].astype(float))


@dataclass(frozen=True, slots=True)
class Several:
    """Several batches under a claim: all scores together, what is told of them, what the limits show, and why nothing
    may be said where the batches do not bear the claim. `alone` holds each batch judged by itself."""

    panel: Panel
    told: Fates
    judged: Judged
    claim: Claim
    batches: tuple[Batch, ...]
    reason: str | None
    alone: tuple[tuple[Panel, Judged], ...]


# ---- reading ---------------------------------------------------------------------------------------------------------
def weighed(
    scores: pd.DataFrame, rule: Rule, level: float, claim: Claim, weigh: Weigh, readings: pd.DataFrame | None = None
) -> Several:
    """Several batches as the claim asks for them; `weigh` judges one of so many alone.

    Raises:
        ValueError: as `decide`.
    """
    every = tuple(batches_of(scores, rule))
    kept, reason = _that_count(every, rule, claim)
    told = _together(every, kept, rule)
    panel = panels.read(told.scored, told.rule, together=True)
    told = asked_of(panel, told, rule)
    # A limit is kept in every batch, also in one that lost its longest pull and has no say on flavour.
    gating = Gating.of(readings, rule.gates, panel.hours, tuple(one.name for one in every))
    if claim == RECIPE:
        reason = reason or ("orders" if orders.forbid(panel, rule) else None)
        served = {one.name: np.isin(panel.hours, list(one.hours)) for one in every}
        gating = None if gating is None else replace(gating, one_is_enough=False, served=served)
        return Several(panel, told, _over(panel, told, level, gating), claim, kept, reason or _apart(panel), ())
    read = [panels.read(one.told.scored, one.told.rule) for one in kept]
    if any(orders.forbid(own, rule) for own in read):
        reason = reason or "orders"
    parts = [
        None if gating is None else gating.of_batch(one.name, own.hours) for one, own in zip(kept, read, strict=True)
    ]
    alone = [weigh(own, one.told, len(kept), part) for one, own, part in zip(kept, read, parts, strict=True)]
    served = {one.name: np.isin(panel.hours, own.hours) for one, own in zip(kept, read, strict=True)}
    judged = held_in_each(alone, served, rule, level, told.bars, gating)
    return Several(panel, told, judged, claim, kept, reason, tuple(zip(read, alone, strict=True)))


def held_in_each(
    alone: Sequence[Judged],
    served: Mapping[str, Flags],
    rule: Rule,
    level: float,
    bars: Bars | None,
    gating: Gating | None,
) -> Judged:
    """What holds in every batch, limits of instruments too."""
    gating = None if gating is None else replace(gating, once=True, served=served)
    gates = gate_table(gating, list(rule.attributes.values()), level, len(alone))
    return in_each(alone, np.array(list(served.values())), level, bars, gating, gates)


def batches_of(scores: pd.DataFrame, rule: Rule) -> Iterator[Batch]:
    """Every batch with what became of its pulls; notes that name none are of all, or of the batch of their sitting."""
    noted = scores["why"].isin((fates.LOST, fates.UNREAD)) if "why" in scores else pd.Series(False, scores.index)
    rows = scores[scores["attribute"].isin(list(rule.attributes)) & ~noted]
    names = [name for name in batches_in(rows) if name]
    days = {name: set(_sittings(rows[of_batch(rows, name)])) for name in names}
    notes = scores[noted]
    for name in names:
        own = rows[of_batch(rows, name)]
        if len(notes):
            others = set().union(*days.values()) - days[name]
            here = of_batch(notes, name) | (of_batch(notes, "") & ~_sittings(notes).isin(others))
            own = pd.concat([own, notes[here].assign(batch=name)])
        if own["score"].notna().any():
            yield Batch(name, fates.read(own, rule))


def _sittings(rows: pd.DataFrame) -> pd.Series[str]:
    """The sitting of each row, "" where none is named."""
    if "sitting" not in rows:
        return pd.Series("", index=rows.index)
    return rows["sitting"].astype("object").where(rows["sitting"].notna(), "").astype(str)


def _that_count(every: Sequence[Batch], rule: Rule, claim: Claim) -> tuple[tuple[Batch, ...], str | None]:
    """The batches that bear the claim, and why they do not; a recipe does without one that lost its longest pull."""
    kept = tuple(every)
    if claim == RECIPE and any(one.told.reference_is_sealed for one in every):
        kept = tuple(one for one in every if one.told.reference_is_sealed)
    if rule.batches is not None and len(every) < rule.batches:
        return kept, "batch missing"
    return kept, "too few batches" if claim == RECIPE and len(kept) < FEWEST_BATCHES else None


def _together(every: Sequence[Batch], kept: Sequence[Batch], rule: Rule) -> Fates:
    """What became of all batches, as one."""
    told = [one.told for one in kept]
    scored = _in_trays(pd.concat([own.scored for own in told], ignore_index=True))
    doubtful = pd.concat([own.unjudged for own in told], ignore_index=True)
    hours = np.unique(scored["hours"].to_numpy(float))
    bars = _bars(kept, hours)
    moved = rule.control is not None and rule.control not in hours[:-1] and all(own.rule != rule for own in told)
    return Fates(
        scored,
        replace(rule, control=None) if moved else rule,
        tuple(replace(entry, batch=one.name) for one in every for entry in one.told.lost),
        frozenset().union(*(own.out for own in told)),
        all(own.reference_is_sealed for own in told),
        replace(bars, none=bars.none or len(kept) < len(every)),
        _in_trays(doubtful) if len(doubtful) else doubtful,
    )


def _bars(kept: Sequence[Batch], hours: Array) -> Bars:
    """What may not be said of all batches, by their pulls together: a pull that stays in one without passing ends the
    chain, one that steps out of one is not chosen, and all must be held against the same longest pull."""
    stays = [own.hours for one in kept for own in one.told.lost if own.fate != "lost" and own.hours < hours[-1]]
    in_all = frozenset.intersection(*(one.hours for one in kept))
    told = [one.told.bars for one in kept if one.told.bars is not None]
    return Bars(
        hours <= max(stays, default=-np.inf),
        longer=any(own.longer for own in told),
        none=any(own.none for own in told),
        any=any(own.any for own in told) or len({max(one.hours) for one in kept}) > 1,
        stepped_out=~np.isin(hours, list(in_all)),
    )


def _in_trays(rows: pd.DataFrame) -> pd.DataFrame:
    """Where no sitting is named, each batch is one of its own."""
    return rows if "sitting" in rows else rows.assign(sitting=rows["batch"])


def _apart(panel: Panel) -> str | None:
    """Why batches that were tasted by different people tell nothing of a recipe."""
    assert panel.batch_of is not None
    for own in panel.scores.values():
        there = own.seen[0].any((1, 3))
        by_batch = [there[:, panel.batch_of == one].any(1) for one in range(len(panel.batches))]
        if np.logical_and.reduce(by_batch).sum() < FEWEST_ASSESSORS:
            return "batches apart"
    return None


# ---- limits over batches ---------------------------------------------------------------------------------------------
def _over(panel: Panel, told: Fates, level: float, gating: Gating | None) -> Judged:
    """What means over batches show, however what could not be judged is filled in."""
    judged = _over_alone(panel, told, level, gating)
    if told.unjudged.empty:
        return judged
    filled = [panels.read(told.filled(way), told.rule, together=True) for way in (True, False)]
    return unjudged.under_both(judged, [_over_alone(one, told, level, gating) for one in filled], told.bars)


def _over_alone(panel: Panel, told: Fates, level: float, gating: Gating | None) -> Judged:
    """The same of scores as they are."""
    return judged_over(over_batches(panel, told.rule), told.rule, level, panel.control, told.bars, gating)


def judged_over(
    fits: Mapping[str, OverBatches],
    rule: Rule,
    level: float,
    control: int,
    bars: Bars | None = None,
    gating: Gating | None = None,
) -> Judged:
    """A batch of studies by means over batches; an attribute that was copied in one batch is not judged."""
    cells = {name: fit.cells for name, fit in fits.items()}
    found = judge(cells, rule.attributes, level, control, fits, bars, gating=gating)
    doubted = {name: why for name, fit in fits.items() if (why := _copied(fit)).any()}
    if not doubted:
        return found
    own = {
        name: np.where(why, WHY_NOT.index("copied"), found.attributes[name].why_not) for name, why in doubted.items()
    }
    attributes = {name: replace(found.attributes[name], why_not=why) for name, why in own.items()}
    return judged_of({**found.attributes, **attributes}, bars, None, gating, found.gates)


def _copied(fit: OverBatches) -> Flags:
    """Whether the scores of some batch look copied (B,)."""
    every, top = np.ones(fit.scores.values.shape[2], bool), fit.cells.top
    days = (np.flatnonzero(fit.batch == one) for one in range(int(fit.batch.max()) + 1))
    return any_of(copied(cells_of(fit.scores.within(some, every), top=top).present()) for some in days)


def over_batches(panel: Panel, rule: Rule) -> dict[str, OverBatches]:
    """The contrasts of every attribute over the batches of a panel."""
    assert panel.batch_of is not None
    position = "position" in rule.adjust and orders.can_adjust(panel)

    fit = partial(_fit, rule, position, panel.top)
    return {name: OverBatches.of(own, panel.batch_of, panel.top, fit) for name, own in panel.scores.items()}


def _fit(rule: Rule, position: bool, top: float, scores: Scores) -> Contrasts:
    return contrasts_under(rule, scores, position, top)
