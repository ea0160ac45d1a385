"""What the record tells of the blinding of an opened study: who saw its key, who opened which link on which device."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from studyapp.records import Event, Opening, Signature, Staff
from studyapp.services.access import require, study_or_refuse
from studyapp.services.closing import one_person_sentences, opened_look
from studyapp.store import Store, openings, origins, people, sittings, studies

LINKS = ("joined", "seat refused", "links issued")


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
    """`seen` (time, name, role) of the key; `issued` (time, name, sitting) of links; `said` what one person stands for
    alone; `came` when the study was brought in from elsewhere."""

    seen: tuple[tuple[str, str, str], ...]
    issued: tuple[tuple[str, str, str], ...]
    links: tuple[LinkUse, ...]
    opened: tuple[Opening, ...]
    signed: tuple[Signature, ...]
    said: tuple[str, ...]
    came: str | None


def of_study(store: Store, by: Staff, study_id: str) -> Evidence:
    """Everything at once. Raises NotAllowed before the key is open."""
    require(by, "leader")
    with store.read() as tx:
        opened_look(tx, study_or_refuse(tx, study_id))
        told = origins.told(tx, study_id, *LINKS)
        where = {one.id: one.label for one in sittings.of_study(tx, study_id)}
        opened, signed = openings.of_study(tx, study_id), studies.signatures(tx, study_id)
        return Evidence(
            tuple(openings.views(tx, study_id)),
            tuple(
                (one.at, _name(tx, str(one.body.get("by", ""))), where.get(str(one.body["sitting"]), ""))
                for one in told
                if one.kind == "links issued"
            ),
            _links(tx, told, where, study_id),
            opened,
            signed,
            one_person_sentences(opened, signed),
            origins.came(tx, study_id),
        )


def _links(tx: Any, told: list[Event], where: Mapping[str, str], study: str) -> tuple[LinkUse, ...]:
    """Devices are numbered in the order in which they came."""
    names = {assessor: name for _number, assessor, name in studies.seats(tx, study)}
    devices: dict[str, int] = {}
    found = []
    for one in told:
        if one.kind == "links issued":
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
