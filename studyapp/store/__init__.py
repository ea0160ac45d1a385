"""The only SQL of the project: records in, records out, one writer."""

from __future__ import annotations

import secrets
from functools import cache
from typing import Any

from alembic import command
from alembic.config import Config
from alembic.script import ScriptDirectory
from sqlalchemy import Connection, inspect, text

from studyapp.errors import StoreProblem
from studyapp.store import people
from studyapp.store.engine import Store, connect, is_still, is_writable, settle
from studyapp.words import _

__all__ = ["CODE_SALT", "Store", "open_store", "read_store"]

CODE_SALT = "code salt"


def open_store(url: str) -> Store:
    """Open the store at `url` and bring its tables up to date.

    Raises:
        StoreProblem: it cannot be opened or written, is no store, or was written by a newer version.
    """
    store = Store(connect(url))
    try:
        with store.write() as tx:
            _migrate(tx)
        settle(store)
    except BaseException:
        store.close()
        raise
    return store


def read_store(url: str) -> Store:
    """Open an existing store for reading only; nothing is migrated, nothing written.

    Raises:
        StoreProblem: there is none, or a newer version wrote it.
    """
    if is_still(url):  # look first without leaving a file beside a store that may not be ours
        store = _proven(Store(connect(url, read_only=True, still=True)))
        if not is_writable(url):
            return store
        store.close()
    return _proven(Store(connect(url, read_only=True)))


def _proven(store: Store) -> Store:
    """The store, if it is one of ours that this version can read; else it is closed again."""
    try:
        with store.read() as tx:
            if _revision(tx) is None:
                raise _not_ours()
    except BaseException:
        store.close()
        raise
    return store


def _migrate(tx: Connection) -> None:
    """Run what is missing. The write lock of the database makes two starts at once take turns."""
    found = _revision(tx)
    if found == _script().get_current_head():
        return
    if found is None and inspect(tx).get_table_names():
        raise _not_ours()
    config = _config()
    config.attributes["connection"] = tx
    command.upgrade(config, "head")
    if people.meta(tx, CODE_SALT) is None:
        people.keep_meta(tx, CODE_SALT, secrets.token_hex(16))


def _config() -> Config:
    config = Config()
    config.set_main_option("script_location", "studyapp.store:migrations")
    config.set_main_option("path_separator", "os")
    return config


@cache
def _script() -> Any:
    """The migrations of this version; they do not change while it runs."""
    return ScriptDirectory.from_config(_config())


def _revision(tx: Connection) -> str | None:
    """The revision of the tables, None where there are none."""
    tables = set(inspect(tx).get_table_names())
    if "alembic_version" not in tables:
        return None
    if not {"event", "score"} <= tables:
        raise _not_ours()
    found = tx.execute(text("SELECT version_num FROM alembic_version")).scalar()
    if found not in {revision.revision for revision in _script().walk_revisions()}:
        raise StoreProblem(_("Not done: this store was written by a newer version of the app. Update the app."))
    return str(found)


def _not_ours() -> StoreProblem:
    return StoreProblem(_("Not done: the file is not a store of this app. Name another file."))
