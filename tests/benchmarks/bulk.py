"""Many studies out of one: its rows and events copied under new ids, with every cover, hash and link made anew.

The copies are as true as the first: `check` proves each of them. A study takes tens of milliseconds instead of the half
minute of tasting it through the services.
"""

from __future__ import annotations

import csv
import hashlib
import io
import json
import re
from collections import defaultdict
from collections.abc import Iterator, Mapping
from typing import Any

from sqlalchemy import Table, func, insert, select

from studyapp.store import Store, canonical, covers, events, schema
from studyapp.store.people_checks import mark
from studyapp.store.row_hashes import FIRST, row_hash
from studyapp.store.scope import Scope, through

Row = dict[str, Any]
ID = re.compile(r'(?<=")([0-9a-f]{16})(?=")')
AT_ONCE = 20  # studies in one transaction
HIGH = 0x80000  # a number above all copies, for the few whose own begins an id or nonce of the first
TABLES = [table for table in schema.metadata.sorted_tables if through(table) is not None and table is not schema.event]


def _number(table: Table) -> bool:
    """Whether the database numbers its rows."""
    return "id" in table.c and table.c.id.type.python_type is int


class Template:
    """A study as it stands, and what of it a copy has under another name."""

    def __init__(self, store: Store, study: str) -> None:
        """Read everything of the study."""
        one = Scope(study)
        with store.read() as tx:
            self.rows: dict[str, list[Row]] = {
                table.name: [dict(row._mapping) for row in tx.execute(_all(table, one))] for table in TABLES
            }
            told = tx.execute(_all(schema.event, one)).all()
            self.next = {
                table.name: int(tx.execute(select(func.coalesce(func.max(table.c.id), 0))).scalar_one())
                for table in TABLES
                if _number(table)
            }
        self.events = [(row.at, row.kind, json.loads(row.body), row.body) for row in told]
        named = {"study", "sample", "attribute", "sitting", "serving", "trial_sample", "trial_set"}
        self.ids = {row["id"] for name in named for row in self.rows[name]}
        nonces = {row["nonce"] for rows in self.rows.values() for row in rows if "nonce" in row}
        self.taken = {each[:5] for each in self.ids | nonces}
        self.marks = {
            mark(row.get("assessor_id") or row["staff_id"], row["hash"]): row
            for name in ("token", "join_code")
            for row in self.rows[name]
        }

    def copies(self, first: int, count: int, head: tuple[int, str]) -> Iterator[tuple[dict[str, list[Row]], list[Row]]]:
        """So many copies, numbered from `first`: the rows by table, and the events that go on from `head`."""
        for number in range(first, first + count):
            prefix = f"{number:05x}" if f"{number:05x}" not in self.taken else f"{number + HIGH:05x}"
            rows, numbers = self._rows(prefix)
            told = list(self._events(prefix, rows, numbers, head))
            head = (told[-1]["seq"], told[-1]["hash"])
            yield rows, told

    def _new(self, prefix: str, value: Any) -> Any:
        return prefix + value[5:] if isinstance(value, str) and value in self.ids else value

    def _rows(self, prefix: str) -> tuple[dict[str, list[Row]], dict[str, dict[int, int]]]:
        """The rows of a copy, and the new numbers of rows by the old ones."""
        found: dict[str, list[Row]] = {}
        numbers: dict[str, dict[int, int]] = defaultdict(dict)
        for name, rows in self.rows.items():
            made = [{column: self._new(prefix, value) for column, value in row.items()} for row in rows]
            for row in made:
                if name in self.next:
                    self.next[name] += 1
                    numbers[name][row["id"]] = self.next[name]
                    row["id"] = self.next[name]
                if "nonce" in row:
                    row["nonce"] = f"{prefix}{row['nonce'][5:]}"
                if name in FIRST:
                    row["sha256"] = row_hash(name, row)
                if name in ("token", "join_code"):
                    row["hash"] = _other_hash(prefix, row["hash"])
            found[name] = made
        return found, numbers

    def _events(
        self,
        prefix: str,
        rows: Mapping[str, list[Row]],
        numbers: Mapping[str, Mapping[int, int]],
        head: tuple[int, str],
    ) -> Iterator[Row]:
        seq, prev = head
        study = rows["study"][0]
        by_number = {name: {row["id"]: row for row in rows[name]} for name in FIRST}
        for at, kind, body, text in self.events:
            seq += 1
            told = self._told(prefix, kind, body, text, numbers, by_number)
            if "table" in told:
                kept = _picked(rows[told["table"]], told, numbers[told["table"]])
                told["sha256"] = events.digest(kept)
            if "seed" in told:
                told["seed"] = events.salted(study["id"], study["key_seed"])
            link = events.link(seq, at, kind, study["id"], told, prev)
            row = {"seq": seq, "at": at, "kind": kind, "study_id": study["id"], "body": canonical.dumps(told).decode()}
            yield {**row, "prev": prev, "hash": link}
            prev = link

    def _told(
        self, prefix: str, kind: str, body: Row, text: str, numbers: Any, by_number: Mapping[str, Mapping[int, Row]]
    ) -> Row:
        """The body of an event of the copy."""
        if kind in FIRST:
            number = numbers[kind][body[kind]]
            return {**body, kind: number, "sha256": by_number[kind][number]["sha256"]}
        parts = ID.split(text)
        parts[1::2] = [self._new(prefix, each) for each in parts[1::2]]
        told: Row = json.loads("".join(parts))
        if "token" in told:
            told["token"] = self._mark(prefix, told["token"])
        if "codes" in told:
            told["codes"] = {self._mark(prefix, each): who for each, who in told["codes"].items()}
        return told

    def _mark(self, prefix: str, old: str) -> str:
        row = self.marks[old]
        return mark(row.get("assessor_id") or row["staff_id"], _other_hash(prefix, row["hash"]))


def _all(table: Table, one: Scope) -> Any:
    return select(table).where(one.rows(table)).order_by(*table.primary_key.columns)


def _other_hash(prefix: str, hash_: str) -> str:
    return hashlib.sha256(f"{prefix} {hash_}".encode()).hexdigest()


def _picked(rows: list[Row], told: Row, numbers: Mapping[int, int]) -> list[Row]:
    """The rows a cover names, in the order of their key; a number in its body becomes the new one."""
    if isinstance(told["where"].get("id"), int):
        told["where"] = {"id": numbers[told["where"]["id"]]}
    names = told.get("columns") or covers.FIRST[told["table"]]
    picked = [row for row in rows if all(row[key] == value for key, value in told["where"].items())]
    keys = [column.name for column in schema.metadata.tables[told["table"]].primary_key.columns]
    return [{name: row[name] for name in names} for row in sorted(picked, key=lambda row: [row[key] for key in keys])]


def fill(store: Store, study: str, have: int, want: int) -> None:
    """Copies of a study until there are so many."""
    template = Template(store, study)
    while have < want:
        count = min(AT_ONCE, want - have)
        with store.write() as tx:
            heaps: dict[str, list[Row]] = defaultdict(list)
            for rows, told in template.copies(have, count, events.head(tx)):
                for name, made in rows.items():
                    heaps[name] += made
                heaps["event"] += told
            for table in (*TABLES, schema.event):
                if heaps[table.name]:
                    _put(tx, table, heaps[table.name])
        have += count


def _put(tx: Any, table: Table, rows: list[Row]) -> None:
    """All rows of a table in one go: PostgreSQL by COPY, SQLite by one statement run for each."""
    if tx.dialect.name != "postgresql":
        tx.execute(insert(table), rows)
        return
    names = [column.name for column in table.columns]
    text = io.StringIO()
    csv.writer(text).writerows([["\\N" if row[name] is None else row[name] for name in names] for row in rows])
    listed = ", ".join(f'"{name}"' for name in names)
    with (
        tx.connection.cursor() as cursor,
        cursor.copy(f"COPY {table.name} ({listed}) FROM STDIN (FORMAT csv, NULL '\\N')") as copy,
    ):
        copy.write(text.getvalue())
