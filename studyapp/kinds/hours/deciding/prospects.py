"""What a plan can show before anybody has tasted: the whole rule on simulated studies."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from studyapp.kinds.hours.deciding.scenarios import enough_pull, usual
from studyapp.kinds.hours.plan import HoursPlan
from studyapp.kinds.hours.rule import rule_of
from studyapp.kinds.hours.rule.orders import always_served
from studyapp.records import Chance
from studyapp.services.spreads import ASSUMED, Spreads

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    from analysis.planning import Design, OperatingCharacteristics

STUDIES = 10_000
BLOCK_SEED = 20  # any: a seal draws its own blocks, equally balanced


@dataclass(frozen=True, slots=True)
class PlanPower:
    """What a plan can show: chances over simulated studies if the pull `enough_hours` is truly enough.

    `two_more_people` and `one_more_sitting` are the chance of a stop at that pull or earlier with the design so
    changed, None before any such study was tried. `done` of the `wanted` studies of all three designs are tried.
    """

    enough_hours: float
    stop_by: Chance
    stop_later: Chance
    conche_longer: Chance
    no_hour_fits: Chance
    cannot_tell: Chance
    two_more_people: Chance | None
    one_more_sitting: Chance | None
    mean_looks: float
    done: int
    wanted: int


def what_it_can_show(plan: HoursPlan, seed: int = 1, studies: int = STUDIES, spreads: Spreads = ASSUMED) -> PlanPower:
    """Chances of each verdict if the middle pull is enough, and what two more people or one more sitting change, with
    the spreads of the panel."""
    *_fewer, all_studies = more_and_more(plan, seed, studies, spreads)
    return all_studies


def more_and_more(
    plan: HoursPlan, seed: int = 1, studies: int = STUDIES, spreads: Spreads = ASSUMED
) -> Iterator[PlanPower]:
    """The same while the studies accumulate: the plan's own first, then whichever design has fewest so far.

    The last is the answer of `studies` studies of each design, whatever steps led there.
    """
    hours = tuple(sorted(pull.hours for pull in plan.pulls))
    people = replace(plan, assessors=(*plan.assessors, "+1", "+2"))
    sittings = replace(plan, sittings=plan.sittings + 1)
    growing = [_chances(design, hours, seed, studies, spreads) for design in (plan, people, sittings)]
    found: list[OperatingCharacteristics | None] = [None, None, None]
    while _tried(found[behind := _behind(found)]) < studies:
        found[behind] = next(growing[behind])
        yield _power(found, enough_pull(hours, plan.control), studies)


def _tried(found: OperatingCharacteristics | None) -> int:
    return found.studies if found is not None else 0


def _behind(found: Sequence[OperatingCharacteristics | None]) -> int:
    """The place of the design with fewest studies so far, the first of several."""
    return min(range(len(found)), key=lambda place: _tried(found[place]))


def _power(found: Sequence[OperatingCharacteristics | None], enough: float, studies: int) -> PlanPower:
    now, people, sittings = found
    assert now is not None  # the plan's own studies come first
    stop_by = now.stop_by(enough)
    return PlanPower(
        enough_hours=enough,
        stop_by=Chance(stop_by, now.studies),
        stop_later=Chance(sum(now.stop.values()) - stop_by, now.studies),
        conche_longer=Chance(now.conche_longer, now.studies),
        no_hour_fits=Chance(now.no_hour_fits, now.studies),
        cannot_tell=Chance(now.cannot_tell, now.studies),
        two_more_people=Chance(people.stop_by(enough), people.studies) if people is not None else None,
        one_more_sitting=Chance(sittings.stop_by(enough), sittings.studies) if sittings is not None else None,
        mean_looks=now.mean_looks,
        done=now.studies + _tried(people) + _tried(sittings),
        wanted=3 * studies,
    )


def _chances(
    plan: HoursPlan, hours: tuple[float, ...], seed: int, studies: int, spreads: Spreads
) -> Iterator[OperatingCharacteristics]:
    """Operating characteristics of the plan's own design and rule, while studies accumulate."""
    from analysis.planning import growing_characteristics

    rule = replace(rule_of(plan, plan.looks), look=1)
    yield from growing_characteristics(usual(rule, hours, spreads=spreads), rule, design_of(plan), studies, seed)


def design_of(plan: HoursPlan) -> Design:
    """Who tastes what how often; beyond the palate the very kind of blocks that a seal would deal."""
    from analysis.design import blocks
    from analysis.planning import Design

    people, later = len(plan.assessors), (plan.looks - 1) * [plan.next_sittings]
    plain = Design(people, plan.replicates, plan.sittings, plan.next_sittings)
    hours = sorted(pull.hours for pull in plan.pulls)
    if not blocks.needed(len(hours), plan.replicates, plan.palate):
        return plain
    always = always_served(plan, hours)
    days: list[list[list[int]]] = []
    for look, sittings in enumerate([plan.sittings, *later]):
        days += blocks.servings(len(hours), plan.palate, people, sittings, BLOCK_SEED + look, always, days)
    return replace(plain, replicates=max(max(row) for day in days for row in day), pattern=_by_sitting(days))


def _by_sitting(days: list[list[list[int]]]) -> NDArray[np.intp]:
    """[sitting][assessor][pull] as (assessors, pulls, sittings)."""
    import numpy as np

    return np.asarray(days).transpose(1, 2, 0)
