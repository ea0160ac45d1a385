"""Scores of several batches under the sealed claim: what became of each batch, the limits, what is told of them.

"Each of these batches" judges every batch alone and joins them by AND; "recipe and machine" asks for means over
batches, with the batch as a unit beside the assessor. Averaging batches without that would let one that is far worse
hide behind the others.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from functools import partial

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from analysis.model.contrasts import differences
from analysis.model.scores import Scores, cells_of
from analysis.stopping import fates, orders, outcome, panels, unjudged
from analysis.stopping.adjusted import contrasts_under
from analysis.stopping.attribute_results import attribute_results
from analysis.stopping.copies import copied
from analysis.stopping.decision import Anova, AttributeResult, Decision, PullResult, Warning
from analysis.stopping.departing import BatchNumbers, Departure, departure, next_batch
from analysis.stopping.each_batch import in_each
from analysis.stopping.evidence import FEWEST_ASSESSORS, WHY_NOT
from analysis.stopping.fates import Bars, Fates
from analysis.stopping.gates import Gating
from analysis.stopping.over_batches import OverBatches
from analysis.stopping.panels import Panel, batches_in, of_batch
from analysis.stopping.rule import EACH, FEWEST_BATCHES, RECIPE, THIS, Claim, Rule
from analysis.stopping.standard_errors import Contrasts
from analysis.stopping.verdicts import Judged, gate_table, judge
from analysis.stopping.warnings import warnings_beside

Array = NDArray[np.float64]
Flags = NDArray[np.bool_]
Numbers = tuple[float | None, ...]
Weigh = Callable[[Panel, Fates, int, Gating | None], Judged]
# What is said of single sittings, or of one batch: where the batch stands for its tray it has no place.
OF_SITTINGS = ("as prepared for this sitting", "sittings disagree")


def tested_claim(scores: pd.DataFrame, rule: Rule) -> Claim:
    """The claim that is tested on these scores: the sealed one, or where none was sealed what their batches allow.

    Raises:
        ValueError: the scores hold several batches and the claim is about one, or more batches than were sealed.
    """
    found = batches_in(scores[scores["attribute"].isin(list(rule.attributes)) & scores["score"].notna()])
    if len(found) > 1 and "" in found:
        raise ValueError(f"batch: some scores name their batch and others name none, among {list(found[1:])}")
    if rule.claim == THIS or (rule.claim is None and len(found) < 2 and (rule.batches or 1) < 2):
        return THIS  # several batches are refused where the scores are read
    if rule.batches is not None and len(found) > rule.batches:
        raise ValueError(f"batch: {rule.batches} were sealed, and the scores are of {len(found)}, {list(found)}")
    return RECIPE if rule.claim == RECIPE else EACH


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

    def decided(self, found: Decision, rule: Rule, level: float) -> Decision:
        """A decision on all scores with what only its batches tell."""
        numbers = _numbers(self, rule, level)
        each = self.claim == EACH
        attributes = _worst(self, rule, level) if each else attribute_results(self.panel, rule, level, self.judged)
        because = {
            "verdict": "cannot tell",
            "hours": None,
            "latest_hours": None,
            "closed_by": (),
            "reason": self.reason,
        }
        better: dict[float, tuple[str, ...]] = {}
        for panel, judged in self.alone:
            at = None if found.shortest_hours is None else np.flatnonzero(panel.hours == found.shortest_hours)
            if at is not None and len(at):
                own = outcome.better(panel, replace(judged, shortest=at), level)
                better = {hour: tuple(dict.fromkeys((*better.get(hour, ()), *names))) for hour, names in own.items()}
        return replace(
            found,
            attributes=attributes,
            better=better or found.better,
            control_told_by=min((outcome.told_by(*one) for one in self.alone), default=found.control_told_by),
            warnings=_warnings(self, rule, level, numbers),
            claim=self.claim,
            batches=numbers,
            **(because if self.reason is not None else {}),
        )


# ---- reading ---------------------------------------------------------------------------------------------------------
def weighed(
    scores: pd.DataFrame, rule: Rule, level: float, claim: Claim, weigh: Weigh, readings: pd.DataFrame | None = None
) -> Several:
    """Several batches as the claim asks for them; `weigh` judges one of so many alone.

    Raises:
        ValueError: as `decide`.
    """
    every = tuple(_batches(scores, rule))
    kept, reason = _that_count(every, rule, claim)
    told = _together(every, kept, rule)
    panel = panels.read(told.scored, told.rule, together=True)
    gating = Gating.of(readings, rule.gates, panel.hours, panel.batches)
    read = [(panels.read(one.told.scored, one.told.rule), one.told) for one in kept]
    if claim == RECIPE:
        reason = reason or ("orders" if orders.forbid(panel, rule) else None)
        gating = None if gating is None else replace(gating, one_is_enough=False)
        return Several(panel, told, _over(panel, told, level, gating), claim, kept, reason or _apart(panel), ())
    forbidden = any(orders.forbid(own, rule) for own, _told in read)
    parts = [
        None if gating is None else gating.of_batch(one.name, own.hours)
        for one, (own, _t) in zip(kept, read, strict=True)
    ]
    alone = [(own, weigh(own, its, len(kept), part)) for (own, its), part in zip(read, parts, strict=True)]
    served = np.array([np.isin(panel.hours, own.hours) for own, _judged in alone])
    if gating is not None:
        gating = replace(gating, once=True, served=dict(zip((one.name for one in kept), served, strict=True)))
    gates = gate_table(gating, list(rule.attributes.values()), level, len(kept))
    judged = in_each([one for _own, one in alone], served, level, told.bars, gating, gates)
    return Several(panel, told, judged, claim, kept, reason or ("orders" if forbidden else None), tuple(alone))


def _batches(scores: pd.DataFrame, rule: Rule) -> list[Batch]:
    """Every batch with what became of its pulls; notes that name none are of all, or of the batch of their sitting."""
    noted = scores["why"].isin((fates.LOST, fates.UNREAD)) if "why" in scores else pd.Series(False, scores.index)
    rows = scores[scores["attribute"].isin(list(rule.attributes)) & ~noted]
    names = [name for name in batches_in(rows) if name]
    sittings = {name: set(_sittings(rows[of_batch(rows, name)])) for name in names}
    notes = scores[noted]
    found = []
    for name in names:
        others = set().union(*(days for other, days in sittings.items() if other != name)) - sittings[name]
        of_others = _sittings(notes).isin(others) & (_sittings(notes) != "") if len(notes) else []
        own = notes[(of_batch(notes, name) | of_batch(notes, "")) & ~of_others] if len(notes) else notes
        whole = (
            pd.concat([rows[of_batch(rows, name)], own.assign(batch=name)]) if len(own) else rows[of_batch(rows, name)]
        )
        if whole["score"].notna().any():
            found.append(Batch(name, fates.read(whole, rule)))
    return found


def _sittings(rows: pd.DataFrame) -> pd.Series[str]:
    """The sitting of each row, "" where none is named."""
    if "sitting" not in rows:
        return pd.Series("", index=rows.index)
    return rows["sitting"].astype("object").where(rows["sitting"].notna(), "").astype(str)


def _that_count(every: Sequence[Batch], rule: Rule, claim: Claim) -> tuple[tuple[Batch, ...], str | None]:
    """The batches that bear the claim, and why they do not; a recipe does without a batch that lost its longest pull."""
    kept = tuple(every)
    if claim == RECIPE and any(one.told.reference_is_sealed for one in every):
        kept = tuple(one for one in every if one.told.reference_is_sealed)
    if rule.batches is not None and len(every) < rule.batches:
        return kept, "batch missing"
    return kept, "too few batches" if claim == RECIPE and len(kept) < FEWEST_BATCHES else None


def _together(every: Sequence[Batch], kept: Sequence[Batch], rule: Rule) -> Fates:
    """What became of all batches, as one."""
    scored = _in_trays(pd.concat([one.told.scored for one in kept], ignore_index=True))
    hours = np.unique(scored["hours"].to_numpy(float))
    lasts = {max(one.hours) for one in kept}
    stays = [_stays(one, hours) for one in kept]
    barrier = max((h for own in stays for h in own), default=-np.inf)
    in_all = frozenset.intersection(*(one.hours for one in kept))
    told = [one.told.bars for one in kept if one.told.bars is not None]
    bars = Bars(
        hours <= barrier,
        longer=any(own.longer for own in told),
        none=any(own.none for own in told) or len(kept) < len(every),
        any=any(own.any for own in told) or len(lasts) > 1,
        stepped_out=~np.isin(hours, list(in_all)),
    )
    doubtful = pd.concat([one.told.unjudged for one in kept], ignore_index=True)
    moved = rule.control is not None and rule.control not in hours[:-1] and all(one.told.rule != rule for one in kept)
    return Fates(
        scored,
        replace(rule, control=None) if moved else rule,
        tuple(replace(entry, batch=one.name) for one in every for entry in one.told.lost),
        frozenset().union(*(one.told.out for one in kept)),
        all(one.told.reference_is_sealed for one in kept),
        bars,
        _in_trays(doubtful) if len(doubtful) else doubtful,
    )


def _in_trays(rows: pd.DataFrame) -> pd.DataFrame:
    """Where no sitting is named, each batch is one of its own."""
    return rows if "sitting" in rows else rows.assign(sitting=rows["batch"])


def _stays(one: Batch, hours: NDArray[np.float64]) -> list[float]:
    """Pulls short of the reference that stay in the sequence of a batch and do not pass."""
    return [own.hours for own in one.told.lost if own.fate != "lost" and own.hours < hours[-1]]


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
    fits = over_batches(panel, told.rule)
    wishes = told.rule.attributes
    cells = {name: fit.cells for name, fit in fits.items()}
    found = judge(cells, wishes, level, panel.control, fits, told.bars, gating=gating)
    assert panel.batch_of is not None
    for name, own in panel.scores.items():
        days = [np.flatnonzero(panel.batch_of == one) for one in range(len(panel.batches))]
        every = np.ones(len(panel.hours), bool)
        if any(copied(cells_of(own.within(some, every), top=panel.top).present())[0] for some in days):
            why = np.full(1, WHY_NOT.index("copied"))
            attributes = {**found.attributes, name: replace(found.attributes[name], why_not=why)}
            found = replace(found, attributes=attributes)
    return found


def over_batches(panel: Panel, rule: Rule) -> dict[str, OverBatches]:
    """The contrasts of every attribute over the batches of a panel."""
    assert panel.batch_of is not None
    position = "position" in rule.adjust and orders.can_adjust(panel)

    fit = partial(_fit, rule, position, panel.top)
    return {name: OverBatches.of(own, panel.batch_of, panel.top, fit) for name, own in panel.scores.items()}


def _fit(rule: Rule, position: bool, top: float, scores: Scores) -> Contrasts:
    return contrasts_under(rule, scores, position, top)


# ---- what is told ----------------------------------------------------------------------------------------------------
def _numbers(several: Several, rule: Rule, level: float) -> BatchNumbers:
    """What each batch did."""
    panel, names = several.panel, several.panel.batches
    found = BatchNumbers(names, tuple(panel.hours.tolist()))
    for name in rule.attributes:
        found.flag[name] = _flag(panel, name, len(rule.attributes))
        if several.claim == EACH:
            ways = {
                one: _placed(panel, own, judged, name, level)
                for one, (own, judged) in zip(names, several.alone, strict=True)
            }
            found.differences[name], found.lower[name], found.upper[name] = (
                {one: way[side] for one, way in ways.items()} for side in range(3)
            )
            continue
        limits = several.judged.attributes[name]
        assert isinstance(limits.panels, OverBatches) and limits.worse.sitting is not None
        by_batch = limits.sign * limits.panels.by_batch(differences(len(panel.hours), len(panel.hours) - 1))[0]
        found.differences[name] = {one: _known(row) for one, row in zip(names, by_batch, strict=True)}
        enough = np.isfinite(limits.worse.sitting.se[0]) & (np.isfinite(by_batch).sum(0) >= FEWEST_BATCHES)
        for column, numbers in zip(
            (found.batch_se, found.df, found.next_upper),
            (_spread(by_batch), limits.worse.sitting.df[0], next_batch(by_batch, level)),
            strict=True,
        ):
            column[name] = (*_known(np.where(enough, numbers, np.nan)[:-1]), None)
    return found


def _spread(by_batch: Array) -> Array:
    """Standard error of the mean over the batches that have a value (k,)."""
    count = np.isfinite(by_batch).sum(0)
    with np.errstate(invalid="ignore", divide="ignore"):
        return np.asarray(np.nanstd(by_batch, 0) * np.sqrt(count / (count - 1)) / np.sqrt(count))


def _placed(panel: Panel, own: Panel, judged: Judged, name: str, level: float) -> tuple[Numbers, Numbers, Numbers]:
    """Differences, lower and upper limits of one batch by the pulls of all."""
    worse = judged.attributes[name].worse
    reach = worse.reach(level)[0]
    whole = np.full((3, len(panel.hours)), np.nan)
    whole[:, np.isin(panel.hours, own.hours)] = worse.estimate[0] + np.array([[0.0], [-1.0], [1.0]]) * reach
    return _known(whole[0]), _known(whole[1]), _known(whole[2])


def _known(values: Array) -> Numbers:
    return tuple(float(value) if np.isfinite(value) else None for value in values)


def _flag(panel: Panel, name: str, attributes: int) -> Departure | None:
    """Whether a batch departs, over the pulls that every batch served and the people who tasted any."""
    assert panel.batch_of is not None
    seen, values = panel.scores[name].seen[0], np.nan_to_num(panel.scores[name].values[0])
    tables = []
    for one in range(len(panel.batches)):
        days = panel.batch_of == one
        count = seen[:, :, days].sum((2, 3))
        tables.append(
            np.divide(values[:, :, days].sum((2, 3)), count, out=np.full(count.shape, np.nan), where=count > 0)
        )
    table = np.stack(tables, 2)
    pulls, people = np.isfinite(table).any(0).all(1), np.isfinite(table).any((1, 2))
    return departure(table[people][:, pulls], panel.batches, panel.hours[pulls], attributes)


def _worst(several: Several, rule: Rule, level: float) -> dict[str, AttributeResult]:
    """Of each attribute and pull the batch whose limit reaches farthest; it passes only where it passes in every batch,
    and fails where it fails in one."""
    every = [attribute_results(panel, rule, level, judged) for panel, judged in several.alone]
    found = {}
    for name in rule.attributes:
        ways = [own[name] for own in every]
        at = outcome.own_shortest(several.judged.attributes[name])
        hours = several.panel.hours.tolist()
        codes = [way.why_not for way in ways if way.why_not is not None]
        found[name] = replace(
            ways[0],
            reference_hours=hours[-1],
            shortest_hours=hours[at] if at < len(hours) else None,
            assessors=min(way.assessors for way in ways),
            reml_loglik=None,
            variance=dict.fromkeys(ways[0].variance),
            anova=Anova(None, None, None, None),
            pulls=tuple(
                _worst_pull([pull for way in ways for pull in way.pulls if pull.hours == hour]) for hour in hours
            ),
            judged=not codes,
            why_not=codes[0] if codes else None,
        )
    return found


def _worst_pull(ways: Sequence[PullResult]) -> PullResult:
    """The batch that stands worst at a pull, with the flags of all."""
    most = max(ways, key=lambda way: way.mean if way.decisive_upper is None else way.decisive_upper)
    limits = [way.within_limit for way in ways if way.within_limit is not None]
    return replace(
        most,
        within_margin=all(way.within_margin for way in ways),
        within_limit=all(limits) if limits else None,
        shown_to_fail=any(way.shown_to_fail for way in ways),
    )


def _warnings(several: Several, rule: Rule, level: float, numbers: BatchNumbers) -> tuple[Warning, ...]:
    """What is said beside a verdict on several batches, each thing once."""
    flagged = [
        Warning(
            "batches differ",
            {
                "attribute": name,
                "batch": own.batch,
                "hours": own.hours,
                "deviation": own.deviation,
                "batches": len(numbers.names),
            },
        )
        for name, own in numbers.flag.items()
        if own is not None and own.departs
    ]
    if several.claim == RECIPE:
        beside = warnings_beside(several.panel, replace(rule, adjust=()), level, several.judged)
        left_out = (*OF_SITTINGS, "one batch")
        return (*flagged, *(warning for warning in beside if warning.code not in left_out))
    said: dict[tuple[str, object], Warning] = {}
    for panel, judged in several.alone:
        at = np.flatnonzero(np.isin(panel.hours, several.panel.hours[several.judged.shortest]))
        shortest = at if several.judged.shortest[0] >= 0 and len(at) else np.array([-1])
        for warning in warnings_beside(panel, rule, level, replace(judged, shortest=shortest)):
            said.setdefault((warning.code, warning.values.get("attribute")), warning)
    return (*flagged, *(warning for warning in said.values() if warning.code != "one batch"))
