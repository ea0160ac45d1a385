"""What is told of several batches beside the verdict: their numbers, where each stands, what is worth saying."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from analysis.model.contrasts import differences
from analysis.stopping import outcome
from analysis.stopping.attribute_results import attribute_results
from analysis.stopping.decision import Anova, AttributeResult, Decision, PullResult, Warning
from analysis.stopping.departing import Alone, BatchNumbers, Departure, departure, next_batch
from analysis.stopping.over_batches import OverBatches
from analysis.stopping.panels import Panel
from analysis.stopping.rule import EACH, FEWEST_BATCHES, RECIPE, AttributeRule, Rule
from analysis.stopping.several import Several
from analysis.stopping.verdicts import VERDICTS, Judged
from analysis.stopping.warnings import warnings_beside

Array = NDArray[np.float64]
Numbers = tuple[float | None, ...]
# What is said of single sittings, or of one batch: where the batch stands for its tray it has no place.
OF_SITTINGS = ("as prepared for this sitting", "sittings disagree")


def decided(several: Several, found: Decision, rule: Rule, level: float) -> Decision:
    """The decision on all scores with what only its batches tell."""
    numbers = _numbers(several, rule, level)
    each = several.claim == EACH
    told = replace(
        found,
        attributes=(_worst if each else _whole)(several, rule, level),
        better=_better(several, found, level) or found.better,
        control_told_by=min((outcome.told_by(*one) for one in several.alone), default=found.control_told_by),
        warnings=_warnings(several, rule, level, numbers),
        claim=several.claim,
        batches=numbers,
    )
    if several.reason is None:
        return told
    return replace(told, verdict="cannot tell", hours=None, latest_hours=None, closed_by=(), reason=several.reason)


def _whole(several: Several, rule: Rule, level: float) -> dict[str, AttributeResult]:
    return attribute_results(several.panel, rule, level, several.judged)


def _better(several: Several, found: Decision, level: float) -> dict[float, tuple[str, ...]]:
    """Longer pulls that some batch judged alone shows better than the shortest that passes."""
    better: dict[float, tuple[str, ...]] = {}
    for panel, judged in several.alone:
        at = np.flatnonzero(panel.hours == found.shortest_hours)
        if len(at):
            for hour, names in outcome.better(panel, replace(judged, shortest=at), level).items():
                better[hour] = tuple(dict.fromkeys((*better.get(hour, ()), *names)))
    return dict(sorted(better.items()))


def _numbers(several: Several, rule: Rule, level: float) -> BatchNumbers:
    """What each batch did."""
    panel, names = several.panel, several.panel.batches
    alone = {name: _by_itself(*one) for name, one in zip(names, several.alone, strict=False)}
    found = BatchNumbers(names, tuple(panel.hours.tolist()), alone=alone)
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
        assert isinstance(limits.panels, OverBatches)
        assert limits.worse.sitting is not None
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


def _by_itself(panel: Panel, judged: Judged) -> Alone:
    verdict = VERDICTS[int(judged.verdict[0])]
    return Alone(verdict, float(panel.hours[int(judged.shortest[0])]) if verdict == "stop" else None)


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
                _worst_pull([pull for way in ways for pull in way.pulls if pull.hours == hour], rule.attributes[name])
                for hour in hours
            ),
            judged=not codes,
            why_not=codes[0] if codes else None,
        )
    return found


def _worst_pull(ways: Sequence[PullResult], wish: AttributeRule) -> PullResult:
    """The batch that stands worst at a pull, with the flags of all; a note to be kept may stand so on either side."""

    def far(way: PullResult) -> float:
        if way.decisive_upper is None or way.decisive_lower is None:
            return wish.sign * way.mean
        return max(way.decisive_upper, -way.decisive_lower) if wish.wanted == "same" else way.decisive_upper

    most = max(ways, key=far)
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
