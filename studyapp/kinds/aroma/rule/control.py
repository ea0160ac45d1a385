"""The positive control of an aroma plan: how many sets, its own mark, and what a plan without one can say."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from typing import TYPE_CHECKING, Any

from studyapp.kinds.aroma.plan import AromaPlan
from studyapp.methods import METHODS
from studyapp.records import Problem
from studyapp.words import _

if TYPE_CHECKING:
    from analysis.choice import ControlResult

RULE_VERSION, FIRST_RULE = 2, 1  # the first knew no control, and what it sealed is judged as it was sealed
SHARE_A_ROUND = 3  # one person in three gets a control set after a round


def asked_for(named: Mapping[str, Any]) -> bool:
    """Whether a study whose seal names this needs a control for "close enough"."""
    return bool(named.get("rule_version", FIRST_RULE) > FIRST_RULE)


def can_have(plan: AromaPlan) -> bool:
    """Whether its answer may be "close enough"; a threshold has its own higher doses to be found."""
    return plan.aim != "dose"


# ---- how many --------------------------------------------------------------------------------------------------------
def sets(plan: AromaPlan) -> int:
    """Sets with the control in the whole study."""
    return plan.control.sets if plan.control is not None else 0


def a_round(plan: AromaPlan) -> int:
    """Control sets after a round of a plan by rounds."""
    return math.ceil(len(plan.assessors) / SHARE_A_ROUND)


def most_a_sitting(plan: AromaPlan) -> int:
    """The most control sets that one person gets in one sitting."""
    seats = max(len(plan.assessors), 1)
    here = plan.sets_a_sitting * a_round(plan) if plan.sequential else math.ceil(sets(plan) / max(plan.sittings, 1))
    return math.ceil(min(here, sets(plan)) / seats)


def fewest(plan: AromaPlan, main_sets: int) -> int:
    """The least number of control sets beside so many others."""
    from analysis.choice import fewest_control_sets

    return fewest_control_sets(plan.method, main_sets, plan.sequential)


# ---- its mark --------------------------------------------------------------------------------------------------------
def judged(plan: AromaPlan, trials: int, correct: int) -> ControlResult:
    """Its own test; that of no trials stands for a plan without one."""
    from analysis.choice import judge_control

    return judge_control(plan.method, trials, correct, plan.alpha)


def chance(plan: AromaPlan) -> float:
    """Chance that it is found by a panel that gets 8 in 10 of its sets right; 0 without one."""
    from analysis.choice import control_chance

    return control_chance(plan.method, sets(plan), plan.alpha)


def chance_of_fewest(plan: AromaPlan, main_sets: int) -> float:
    """The same of a control of the fewest sets beside so many others; certain where the plan's aim has none."""
    from analysis.choice import control_chance

    return control_chance(plan.method, fewest(plan, main_sets), plan.alpha) if can_have(plan) else 1.0


# ---- problems and sentences ------------------------------------------------------------------------------------------
def problems(plan: AromaPlan, main_sets: int) -> Iterator[Problem]:
    """What is to mend in the control of a plan."""
    if plan.control is None or plan.method not in METHODS or not 0 < plan.alpha < 0.5:
        return
    least = fewest(plan, main_sets)
    if not can_have(plan):
        yield Problem("control", _("Fix the control: a study of doses has none; its higher doses are found or not."))
    elif not plan.control.holds.strip():
        yield Problem("control", _("Fix the control: write what is in the cup that is known to differ."))
    elif not least <= plan.control.sets <= max(main_sets, least):
        yield Problem(
            "control",
            _("Fix the control: this plan takes {least} to {most} sets with it.").format(
                least=least, most=max(main_sets, least)
            ),
        )
    elif judged(plan, plan.control.sets, 0).minimum_correct is None:
        yield Problem("control", _("Fix the control: with so few sets no result would count as found."))


def without(plan: AromaPlan) -> str:
    """What the verdict of a plan without a control can be; empty where it has one or needs none."""
    if plan.control is not None or not can_have(plan):
        return ""
    if plan.aim == "detectable":
        return _("No control is served, so the answer can be “detectable” or “cannot tell”, never “close enough”.")
    return _("No control is served, so it can be still found or cannot be told, and is never shown to be gone.")


def sentences(plan: AromaPlan) -> tuple[str, ...]:
    """What the rule says of the control."""
    if plan.control is None:
        return (without(plan),) if can_have(plan) else ()
    served = (
        _("a third of the people, in turn, get one after every round, and what is left is served alone at the end")
        if plan.sequential
        else _("always after the other sets of a sitting")
    )
    said = _(
        "Control, known to differ: {holds}; {n} sets, {served}. It is judged first, found from {x} right. Not found: "
        "nothing is called close enough. Its sets count nowhere else."
    )
    mark = judged(plan, plan.control.sets, 0).minimum_correct
    return (said.format(holds=made(plan), n=plan.control.sets, served=served, x=mark),)


def told(plan: AromaPlan) -> str:
    """The control in the record: what it is, and how many sets; empty for none."""
    return _("{holds}; {n} sets").format(holds=made(plan), n=sets(plan)) if plan.control else ""


def made(plan: AromaPlan) -> str:
    """What is in the cup that is known to differ."""
    if plan.control is None:
        return ""
    told = _("stronger infusion, {holds}") if plan.control.made == "stronger" else _("spike, {holds}")
    return told.format(holds=plan.control.holds)
