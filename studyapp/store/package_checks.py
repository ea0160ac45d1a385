"""A package against the events that it carries: every row, cell and seal, as the check of a store proves its own."""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping, Sequence
from typing import Any

from sqlalchemy import Connection

from studyapp.errors import BadInput
from studyapp.store import canonical, checks, events, packages, state_checks
from studyapp.store.checks import Chain
from studyapp.store.faults import Fault
from studyapp.store.packages import Row
from studyapp.words import _

Tables = Mapping[str, Sequence[Row]]
ONE, TWO, MISSING = "opened by one person", "by two people", "second signature missing"  # as a package says it
ROWS = (checks.score_faults, checks.trial_faults, checks.seal_faults, checks.cover_faults)


def told_of(found: Tables) -> dict[str, Any]:
    """What the description of a package says of its record, worked out from its tables: how many events, the last of
    them, by how many people each key was opened and each look signed."""
    signed: dict[int, set[str]] = {}
    for row in found["signature"]:
        signed.setdefault(row["look"], set()).add(row["by"])
    return {
        "events": len(found["event"]),
        "last_event": found["event"][-1]["hash"] if found["event"] else "",
        "opened": [
            {"look": row["look"], "by": row["name"], "how": TWO if row["second"] else ONE} for row in found["opening"]
        ],
        "signed": [{"look": look, "how": TWO if len(by) > 1 else MISSING} for look, by in sorted(signed.items())],
    }


def faults(found: Tables, record: Mapping[str, Any]) -> tuple[Fault, ...]:
    """What does not hold in a package: its description, its events, then its rows. Nothing is kept.

    Raises:
        BadInput: the tables do not fit together.
    """
    told = chain(found["event"])
    wrong = [*_described(found, record), *told.faults]
    for keeper in {row["keeper"] for row in found["origin"]}:
        wrong += chain([row for row in found["origin"] if row["keeper"] == keeper]).faults
    if not wrong:
        with packages.laid_out(found) as tx:
            wrong += _row_faults(tx, told)
    return tuple(wrong)


def _described(found: Tables, record: Mapping[str, Any]) -> Iterator[Fault]:
    for name, value in told_of(found).items():
        if record.get(name) != value:
            yield Fault("changed description", "datapackage.json", name)
    if not isinstance(record.get("head"), str) or not isinstance(record.get("head_events"), int):
        yield Fault("changed description", "datapackage.json", "head")


def _row_faults(tx: Connection, told: Chain) -> Iterator[Fault]:
    for part in ROWS:
        yield from part(tx, told)
    yield from state_checks.package_faults(tx, told.sound)


def chain(rows: Sequence[Row]) -> Chain:
    """The events of one keeper: each against its own hash, and against the one before where that is here too.

    Between them lie events of other studies, which do not travel.
    """
    sound: list[Any] = []
    wrong: list[Fault] = []
    before: Row | None = None
    for row in rows:
        body = _body(row)
        if before is not None and row["seq"] <= before["seq"]:
            wrong.append(Fault("gap", "event", str(row["seq"])))
        elif before is not None and row["seq"] == before["seq"] + 1 and row["prev"] != before["hash"]:
            wrong.append(Fault("broken link", "event", str(row["seq"])))
        if events.link(row["seq"], row["at"], row["kind"], row["of"], body, row["prev"]) != row["hash"]:
            wrong.append(Fault("changed event", "event", str(row["seq"])))
        sound.append((row["seq"], row["at"], row["kind"], row["of"], body, row["hash"]))
        before = row
    last = before or {"seq": 0, "hash": events.GENESIS}
    return Chain(tuple(sound), tuple(wrong), len(rows), str(last["hash"]))


def _body(row: Row) -> dict[str, Any]:
    """The body of an event. Raises BadInput when its text is not the canonical one."""
    try:
        body = json.loads(row["body"])
        if isinstance(body, dict) and canonical.dumps(body).decode() == row["body"]:
            return body
    except (ValueError, TypeError, RecursionError):
        pass
    raise BadInput(_("event.csv: event {n} cannot be read.").format(n=row["seq"]))
