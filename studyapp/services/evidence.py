"""What the record tells of the blinding of an opened study: who saw its key, who opened which link on which device."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from studyapp.records import Event, Opening, Signature, Staff, Study
from studyapp.services.access import require, study_or_refuse
from studyapp.services.closing import one_person_sentences, opened_look
from studyapp.store import Store, openings, origins, people, sittings, studies
from studyapp.words import _

ISSUED = ("links issued", "link issued")  # to all, to one person
LINKS = ("joined", "seat refused", *ISSUED)


@dataclass(frozen=True, slots=True)
class LinkUse:
    """A link that was opened: whose, in which sitting, on the how-manieth device of the study (None where the record
    tells none), its system, the account signed in there, and whether the seat was refused."""

    at: str
    pseudonym: str
    sitting: str
    device: int | None
    system: str
    account: str
    refused: bool


@dataclass(frozen=True, slots=True)
class Evidence:
    """`seen` (time, name, role) of the key; `issued` (time, name, sitting) of links; `said` where the study came from
    and what one person stands for alone."""

    seen: tuple[tuple[str, str, str], ...]
    issued: tuple[tuple[str, str, str], ...]
    links: tuple[LinkUse, ...]
    opened: tuple[Opening, ...]
    signed: tuple[Signature, ...]
    said: tuple[str, ...]


def of_study(store: Store, by: Staff, study_id: str) -> Evidence:
    """Everything at once. Raises NotAllowed before the key is open."""
    require(by, "leader")
    with store.read() as tx:
        study = study_or_refuse(tx, study_id)
        opened_look(tx, study)
        told = origins.told(tx, study_id, *LINKS)
        where = {one.id: one.label for one in sittings.of_study(tx, study_id)}
        names = {assessor: name for _number, assessor, name in studies.seats(tx, study_id)}
        opened, signed = openings.of_study(tx, study_id), studies.signatures(tx, study_id)
        return Evidence(
            tuple(openings.views(tx, study_id)),
            tuple(
                (one.at, _name(tx, str(one.body.get("by", ""))), _issued(one, where, names))
                for one in told
                if one.kind in ISSUED
            ),
            _links(tx, told, where, names),
            opened,
            signed,
            (*_where_from(tx, study), *one_person_sentences(opened, signed)),
        )


def where_from(store: Store, by: Staff, study: Study[Any]) -> tuple[str, ...]:
    """That a study was brought in from another store, for good; nothing of one that began here."""
    require(by, "leader", "preparer")
    with store.read() as tx:
        return _where_from(tx, study)


def _where_from(tx: Any, study: Study[Any]) -> tuple[str, ...]:
    if study.came is None:
        return ()
    day = study.came[:10]
    if origins.came_along(tx, study.id):
        return (_("Brought in from another store on {day}; its events came along and bear it out.").format(day=day),)
    sentence = _("Brought in from another store on {day}, without its events: nothing shows how it was tasted.")
    return (sentence.format(day=day),)


def _issued(one: Event, where: Mapping[str, str], names: Mapping[str, str]) -> str:
    """For which sitting links were made, and for whom where it was for one person alone."""
    sitting, name = where.get(str(one.body["sitting"]), ""), names.get(str(one.body.get("assessor", "")))
    return _("{sitting}, for {name} alone").format(sitting=sitting, name=name) if name else sitting


def _links(tx: Any, told: list[Event], where: Mapping[str, str], names: Mapping[str, str]) -> tuple[LinkUse, ...]:
    """Devices are numbered in the order in which they came."""
    devices: dict[str, int] = {}
    found = []
    for one in told:
        if one.kind in ISSUED:
            continue
        body = {name: str(value) for name, value in one.body.items()}
        number = devices.setdefault(body["device"], len(devices) + 1) if "device" in body else None
        who, at = names.get(body["assessor"], ""), where.get(body["sitting"], "")
        account = _name(tx, body["staff"]) if "staff" in body else ""
        refused = one.kind == "seat refused"
        found.append(LinkUse(one.at, who, at, number, body.get("system", ""), account, refused))
    return tuple(found)


def _name(tx: Any, staff: str) -> str:
    """The name of an account; of one that did not travel along, the beginning of its id."""
    member = people.member(tx, staff)
    return member.name if member else staff[:6]
