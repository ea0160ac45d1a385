"""The invented workshop in a store, within one transaction: there as a whole or not at all.

The services that everybody uses make it: people, plans, seals, trays, keys, signatures. Only the marks of finished
sittings go in by the store's own functions, because through the assessor's services each of them would cost a page, a
check and a commit to disk. The record that results is the same, and `studyapp check` finds it sound.
"""

from __future__ import annotations

import contextlib
import secrets
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from typing import Any, cast

from demo_panels import aroma_workshop, batches_workshop, generate, makes_workshop
from studyapp.batches import Draft, Reading
from studyapp.errors import BadInput
from studyapp.kinds.hours import deciding
from studyapp.kinds.hours.deciding import book
from studyapp.kinds.hours.plan import HoursPlan, Limit, Pull
from studyapp.records import Assessor, Attribute, Line, Sitting, Staff
from studyapp.services import accounts, batches, closing, panel, planning, preparing, readings, watching
from studyapp.store import Store, events, people, servings, sittings

FINISHED = ("control_not_found", "no_hour_fits", "conche_longer", "cannot_tell", "window", "flow", "stop")
SECOND_PERSON, MACHINE = "Pim", "Small conche, 10 kg"
PRICES = book.Prices(
    machine_hour=6.5, kwh=0.28, kw=2.7, person_hour=24.0, minutes=30.0, mass_kg=14.0, reading=10.0, second_grade=60.0
)
WORDS = {
    "acidity": Attribute(
        "acidity", "Sourness on the sides of the tongue, as of lemon or vinegar.", "none", "very sour"
    ),
    "bitterness": Attribute(
        "bitterness", "Bitterness at the back of the tongue, as of black coffee.", "none", "very bitter"
    ),
    "off-notes": Attribute(
        "off-notes", "Ham, mould, rubber, wet cardboard: what does not belong.", "none", "very strong"
    ),
    "smoke": Attribute("smoke", "Smoke, as of a wood fire.", "none", "very strong"),
    "floral": Attribute("floral", "Flowers, as of orange blossom or jasmine.", "none", "very strong"),
    "fruity": Attribute("fruity", "Fresh fruit, as of red berries.", "none", "very strong"),
}


class _Shared:
    """A store for the services whose reads and writes all happen in one transaction."""

    def __init__(self, tx: Any) -> None:
        """`tx` is an open write transaction."""
        self.tx = tx

    @contextlib.contextmanager
    def write(self) -> Iterator[Any]:
        """The shared transaction."""
        yield self.tx

    read = write


@dataclass(frozen=True, slots=True)
class Workshop:
    """The store and its people."""

    store: Store
    leader: Staff
    second: Staff
    preparer: Staff
    assessors: tuple[Assessor, ...]


def fill(store: Store) -> None:
    """Everything at once; nothing is kept if anything fails."""
    with store.write() as tx:
        shop = _people(cast(Store, _Shared(tx)))
        makes_workshop.fill(shop)
        for name in FINISHED:
            _finished(shop, name)
        _asked_twice(shop, "second_look")
        _open(shop)
        _draft(shop)
        aroma_workshop.fill(shop.store, (shop.leader, shop.second), shop.preparer, shop.assessors)
        accounts.end_account(shop.store, shop.leader, shop.second.id)  # so that a visitor opens the next key alone


def _people(store: Store) -> Workshop:
    leader = accounts.first_leader(store, "Juno", secrets.token_urlsafe(24))
    second = accounts.add_staff(store, leader, "Ida", "leader", secrets.token_urlsafe(24))
    preparer = accounts.add_staff(store, leader, "Milo", "preparer", secrets.token_urlsafe(24))
    for name in generate.NAMES:
        panel.add_assessor(store, leader, name)
    return Workshop(store, leader, second, preparer, panel.assessors(store, leader))


# ---- studies -------------------------------------------------------------------------------------------------------
def _plan(shop: Workshop, name: str) -> HoursPlan:
    """The plan behind a folder of score files."""
    invented, rule = generate.settings(name), generate.settings(name, "RULE.toml")
    tasters = generate.NAMES[: invented["assessors"]]
    ids = {assessor.pseudonym: assessor.id for assessor in shop.assessors}
    lines = [
        replace(WORDS[line], wanted=asked["wanted"], margin=asked["margin"], limit=asked.get("limit"))
        for line, asked in rule["attributes"].items()
    ]
    first = invented.get("first_look_sittings", invented["sittings"])
    return HoursPlan(
        invented["title"],
        question=invented["question"],
        recipe=batches_workshop.recipe_of(name)[0],
        batch=f"Lot {invented['seed']}",
        machine=MACHINE,
        hour_zero="All sugar in, mass at 60 °C",
        pulls=tuple(Pull(float(hours), mass_g=220.0) for hours in invented["pulls"]),
        attributes=tuple(lines),
        control=float(rule["control"]),
        alpha=rule["alpha"],
        looks=rule["looks"],
        sittings=first,
        next_sittings=max(invented["sittings"] - first, 1),
        replicates=invented["replicates"],
        assessors=tuple(ids[name] for name in tasters),
        limits=tuple(Limit(name=limit, **asked) for limit, asked in rule.get("gates", {}).items()),
        contains=batches_workshop.recipe_of(name)[1]["contains"],
        traces=batches_workshop.TRACES,
    )


def _started(shop: Workshop, title: str) -> str:
    """A draft with the mark that the study is invented."""
    return planning.start(shop.store, shop.leader, "hours", HoursPlan(title), example=True)


def _sealed(shop: Workshop, plan: HoursPlan) -> str:
    study = _started(shop, plan.title)
    planning.keep_plan(shop.store, shop.leader, study, plan)
    planning.seal(shop.store, shop.leader, study, plan.title)
    return study


def _finished(shop: Workshop, name: str) -> None:
    """A study tasted to the end, its key opened and its verdict signed."""
    study = _sealed(shop, replace(_plan(shop, name), rest_seconds=0, warm_up=False))
    _read(shop, study, name)
    batches_workshop.record(shop, study, name, MACHINE)
    _taste_all(shop, study, name, first=1)
    open_key(shop, study)
    if name != "cannot_tell":
        sign(shop, study)
    if name == "flow":  # invented prices, so that the page of what the hour is worth has something to say
        book.keep_prices(shop.store, shop.leader, study, PRICES)


def _read(shop: Workshop, study: str, name: str) -> None:
    """What instruments read of the batch of a folder that has limits for them."""
    read = generate.read(name)
    if not read:
        return
    plan = planning.study(shop.store, shop.leader, study).plan
    batch = batches.add(shop.store, shop.preparer, Draft(plan.batch, plan.recipe, plan.machine), study)
    ones = [Reading(**{**row, "hours": float(row["hours"])}) for row in read]
    readings.keep(shop.store, shop.preparer, batch, ones)


def _asked_twice(shop: Workshop, name: str) -> None:
    """A study whose first look could not tell and whose second could."""
    study = _sealed(shop, replace(_plan(shop, name), rest_seconds=0, warm_up=False))
    _taste_all(shop, study, name, first=1)
    open_key(shop, study)
    deciding.plan_next_sitting(shop.store, shop.leader, study)
    _taste_all(shop, study, name, first=3)
    open_key(shop, study)
    sign(shop, study)


def open_key(shop: Workshop, study: str) -> None:
    """By the two leaders who must."""
    closing.ask_for_key(shop.store, shop.leader, study)
    closing.open_key(shop.store, shop.second, study)


def sign(shop: Workshop, study: str) -> None:
    """By the two people who must."""
    closing.sign(shop.store, shop.leader, study, "ran the test")
    closing.sign(shop.store, shop.second, study, "decides")


# ---- sittings ------------------------------------------------------------------------------------------------------
def _taste_all(shop: Workshop, study: str, name: str, first: int) -> None:
    """Serve and mark every sitting from number `first` on, with the scores of the folder."""
    scores = {
        (row.sitting, row.assessor, row.hours, row.replicate, row.attribute): row.score for row in generate.draw(name)
    }
    for sitting in preparing.sittings(shop.store, shop.preparer, study):
        if sitting.number >= first and sitting.state != "closed":
            taste(shop, sitting, preparing.levels_by_code(shop.store, shop.preparer, sitting.id), scores)


def _checks(shop: Workshop, study: str) -> frozenset[str]:
    return frozenset(check.code for check in preparing.checks(planning.study(shop.store, shop.leader, study)))


def taste(
    shop: Workshop, sitting: Sitting, pulls: Mapping[str, float], scores: Mapping[tuple[Any, ...], float | None]
) -> None:
    """One sitting: opened, filled, released and closed by the services, its marks kept by the store's own functions.

    `pulls` says what is in every cup, by its code; `scores` are by sitting, assessor, pull, replicate and line. What
    somebody has marked before stays.
    """
    if sitting.state == "planned":
        watching.open_sitting(shop.store, shop.leader, sitting.id)
        _release(shop, sitting)
    with shop.store.write() as tx:
        fresh = servings.lines(tx, sitting.id, servings.open_servings(tx, sitting.id)[0])
        for assessor in shop.assessors:
            cups = servings.blind(tx, sitting.id, assessor.id)
            if any(cup.finished_at is None for cup in cups):
                _arrive(tx, sitting, assessor)
            served: dict[float, int] = {}
            for cup in cups:
                hours = pulls[cup.code]
                served[hours] = served.get(hours, 0) + cup.scored
                of = (sitting.number, assessor.pseudonym, hours, served[hours])
                if cup.finished_at is None:
                    lines = servings.lines(tx, sitting.id, cup.id) if cup.started_at else fresh
                    left = [line for line in lines if cup.scored and line.value is None]
                    _mark(tx, sitting, cup, {line: scores[*of, line.name] for line in left})
    watching.close_sitting(shop.store, shop.leader, sitting.id)


def _release(shop: Workshop, sitting: Sitting) -> None:
    checks = _checks(shop, sitting.study)
    for tray in preparing.trays(shop.store, shop.preparer, sitting.id):
        preparing.release_tray(shop.store, shop.preparer, sitting.id, tray.position, checks, SECOND_PERSON)


def _arrive(tx: Any, sitting: Sitting, assessor: Assessor) -> None:
    present = sittings.presence(tx, sitting.id, assessor.id)
    if present is None or present.agreed_at is None:
        at = events.now()
        sittings.keep_presence(tx, sitting.id, assessor.id, agreed_at=at)
        events.append(tx, "agreed", {"sitting": sitting.id, "assessor": assessor.id, "at": at}, sitting.study)


def _mark(tx: Any, sitting: Sitting, cup: servings.BlindServing, marks: dict[Line, float | None]) -> None:
    """What offering a serving, marking every line and finishing it leave in the record."""
    missing = None in marks.values()
    reason = "piece missing" if missing else None  # as the truth draws it: whatever the piece tastes of
    if (at := servings.start(tx, cup.id)) is not None:
        events.append(tx, "serving offered", {"serving": cup.id, "at": at}, sitting.study)
    for line, value in marks.items():
        servings.add_score(tx, sitting.study, cup.id, line.id, value, reason, secrets.token_hex(12))
    at = events.now()
    servings.finish(tx, cup.id, "missing" if missing else "judged" if cup.scored else "warm-up", at)
    body = {"serving": cup.id, "at": at}
    events.append(tx, "serving missing" if missing else "serving finished", body, sitting.study)


def _open(shop: Workshop) -> None:
    """A sitting that a newcomer can join at once: opened, its trays released, a short rest."""
    plan = replace(_plan(shop, "stop"), title="Plain dark, this afternoon", rest_seconds=20)
    study = _sealed(shop, plan)
    sitting = preparing.sittings(shop.store, shop.preparer, study)[0]
    watching.open_sitting(shop.store, shop.leader, sitting.id)
    _release(shop, sitting)


def taste_the_rest(store: Store, study: str) -> None:
    """What is left of the study that `_open` began, in one transaction, as far as its key."""
    with store.write() as tx:
        shared = cast(Store, _Shared(tx))
        leader, preparer = (people.staff_by_role(tx, role) for role in ("leader", "preparer"))
        if leader is None or preparer is None:
            raise BadInput("Not done: nobody leads or prepares here.")
        shop = Workshop(shared, leader, leader, preparer, panel.assessors(shared, leader))
        _taste_all(shop, study, "stop", first=1)


def _draft(shop: Workshop) -> None:
    """A plan that is ready to be sealed."""
    plan = replace(_plan(shop, "window"), title="Fruity lot, next month", looks=2)
    study = _started(shop, plan.title)
    planning.keep_plan(shop.store, shop.leader, study, plan)
