"""Who tastes which pull when: all of them in balanced orders or, beyond the palate, balanced blocks of them."""

from __future__ import annotations

from collections.abc import Sequence

from analysis.design import blocks, serving_orders
from studyapp.kinds.hours.plan import HoursPlan


def orders_of(
    plan: HoursPlan, hours: Sequence[float], seeds: Sequence[int], before: blocks.Counts = ()
) -> list[list[list[int]]]:
    """The pull (its place in `hours`, ascending) at each position of each assessor, one sitting a seed.

    Beyond the palate, blocks over all these sittings together and those `before`; reference and control stand in each
    of them.
    """
    people = len(plan.assessors)
    if not blocks.needed(len(hours), plan.replicates, plan.palate):
        return [serving_orders(len(hours), people, plan.replicates, seed) for seed in seeds]
    always = always_served(plan, hours)
    return blocks.palate_orders(len(hours), plan.palate, people, len(seeds), seeds[0], always, before)


def always_served(plan: HoursPlan, hours: Sequence[float]) -> tuple[int, int]:
    """Places of the control and the reference among the pulls served: without these two a sitting answers nothing."""
    return (hours.index(plan.control) if plan.control in hours else 0), len(hours) - 1
