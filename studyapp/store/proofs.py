"""The whole check of a store: study by study, so that one study at a time is in memory, however many there are.

A check before this one may have left a point: how far the chain went, its head then, and of each study a digest over
all its rows and events. What stood before the point is then read once more and compared with its digest, which costs a
part of proving it; a study whose digest is another, for new work or for an edit, is proven anew from its first event.
So an edit of anything before the point is named with its row, as in a check without a point, not by its digest alone.
"""

from __future__ import annotations

import hashlib
import json
from collections import Counter
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import cache
from typing import Any

from sqlalchemy import Connection, bindparam, func, select

from studyapp.store import checks, events, schema, scope, shapes, state_checks
from studyapp.store.checks import Walk
from studyapp.store.faults import Fault
from studyapp.store.scope import Scope

ENDS = ("may taste", "person erased")  # events of nobody's study that end seats in all of them
ROWS = (
    checks.score_faults,
    checks.trial_faults,
    checks.seal_faults,
    checks.cover_faults,
    checks.note_faults,
    checks.photo_faults,
)
AT_ONCE = 1_000  # rows in memory while a digest is made
FORM = 1  # of the digests; raise it when they are made another way or a check learns to see more
WALKED = 0.3  # of the time of a check, about, goes into the chain


@dataclass(frozen=True, slots=True)
class Point:
    """Up to which event everything held, and the hash of that event; then of each study its digest, and of what no
    event tells, by what it is."""

    count: int
    head: str
    digests: Mapping[str, str]
    unproved: Mapping[str, Mapping[str, int]]


@dataclass(frozen=True, slots=True)
class Proof:
    """What does not hold; what no event tells, by what it is; how far the chain goes; the point to be left where
    everything holds; how many studies were proven, and how many are as the point before has them."""

    faults: tuple[Fault, ...]
    unproved: Mapping[str, int]
    count: int
    head: str
    point: Point
    proven: int
    alike: int


def proof(tx: Connection, before: Point | None, heard: Callable[[float], None]) -> Proof:
    """Check everything; `before` must be one that `holds`. `heard` is told the share that is done."""
    faults = [*checks.damage(tx), *shapes.faults(tx)]
    start = (before.count, before.head) if before else (0, events.GENESIS)
    last = max(1, events.count(tx))
    walked = checks.walk(tx, start, lambda seq: heard(WALKED * seq / last) if seq % AT_ONCE == 0 else None)
    faults += walked.faults
    told = checks.chain(tx, scope.NOBODY, walked).sound
    ends = tuple(event for event in told if event[2] in ENDS)
    every, alike = scope.of_store(tx), 0
    digests: dict[str, str] = {}
    unproved: dict[str, Mapping[str, int]] = {}
    for number, one in enumerate(every):
        heard(WALKED + (1 - WALKED) * number / len(every))
        name = one.study or ""
        digests[name] = digest(tx, one) if name else ""
        if before and name and before.digests.get(name) == digests[name]:
            alike += 1
            more = before.unproved.get(name, {})
        else:
            own, more = _of_scope(tx, one, ends, walked)
            faults += own
        unproved[name] = {what: count for what, count in more.items() if count}
    point = Point(walked.count, walked.head, digests, {name: each for name, each in unproved.items() if each})
    proven = len(every) - 1 - alike
    return Proof(tuple(faults), _added(unproved), walked.count, walked.head, point, proven, alike)


def _added(counts: Mapping[str, Mapping[str, int]]) -> Mapping[str, int]:
    total: Counter[str] = Counter()
    for each in counts.values():
        total.update(each)
    return total


def _of_scope(tx: Connection, one: Scope, ends: tuple[Any, ...], walked: Walk) -> tuple[list[Fault], Mapping[str, int]]:
    """Everything of a study, or of nobody's."""
    told = checks.chain(tx, one, walked)
    faults = [*told.faults]
    for part in ROWS:
        faults += part(tx, told, one)
    stands = state_checks.state_faults(tx, told.sound, one, ends if one.study else ())
    return [*faults, *stands.faults], stands.unproved


# ---- points ----------------------------------------------------------------------------------------------------------
def holds(tx: Connection, point: Point) -> bool:
    """Whether the chain still has the event of the point, and as many before it."""
    c = schema.event.c
    there = tx.execute(select(c.hash).where(c.seq == point.count)).scalar() == point.head
    return there and tx.execute(select(func.count()).where(c.seq <= point.count)).scalar() == point.count


def digest(tx: Connection, one: Scope) -> str:
    """SHA-256 over every row and event of a study as they stand, table by table in the order of their keys."""
    made = hashlib.sha256(f"{FORM}".encode())
    for name, rows in _every_row():
        made.update(f"\n{name}".encode())
        for part in tx.execute(rows, {"study": one.study}).partitions(AT_ONCE):
            text = json.dumps([tuple(row) for row in part], default=repr)
            made.update(text[1:-1].encode() + b",")
    return made.hexdigest()


@cache
def _every_row() -> tuple[tuple[str, Any], ...]:
    """For each table that hangs on studies the question for the rows of one, built once."""
    one = Scope(bindparam("study"))  # type: ignore[arg-type]  # its value comes with each question
    return tuple(
        (table.name, select(table).where(one.rows(table)).order_by(*table.primary_key.columns))
        for table in schema.metadata.sorted_tables
        if scope.through(table) is not None
    )
