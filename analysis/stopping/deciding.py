"""Decide one study: its scores into cells, fits, limits, a verdict, and what stands behind it."""

from __future__ import annotations

import pandas as pd

from analysis.stopping import outcome, panels
from analysis.stopping.adjusted import InForce
from analysis.stopping.attribute_results import attribute_results
from analysis.stopping.decision import Decision
from analysis.stopping.rule import Rule, check_rule
from analysis.stopping.verdicts import judge
from analysis.stopping.warnings import warnings_beside


def decide(scores: pd.DataFrame, rule: Rule) -> Decision:
    """The verdict on tidy scores under `rule`.

    Args:
        scores: one row a score, columns assessor, hours, attribute, score (scale units), optionally sitting, replicate,
            position, batch; missing scores are left out or NaN.
        rule: the sealed rule.

    Raises:
        ValueError: the rule is impossible, or the scores do not fit it; the text says which, where and why.
    """
    at_level = check_rule(rule)
    panel = panels.read(scores, rule)
    force = InForce.of_study(panel, rule)
    judged = judge(force.cells, rule.attributes, at_level, panel.control, force.fits)
    verdict, reason = outcome.worded(panel, rule, judged)
    binding, runner_up = outcome.binding(rule, judged, at_level)
    rising, not_held = outcome.improving(judged)
    hours = panel.hours.tolist()
    latest = outcome.latest(panel, judged) if verdict == "stop" else None
    return Decision(
        verdict=verdict,
        hours=hours[int(judged.shortest[0])] if verdict == "stop" else None,
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
        passes=dict(zip(hours, judged.passes[0].tolist(), strict=True)),
        fails_on=outcome.fails_on(panel, judged),
        attributes=attribute_results(panel, rule, at_level, judged),
        warnings=warnings_beside(panel, rule, at_level, judged),
        scope=panel.scope,
        shortest_hours=hours[int(judged.shortest[0])] if judged.shortest[0] >= 0 else None,
        better=outcome.better(panel, judged, at_level),
        not_inside=outcome.not_inside(judged),
        improving=rising,
        not_held=not_held,
        unfailed=outcome.unfailed(panel, judged),
        closed_by=outcome.closed_by(panel, judged, latest),
    )
