"""What a plan can show before anybody has tasted: the whole rule on simulated studies."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from studyapp.records import Plan, PlanPower
from studyapp.services.dealing import always_served
from studyapp.services.planning import rule_of
from studyapp.services.scenarios import enough_pull, usual

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    from analysis.planning import OperatingCharacteristics
    from analysis.simulation import Design

STUDIES = 1000
BLOCK_SEED = 20  # any: a seal draws its own blocks, equally balanced


def what_it_can_show(plan: Plan, seed: int = 1, studies: int = STUDIES) -> PlanPower:
    """Chances of each verdict if the middle pull is enough, and what two more people or one more sitting change.

    The spread of scores is assumed (assessors 1.0, their reading of a pull 0.5, one mark 1.0 units) and said to be.
    """
    hours = tuple(sorted(pull.hours for pull in plan.pulls))
    enough = enough_pull(hours)
    now = _chances(plan, hours, seed, studies)
    people = _chances(replace(plan, assessors=(*plan.assessors, "+1", "+2")), hours, seed, studies)
    sittings = _chances(replace(plan, sittings=plan.sittings + 1), hours, seed, studies)
    stop_by = now.stop_by(enough)
    return PlanPower(
        enough_hours=enough,
        stop_by=stop_by,
        stop_later=sum(now.stop.values()) - stop_by,
        conche_longer=now.conche_longer,
        no_hour_fits=now.no_hour_fits,
        cannot_tell=now.cannot_tell,
        two_more_people=people.stop_by(enough),
        one_more_sitting=sittings.stop_by(enough),
        monte_carlo_se=now.monte_carlo_se,
        studies=studies,
        mean_looks=now.mean_looks,
    )


def _chances(plan: Plan, hours: tuple[float, ...], seed: int, studies: int) -> OperatingCharacteristics:
    """Operating characteristics of the plan's own design and rule."""
    from analysis.planning import operating_characteristics

    rule = replace(rule_of(plan, plan.looks), look=1)
    return operating_characteristics(usual(rule, hours), rule, design_of(plan), studies, seed)


def design_of(plan: Plan) -> Design:
    """Who tastes what how often; beyond the palate the very kind of blocks that a seal would deal."""
    from analysis import blocks
    from analysis.simulation import Design

    people, later = len(plan.assessors), (plan.looks - 1) * [plan.next_sittings]
    plain = Design(people, plan.replicates, plan.sittings, plan.next_sittings)
    hours = sorted(pull.hours for pull in plan.pulls)
    if not blocks.needed(len(hours), plan.replicates, plan.palate):
        return plain
    always = always_served(plan, hours)
    days = [
        day
        for look, sittings in enumerate([plan.sittings, *later])
        for day in blocks.servings(len(hours), plan.palate, people, sittings, BLOCK_SEED + look, always)
    ]
    return replace(plain, replicates=max(max(row) for day in days for row in day), pattern=_by_sitting(days))


def _by_sitting(days: list[list[list[int]]]) -> NDArray[np.intp]:
    """[sitting][assessor][pull] as (assessors, pulls, sittings)."""
    import numpy as np

    return np.asarray(days).transpose(1, 2, 0)
