"""The only SQL of the project: records in, records out, one writer."""

from __future__ import annotations

import secrets
from typing import Any

from alembic import command
from alembic.config import Config
from alembic.script import ScriptDirectory
from sqlalchemy import Connection, inspect, text

from studyapp.errors import StoreProblem
from studyapp.store import people
from studyapp.store.engine import Store, connect, settle_journal
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
        settle_journal(store)
    except BaseException:
        store.close()
        raise
    return store


def read_store(url: str) -> Store:
    """Open an existing store for reading only; nothing is migrated, nothing written.

    Raises:
        StoreProblem: there is none, or a newer version wrote it.
    """
    store = Store(connect(url, read_only=True))
    try:
        with store.read() as tx:
            if _revision(tx, _script(_config(tx))) is None:
                raise _not_ours()
    except BaseException:
        store.close()
        raise
    return store


def _migrate(tx: Connection) -> None:
    """Run what is missing. The write lock of the database makes two starts at once take turns."""
    config = _config(tx)
    script = _script(config)
    found = _revision(tx, script)
    if found == script.get_current_head():
        return
    if found is None and inspect(tx).get_table_names():
        raise _not_ours()
    command.upgrade(config, "head")
    if people.meta(tx, CODE_SALT) is None:
        people.keep_meta(tx, CODE_SALT, secrets.token_hex(16))


def _config(tx: Connection) -> Config:
    config = Config()
    config.set_main_option("script_location", "studyapp.store:migrations")
    config.set_main_option("path_separator", "os")
    config.attributes["connection"] = tx
    return config


def _script(config: Config) -> Any:
    return ScriptDirectory.from_config(config)


def _revision(tx: Connection, script: Any) -> str | None:
    """The revision of the tables, None where there are none."""
    if not inspect(tx).has_table("alembic_version"):
        return None
    found = tx.execute(text("SELECT version_num FROM alembic_version")).scalar()
    if found not in {revision.revision for revision in script.walk_revisions()}:
        raise StoreProblem(_("Not done: this store was written by a newer version of the app. Update the app."))
    return str(found)


def _not_ours() -> StoreProblem:
    return StoreProblem(_("Not done: the file is not a store of this app. Name another file."))
