"""The invented infusions in a store: a finished threshold, a finished ladder, and a triangle sitting to join."""

from __future__ import annotations

import secrets
from dataclasses import replace
from typing import Any

from demo_panels import generate, infusion
from studyapp.kinds.aroma import rule
from studyapp.kinds.aroma.plan import AromaPlan, Botanical, Control
from studyapp.methods import METHODS
from studyapp.records import Assessor, Sitting, Staff
from studyapp.services import closing, planning, preparing, watching
from studyapp.store import Store, events, sittings, trials

SECOND_PERSON = "Pim"
SPEARMINT = Botanical("Mentha spicata", "dried leaf", "Invented Herb Garden", "Lot M-12")
Left = dict[tuple[str, float], list[int]]


def fill(store: Store, leaders: tuple[Staff, Staff], preparer: Staff, assessors: tuple[Assessor, ...]) -> None:
    """All aroma studies of the workshop, through the services of the app."""
    for name in infusion.series():
        _finished(store, leaders, preparer, assessors, name)
    _open(store, leaders[0], preparer, assessors)


def _plan(assessors: tuple[Assessor, ...], name: str, rest_seconds: int) -> AromaPlan:
    """The plan behind a folder of answers."""
    invented = infusion.settings(name)
    tasters = generate.NAMES[: invented["assessors"]]
    ids = {assessor.pseudonym: assessor.id for assessor in assessors}
    levels = {
        "dose": {"doses": tuple(float(level) for level in invented["levels"])},
        "carry over": {"batches": tuple(invented["levels"]), "purge_g": 8000.0},
    }[invented["aim"]]
    return _sized(
        AromaPlan(
            invented["title"],
            aim=invented["aim"],
            question=invented["question"],
            nameable=True,
            note=invented["note"],
            method=invented["method"],
            pd_limit=invented.get("pd_limit", 0.3),
            trials_each=invented["trials_each"],
            sets_a_sitting=invented["sets_a_sitting"],
            reference="plain chocolate of the batch before the first mint",
            control=Control("stronger", invented["control"], invented["control_sets"])
            if "control" in invented
            else None,
            **_common(tuple(ids[one] for one in tasters), rest_seconds),
            **levels,
        )
    )


def _common(assessors: tuple[str, ...], rest_seconds: int) -> dict[str, Any]:
    return {
        "botanical": SPEARMINT,
        "recipe": "70 % invented lot, 30 % cane sugar",
        "batch": "Lot 57",
        "process": "air at 55 °C through 6 g of leaf per kg, mass at 46 °C, 20 min where no other time is named",
        "assessors": assessors,
        "rest_seconds": rest_seconds,
        "contains": "cocoa mass, cane sugar, air passed through spearmint leaf",
        "traces": "milk, hazelnut, soya",
        "safe_food_by": "Ida",
    }


def _sized(plan: AromaPlan) -> AromaPlan:
    return replace(plan, sittings=rule.sittings_needed(plan))


def _sealed(store: Store, leader: Staff, plan: AromaPlan) -> str:
    """Drafted with the mark that the study is invented, then sealed as any other."""
    study = planning.start(store, leader, "aroma", AromaPlan(plan.title), example=True)
    planning.keep_plan(store, leader, study, plan)
    planning.seal(store, leader, study, plan.title)
    return study


# ---- finished studies ----------------------------------------------------------------------------------------------
def _finished(
    store: Store, leaders: tuple[Staff, Staff], preparer: Staff, assessors: tuple[Assessor, ...], name: str
) -> None:
    """Tasted to the end with the answers of the folder, opened and signed."""
    leader, second = leaders
    plan = _plan(assessors, name, rest_seconds=0)
    study = _sealed(store, leader, plan)
    left: Left = {}
    for answer in infusion.draw(name):
        left.setdefault((answer.assessor, answer.level), []).append(answer.correct)
    for sitting in preparing.sittings(store, preparer, study):
        _serve(store, leader, preparer, sitting)
        with store.write() as tx:
            for assessor in assessors:
                _answer_all(tx, sitting, assessor, plan.method, left)
        watching.close_sitting(store, leader, sitting.id)
    closing.ask_for_key(store, leader, study)
    closing.open_key(store, second, study)
    closing.sign(store, leader, study, "ran the test")
    closing.sign(store, second, study, "decides")


def _serve(store: Store, leader: Staff, preparer: Staff, sitting: Sitting) -> None:
    watching.open_sitting(store, leader, sitting.id)
    preparing.fill_rows(store, preparer, sitting.id)
    checks = frozenset(check.code for check in preparing.checks(planning.study(store, leader, sitting.study)))
    for tray in preparing.trays(store, preparer, sitting.id):
        preparing.release_tray(store, preparer, sitting.id, tray.position, checks, SECOND_PERSON)


def _answer_all(tx: Any, sitting: Sitting, assessor: Assessor, method: str, left: Left) -> None:
    """What agreeing, being offered every set and choosing leave in the record."""
    sets = trials.keyed(tx, sitting.id, assessor.id)
    if sets:
        at = events.now()
        sittings.keep_presence(tx, sitting.id, assessor.id, agreed_at=at)
        events.append(tx, "agreed", {"sitting": sitting.id, "assessor": assessor.id, "at": at}, sitting.study)
    for one in sets:
        events.append(tx, "set offered", {"set": one.id, "at": trials.start(tx, one.id)}, sitting.study)
        correct = left[assessor.pseudonym, one.level or 0.0].pop()
        answers = METHODS[method].right_answers(one.order)
        places = [frozenset([place]) for place in range(len(one.order))]
        picked = next(place for place in places if (place in answers) == bool(correct))
        choice = [one.codes[place] for place in sorted(picked)]
        at = trials.add_answer(tx, sitting.study, one.id, choice, False, None, secrets.token_hex(12))
        trials.finish(tx, one.id, "answered", at)


# ---- an open sitting -----------------------------------------------------------------------------------------------
def _open(store: Store, leader: Staff, preparer: Staff, assessors: tuple[Assessor, ...]) -> None:
    """A triangle sitting that a newcomer can join at once: its trays are out, the rest is short."""
    plan = _sized(
        AromaPlan(
            "Spearmint, noticed or not",
            question="Does anybody notice 5 minutes of spearmint?",
            note="mint",
            trials_each=3,
            **_common(tuple(assessor.id for assessor in assessors[:8]), rest_seconds=20),
        )
    )
    study = _sealed(store, leader, plan)
    _serve(store, leader, preparer, preparing.sittings(store, preparer, study)[0])
