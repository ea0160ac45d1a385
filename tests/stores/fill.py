"""Fill a store as its people would, a study at every stage of both kinds, and write down what must stay true of it.

    python -m tests.stores.fill v0002_rule_1      (two files in this folder)

run before a change to the store, the seal or the rule, so that later versions can be held to what this one wrote; see
README.md beside it. Every person, lot and mark is invented. Ids, codes and keys are drawn anew on each run.
"""

from __future__ import annotations

import gzip
import json
import random
import shutil
import sys
import tempfile
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

from demo_panels import generate, makes_workshop
from demo_panels.workshop import Workshop
from studyapp.kinds.aroma.plan import AromaPlan
from studyapp.kinds.hours import setting_out
from studyapp.kinds.hours.plan import HoursPlan, Pull
from studyapp.kinds.hours.setting_out import pulls
from studyapp.records import Assessor, Attribute, Place, Sitting, Staff
from studyapp.services import (
    accounts,
    calling,
    closing,
    joining,
    packages,
    panel,
    planning,
    preparing,
    tasting,
    ties,
    watching,
)
from studyapp.services.checking import check
from studyapp.services.devices import Device
from studyapp.store import Store, open_store, studies
from tests.conftest import CHECKS, Hand
from tests.kinds.aroma import aroma_kitchen
from tests.stores.earlier import HERE, PASSPHRASE

HOURS = (0.0, 4.0, 8.0, 12.0, 16.0, 24.0)
# True means of acidity at those hours: a curve that settles, one that rises again, and one that stays open.
SETTLES = (7.5, 5.5, 3.6, 3.5, 3.5, 3.5)
RISES = (7.0, 4.5, 2.0, 2.0, 3.0, 4.5)
OPEN = (7.0, 5.5, 4.8, 4.4, 4.2, 4.0)


@dataclass
class Shop:
    """The people of the store, and the phones that stay joined to a running sitting, by study."""

    store: Store
    leader: Staff
    second: Staff
    preparer: Staff
    assessors: tuple[Assessor, ...]
    phones: dict[str, str] = field(default_factory=dict)


def fill(file: Path) -> dict[str, Any]:
    """Make the store; returns what must stay true of it."""
    store = open_store(str(file))
    leader = accounts.first_leader(store, "Ada", PASSPHRASE)
    second = accounts.add_staff(store, leader, "Ida", "leader", PASSPHRASE)
    preparer = accounts.add_staff(store, leader, "Ben", "preparer", PASSPHRASE)
    for name in aroma_kitchen.NAMES[:6]:
        panel.add_assessor(store, leader, name)
    shop = Shop(store, leader, second, preparer, panel.assessors(store, leader))
    _hours(shop)
    _aroma(shop)
    _troubled(shop)
    makes_workshop.finished(Workshop(store, leader, second, preparer, _demo_panel(shop)), "short_programme")
    _brought_in(shop, file.parent / "elsewhere")
    told = check(str(file))
    facts = _facts(shop) | {"head": told.head, "events": told.events}
    store.close()  # last, so that SQLite writes its log into the file and takes it away
    return facts


def _facts(shop: Shop) -> dict[str, Any]:
    """Seals and signed verdicts as they stand, and the phones."""
    with shop.store.read() as tx:
        revision = tx.exec_driver_sql("SELECT version_num FROM alembic_version").scalar()
        kept = [
            {
                "id": study.id,
                "title": study.document["title"],
                "kind": study.kind,
                "state": study.state,
                "seal": study.seal,
                "sealed_at": study.sealed_at,
                "verdict": studies.decision_document(tx, study.id, study.look),
            }
            for study in studies.all_studies(tx)
        ]
    ordered = sorted(kept, key=lambda study: (study["kind"], study["title"]))
    return {"revision": revision, "studies": ordered, "phones": shop.phones}


# ---- conching hours --------------------------------------------------------------------------------------------------
def _plan(shop: Shop, title: str) -> HoursPlan:
    return HoursPlan(
        title,
        question="From which hour on is more conching no gain?",
        recipe="70 % invented lot",
        batch="Lot 12",
        machine="Small conche",
        hour_zero="All sugar in",
        pulls=tuple(Pull(hours, mass_g=220.0) for hours in HOURS),
        attributes=(Attribute("Acidity", "sharp, like lemon"), Attribute("Fruit", "red berries", decides=False)),
        looks=2,
        sittings=2,
        next_sittings=1,
        assessors=tuple(assessor.id for assessor in shop.assessors),
        rest_seconds=0,
        contains="cocoa, cane sugar",
        traces="milk",
    )


def _hours(shop: Shop) -> None:
    """A draft; sealed; being served; opened; signed, twice; and one that cannot tell with a look left."""
    draft = planning.new_study(shop.store, shop.leader, "hours", "Hours, draft")
    planning.keep_plan(shop.store, shop.leader, draft, _plan(shop, "Hours, draft"))
    _sealed(shop, "Hours, sealed")
    served = _sealed(shop, "Hours, being served")
    _serve(shop, preparing.sittings(shop.store, shop.leader, served)[0], SETTLES, 0.4, most=8)
    _opened(shop, "Hours, opened", SETTLES, 0.4)
    _opened(shop, "Hours, cannot tell", OPEN, 1.6)
    for title, means in (("Hours, signed", SETTLES), ("Hours, signed before a better hour", RISES)):
        study = _opened(shop, title, means, 0.4)
        closing.sign(shop.store, shop.leader, study, "ran the test")
        closing.sign(shop.store, shop.second, study, "decides")


def _sealed(shop: Shop, title: str) -> str:
    study = planning.new_study(shop.store, shop.leader, "hours", title)
    planning.keep_plan(shop.store, shop.leader, study, _plan(shop, title))
    planning.seal(shop.store, shop.leader, study, title)
    return study


def _opened(shop: Shop, title: str, means: tuple[float, ...], spread: float) -> str:
    """Tasted to the end, with all that a study gathers on its way, and its key opened."""
    study = _sealed(shop, title)
    setting_out.note_pull(shop.store, shop.preparer, study, 8.0, "2026-11-24 10:41", 214.0)
    watching.note_deviation(shop.store, shop.leader, study, "The room was warm.")
    for sitting in preparing.sittings(shop.store, shop.leader, study):
        _serve(shop, sitting, means, spread)
        watching.close_sitting(shop.store, shop.leader, sitting.id)
    closing.ask_for_key(shop.store, shop.leader, study)
    closing.open_key(shop.store, shop.second, study)
    return study


def _serve(shop: Shop, sitting: Sitting, means: tuple[float, ...], spread: float, most: int | None = None) -> None:
    """Open a sitting and taste it; after `most` marks of one assessor it is left running, that phone still joined."""
    key = preparing.levels_by_code(shop.store, shop.preparer, sitting.id)
    for tray in preparing.trays(shop.store, shop.preparer, sitting.id):
        preparing.release_tray(shop.store, shop.preparer, sitting.id, tray.position, CHECKS, "Cleo")
    watching.open_sitting(shop.store, shop.leader, sitting.id)
    tokens = [
        joining.join(shop.store, link.code, "10.0.0.7", None)
        for link in joining.issue_links(shop.store, shop.leader, sitting.id)
    ]
    value = _marks(dict(zip(HOURS, means, strict=True)), key, spread, sitting.number)
    if most is not None:
        shop.phones[sitting.study] = tokens[0]
        _taste_some(Hand(shop.store, tokens[0]), value, most)
        return
    for number, token in enumerate(tokens):
        hand = Hand(shop.store, token)
        here = hand.serving()
        if number == 0:
            hand.mark(str(here.serving), here.lines[0].id, 9.9)  # corrected by the mark that follows
            tasting.send_note(shop.store, token, "The third piece was cold.")
        hand.taste_all(value)


def _marks(
    means: Mapping[float, float], key: Mapping[str, float], spread: float, sitting: int
) -> Callable[[Place, str], float]:
    """The mean of the pull and noise that follows assessor, pull, line and sitting, whatever order was dealt."""

    def value(place: Place, line: str) -> float:
        hours = key[str(place.code)]
        noise = random.Random(f"{place.pseudonym} {line} {hours} {sitting}").gauss(0.0, spread)
        return min(10.0, max(0.0, (means[hours] if line == "Acidity" else 5.0) + noise))

    return value


def _taste_some(hand: Hand, value: Callable[[Place, str], float], most: int) -> None:
    """The first marks, up to the middle of a serving."""
    here = hand.serving()
    for number in range(most):
        line = here.lines[number % len(here.lines)]
        hand.mark(str(here.serving), line.id, value(here, line.name))
        if line == here.lines[-1] and number + 1 < most:
            tasting.finish_serving(hand.store, hand.token, str(here.serving))
            here = hand.place()


# ---- aroma -----------------------------------------------------------------------------------------------------------
def _aroma(shop: Shop) -> None:
    """A draft; sealed; being served; opened; signed."""
    _aroma_draft(shop, "Aroma, draft")
    _aroma_sealed(shop, "Aroma, sealed")
    served = _aroma_sealed(shop, "Aroma, being served")
    taster = served.serve(served.sittings()[0])[0]
    here = taster.place()
    taster.choose(here, aroma_kitchen.key_of(served, here)[1][0])
    shop.phones[served.study] = taster.token
    _aroma_opened(shop, "Aroma, opened")
    signed = _aroma_opened(shop, "Aroma, signed")
    closing.sign(shop.store, shop.leader, signed.study, "ran the test")
    closing.sign(shop.store, shop.second, signed.study, "decides")


def _aroma_draft(shop: Shop, title: str) -> aroma_kitchen.Kitchen:
    plan: AromaPlan = replace(aroma_kitchen.PLAN, title=title)
    return aroma_kitchen.draft(shop.store, shop.leader, shop.preparer, plan)


def _aroma_sealed(shop: Shop, title: str) -> aroma_kitchen.Kitchen:
    return aroma_kitchen.sealed(_aroma_draft(shop, title))


def _aroma_opened(shop: Shop, title: str) -> aroma_kitchen.Kitchen:
    """Two answers in three are right."""
    kitchen = _aroma_sealed(shop, title)
    kitchen.taste_all(lambda name, _level, number: (len(name) + number) % 3 > 0)
    closing.ask_for_key(shop.store, shop.leader, kitchen.study)
    closing.open_key(shop.store, shop.second, kitchen.study)
    return kitchen


# ---- what goes wrong, and what comes from elsewhere ------------------------------------------------------------------
def _demo_panel(shop: Shop) -> tuple[Assessor, ...]:
    """The people whom the invented comparisons name; some of them are here already."""
    here = {one.pseudonym for one in shop.assessors}
    for name in sorted(set(generate.NAMES) - here):
        panel.add_assessor(shop.store, shop.leader, name)
    return panel.assessors(shop.store, shop.leader)


def _troubled(shop: Shop) -> None:
    """Hour zero noted, a pull lost; a wrong cup and a missing piece, one call answered; a phone that took a seat over,
    a link for one person, somebody who sat out, and an account that is an assessor."""
    store, leader = shop.store, shop.leader
    study = _sealed(shop, "Hours, troubled")
    pulls.note_zero(store, shop.preparer, study, "2026-11-24 02:10")
    setting_out.note_pull(store, shop.preparer, study, 4.0, "2026-11-24 06:12", 231.5, 61.0, "a little thick")
    (first, *_rest) = preparing.sittings(store, leader, study)
    watching.open_sitting(store, leader, first.id)
    for tray in preparing.trays(store, shop.preparer, first.id):
        preparing.release_tray(store, shop.preparer, first.id, tray.position, CHECKS, "Cleo")
    links = joining.issue_links(store, leader, first.id)
    phone, tablet = Device("mark of a phone", "iPhone"), Device("mark of a tablet", "iPad")
    hands = [Hand(store, joining.join(store, link.code, "10.0.0.7", None, phone)) for link in links]
    one, other = hands[0].serving(), hands[1].serving()
    calling.call(store, hands[0].token, str(one.serving), "code", str(other.code))
    calling.call(store, hands[1].token, str(other.serving), "piece", str(other.code))
    for call in calling.open_calls(store, leader, first.id)[:1]:
        calling.answer(store, leader, first.id, call.number, "swapped")
    tasting.sit_out(store, hands[3].token)
    again = joining.issue_link(store, leader, first.id, links[2].pseudonym)
    hands[2] = Hand(store, joining.join(store, again.code, "10.0.0.8", None, tablet))
    hands[2].taste_all()
    watching.close_sitting(store, leader, first.id, "the last bus")
    pulls.note_lost(store, shop.preparer, study, 12.0, "spoilt", "2026-11-24 14:20", 2)
    ties.tie(store, leader, shop.preparer.id, shop.assessors[5].id)


def _brought_in(shop: Shop, folder: Path) -> None:
    """A signed study of other people, with the events of the store that it was tasted in."""
    folder.mkdir()
    there = open_store(str(folder / "there.sqlite"))
    leader = accounts.first_leader(there, "Eve", PASSPHRASE)
    second, preparer = (
        accounts.add_staff(there, leader, name, role, PASSPHRASE)
        for name, role in (("Una", "leader"), ("Max", "preparer"))
    )
    for name in aroma_kitchen.NAMES[:6]:
        panel.add_assessor(there, leader, f"{name} of the coast")
    other = Shop(there, leader, second, preparer, panel.assessors(there, leader))
    study = _opened(other, "Hours, from elsewhere", SETTLES, 0.4)
    closing.sign(there, other.leader, study, "ran the test")
    closing.sign(there, other.second, study, "decides")
    packages.take_out(there, study, folder / "package")
    there.close()
    packages.bring_in(shop.store, folder / "package")
    shutil.rmtree(folder)


def write(name: str) -> None:
    """The store, packed, and what must stay true of it, side by side."""
    with tempfile.TemporaryDirectory() as folder:
        file = Path(folder) / "studies.sqlite"
        told = fill(file)
        assert [left.name for left in Path(folder).iterdir()] == [file.name]
        (HERE / f"{name}.sqlite.gz").write_bytes(gzip.compress(file.read_bytes(), mtime=0))
    text = json.dumps(told, indent=1, sort_keys=True)
    (HERE / f"{name}.json").write_text(f"{text}\n", encoding="utf-8")


if __name__ == "__main__":
    write(sys.argv[1])
