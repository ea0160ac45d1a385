"""Which rows a check reads: those of one study, those of nobody's study, or all of them.

Every table hangs on a study, directly or through a sitting, a serving, a set or a batch; people, accounts and the store
itself on none. Together the studies and nobody's rows are the store, so a check of each in turn holds a study in memory
and not a store.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from sqlalchemy import ColumnElement, Connection, Table, false, select, true

from studyapp.store import schema

_THROUGH = ("study_id", "sitting_id", "serving_id", "set_id", "batch_id")


def through(table: Table) -> str | None:
    """The column by which a table hangs on a study."""
    if table is schema.study:
        return "id"
    return next((name for name in _THROUGH if name in table.c), None)


def owners(column: str, study: str) -> Any:
    """The ids that such a column may have for this study."""
    if column in ("id", "study_id"):
        return [study]
    return {
        "sitting_id": select(schema.sitting.c.id).where(schema.sitting.c.study_id == study),
        "batch_id": select(schema.batch.c.id).where(schema.batch.c.study_id == study),
        "serving_id": _of_sittings(schema.serving, study),
        "set_id": _of_sittings(schema.trial_set, study),
    }[column]


def _of_sittings(table: Table, study: str) -> Any:
    of_study = schema.sitting.c.study_id == study
    return select(table.c.id).join(schema.sitting, schema.sitting.c.id == table.c.sitting_id).where(of_study)


def _nobodys(table: Table, column: str) -> ColumnElement[bool]:
    """Rows that hang on no study: of a batch that belongs to none as well."""
    if column != "batch_id":
        return table.c[column].is_(None)
    return table.c[column].in_(select(schema.batch.c.id).where(schema.batch.c.study_id.is_(None)))


@dataclass(frozen=True, slots=True)
class Scope:
    """One study, or with `study` None nobody's rows; `whole` is all of both at once."""

    study: str | None = None
    whole: bool = False

    @property
    def people(self) -> bool:
        """Whether people and accounts are in it."""
        return self.whole or self.study is None

    def has(self, table: Table) -> bool:
        """Whether rows of a table can be in it."""
        column = through(table)
        own = column is None or table.c[column].nullable or column == "batch_id"
        return self.whole or (own if self.study is None else column is not None)

    def rows(self, table: Table) -> ColumnElement[bool]:
        """The rows of a table that are in it."""
        column = through(table)
        if self.whole:
            return true()
        if self.study is None:
            return true() if column is None else _nobodys(table, column)
        return false() if column is None else table.c[column].in_(owners(column, self.study))


EVERYTHING, NOBODY = Scope(whole=True), Scope()


def of_store(tx: Connection) -> list[Scope]:
    """Nobody's rows, then every study that a row or an event names."""
    named = tx.execute(select(schema.event.c.study_id).where(schema.event.c.study_id.is_not(None)).distinct()).scalars()
    kept = tx.execute(select(schema.study.c.id)).scalars()
    return [NOBODY, *(Scope(id_) for id_ in sorted({*named, *kept}))]
