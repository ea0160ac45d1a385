"""An hour that one batch chose, asked of another: one hour, one test.

Three pieces are served: the hour, the new batch's own longest pull, and the control, without which nobody knows that
the panel would have noticed. Where a note can fade, the pull just shorter comes as a fourth, or else nothing is known
of a window. Nothing takes the place of a lost longest pull: the hour itself would be all
that is left to be held against.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from analysis.stopping.fates import Bars, Fates
from analysis.stopping.panels import Panel
from analysis.stopping.rule import Rule


def as_confirmed(rule: Rule) -> Rule:
    """The rule, without a next longest pull in the place of a lost one where it confirms."""
    return rule if rule.confirms is None else replace(rule, lost_reference="none")


def asked_under(rule: Rule, pulls: int) -> Bars | None:
    """What a study without a gap is asked: of a confirmation the one hour, else nothing beyond its rule."""
    return None if rule.confirms is None else Bars(np.zeros(pulls, bool), but_one=True)


def asked_of(panel: Panel, told: Fates, rule: Rule) -> Fates:
    """The same where the one hour of `rule` is asked; nothing may be said of it where it or the control is missing.

    Raises:
        ValueError: the scores are not of a confirmation: the hour is not the last pull but one.
    """
    asked, hours = asked_under(rule, len(panel.hours)), panel.hours
    if asked is None:
        return told
    bars = told.bars or asked
    there = hours[-2] == rule.confirms
    if not there and not told.out:
        raise ValueError(
            f"confirms: {rule.confirms:g} h must be the last pull but one, after the control and before the longest; "
            f"the scores hold {hours.tolist()}"
        )
    if not there or panel.control >= len(hours) - 2:
        bars = replace(bars, stop=np.ones(len(hours), bool))
    return replace(told, bars=replace(bars, but_one=True))


def window_was_asked(panel: Panel) -> bool:
    """Whether a pull between the control and the hour was tasted."""
    return panel.control < len(panel.hours) - 3
