"""Boxes, seats, and every sitting with its cups, by the parts that all kinds share."""

from __future__ import annotations

from typing import Any

from analysis.design import serving_orders
from studyapp.services import table
from studyapp.services.access import new_id
from studyapp.services.table import note_taken as note_taken
from studyapp.store import studies
from tests.kinds.moulds.plan import MouldPlan


def set_out(tx: Any, study: str, plan: MouldPlan) -> None:
    """Everybody gets every temperature once a sitting."""
    table.name_samples(tx, study, plan.degrees)
    studies.add_attributes(tx, study, [(new_id(), line) for line in plan.attributes])
    studies.add_seats(tx, study, plan.assessors)
    samples = [one.id for one in studies.samples(tx, study)]
    for sitting in table.plan_sittings(tx, study, plan.sittings):
        seed = table.seed(tx, study, sitting.number)
        orders = serving_orders(len(samples), len(plan.assessors), 1, seed)
        table.serve_cups(tx, sitting, [[samples[place] for place in order] for order in orders], seed, samples[0])


def boxes(tx: Any, study: str, plan: MouldPlan) -> dict[str, str]:
    """The temperature of every box."""
    return {one.letter: f"{one.level:g} °C" for one in studies.samples(tx, study)}
