"""Tables, guards and indexes of a store against those that the migrations of this version make in an empty one."""

from __future__ import annotations

import contextlib
import re
from collections.abc import Iterator, Mapping
from functools import cache

from sqlalchemy import Connection, inspect, text

from studyapp.store import older, schema
from studyapp.store.faults import Fault

Made = dict[tuple[str, str], tuple[str, str]]  # (type, name) -> (its table, its text)
_SQLITE = text("SELECT type, name, tbl_name, sql FROM sqlite_master WHERE sql IS NOT NULL AND name NOT LIKE 'sqlite%'")
_GUARDS = text(
    "SELECT t.tgname, c.relname, t.tgenabled, p.prosrc, pg_get_triggerdef(t.oid) FROM pg_trigger t"
    " JOIN pg_class c ON c.oid = t.tgrelid JOIN pg_proc p ON p.oid = t.tgfoid"
    " WHERE NOT t.tgisinternal AND pg_table_is_visible(c.oid)"
)
_INDEXES = text("SELECT indexname FROM pg_indexes WHERE schemaname = current_schema()")


def faults(tx: Connection) -> Iterator[Fault]:
    """What is missing, what is another than it should be, and what should not be there."""
    if tx.dialect.name == "sqlite":
        return _compared(made(tx), today())
    return _on_postgres(tx)


def made(tx: Connection) -> Made:
    """Everything that a SQLite store is made of, in the words it was made with."""
    return {(row.type, row.name): (row.tbl_name, row.sql) for row in tx.execute(_SQLITE)}


@cache
def today() -> Made:
    """The same of an empty store of this version."""
    with contextlib.closing(older.blank()) as store, store.read() as tx:
        return made(tx)


def _compared(found: Mapping[tuple[str, str], tuple[str, str]], wanted: Made) -> Iterator[Fault]:
    for (kind, name), (table, sql) in sorted(wanted.items()):
        if (kind, name) not in found:
            yield _missing(kind, name, table)
        elif found[kind, name] != (table, sql):
            yield Fault("changed shape", table, f"{kind} {name}")
    for (kind, name), (table, _sql) in sorted(found.items()):
        if (kind, name) not in wanted:
            yield Fault("strange shape", table, f"{kind} {name}")


def _missing(kind: str, name: str, table: str) -> Fault:
    if kind == "table":
        return Fault("table missing", name)
    return Fault("guard missing", table, name) if kind == "trigger" else Fault("shape missing", table, name)


# ---- PostgreSQL ------------------------------------------------------------------------------------------------------
def _on_postgres(tx: Connection) -> Iterator[Fault]:
    """Tables and indexes by name, guards by what they hold back: PostgreSQL keeps no words but its own."""
    there = set(inspect(tx).get_table_names())
    yield from (Fault("table missing", name) for name in schema.metadata.tables if name not in there)
    indexes = set(tx.execute(_INDEXES).scalars())
    for (kind, name), (table, _sql) in sorted(today().items()):
        if kind == "index" and name not in indexes:
            yield Fault("shape missing", table, name)
    found = {row[0]: tuple(row[1:]) for row in tx.execute(_GUARDS)}
    for name, (table, guard) in sorted(guards_of_postgres().items()):
        if name not in found or found[name][1] == "D":
            yield Fault("guard missing", table, name)
        elif found[name][0] != table or _plain_guard(*found[name][1:]) != guard:
            yield Fault("changed shape", table, f"trigger {name}")
    yield from (
        Fault("strange shape", found[name][0], f"trigger {name}") for name in found.keys() - guards_of_postgres()
    )


def guards_of_postgres() -> dict[str, tuple[str, tuple[str, ...]]]:
    """The guards that the migrations make there, read from those they make in SQLite: table, and what it holds back."""
    found: dict[str, tuple[str, tuple[str, ...]]] = {}
    for (kind, name), (table, sql) in today().items():
        if kind == "trigger":
            said = _between(sql, r"RAISE\(ABORT, '(.*)'\)")
            if name.endswith(("_no_update", "_no_delete")):
                found[f"{table}_stands"] = (table, ("O", f"'{said}'", "", ""))
            else:
                when = _bare(_between(sql, r" WHEN (.*) BEGIN"))
                found[name] = (table, ("O", f"'{said}'", _bare(_between(sql, r"UPDATE OF (.*) ON ")), when))
    return found


def _plain_guard(enabled: str, source: str, definition: str) -> tuple[str, ...]:
    """Whether it is on, what it says, which columns it watches, and when."""
    said = _between(source.strip(), r"^BEGIN RAISE EXCEPTION (.*); END$")
    when = _bare(_between(definition, r" WHEN (.*) EXECUTE"))
    return str(enabled), said, _bare(_between(definition, r"UPDATE OF (.*) ON ")), when


def _between(sql: str, pattern: str) -> str:
    found = re.search(pattern, sql)
    return found.group(1) if found else ""


def _bare(sql: str) -> str:
    """Without brackets, quotes, blanks and capitals, which each database sets in its own way."""
    return re.sub(r'[()"\s]', "", sql).lower()
