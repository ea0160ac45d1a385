"""What a seal sets on the table: samples, ballot, seats, and for every sitting its orders and codes."""

from __future__ import annotations

import secrets
import string
from collections.abc import Sequence
from typing import Any

from analysis.design import blocks, serving_orders
from analysis.design import codes as random_codes
from studyapp.errors import BadInput
from studyapp.records import Plan, Sitting
from studyapp.services.access import new_id
from studyapp.store import events, servings, sittings, studies
from studyapp.words import _

_TRIES = 50


def lay_out(tx: Any, study_id: str, plan: Plan) -> None:
    """Samples, ballot and seats. Box letters are in random order, so that a letter tells no hour either."""
    hours = sorted(pull.hours for pull in plan.pulls)
    letters = list(string.ascii_uppercase[: len(hours)])
    secrets.SystemRandom().shuffle(letters)
    studies.add_samples(tx, study_id, [(new_id(), h, letter) for h, letter in zip(hours, letters, strict=True)])
    studies.add_attributes(tx, study_id, [(new_id(), line) for line in plan.attributes])
    studies.add_seats(tx, study_id, plan.assessors)


def make_sittings(
    tx: Any, study_id: str, plan: Plan, look: int, hours: tuple[float, ...] | None = None
) -> tuple[Sitting, ...]:
    """Plan the sittings of a look; `hours` names the pulls to serve, None all of them."""
    count = plan.sittings if look == 1 else plan.next_sittings
    first = len(sittings.of_study(tx, study_id)) + 1
    made = []
    for number in range(first, first + count):
        sitting = Sitting(new_id(), study_id, number, _("Tasting {n}").format(n=number), "planned")
        sittings.add(tx, sitting, look)
        made.append(sitting)
    served = [(id_, at) for id_, at, _letter in studies.samples(tx, study_id) if hours is None or at in hours]
    seeds = [int(events.digest([studies.key_seed(tx, study_id), sitting.number])[:12], 16) for sitting in made]
    before = _dealt_before(tx, study_id, [id_ for id_, _at in served])
    dealt = orders_of(plan, [at for _id, at in served], seeds, before)
    for sitting, seed, orders in zip(made, seeds, dealt, strict=True):
        _deal(tx, study_id, plan, sitting, [id_ for id_, _at in served], orders, seed)
    return tuple(made)


def _dealt_before(tx: Any, study_id: str, samples: Sequence[str]) -> list[list[list[int]]]:
    """How often each of these samples was dealt to each seat so far, a table for each earlier sitting."""
    cups = servings.dealt(tx, study_id)
    seats = [assessor for _number, assessor, _name in studies.seats(tx, study_id)]
    numbers = sorted({number for number, _assessor, _sample in cups})
    return [[[cups[number, seat, sample] for sample in samples] for seat in seats] for number in numbers]


def orders_of(
    plan: Plan, hours: Sequence[float], seeds: Sequence[int], before: blocks.Counts = ()
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


def always_served(plan: Plan, hours: Sequence[float]) -> tuple[int, int]:
    """Places of the control and the reference among the pulls served: without these two a sitting answers nothing."""
    return (hours.index(plan.control) if plan.control in hours else 0), len(hours) - 1


def _deal(
    tx: Any, study_id: str, plan: Plan, sitting: Sitting, samples: Sequence[str], orders: list[list[int]], seed: int
) -> None:
    """Cups and codes of one sitting, from the study's secret seed and the number of the sitting."""
    seats = [assessor for _number, assessor, _name in studies.seats(tx, study_id)]
    if plan.warm_up:  # the same piece for all, tasted and not scored
        orders = [[len(samples) // 2, *order] for order in orders]
    used = servings.codes_of_study(tx, study_id)
    codes = deal_codes([used.get(assessor, set()) for assessor in seats], len(orders[0]), seed)
    rows = [
        row
        for assessor, order, own in zip(seats, orders, codes, strict=True)
        for row in _cups(assessor, [samples[pull] for pull in order], own, plan.warm_up)
    ]
    servings.add(tx, sitting, rows)


def _cups(assessor: str, order: Sequence[str], codes: Sequence[str], warm_up: bool) -> list[dict[str, Any]]:
    """The cups of one assessor; position 0 is the warm-up."""
    first = 0 if warm_up else 1
    scored = order[1:] if warm_up else order
    return [
        {
            "id": new_id(),
            "assessor_id": assessor,
            "position": place + first,
            "code": code,
            "sample_id": sample,
            "replicate": 0 if warm_up and place == 0 else scored[: place + first].count(sample),
            "scored": not (warm_up and place == 0),
        }
        for place, (sample, code) in enumerate(zip(order, codes, strict=True))
    ]


def deal_codes(used: Sequence[set[str]], each: int, seed: int) -> list[list[str]]:
    """`each` codes for every assessor: none twice in the sitting, none that an assessor had before in the study.

    Codes nobody had are taken while they last; then an assessor may get one that only others had.

    Raises:
        BadInput: there are too few three-digit codes.
    """
    had = set().union(*used)
    need = each * len(used)
    if need + len(had) <= 900:
        fresh = random_codes(need, seed, frozenset(had))
        return [fresh[start : start + each] for start in range(0, need, each)]
    for attempt in range(_TRIES):
        dealt = _around(random_codes(900, seed + attempt), used, each)
        if dealt is not None:
            return dealt
    raise BadInput(_("Not sealed: three-digit codes run out. Serve fewer pulls or plan fewer sittings."))


def _around(deck: list[str], used: Sequence[set[str]], each: int) -> list[list[str]] | None:
    """Deal a shuffled deck so that nobody gets a code twice; who had most codes before chooses first."""
    dealt: list[list[str]] = [[] for _seat in used]
    left = list(deck)
    for seat in sorted(range(len(used)), key=lambda number: -len(used[number])):
        own = [code for code in left if code not in used[seat]][:each]
        if len(own) < each:
            return None
        dealt[seat] = own
        left = [code for code in left if code not in own]
    return dealt
