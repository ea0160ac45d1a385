"""The positive control of a forced-choice study: sets with a cup that is known to differ, dealt among the others.

"Close enough" may only be said by a panel that can still taste: one with a cold, a tired palate or the question read
the other way would call anything alike. So its right answers are held against their own mark, that of an ordinary test
of difference at alpha, before anything else is judged; its sets count nowhere else. Served before a main set a strong
control would itself dull the tongue, so a person's control sets come after the main ones.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from analysis.choice.forced_choice import at_least, check_alpha, minimum_correct, reached
from analysis.choice.psychometric import method_named

RIGHT_WHEN_WELL = 0.8  # what a control is planned for: right so often by a panel that tastes well
ONE_IN = 4  # sets of a study that hold the control, where that is more than the least number


@dataclass(frozen=True, slots=True)
class ControlResult:
    """The control's own test. `minimum_correct` is None where even all right would not be enough; no trials at all
    stand for a study that was sealed without a control."""

    trials: int
    correct: int
    p_value: float
    minimum_correct: int | None
    found: bool


NO_CONTROL = ControlResult(0, 0, 1.0, None, False)


def judge_control(method: str, trials: int, correct: int, alpha: float = 0.05) -> ControlResult:
    """The control by P(X >= correct) under guessing, exact binomial. Raises ValueError."""
    check_alpha(alpha)
    if not 0 <= correct <= trials:
        raise ValueError(f"correct must be between 0 and the {trials} trials of the control, got {correct}")
    if not trials:
        return NO_CONTROL
    chance = method_named(method).chance
    p_value = at_least(correct, trials, chance)
    return ControlResult(trials, correct, p_value, minimum_correct(trials, chance, alpha), reached(p_value, alpha))


def fewest_control_sets(method: str, main_sets: int, by_rounds: bool = False) -> int:
    """Control sets that a study of so many main sets holds at least: 9, by rounds 12, where guessing is right half the
    time 16, or one of all its sets in four if that is more."""
    least = 16 if method_named(method).chance >= 0.5 else 12 if by_rounds else 9
    return max(least, math.ceil(main_sets / (ONE_IN - 1)))


def control_chance(method: str, trials: int, alpha: float = 0.05, right: float = RIGHT_WHEN_WELL) -> float:
    """Chance that a control of so many sets is found when each is answered right with chance `right`."""
    mark = minimum_correct(trials, method_named(method).chance, alpha)
    return 0.0 if mark is None else at_least(mark, trials, right)
