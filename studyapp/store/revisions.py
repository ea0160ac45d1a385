"""Which version wrote the tables of a store, and the steps from there to today."""

from __future__ import annotations

import secrets
from functools import cache
from typing import Any

from alembic import command
from alembic.config import Config
from alembic.script import ScriptDirectory
from sqlalchemy import Connection, inspect, text

from studyapp.errors import Foreign, StoreProblem
from studyapp.store import people
from studyapp.words import _

CODE_SALT = "code salt"


def migrate(tx: Connection) -> None:
    """Run what is missing. The write lock of the database makes two starts at once take turns.

    Raises:
        Foreign: the tables are not ours, or a newer version wrote them.
    """
    found = revision(tx)
    if found == today():
        return
    if found is None and inspect(tx).get_table_names():
        raise _not_ours()
    config = _config()
    config.attributes["connection"] = tx
    command.upgrade(config, "head")
    if people.meta(tx, CODE_SALT) is None:
        people.keep_meta(tx, CODE_SALT, secrets.token_hex(16))


def today() -> str:
    """The revision of the tables that this version works with."""
    return str(_script().get_current_head())


def _config() -> Config:
    config = Config()
    config.set_main_option("script_location", "studyapp.store:migrations")
    config.set_main_option("path_separator", "os")
    return config


@cache
def _script() -> Any:
    """The migrations of this version; they do not change while it runs."""
    return ScriptDirectory.from_config(_config())


def revision(tx: Connection) -> str | None:
    """The revision of the tables, None where there are none of ours.

    Raises:
        Foreign: the tables are another program's, or a newer version wrote them.
    """
    tables = set(inspect(tx).get_table_names())
    if "alembic_version" not in tables:
        return None
    if not {"event", "score"} <= tables:
        raise _not_ours()
    found = tx.execute(text("SELECT version_num FROM alembic_version")).scalar()
    if found not in {each.revision for each in _script().walk_revisions()}:
        raise Foreign(_("Not done: this store was written by a newer version of the app. Update the app."))
    return str(found)


def known_revision(tx: Connection) -> str:
    """The revision of a store that must be there.

    Raises:
        StoreProblem: as `revision`; or there is nothing at all, as after a write that never came to its end.
    """
    found = revision(tx)
    if found is None:
        raise _not_ours() if inspect(tx).get_table_names() else StoreProblem(_foreign())
    return found


def _foreign() -> str:
    return _("Not done: the file is not a store of this app. Name another file.")


def _not_ours() -> Foreign:
    return Foreign(_foreign())
