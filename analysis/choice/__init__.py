"""Is it noticed at all? Forced-choice trials, exact from the first to the last.

An assessor gets a set of cups of which some differ and must pick; whoever notices nothing is right with the guess rate
of the method. From the number of right answers follow an exact binomial test, the share of people who truly notice, a
sensory distance d' (Thurstone), and whether it is shown that few enough notice: for these assessors, or for people like
them. Sequential plans look after every round; thresholds run over minutes or grams of an infusion; ladders ask in which
plain batch afterwards it is still found. None of these says "close enough" of a panel that missed a cup known to
differ, its positive control.

>>> found = judge_totals(method="triangle", trials=36, correct=21)
>>> round(found.p_value, 4), found.minimum_correct, found.different
(0.0018, 18, True)
"""

from analysis.choice.carry_over import Ladder
from analysis.choice.choice_planning import ChoicePlan, PanelReach, Reach, panel_reach, settling_assessors
from analysis.choice.control import (
    NO_CONTROL,
    ControlResult,
    control_chance,
    fewest_control_sets,
    judge_control,
)
from analysis.choice.forced_choice import (
    Chances,
    ChoiceResult,
    ChoiceWarning,
    DPrime,
    Estimate,
    Reason,
    Similar,
    Verdict,
    exact_limits,
    judge_panel,
    judge_totals,
    maximum_correct,
    minimum_correct,
    people_below,
)
from analysis.choice.psychometric import METHODS, method_named
from analysis.choice.sequential import (
    MOST_CAPPED,
    Marks,
    RoundEnd,
    SequentialPlan,
    SequentialResult,
    Standing,
    Why,
    line_marks,
    whole_rounds,
)

__all__ = [
    "METHODS",
    "MOST_CAPPED",
    "NO_CONTROL",
    "Chances",
    "ChoicePlan",
    "ChoiceResult",
    "ChoiceWarning",
    "ControlResult",
    "DPrime",
    "Estimate",
    "Ladder",
    "Marks",
    "PanelReach",
    "Reach",
    "Reason",
    "RoundEnd",
    "SequentialPlan",
    "SequentialResult",
    "Similar",
    "Standing",
    "Verdict",
    "Why",
    "control_chance",
    "exact_limits",
    "fewest_control_sets",
    "judge_control",
    "judge_panel",
    "judge_totals",
    "line_marks",
    "maximum_correct",
    "method_named",
    "minimum_correct",
    "panel_reach",
    "people_below",
    "settling_assessors",
    "whole_rounds",
]
