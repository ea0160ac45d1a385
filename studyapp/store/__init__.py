"""The only SQL of the project: records in, records out, one writer."""

from __future__ import annotations

from alembic import command
from alembic.config import Config
from alembic.script import ScriptDirectory
from sqlalchemy import Connection, inspect, text

from studyapp.errors import StoreProblem
from studyapp.store.engine import Store, connect
from studyapp.words import _

__all__ = ["Store", "open_store", "read_store"]


def open_store(url: str) -> Store:
    """Open the store at `url` and bring its tables up to date.

    Raises:
        StoreProblem: it cannot be opened or written, is no store, or was written by a newer version.
    """
    store = Store(connect(url))
    try:
        _migrate(store)
    except BaseException:
        store.close()
        raise
    return store


def read_store(url: str) -> Store:
    """Open an existing store for reading only; nothing is migrated, nothing written."""
    return Store(connect(url, read_only=True))


def _config(connection: Connection) -> Config:
    config = Config()
    config.set_main_option("script_location", "studyapp.store:migrations")
    config.attributes["connection"] = connection
    return config


def _migrate(store: Store) -> None:
    """Run what is missing. The write lock of the database makes two starts at once take turns."""
    with store.write() as tx:
        if tx.dialect.name == "postgresql":
            tx.execute(text("SELECT pg_advisory_xact_lock(8213)"))
        config = _config(tx)
        script = ScriptDirectory.from_config(config)
        if inspect(tx).has_table("alembic_version"):
            found = tx.execute(text("SELECT version_num FROM alembic_version")).scalar()
            if found == script.get_current_head():
                return
            if found not in {revision.revision for revision in script.walk_revisions()}:
                raise StoreProblem(_("Not done: this store was written by a newer version of the app. Update the app."))
        elif inspect(tx).get_table_names():
            raise StoreProblem(_("Not done: the file is not a store of this app. Name another file."))
        command.upgrade(config, "head")
