"""Which test suits a question in plain words, how many sets, and what that can show."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING

from studyapp.errors import BadInput
from studyapp.kinds.aroma.plan import AromaAim
from studyapp.kinds.aroma.rule import designed, noticing
from studyapp.methods import METHODS, proposal
from studyapp.words import _

if TYPE_CHECKING:
    from analysis.choice import Chances, Reach

TRIALS_EACH, ALPHA, POWER = 3, 0.05, 0.8


@dataclass(frozen=True, slots=True)
class Proposal:
    """A test that fits, and what it can show at one dose or batch.

    `minimum_correct` right answers count as found; up to `maximum_correct` show that fewer than the limit notice, for
    people like these (None where no count is offered); `chances` are those of each verdict where nobody notices, half
    the limit do, and as many as the limit do; `by_power` holds what the panel reaches with 80 and 90 % chance,
    `floor_pd` the limit that no number of sets by so few people goes below.
    """

    method: str
    trials_each: int
    sets_a_sitting: int
    sittings: int
    sentences: tuple[str, ...]
    minimum_correct: int | None
    maximum_correct: int | None
    chances: tuple[Chances, ...]
    by_power: Mapping[float, Reach]
    floor_pd: float


# ---- the proposal ----------------------------------------------------------------------------------------------------
def propose(
    nameable: bool, lingers: bool, people: int, pd_limit: float, aim: AromaAim = "detectable", levels: int = 1
) -> Proposal:
    """The test for a question in plain words; `levels` counts doses, batches or days.

    Raises:
        BadInput: nobody tastes, or the limit is no share.
    """
    from analysis.choice import panel_reach

    if not 1 <= people <= 60 or not 0 < pd_limit < 1:
        raise BadInput(_("Fix the panel: 1 to 60 people, and a limit above 0 and below 100 %."))
    method, why = _method(nameable, lingers, aim)
    sets = 1 if lingers else 2
    made = designed(method, people, TRIALS_EACH, ALPHA, pd_limit)
    shown = made.similar.maximum_correct if made.similar.offered else None
    reach = panel_reach(method, people, TRIALS_EACH, ALPHA)
    said = (why, *_reach_sentences(people, pd_limit, reach.by_power[POWER], reach.floor_pd))
    sittings = math.ceil(TRIALS_EACH * max(levels, 1) / sets)
    found = made.minimum_correct
    chances = tuple(map(made.chances, noticing(pd_limit).values()))
    return Proposal(method, TRIALS_EACH, sets, sittings, said, found, shown, chances, reach.by_power, reach.floor_pd)


def _method(nameable: bool, lingers: bool, aim: AromaAim) -> tuple[str, str]:
    """Its name and why. Pieces eaten one by one have one test that can be asked after them; where batches or days are
    compared, a taste with a name does not count as lingering."""
    if aim == "aftertaste":
        name = next(name for name, method in METHODS.items() if method.ask_after)
        return name, _("Each piece is eaten alone; after the second you say after which more of it was still there.")
    stays = lingers and (not nameable or aim in ("detectable", "dose"))
    method, fit = proposal(nameable, stays)
    return method.name, fit.why()


def _reach_sentences(people: int, pd_limit: float, reach: Reach, floor: float) -> tuple[str, ...]:
    """What so few people can show, and what no number of sets by them can (80 % chance)."""
    numbers = {"people": people, "n": TRIALS_EACH, "pd": _percent(reach.demonstrable_pd), "limit": _percent(pd_limit)}
    if reach.demonstrable_pd <= pd_limit:
        shown = _("{people} people, {n} sets each, can show that fewer than {pd} % notice.")
    else:
        shown = _("{people} people, {n} sets each, can show that fewer than {pd} % notice, not fewer than {limit} %.")
    said = [shown.format(**numbers)]
    if reach.detectable_pd is not None:
        found = _("They find it in 8 of 10 studies when {pd} % truly notice.")
        said.append(found.format(pd=_percent(reach.detectable_pd)))
    if pd_limit >= floor:
        return tuple(said)
    below = _(
        "However often {people} people taste, answers as an identical pair gives show nothing below {floor} % for "
        "people like them; for themselves they can."
    )
    return (*said, below.format(people=people, floor=_percent(floor)))


def _percent(share: float) -> str:
    return f"{100 * share:.0f}"
