"""A store of an earlier version, read as this version would bring it up to date; the store itself stays as it is.

A SQLite file is copied page by page into a file without a name, which the system takes away with the connection even
when this process is killed. A PostgreSQL database is brought up to date in a transaction that is rolled back.
"""

from __future__ import annotations

import contextlib
from collections.abc import Iterator

from sqlalchemy import Connection, Engine, create_engine, event, text
from sqlalchemy.pool import StaticPool

from studyapp.errors import StoreProblem
from studyapp.store import revisions
from studyapp.store.engine import BUSY_SECONDS, Store, as_store_problem, begin, connect, sqlite_module
from studyapp.words import _


class Rehearsed(Store):
    """A store within one transaction that is never kept."""

    def __init__(self, engine: Engine, revision: str) -> None:
        """Run the missing migrations.

        Raises:
            StoreProblem: they do not fit what is there.
        """
        super().__init__(engine)
        self.older = revision
        with as_store_problem():
            self._only = engine.connect()
            self._rehearsal = self._only.begin()
        try:
            self._bring_up_to_date()
        except BaseException:
            self.close()
            raise

    def _bring_up_to_date(self) -> None:
        with as_store_problem():
            if self._only.dialect.name == "postgresql":  # the app that runs on it may hold the tables
                self._only.execute(text(f"SET LOCAL lock_timeout = '{BUSY_SECONDS}s'"))
            try:
                revisions.migrate(self._only)
            except RuntimeError as error:  # a step that found what no version of the app has written
                raise StoreProblem(
                    _("Careful: the store cannot be brought up to date ({said}). Restore the last backup.").format(
                        said=error
                    )
                ) from error

    @contextlib.contextmanager
    def read(self) -> Iterator[Connection]:
        """The tables of today."""
        with self._lock, as_store_problem(), self._only.begin_nested():
            yield self._only

    @contextlib.contextmanager
    def write(self) -> Iterator[Connection]:
        """Nothing is ever kept here.

        Raises:
            StoreProblem: always.
        """
        raise StoreProblem(_("Not done: an older store is only read here. Start the app once to bring it up to date."))
        yield self._only

    def close(self) -> None:
        """Forget the rehearsal."""
        self._rehearsal.rollback()
        self._only.close()
        super().close()


def rehearsed(store: Store, url: str, revision: str) -> Rehearsed:
    """The store at `url`, open as `store` and of an earlier `revision`, as it would be today; closes `store`."""
    try:
        engine = _copied(store) if store.engine.dialect.name == "sqlite" else connect(url)
    finally:
        store.close()
    return Rehearsed(engine, revision)


def blank() -> Rehearsed:
    """An empty store of this version that nobody can name."""
    return Rehearsed(_nameless(), revisions.today())


def _nameless() -> Engine:
    """An empty SQLite file that goes with its connection."""
    module = sqlite_module()
    engine = create_engine(
        "sqlite://",
        creator=lambda: module.connect("", check_same_thread=False, isolation_level=None),
        module=module,
        poolclass=StaticPool,
    )
    event.listen(engine, "begin", begin)
    return engine


def _copied(store: Store) -> Engine:
    """The pages of a SQLite file in a file of their own that nobody can name."""
    engine, module = _nameless(), sqlite_module()
    raw = (contextlib.closing(each.raw_connection()) for each in (store.engine, engine))
    with next(raw) as source, next(raw) as target:
        try:
            source.cursor().connection.backup(target.cursor().connection)
        except module.Error as error:
            raise StoreProblem(
                _("Careful: the store is damaged. Restore the last backup, then run the check.")
            ) from error
    return engine
