"""The stop rule: the shortest conching time that is shown to be no worse than the longest, within margins.

`rule` holds the sealed rule, `decision` the result. `decide` reads the scores into cells (`panels`), fits them with
whatever the rule adjusts for (`adjusted`), judges them with the code that also judges simulated studies (`verdicts`, on
the errors of `limits`), and says what stands behind the verdict (`outcome`, `attribute_results`, `beside`).
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING

import pandas as pd

from analysis import outcome, panels
from analysis.adjusted import adjusted, cells_in_force
from analysis.attribute_results import attribute_results
from analysis.beside import warnings_beside
from analysis.decision import Anova, AttributeResult, Decision, Offer, PullResult, Warning
from analysis.looks import level
from analysis.next_sittings import Service
from analysis.rule import RULE_VERSION, AttributeRule, Rule, Wanted, check_rule
from analysis.verdicts import Verdict, judge

if TYPE_CHECKING:
    from analysis.pooled_spreads import Strata

__all__ = [
    "RULE_VERSION",
    "Anova",
    "AttributeResult",
    "AttributeRule",
    "Decision",
    "Offer",
    "PullResult",
    "Rule",
    "Service",
    "Verdict",
    "Wanted",
    "Warning",
    "check_rule",
    "decide",
    "level",
    "price",
    "price_new_study",
]


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
    cells = cells_in_force(panel, rule)
    judged = judge(cells, rule.attributes, at_level, panel.control, adjusted(panel, rule, cells))
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


def price(
    scores: pd.DataFrame,
    rule: Rule,
    draws: int = 2000,
    seed: int = 1,
    sealed: Service | None = None,
    history: Mapping[str, Strata] | None = None,
) -> tuple[Offer, ...]:
    """Ways to an answer after `cannot tell`; empty after any other verdict, and when no sealed look is left.

    Args:
        scores, rule: as for `decide`.
        draws: simulated studies an offer.
        seed: of the draws; the same seed gives the same chances.
        sealed: what a plan sealed about later sittings; None: one sitting more, served as so far.
        history: sums of squares of earlier studies of this panel, by attribute (`pooled_spreads`); None: only this
            study tells how much its panel differs.
    """
    from analysis.price import Draws, offers

    return offers(scores, rule, Draws(draws, seed, history), sealed)


def price_new_study(
    scores: pd.DataFrame, rule: Rule, draws: int = 2000, seed: int = 1, history: Mapping[str, Strata] | None = None
) -> tuple[Offer, ...]:
    """What the same study anew would probably say, with as many sittings and with twice as many; for when the sealed
    looks are used up. The old scores shape the guess but are not counted again. Empty unless the verdict is `cannot
    tell`. Arguments as for `price`."""
    from analysis.price import Draws, new_studies

    return new_studies(scores, rule, Draws(draws, seed, history))
