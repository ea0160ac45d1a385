"""What the seal of an aroma study sets on the table: boxes, seats, and for every sitting its sets, orders and codes."""

from __future__ import annotations

import math
import random
from itertools import islice, zip_longest
from typing import Any

from analysis.design import deal, shuffled
from studyapp.kinds.aroma.plan import SINCE_BOTANICAL, AromaPlan
from studyapp.kinds.aroma.rule import control, levels, sets_each
from studyapp.methods import METHODS, Order
from studyapp.records import CONTROL, Sitting
from studyapp.services import table
from studyapp.services.access import new_id
from studyapp.services.table import note_taken as note_taken
from studyapp.store import studies, trials
from studyapp.store.trials import Box
from studyapp.words import _

Dealt = tuple[float | None, Order]
Tray = tuple[Dealt | None, ...]  # one set a seat, None for who gets none


def set_out(tx: Any, study_id: str, plan: AromaPlan) -> None:
    """What a seal puts on the table: boxes, seats, and every sitting with its sets."""
    lay_out(tx, study_id, plan)
    make_sittings(tx, study_id, plan)


def boxes(tx: Any, study_id: str, plan: AromaPlan) -> dict[str, str]:
    """What every box holds, by its letter."""
    return {box.letter: box.name for box in trials.boxes(tx, study_id)}


def lay_out(tx: Any, study_id: str, plan: AromaPlan) -> None:
    """Boxes and seats. Letters are in random order, so that a letter tells no dose either. Times after a piece are
    asked about one chocolate, in one box."""
    main = (None,) if plan.longest_wait else levels(plan)
    asked = (*main, *([CONTROL] if plan.control is not None else []))
    letters = table.box_letters(len(asked) + 1)
    plain = plan.reference if plan.aim in SINCE_BOTANICAL else plan.blank
    made = [Box(new_id(), letters[0], plain, True, None)]
    made += [
        Box(new_id(), letter, _name(plan, level), False, level)
        for letter, level in zip(letters[1:], asked, strict=True)
    ]
    trials.add_boxes(tx, study_id, made)
    studies.add_seats(tx, study_id, plan.assessors)


def _name(plan: AromaPlan, level: float | None) -> str:
    """What a box holds, for the preparer."""
    if level == CONTROL:
        return _("control: {holds}").format(holds=control.made(plan))
    if level == 0:
        return _("{blank}, once more").format(blank=plan.blank)
    return {
        "detectable": _("infused"),
        "dose": _("infused, {n} min") if plan.dose_unit == "min" else _("infused, {n} g"),
        "carry over": _("plain batch +{n}"),
        "linger": _("after {n} days"),
        "aftertaste": _("infused"),
    }[plan.aim].format(n=f"{level or 0:g}")


def make_sittings(tx: Any, study_id: str, plan: AromaPlan) -> tuple[Sitting, ...]:
    """Plan every sitting of the study and deal its sets."""
    sets = deal_sets(plan, table.seed(tx, study_id, "sets"))
    rounds: list[Tray] = list(zip(*sets, strict=True))
    controls = deal_controls(plan, control.sets(plan), table.seed(tx, study_id, "control"))
    made = table.plan_sittings(tx, study_id, plan.sittings)
    for place, sitting in enumerate(made):
        here = range(place * plan.sets_a_sitting, min((place + 1) * plan.sets_a_sitting, len(rounds)))
        trays = _by_rounds(plan, rounds, here, controls) if plan.sequential else _after(plan, rounds, here, controls)
        _serve(tx, sitting, plan, trays, table.seed(tx, study_id, sitting.number))
    return made


def serve_control(tx: Any, study_id: str, plan: AromaPlan, left: int) -> Sitting:
    """One more sitting of the control alone, with the sets that are left of it."""
    (made,) = table.plan_sittings(tx, study_id, 1)
    dealt = deal_controls(plan, left, table.seed(tx, study_id, "control left"))
    _serve(tx, made, plan, _trays(plan, dealt), table.seed(tx, study_id, made.number))
    return made


def deal_controls(plan: AromaPlan, count: int, seed: int) -> list[tuple[int, Dealt]]:
    """So many control sets, (seat, set), in rotation over the seats, which start in random order."""
    if not count:
        return []
    seats = shuffled(list(range(len(plan.assessors))), random.Random(seed))
    orders = deal(METHODS[plan.method].orders, count, seed + 1)
    return [(seats[n % len(seats)], (CONTROL, order)) for n, order in enumerate(orders)]


def _by_rounds(plan: AromaPlan, rounds: list[Tray], here: range, controls: list[tuple[int, Dealt]]) -> list[Tray]:
    """After each round the control for a third of the people, in rotation, as long as sets of it are left."""
    each, trays = control.a_round(plan), []
    for number in here:
        trays += [rounds[number], *_trays(plan, controls[number * each : (number + 1) * each])]
    return trays


def _after(plan: AromaPlan, rounds: list[Tray], here: range, controls: list[tuple[int, Dealt]]) -> list[Tray]:
    """The control after all other sets of the sitting; each time round the table it moves on by a sitting a seat."""
    number, people = here.start // plan.sets_a_sitting, len(plan.assessors)
    turns = enumerate(controls)
    mine = [dealt for turn, dealt in turns if (turn % people + turn // people) % plan.sittings == number]
    return [*(rounds[each] for each in here), *_trays(plan, mine)]


def _trays(plan: AromaPlan, controls: list[tuple[int, Dealt]]) -> list[Tray]:
    """As many trays as the seat with most of these sets needs."""
    own: list[list[Dealt]] = [[] for _seat in plan.assessors]
    for seat, dealt in controls:
        own[seat].append(dealt)
    return list(zip_longest(*own))


def deal_sets(plan: AromaPlan, seed: int) -> list[list[Dealt]]:
    """For every seat its sets in the order of tasting: (level, order of the cups).

    Every round holds each level once, in an order of its own for each seat, never in the order of the doses for all.
    At each level the orders of the cups are used equally over the panel, dealt at random in whole rounds of all orders.
    Times after a piece come equally often at each place of a round over the panel: rows of a Latin square, dealt alike.
    Their orders are shuffled over all sets of a time: in short rounds the orders of neighbours hang together, and who
    repeats the last answer would be right when the neighbour is.
    """
    asked, people = levels(plan), len(plan.assessors)
    rounds = sets_each(plan) // len(asked)
    rng, orders = random.Random(seed), METHODS[plan.method].orders
    if plan.longest_wait:
        orders = orders * math.ceil(people * rounds / len(orders))
    cups = {level: iter(deal(orders, people * rounds, seed + n)) for n, level in enumerate(asked)}
    turned = [asked[first:] + asked[:first] for first in range(len(asked))]
    rows = iter(deal(turned, people * rounds, seed + len(asked)) if plan.longest_wait else ())
    dealt: list[list[Dealt]] = [[] for _seat in range(people)]
    for _round in range(rounds):
        for own in dealt:
            own += [(level, next(cups[level])) for level in next(rows, None) or shuffled(list(asked), rng)]
    return dealt


def _serve(tx: Any, sitting: Sitting, plan: AromaPlan, trays: list[Tray], seed: int) -> None:
    """Codes and boxes for the sets of one sitting, tray by tray."""
    boxes = {(box.plain, box.level): box.id for box in trials.boxes(tx, sitting.study)}
    used = trials.codes_of_study(tx, sitting.study)
    cups = METHODS[plan.method].cups
    most = max(sum(dealt is not None for dealt in own) for own in zip(*trays, strict=True))
    codes = table.deal_codes([used.get(assessor, set()) for assessor in plan.assessors], cups * most, seed)
    rows = []
    for assessor, own, given in zip(plan.assessors, zip(*trays, strict=True), codes, strict=True):
        left = iter(given)
        for place, dealt in enumerate(own):
            if dealt is None:
                continue
            level, order = dealt
            other = boxes.get((False, level)) or boxes[False, None]  # times after a piece share one box
            held = [boxes[True, None] if sample == 0 else other for sample in order]
            row = {"id": new_id(), "assessor_id": assessor, "position": place + 1, "level": level}
            rows.append({**row, "codes": list(islice(left, cups)), "samples": held})
    trials.add_sets(tx, sitting, rows)
