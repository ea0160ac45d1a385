"""Persons, sign-ins and join codes against the chain, as far as it tells of them: who came in by what, and whose ended.

A token or code is told by a mark, salted with its owner. Earlier versions kept none: as many rows as their events gave
are then taken as given.
"""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from typing import Any

from sqlalchemy import Connection, select

from studyapp.store import events, schema
from studyapp.store.faults import Fault
from studyapp.store.replay import Event, Near
from studyapp.store.scope import EVERYTHING, Scope

Owner = tuple[str, str]  # staff and "", or assessor and sitting
SHOWN = 12  # of the hash of a token, which names its row
OF_STAFF = ("passphrase given", "passphrase changed", "account ended", "account brought back")


def mark(owner: str, token_hash: str) -> str:
    """What an event keeps of a token or a join code."""
    return events.salted(owner, token_hash)


@dataclass
class _Given:
    """Marks of tokens, or of codes: whose each is and when it came, when it ended, and how many came without one."""

    owners: dict[str, Owner] = field(default_factory=dict)
    came: dict[str, Near] = field(default_factory=dict)
    ended: dict[str, Near] = field(default_factory=dict)
    unmarked: Counter[Owner] = field(default_factory=Counter)
    untold: set[str] = field(default_factory=set)  # sittings whose codes an earlier version made
    held: dict[str, set[str]] = field(default_factory=lambda: defaultdict(set))  # by either part of the owner

    def give(self, owner: Owner, found: str | None, at: str) -> None:
        """One came."""
        if found is None:
            self.unmarked[owner] += 1
            return
        self.owners[found], self.came[found] = owner, Near(at)
        for part in owner:
            self.held[part].add(found)

    def end(self, at: str, part: str, other: str = "") -> None:
        """All of an owner, or of a sitting, or of one seat in it; what had ended before did not end again."""
        over = self.held[part] & self.held[other] if other else set(self.held[part])
        for each in over:
            self.ended.setdefault(each, Near(at))
        self.held[part] -= over

    def faults(self, table: str, owner: Owner, row: Any, label: str) -> Iterator[Fault]:
        """A row that nobody was given, that came at another time, or that lives although it ended."""
        known = mark(owner[0] or "", row.hash)
        if self.owners.pop(known, None) != owner:
            self.unmarked[owner] -= 1
            if self.unmarked[owner] < 0 and owner[1] not in self.untold:
                yield Fault("row without event", table, label)
            return
        if not self.came[known].holds(row.created_at):
            yield Fault("changed cell", table, label, "created_at")
        if known in self.ended and not _over(row.ended_at, self.ended[known]):
            yield Fault("changed cell", table, label, "ended_at")

    def gone(self, table: str) -> Iterator[Fault]:
        """Marks that no row has any more."""
        return (Fault("event without row", table, each[:SHOWN]) for each in self.owners)


def _over(ended_at: str | None, told: Near) -> bool:
    """Whether something ended by then: when a member is tied to an assessor, seats may end without an event."""
    return ended_at is not None and (told.holds(ended_at) or ended_at < told.at)


def faults(tx: Connection, told: tuple[Event, ...], scope: Scope = EVERYTHING) -> Iterator[Fault]:
    """Tokens and codes that nobody was given, that live although they ended or are gone, and persons whom nobody
    added."""
    tokens, codes = _replayed(told)
    c = schema.token.c
    for row in tx.execute(select(schema.token).where(scope.rows(schema.token)).order_by(c.created_at, c.hash)):
        owner: Owner = (row.staff_id, "") if row.kind == "staff" else (row.assessor_id, row.sitting_id)
        yield from tokens.faults("token", owner, row, row.hash[:SHOWN])
        if (row.kind == "staff") == (row.staff_id is None) or (row.kind == "seat") == (row.assessor_id is None):
            yield Fault("changed cell", "token", row.hash[:SHOWN], "kind")
    j = schema.join_code.c
    for row in tx.execute(select(schema.join_code).where(scope.rows(schema.join_code)).order_by(j.created_at, j.hash)):
        yield from codes.faults("join_code", (row.assessor_id, row.sitting_id), row, row.hash[:SHOWN])
    yield from (*tokens.gone("token"), *codes.gone("join_code"))
    if scope.people:
        yield from _strangers(tx)


def _strangers(tx: Connection) -> Iterator[Fault]:
    """Persons behind no assessor."""
    kept, of = schema.person.c.id, schema.assessor.c.person_id
    behind = select(of).where(of.is_not(None))
    for (id_,) in tx.execute(select(kept).where(kept.not_in(behind)).order_by(kept)):
        yield Fault("row without event", "person", id_)


def _replayed(told: tuple[Event, ...]) -> tuple[_Given, _Given]:
    """What the events say of tokens and of codes."""
    tokens, codes = _Given(), _Given()
    sittings: dict[str, list[str]] = {}
    for _, at, kind, study, body, _ in told:
        if kind == "signed in":
            tokens.give((body["staff"], ""), body.get("token"), at)
        elif kind == "joined":
            seat = (body["assessor"], body["sitting"])
            if "instead" in body:
                tokens.end(at, *seat)
            tokens.give(seat, body.get("token"), at)
        elif kind == "sitting planned":
            sittings.setdefault(study or "", []).append(body["where"]["id"])
        else:
            _end(tokens, at, kind, body, sittings.get(study or "", []))
            _codes(codes, at, kind, body)
    return tokens, codes


def _end(tokens: _Given, at: str, kind: str, body: Mapping[str, Any], of_study: list[str]) -> None:
    """What an event ends: one sign-in, those of an account or an assessor, or the seats of a sitting or a study."""
    if kind == "signed out" and "token" in body:
        tokens.ended.setdefault(body["token"], Near(at))
    elif kind in OF_STAFF:
        tokens.end(at, body["staff"])
    elif kind == "person erased" or (kind == "may taste" and not body["may"]):
        tokens.end(at, body["assessor"])
    elif kind in ("links issued", "key opened"):
        for sitting in [body["sitting"]] if kind == "links issued" else of_study:
            tokens.end(at, sitting)


def _codes(codes: _Given, at: str, kind: str, body: Mapping[str, Any]) -> None:
    """New codes end those before them; a close ends all of its sitting."""
    if kind not in ("links issued", "link issued", "sitting closed"):
        return
    codes.end(at, body["sitting"], body.get("assessor", ""))
    for each, who in body.get("codes", {}).items():
        codes.give((who, body["sitting"]), each, at)
    if kind != "sitting closed" and "codes" not in body:
        codes.untold.add(body["sitting"])
