"""Every row that moves on with the work against the state that the events give."""

from __future__ import annotations

import json
from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from sqlalchemy import Connection, RowMapping, Table, select

from studyapp.store import events, origins, packages, people_checks, schema
from studyapp.store.covers import COVERED
from studyapp.store.faults import Fault
from studyapp.store.replay import Cells, Event, Hashed, Key, Near, State, fixed, replayed
from studyapp.store.scope import EVERYTHING, Scope

# Tables whose rows an event names one by one, with the columns that make their key.
TABLES: dict[str, tuple[Table, tuple[str, ...]]] = {
    "study": (schema.study, ("id",)),
    "sitting": (schema.sitting, ("id",)),
    "serving": (schema.serving, ("id",)),
    "trial_set": (schema.trial_set, ("id",)),
    "presence": (schema.presence, ("sitting_id", "assessor_id")),
    "staff": (schema.staff, ("id",)),
    "assessor": (schema.assessor, ("id",)),
    "note": (schema.note, ("id",)),
    "batch": (schema.batch, ("id",)),
}


@dataclass(frozen=True, slots=True)
class Proven:
    """What does not hold, and how much no event tells: times of an earlier version and names, by what it is."""

    faults: tuple[Fault, ...]
    unproved: Mapping[str, int]


def state_faults(
    tx: Connection, told: tuple[Event, ...], scope: Scope = EVERYTHING, ends: tuple[Event, ...] = ()
) -> Proven:
    """Compare every cell that the events of a scope tell; linear in events and rows. `ends` are the events of nobody's
    study that end seats in every study."""
    state = replayed(told, fixed(tx, scope))
    foreign = _foreign(tx, state, scope)
    unproved: Counter[str] = Counter()
    faults = [Fault("changed event", "event", str(seq)) for seq in state.senseless]
    for name, (table, _key) in TABLES.items():
        if scope.has(table):
            faults += _table_faults(tx, name, state, foreign.get(name, set()), unproved, scope)
    if scope.people:
        faults += _erasure_faults(tx, state)
    faults += people_checks.faults(tx, tuple(sorted((*told, *ends))) if ends else told, scope)
    faults += _draft_faults(tx, told, scope)
    faults += _import_faults(tx, told, unproved)
    return Proven(tuple(faults), unproved)


# What a package holds of people, and what of a study stays at home.
_OF_PEOPLE = {"staff": {"name", "role"}, "assessor": {"pseudonym"}}
_AT_HOME = {"created_by", "key_seed"}


def package_faults(tx: Connection, told: tuple[Event, ...]) -> Iterator[Fault]:
    """The same for a study that lies alone in its store: people without what stays at home, and no free notes."""
    state, unproved = replayed(told, fixed(tx)), Counter[str]()
    foreign = _foreign(tx, state, EVERYTHING)
    yield from (Fault("changed event", "event", str(seq)) for seq in state.senseless)
    for name, kept in _OF_PEOPLE.items():
        for key, cells in state.rows[name].items():
            state.rows[name][key] = {column: cell for column, cell in cells.items() if column in kept}
    for cells in state.rows["study"].values():
        for column in _AT_HOME & cells.keys():
            del cells[column]
    for name in TABLES.keys() - {"note"}:
        yield from _table_faults(tx, name, state, foreign.get(name, set()), unproved, EVERYTHING)
    yield from _draft_faults(tx, told, EVERYTHING)
    yield from _import_faults(tx, told, unproved)


def _foreign(tx: Connection, state: State, scope: Scope) -> dict[str, set[Key]]:
    """Rows that came with an imported study, by table."""
    if not state.imported:
        return {}
    c = schema.sitting.c
    sittings = set(tx.execute(select(c.id).where(c.study_id.in_(state.imported))).scalars())
    found: dict[str, set[Key]] = {"study": {(id_,) for id_ in state.imported}, "sitting": {(id_,) for id_ in sittings}}
    b = schema.batch.c
    found["batch"] = {(id_,) for id_ in tx.execute(select(b.id).where(b.study_id.in_(state.imported))).scalars()}
    for name in packages.TRAVELS.keys() - found.keys():
        table, names = TABLES[name]
        query = select(*(table.c[each] for each in names), table.c.sitting_id.label("of"))
        rows = tx.execute(query.where(scope.rows(table)))
        found[name] = {tuple(row[:-1]) for row in rows if row.of in sittings}
    return found


def _table_faults(
    tx: Connection, name: str, state: State, foreign: set[Key], unproved: Counter[str], scope: Scope
) -> Iterator[Fault]:
    """Rows in the order of their key: changed cells, rows that no event tells, rows that are gone."""
    table, names = TABLES[name]
    wanted = dict(state.rows[name])
    rows = select(table).where(scope.rows(table)).order_by(*(table.c[each] for each in names))
    for row in tx.execute(rows).mappings():
        key = tuple(row[each] for each in names)
        due = wanted.pop(key, None)
        if due is not None:
            yield from _cell_faults(tx, name, _label(key), due, row)
            _count(name, due, unproved)
        elif key not in foreign and not _travelled(tx, name, row):
            yield Fault("row without event", name, _label(key))
    taken_away = name == "batch" and scope.study is not None  # its cover still finds it, out of the study
    if name not in COVERED or taken_away:  # rows of the others that are gone are named by their cover
        yield from (Fault("event without row", name, _label(key)) for key in wanted)


def _label(key: Key) -> str:
    return " ".join(str(each) for each in key)


def _cell_faults(tx: Connection, name: str, label: str, due: Cells, row: RowMapping) -> Iterator[Fault]:
    for column, cell in due.items():
        if not _holds(cell, row[column]) and not _without_event(name, column, row, tx):
            yield Fault("changed cell", name, label, column)


def _holds(cell: Any, found: Any) -> bool:
    return cell.holds(found) if isinstance(cell, Near | Hashed) else type(cell) is type(found) and bool(cell == found)


def _travelled(tx: Connection, name: str, row: RowMapping) -> bool:
    """Members and assessors whom an import of an earlier version brought along without an event: nobody who signs in,
    nobody with a name."""
    if not ((name == "staff" and row["secret"] == "") or (name == "assessor" and row["person_id"] is None)):
        return False
    c = schema.event.c
    return tx.execute(select(c.seq).where(c.kind == origins.BEGUN).limit(1)).first() is not None


def _without_event(name: str, column: str, row: RowMapping, tx: Connection) -> bool:
    """A restore of an earlier version erased once more and told no event: named as an erasure, not as a change."""
    if (name, column) != ("assessor", "may_taste") or row["may_taste"] is not False or not row["person_id"]:
        return False
    c = schema.person.c
    return tx.execute(select(c.erased_at).where(c.id == row["person_id"])).scalar() is not None


def _count(name: str, due: Cells, unproved: Counter[str]) -> None:
    unproved["times"] += sum(isinstance(cell, Near) for cell in due.values())
    unproved["pseudonyms"] += name == "assessor" and "pseudonym" not in due
    unproved["names"] += name == "staff" and "name" not in due
    unproved["passphrases"] += name == "staff" and "secret" not in due
    unproved["seeds"] += name == "study" and "sealed_by" in due and "key_seed" not in due


# ---- people ----------------------------------------------------------------------------------------------------------
def _erasure_faults(tx: Connection, state: State) -> Iterator[Fault]:
    """A name that came back after it was erased; an erased name or text of which no event tells."""
    a, p = schema.assessor.c, schema.person.c
    told = {key[0]: cells["times"] for key, cells in state.rows["erased"].items()}
    query = select(a.id, p.name, p.contact, p.erased_at).join(schema.person, p.id == a.person_id).order_by(a.id)
    for row in tx.execute(query):
        if row.id in told and (row.name, row.contact) != (None, None):
            yield Fault("changed cell", "person", row.id, "name")
        elif row.id in told and not any(at.holds(row.erased_at) for at in told[row.id]):
            yield Fault("changed cell", "person", row.id, "erased_at")
        elif row.id not in told and row.erased_at:
            yield Fault("erased without event", "person", row.id)
    yield from _erased_notes(tx, told)


def _erased_notes(tx: Connection, told: Mapping[str, Sequence[Near]]) -> Iterator[Fault]:
    """Free texts go with the name of who wrote them."""
    n = schema.note.c
    erased = select(n.id, n.assessor_id, n.erased_at).where(n.erased_at.is_not(None)).order_by(n.at, n.id)
    for row in tx.execute(erased):
        if row.assessor_id not in told:
            yield Fault("erased without event", "note", row.id)
        elif not any(at.holds(row.erased_at) for at in told[row.assessor_id]):
            yield Fault("changed cell", "note", row.id, "erased_at")


# ---- drafts ----------------------------------------------------------------------------------------------------------
def _draft_faults(tx: Connection, told: tuple[Event, ...], scope: Scope) -> Iterator[Fault]:
    """A draft against the last plan that was kept of it; a sealed plan is proven by its seal."""
    kept = {study: body.get("sha256") for _, _, kind, study, body, _ in told if kind in ("draft", "draft kept")}
    c = schema.study.c
    drafts = select(c.id, c.plan).where(c.seal.is_(None), scope.rows(schema.study))
    for row in tx.execute(drafts.order_by(c.id)):
        if kept.get(row.id) is None:
            continue
        try:
            held = events.digest(json.loads(row.plan)) == kept[row.id]
        except (ValueError, TypeError):
            held = False
        if not held:
            yield Fault("changed cell", "study", row.id, "plan")


# ---- imports ---------------------------------------------------------------------------------------------------------
def _import_faults(tx: Connection, told: tuple[Event, ...], unproved: Counter[str]) -> Iterator[Fault]:
    """What came with a study against the digests of its import, as long as nothing was done with it since."""
    begun = {study: body for _, _, kind, study, body, _ in told if kind == "import begun" and study}
    moved = {study for _, _, kind, study, _, _ in told if study in begun and _moves(kind)}
    for study, body in begun.items():
        if "origins" in body and events.digest(origins.rows(tx, study)) != body["origins"]:
            yield Fault("changed import", "origin", study)
        rows = packages.take(tx, study)
        unproved["imports"] += study in moved
        for name, first in packages.TRAVELS.items():
            if name not in body or study in moved:
                continue
            if packages.digest_of(rows[name], body.get("columns", {}).get(name, first)) != body[name]:
                yield Fault("changed import", name, study)


def _moves(kind: str) -> bool:
    """Whether an event is about something done after the import; nobody tastes without joining anew."""
    return kind in ("look planned", "key opened", "signed", "joined", "batch kept") or kind.startswith("sitting ")
