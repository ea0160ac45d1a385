"""Decide one study: its scores into cells, fits, limits, a verdict, and what stands behind it."""

from __future__ import annotations

from functools import partial

import pandas as pd

from analysis.stopping import by_batch, confirming, fates, outcome, panels, several, unjudged
from analysis.stopping.adjusted import InForce
from analysis.stopping.attribute_results import attribute_results
from analysis.stopping.decision import Decision
from analysis.stopping.gates import Gating
from analysis.stopping.rule import THIS, Rule, check_rule
from analysis.stopping.verdicts import Judged, judge
from analysis.stopping.warnings import warnings_beside


def decide(scores: pd.DataFrame, rule: Rule, readings: pd.DataFrame | None = None) -> Decision:
    """The verdict on tidy scores under `rule`.

    Args:
        scores: one row a score, columns assessor, hours, attribute, score (scale units), optionally sitting, replicate,
            position, batch; missing scores are left out or NaN. `why` and `reason` of those: see `fates.read`.
        rule: the sealed rule.
        readings: of instruments, for the rule's limits of these; see `instruments.judge_gates`. A limit without
            readings is open.

    Raises:
        ValueError: the rule is impossible, or the scores do not fit it; the text says which, where and why.
    """
    at_level = check_rule(rule)
    rule = confirming.as_confirmed(rule)
    claim = several.tested_claim(scores, rule)
    if claim != THIS:
        batches = several.weighed(scores, rule, at_level, claim, partial(_judged_both_ways, at_level), readings)
        found = _decision(batches.panel, rule, at_level, batches.told, batches.judged, alone=False)
        return by_batch.decided(batches, found, rule, at_level)
    told = fates.read(scores, rule)
    panel = panels.read(told.scored, told.rule)
    told = confirming.asked_of(panel, told, rule)
    gating = Gating.of(readings, rule.gates, panel.hours, panels.batches_in(told.scored))
    return _decision(panel, rule, at_level, told, _judged_both_ways(at_level, panel, told, gating=gating))


def _decision(
    panel: panels.Panel, rule: Rule, at_level: float, told: fates.Fates, judged: Judged, alone: bool = True
) -> Decision:
    """The decision on what the limits show; of several batches, not `alone`, the rest is theirs to tell."""
    verdict, reason = outcome.worded(panel, rule, judged, told) if alone else outcome.of_limits(judged, told)
    binding, runner_up = outcome.binding(rule, judged, at_level)
    rising, not_held = outcome.improving(judged)
    hours = panel.hours.tolist()
    latest = outcome.latest(panel, judged, told.out) if verdict == "stop" else None
    return Decision(
        verdict=verdict,
        hours=hours[int(judged.pull[0])] if verdict in ("stop", "confirmed") else None,
        reason=reason,
        look=rule.look,
        looks=rule.looks,
        level=at_level,
        alpha=rule.alpha,
        control_hours=hours[panel.control],
        control_found=bool(judged.control_found[0]),
        control_told_by=outcome.told_by(panel, judged),
        latest_hours=latest,
        binding=binding,
        next_binding=runner_up,
        reference_hours=hours[-1],
        passes={h: ok and h not in told.taken_back for h, ok in zip(hours, judged.passes[0].tolist(), strict=True)},
        fails_on=outcome.fails_on(panel, judged),
        attributes=attribute_results(panel, rule, at_level, judged) if alone else {},
        warnings=warnings_beside(panel, rule, at_level, judged) if alone else (),
        scope=panel.scope,
        shortest_hours=hours[int(judged.shortest[0])] if judged.shortest[0] >= 0 else None,
        better=outcome.better(panel, judged, at_level),
        not_inside=outcome.not_inside(judged),
        improving=rising,
        not_held=not_held,
        unfailed=outcome.unfailed(panel, judged),
        closed_by=outcome.closed_by(panel, judged, latest),
        lost=told.lost,
        reference_is_sealed=told.reference_is_sealed,
        unjudged=told.counted,
        gates=() if judged.gating is None else judged.gating.results(judged.gates),
        taste=outcome.taste(judged, told, hours),
        more_repeats=outcome.more_repeats(judged, told, at_level),
        confirms=rule.confirms,
    )


def _judged_both_ways(
    at_level: float, panel: panels.Panel, told: fates.Fates, batches: int = 1, gating: Gating | None = None
) -> Judged:
    """What the limits show however the servings that could not be judged are filled in; one of so many batches."""
    judged = _judged(at_level, panel, told, batches, gating)
    if told.unjudged.empty:
        return judged
    filled = (panels.read(told.filled(way), told.rule) for way in (True, False))
    return unjudged.under_both(judged, [_judged(at_level, one, told, batches, gating) for one in filled], told.bars)


def _judged(at_level: float, panel: panels.Panel, told: fates.Fates, batches: int, gating: Gating | None) -> Judged:
    """What the limits of a panel show."""
    force = InForce.of_study(panel, told.rule)
    return judge(force.cells, told.rule.attributes, at_level, panel.control, force.fits, told.bars, batches, gating)
