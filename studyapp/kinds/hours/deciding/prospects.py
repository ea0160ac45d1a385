"""What a plan can show before anybody has tasted: the whole rule on simulated studies."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import chain
from typing import TYPE_CHECKING

from studyapp.kinds.hours.deciding.scenarios import enough_pull, usual
from studyapp.kinds.hours.plan import HoursPlan
from studyapp.kinds.hours.rule import rule_of
from studyapp.kinds.hours.rule.batches import lot
from studyapp.kinds.hours.rule.orders import always_served
from studyapp.records import Chance
from studyapp.services.spreads import ASSUMED, Spreads

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    from analysis.planning import Design, OperatingCharacteristics

STUDIES = 10_000
BATCH_SPREAD = 0.3  # scale units, of what a batch does to one pull: ordinary variation (assumed, no source)
BLOCK_SEED = 20  # any: a seal draws its own blocks, equally balanced


@dataclass(frozen=True, slots=True)
class PlanPower:
    """What a plan can show: chances over simulated studies if the pull `enough_hours` is truly enough; `of_each` says
    that one more sitting is one of each batch.

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
    of_each: bool = False


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
    more = -(-plan.known_by(1) // plan.batches_a_sitting) if plan.several else 1
    sittings = replace(plan, sittings=plan.sittings + more)
    growing = [_chances(design, hours, seed, studies, spreads) for design in (plan, people, sittings)]
    found: list[OperatingCharacteristics | None] = [None, None, None]
    while _tried(found[behind := _behind(found)]) < studies:
        found[behind] = next(growing[behind])
        yield replace(_power(found, enough_pull(hours, plan.control), studies), of_each=plan.several)


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
    scenario = usual(rule, hours, spreads=spreads)
    if plan.several:
        truths = {name: replace(truth, batch=BATCH_SPREAD) for name, truth in scenario.attributes.items()}
        scenario = replace(scenario, attributes=truths)
    yield from growing_characteristics(scenario, rule, design_of(plan), studies, seed)


def design_of(plan: HoursPlan) -> Design:
    """Who tastes what how often; beyond the palate the very kind of blocks that a seal would deal. Two batches of one
    sitting are drawn as if each had its own."""
    from analysis.design import blocks
    from analysis.planning import Design

    served = [_batches_served(plan, look) for look in range(1, plan.looks + 1)]
    batch_of = (*chain(*served),) if plan.several else ()
    later = len(served[-1]) if plan.looks > 1 else plan.next_sittings
    plain = Design(len(plan.assessors), plan.replicates, len(served[0]), later, batch_of=batch_of)
    if not blocks.needed(len(plan.pulls), plan.replicates, plan.palate):
        return plain
    days = _days(plan, served)
    return replace(plain, replicates=max(max(row) for day in days for row in day), pattern=_by_sitting(days))


def _batches_served(plan: HoursPlan, look: int) -> list[int]:
    """The batch of each sitting of a look."""
    if plan.several:
        return [one for group in lot(plan, look, (), BLOCK_SEED) for one in group]
    return [0] * (plan.sittings if look == 1 else plan.next_sittings)


def _days(plan: HoursPlan, served: Sequence[Sequence[int]]) -> list[list[list[int]]]:
    """[sitting][assessor][pull]: how often each is served, in balanced blocks of each batch."""
    from analysis.design import blocks

    hours = sorted(pull.hours for pull in plan.pulls)
    always, people = always_served(plan, hours), len(plan.assessors)
    so_far: dict[int, list[list[list[int]]]] = {batch: [] for look in served for batch in look}
    days: list[list[list[int]]] = []
    for look, batches in enumerate(served):
        dealt = {}
        for batch in sorted({*batches}):
            own, seed = so_far[batch], BLOCK_SEED + look
            fresh = blocks.servings(len(hours), plan.palate, people, batches.count(batch), seed, always, own)
            own += fresh
            dealt[batch] = iter(fresh)
        days += [next(dealt[batch]) for batch in batches]
    return days


def _by_sitting(days: list[list[list[int]]]) -> NDArray[np.intp]:
    """[sitting][assessor][pull] as (assessors, pulls, sittings)."""
    import numpy as np

    return np.asarray(days).transpose(1, 2, 0)
