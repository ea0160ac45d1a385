"""What closing a sitting early costs: the chance of an answer with the open servings and without them."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from studyapp.kinds.hours.deciding.prospects import design_of
from studyapp.kinds.hours.deciding.scenarios import enough_pull, usual
from studyapp.kinds.hours.plan import HoursPlan
from studyapp.kinds.hours.rule import rule_of
from studyapp.records import Chance
from studyapp.services.spreads import ASSUMED, Spreads

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    from analysis.planning import Design

Lost = frozenset[tuple[float, int]]
STUDIES = 1000  # three points of Monte Carlo error at most between the two, as the same studies are drawn twice
SEED = 1


@dataclass(frozen=True, slots=True)
class Cost:
    """The chance of any verdict but `cannot tell`, were `enough_hours` truly enough: if everything open is tasted, and
    if the sitting is closed now."""

    enough_hours: float
    whole: Chance
    closed: Chance


def costs(
    plan: HoursPlan,
    gaps: Mapping[int, int],
    number: int,
    left: int,
    spreads: Spreads = ASSUMED,
    studies: int = STUDIES,
    lost: Lost = frozenset(),
    enough: float | None = None,
) -> Iterator[Cost | None]:
    """The same while studies accumulate, at once None, before any work is done.

    Args:
        plan: as sealed, without pulls that were lost as a whole.
        gaps: servings that stay missing in each sitting, by its number, whatever is decided now.
        number: that of the sitting to be closed.
        left: its servings that are open.
        spreads: those of the panel.
        studies: how many are tried of each.
        enough: the pull taken to be truly enough; None as on the page of a plan.
        lost: pulls that a sitting did not serve, as (hours, number of the sitting).

    Which cups are missing is drawn by lot, the same for both: the cost of real ones would hint at what they hold.
    """
    from analysis.planning import growing_characteristics

    yield None
    hours = tuple(sorted(pull.hours for pull in plan.pulls))
    rule = replace(rule_of(plan, plan.looks), look=1)
    enough = enough if enough in hours else enough_pull(hours, plan.control)
    truth = usual(rule, hours, enough, spreads)
    designs = [with_gaps(plan, gaps, lost), with_gaps(plan, {**gaps, number: gaps.get(number, 0) + left}, lost)]
    growing = [growing_characteristics(truth, rule, design, studies, SEED) for design in designs]
    for both in zip(*growing, strict=True):
        yield Cost(enough, *(Chance(1 - one.cannot_tell, one.studies) for one in both))


def with_gaps(plan: HoursPlan, gaps: Mapping[int, int], lost: Lost = frozenset()) -> Design:
    """The design of a plan without so many servings in each sitting, and without those of pulls that it lost."""
    import numpy as np

    design = design_of(plan)
    pattern = _served(design, len(plan.pulls), plan.looks)
    hours = sorted(pull.hours for pull in plan.pulls)
    for pull, number in lost:
        pattern[:, hours.index(pull), number - 1] = 0
    for number, count in gaps.items():
        if number <= pattern.shape[2]:
            _take_out(pattern[:, :, number - 1], count, np.random.default_rng([SEED, number]))
    return replace(design, pattern=pattern)


def _served(design: Design, pulls: int, looks: int) -> NDArray[np.intp]:
    """How often each pull is served to each assessor in each sitting, as an array that may be changed."""
    import numpy as np

    shape = (design.assessors, pulls, design.sittings(looks))
    return design.pattern.copy() if design.pattern is not None else np.full(shape, design.replicates, dtype=np.intp)


def _take_out(served: NDArray[np.intp], count: int, rng: np.random.Generator) -> None:
    """Take so many servings out of one sitting (assessors, pulls), by lot: as many as can go are the first `count` of
    one order, so a larger gap holds the smaller one."""
    import numpy as np

    cups = np.repeat(np.arange(served.size), served.ravel())
    for cup in rng.permutation(cups)[: max(0, min(count, cups.size))]:
        served[np.unravel_index(cup, served.shape)] -= 1
