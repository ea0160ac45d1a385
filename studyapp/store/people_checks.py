"""Persons and sign-ins against the chain, as far as it tells of them: who came in, and whose sign-in ended."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from typing import Any

from sqlalchemy import Connection, select

from studyapp.store import events, schema
from studyapp.store.faults import Fault
from studyapp.store.replay import Event

Owner = tuple[str, str]  # staff and "", or assessor and sitting
SHOWN = 12  # of the hash of a token, which names its row
OF_STAFF = ("passphrase given", "passphrase changed", "account ended", "account brought back")


def mark(owner: str, token_hash: str) -> str:
    """What an event keeps of a token."""
    return events.salted(owner, token_hash)


@dataclass
class _SignIns:
    """What the events say: the owner and state of each token by its mark; and how many were given by earlier versions,
    which kept no mark."""

    owners: dict[str, Owner] = field(default_factory=dict)
    ended: set[str] = field(default_factory=set)
    unmarked: Counter[Owner] = field(default_factory=Counter)

    def give(self, owner: Owner, body: Mapping[str, Any]) -> None:
        """A token came."""
        if "token" in body:
            self.owners[body["token"]] = owner
        else:
            self.unmarked[owner] += 1

    def end(self, part: int, value: str) -> None:
        """Every token so far of a staff member or assessor (part 0), or of a sitting (part 1), ended."""
        self.ended |= {mark for mark, owner in self.owners.items() if owner[part] == value}


def faults(tx: Connection, told: tuple[Event, ...]) -> Iterator[Fault]:
    """Tokens that nobody was given or that live although they ended, and persons whom nobody added."""
    state = _replayed(told)
    c = schema.token.c
    for row in tx.execute(select(schema.token).order_by(c.created_at, c.hash)):
        owner: Owner = (row.staff_id, "") if row.kind == "staff" else (row.assessor_id, row.sitting_id)
        known = mark(owner[0] or "", row.hash)
        if state.owners.get(known) != owner:
            state.unmarked[owner] -= 1
            if state.unmarked[owner] < 0:
                yield Fault("row without event", "token", row.hash[:SHOWN])
        elif known in state.ended and row.ended_at is None:
            yield Fault("changed cell", "token", row.hash[:SHOWN], "ended_at")
    kept, of = schema.person.c.id, schema.assessor.c.person_id
    behind = select(of).where(of.is_not(None))
    for (id_,) in tx.execute(select(kept).where(kept.not_in(behind)).order_by(kept)):
        yield Fault("row without event", "person", id_)


def _replayed(told: tuple[Event, ...]) -> _SignIns:
    state = _SignIns()
    sittings: dict[str, list[str]] = {}
    for _, _, kind, study, body, _ in told:
        if kind == "signed in":
            state.give((body["staff"], ""), body)
        elif kind == "joined":
            seat = (body["assessor"], body["sitting"])
            if "instead" in body:
                state.ended |= {mark for mark, owner in state.owners.items() if owner == seat}
            state.give(seat, body)
        elif kind == "sitting planned":
            sittings.setdefault(study or "", []).append(body["where"]["id"])
        else:
            _end(state, kind, body, sittings.get(study or "", []))
    return state


def _end(state: _SignIns, kind: str, body: Mapping[str, Any], of_study: list[str]) -> None:
    """What an event ends: one sign-in, those of an account or an assessor, or the seats of a sitting or a study."""
    if kind == "signed out" and "token" in body:
        state.ended.add(body["token"])
    elif kind in OF_STAFF:
        state.end(0, body["staff"])
    elif kind == "person erased" or (kind == "may taste" and not body["may"]):
        state.end(0, body["assessor"])
    elif kind in ("links issued", "key opened"):
        for sitting in [body["sitting"]] if kind == "links issued" else of_study:
            state.end(1, sitting)
