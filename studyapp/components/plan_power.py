"""What a plan can show: the chance of each verdict, before anybody has tasted."""

from __future__ import annotations

from collections.abc import Sequence

from studyapp.components import look
from studyapp.records import Plan, Problem
from studyapp.words import _

_NEEDED = {"pulls", "attributes", "assessors", "sittings", "next_sittings", "replicates", "looks", "alpha", "control"}


def can_be_tried(plan: Plan, problems: Sequence[Problem]) -> bool:
    """Whether the parts that the chances rest on are there."""
    return bool(plan.pulls) and not any(problem.blocks and problem.where in _NEEDED for problem in problems)


def not_yet() -> None:
    """What is still missing for an answer."""
    look.put(
        look.title(_("What this plan can show"), 2),
        look.text(_("Comes once there are two pulls, one deciding attribute and five assessors.")),
    )
