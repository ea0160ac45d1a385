"""An aroma study from its plan to answers, as its people would do it, for every test that needs one."""

from __future__ import annotations

import json
import secrets
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from itertools import combinations
from typing import Any

from sqlalchemy import text

from studyapp.kinds.aroma import rule
from studyapp.kinds.aroma.plan import AromaPlan, Botanical
from studyapp.methods import METHODS
from studyapp.records import JoinLink, Place, Sitting, Staff
from studyapp.services import accounts, joining, panel, planning, preparing, tasting, trying, watching
from studyapp.store import Store, trials

NAMES = ("Heron", "Lark", "Wren", "Tern", "Siskin", "Plover", "Dipper", "Rook")
CHECKS = frozenset({"safe_food", "allergens_shown", "sound_pieces", "labels_read", "botanical_named"})
# Words that must never reach an assessor.
CANARIES = ("Quittentorte", "Zirbelnuss", "Pfauenfeder", "Drehmaschine")
PLAN = AromaPlan(
    f"{CANARIES[0]} study",
    question=f"Does anybody notice {CANARIES[1]}?",
    botanical=Botanical("Mentha spicata", "leaf", "Garden & Daughter", "L7"),
    recipe=f"{CANARIES[1]} 70",
    batch=f"{CANARIES[2]} 4",
    process=f"{CANARIES[3]}, 5 g per kg, 10 min, air 60 °C, mass 45 °C",
    rest_seconds=0,
    contains="cocoa, cane sugar, spearmint",
    traces="milk",
    safe_food_by="Ida",
)


@dataclass
class Kitchen:
    """One sealed aroma study and its people; sittings are opened one by one."""

    store: Store
    leader: Staff
    preparer: Staff
    study: str
    plan: AromaPlan

    def sittings(self) -> tuple[Sitting, ...]:
        """All sittings in order."""
        return preparing.sittings(self.store, self.leader, self.study)

    def serve(self, sitting: Sitting) -> list[Taster]:
        """Open a sitting, let every tray out and seat everybody."""
        watching.open_sitting(self.store, self.leader, sitting.id)
        for tray in preparing.trays(self.store, self.preparer, sitting.id):
            preparing.release_tray(self.store, self.preparer, sitting.id, tray.position, CHECKS, "Cleo")
        return [self.seat(link) for link in joining.issue_links(self.store, self.leader, sitting.id)]

    def seat(self, link: JoinLink) -> Taster:
        """One assessor, joined and willing."""
        token = joining.join(self.store, link.code, "10.0.0.7", None)
        tasting.agree(self.store, token)
        return Taster(self, link.pseudonym, token)

    def taste_all(self, right: Callable[[str, float | None, int], bool]) -> None:
        """Every set of every sitting; `right(name, level, number)` says whether an answer is right."""
        for sitting in self.sittings():
            if sitting.state == "planned":
                for taster in self.serve(sitting):
                    taster.finish(lambda level, number, name=taster.name: right(name, level, number))
                watching.close_sitting(self.store, self.leader, sitting.id, "")


@dataclass
class Taster:
    """One assessor with a phone, whom the test tells the key."""

    kitchen: Kitchen
    name: str
    token: str

    def place(self) -> Place:
        """What the phone shows."""
        return tasting.place(self.kitchen.store, self.token)

    def choose(self, here: Place, picked: tuple[str, ...], guess: bool = False, nonce: str | None = None) -> Any:
        """Keep a choice."""
        nonce = nonce or secrets.token_hex(12)
        return trying.keep_choice(self.kitchen.store, self.token, here.trial or "", picked, guess, nonce)

    def sets(self) -> Iterator[Place]:
        """The sets of the sitting, one after the other, as long as each is answered."""
        while (here := self.place()).kind == "trial":
            yield here

    def finish(self, right: Callable[[float | None, int], bool]) -> None:
        """Answer every set of the sitting."""
        for here in self.sets():
            self.finish_one(here, right)

    def finish_one(self, here: Place, right: Callable[[float | None, int], bool]) -> None:
        """Answer the set that the phone shows."""
        level, answers = key_of(self.kitchen, here)
        self.choose(here, answers[0] if right(level, here.number) else wrong(here, answers))


def key_of(kitchen: Kitchen, here: Place) -> tuple[float | None, list[tuple[str, ...]]]:
    """The level of a set and the codes of every right answer, read from the store as nobody in the app can."""
    with kitchen.store.read() as tx:
        plain = {box.id for box in trials.boxes(tx, kitchen.study) if box.plain}
        query = text("SELECT level, codes, samples FROM trial_set WHERE id = :id")
        method = METHODS[kitchen.plan.method]
        level, codes, samples = tx.execute(query, {"id": here.trial}).one()
    order = tuple(int(sample not in plain) for sample in json.loads(samples))
    named = json.loads(codes)
    return level, [tuple(sorted(named[place] for place in one)) for one in method.right_answers(order)]


def wrong(here: Place, answers: list[tuple[str, ...]]) -> tuple[str, ...]:
    """An answer that is allowed and not right."""
    offered = here.cups[1:] if here.tell_reference else here.cups
    return next(one for one in combinations(offered, here.pick) if tuple(sorted(one)) not in answers)


def furnish_aroma(store: Store, plan: AromaPlan = PLAN, assessors: int = 5) -> Kitchen:
    """Staff, assessors and a sealed aroma study; `sittings` is made to fit."""
    leader = accounts.first_leader(store, "Ada", "a bench by the window")
    preparer = accounts.add_staff(store, leader, "Ben", "preparer", "a bench by the window")
    for name in NAMES[:assessors]:
        panel.add_assessor(store, leader, name)
    return sealed(draft(store, leader, preparer, plan))


def draft(store: Store, leader: Staff, preparer: Staff, plan: AromaPlan = PLAN) -> Kitchen:
    """A study of everybody on the panel, ready for its seal."""
    plan = replace(plan, assessors=tuple(one.id for one in panel.assessors(store, leader)))
    plan = replace(plan, sittings=rule.sittings_needed(plan))
    study = planning.new_study(store, leader, "aroma", plan.title)
    planning.keep_plan(store, leader, study, plan)
    return Kitchen(store, leader, preparer, study, plan)


def sealed(kitchen: Kitchen) -> Kitchen:
    """The same, sealed."""
    planning.seal(kitchen.store, kitchen.leader, kitchen.study, kitchen.plan.title)
    return kitchen
