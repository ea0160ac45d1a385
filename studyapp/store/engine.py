"""One store: an engine, one writer behind one lock, readers apart. The only place that knows which database it is."""

from __future__ import annotations

import contextlib
import threading
import time
from collections import deque
from collections.abc import Callable, Iterator, Sequence
from pathlib import Path
from types import ModuleType
from typing import Any, TypeVar

from sqlalchemy import Connection, Engine, create_engine, event, make_url, text
from sqlalchemy.engine import URL
from sqlalchemy.exc import DBAPIError, OperationalError
from sqlalchemy.pool import QueuePool

from studyapp.errors import StoreProblem, StudyError
from studyapp.store import events, place
from studyapp.words import _

# Versions in which the reset of the write-ahead log cannot lose commits: fixed in 3.51.3, 3.50.7 and 3.44.6.
FLOORS = ((3, 44, 6), (3, 50, 7), (3, 51, 3))
BUSY_SECONDS = 30
Result = TypeVar("Result")
WRITERS_TAKE_TURNS = 8214  # the advisory lock of PostgreSQL that stands for SQLite's one writer


def sqlite_module() -> ModuleType:
    """The SQLite library to use: the bundled one where it exists. Never both on one file in one process."""
    try:
        import pysqlite3.dbapi2 as module
    except ImportError:
        import sqlite3 as module  # type: ignore[no-redef,unused-ignore]
    return module  # type: ignore[no-any-return]


def write_ahead_is_safe(version: tuple[int, ...]) -> bool:
    """True when this SQLite library has the fix for its write-ahead log."""
    if version >= FLOORS[-1]:
        return True
    return any(version[:2] == floor[:2] and version >= floor for floor in FLOORS)


class _Ticket:
    """Somebody who waits for a shared transaction."""

    def __init__(self, act: Callable[[Connection], Any]) -> None:
        self.act = act
        self.result: Any = None
        self.error: BaseException | None = None
        self.served = False

    def serve(self, tx: Connection) -> None:
        """Do the work under a savepoint; what is refused leaves nothing. A failing database ends the whole batch."""
        self.error = None
        try:
            with tx.begin_nested():
                self.result = self.act(tx)
        except OperationalError:
            raise
        except Exception as error:
            self.error = error


class Store:
    """An open store. `write()` is one transaction of the one writer; `read()` sees one moment.

    `older` is the revision of a store of an earlier version that is only read, as it would be brought up to date.
    """

    older: str | None = None

    def __init__(self, engine: Engine) -> None:
        """Connections are made when they are first needed."""
        self.engine = engine
        self._lock = threading.RLock()
        self._writer: Connection | None = None
        self._waiting: deque[_Ticket] = deque()

    @property
    def url(self) -> str:
        """The address this store was opened at, without a password."""
        return str(self.engine.url.render_as_string(hide_password=True))

    @contextlib.contextmanager
    def write(self) -> Iterator[Connection]:
        """One write transaction: all of it is kept, or nothing."""
        with self._lock, as_store_problem():
            if self._writer is None or self._writer.closed or self._writer.invalidated:
                self._writer = self.engine.connect().execution_options(writes=True)
            try:
                with self._writer.begin():
                    if self._writer.dialect.name == "postgresql":
                        # Without it two writers read the same head and fork the chain.
                        self._writer.execute(text(f"SELECT pg_advisory_xact_lock({WRITERS_TAKE_TURNS})"))
                    events.note_jump(self._writer)
                    yield self._writer
            except StudyError:
                raise
            except BaseException:
                # A commit that failed may have left its transaction open; closing the connection ends it for good.
                self._forget_writer()
                raise

    def write_together(self, act: Callable[[Connection], Result]) -> Result:
        """Run `act` in a write transaction that it may share with whoever waits at the same moment.

        The disk is flushed once for all of them. Each is still kept whole or not at all: what one refuses is undone
        alone, and nobody gets an answer before the commit.
        """
        (ticket,) = self._served([_Ticket(act)])
        if ticket.error is not None:
            raise ticket.error
        return ticket.result  # type: ignore[no-any-return]

    def write_all(self, acts: Sequence[Callable[[Connection], Result]]) -> list[Result | BaseException]:
        """The same for many at once: of each what it returned, or why it was not kept."""
        tickets = self._served([_Ticket(act) for act in acts])
        return [ticket.result if ticket.error is None else ticket.error for ticket in tickets]

    def _served(self, tickets: list[_Ticket]) -> list[_Ticket]:
        self._waiting.extend(tickets)
        with self._lock:
            if not all(ticket.served for ticket in tickets):
                self._serve()
        return tickets

    def _serve(self) -> None:
        """One transaction for everybody who waits now; the caller holds the lock and waits as well."""
        batch = [self._waiting.popleft() for _ticket in range(len(self._waiting))]
        try:
            if not self._all_kept(batch):
                with self.write() as tx:
                    for ticket in batch:
                        ticket.serve(tx)
        except BaseException as problem:
            for ticket in batch:  # no answer without a row: nobody in the batch was kept
                ticket.error = StoreProblem(str(problem) if isinstance(problem, StoreProblem) else _sentence(""))
            if not isinstance(problem, StoreProblem):
                raise
        finally:
            for ticket in batch:
                ticket.served = True

    def _all_kept(self, batch: Sequence[_Ticket]) -> bool:
        """Keep everybody without a savepoint for each, which costs as much as a mark: refusals are rare. Where one is
        refused nothing is kept, and all are served once more, each apart."""
        try:
            with self.write() as tx:
                for ticket in batch:
                    ticket.result = ticket.act(tx)
        except StudyError as refused:
            if isinstance(refused, StoreProblem):
                raise
            if len(batch) == 1:
                batch[0].error = refused
            return len(batch) == 1
        return True

    def _forget_writer(self) -> None:
        """Close the writer's connection, whatever state it is in."""
        writer, self._writer = self._writer, None
        if writer is not None:
            with contextlib.suppress(DBAPIError):
                writer.invalidate()
            writer.close()

    @contextlib.contextmanager
    def read(self) -> Iterator[Connection]:
        """One read transaction."""
        with as_store_problem(), self.engine.connect() as connection, connection.begin():
            yield connection

    def close(self) -> None:
        """Close every connection."""
        with self._lock:
            if self._writer is not None:
                self._writer.close()
            self._writer = None
            self.engine.dispose()


@contextlib.contextmanager
def as_store_problem() -> Iterator[None]:
    """Turn what the database says into a sentence."""
    try:
        yield
    except DBAPIError as error:
        said = str(error.orig)
        if isinstance(error, OperationalError) or error.connection_invalidated or _about_the_file(said):
            raise StoreProblem(_sentence(said)) from error
        raise
    except UnicodeDecodeError as error:  # the library quotes a damaged name
        raise StoreProblem(_sentence("malformed")) from error


def _about_the_file(said: str) -> bool:
    """Whether the database complains of its file rather than of a statement."""
    return "not a database" in said or "malformed" in said or "unsupported file format" in said


def _sentence(said: str) -> str:
    """Our words for the database's."""
    known = {
        "full": _("Not done: the disk is full. Nothing was half written. Free some space and try again."),
        "readonly": _(
            "Not done: the store may only be read. Give this account the right to write the file and its folder."
        ),
        "locked": _("Not done: another program holds the store. Close it and try again."),
        "not a database": _("Not done: the file is not a store of this app. Name another file."),
        "unsupported file format": _("Not done: the file is not a store of this app. Name another file."),
        "malformed": _("Careful: the store is damaged. Restore the last backup, then run the check."),
        "unable to open": _("Not done: the store cannot be opened. Check that its folder exists and may be written."),
    }
    for part, sentence in known.items():
        if part in said:
            return sentence
    return _("Not done: the store does not answer. What was kept before is kept; try again.")


# ---- from an address to an engine ----------------------------------------------------------------------------------
def connect(url: str, *, read_only: bool = False, still: bool = False) -> Engine:
    """An engine for `url`: a SQLite path or URL, or a PostgreSQL URL.

    `still` reads a SQLite file that nobody has open without leaving any file beside it; it takes no locks.

    Raises:
        StoreProblem: the file, its folder or its owner forbid it.
    """
    parsed = parse(url)
    if parsed.get_backend_name() == "sqlite":
        mode = "ro&immutable=1" if still else "ro" if read_only else "rw"
        return _sqlite(Path(parsed.database or ""), mode)
    wishes = "-c default_transaction_read_only=on" if read_only else ""
    try:
        return create_engine(parsed, pool_pre_ping=True, connect_args={"options": wishes} if wishes else {})
    except ImportError as error:
        raise StoreProblem(
            _("Not done: PostgreSQL needs one more package. Install studyapp with its extra `postgres`.")
        ) from error


def parse(url: str) -> URL:
    """The URL; a bare path means SQLite.

    Raises:
        StoreProblem: the URL names another kind of database, or cannot be read.
    """
    refusal = _("Not done: {url} is no store. Write a file name, sqlite:///FILE or postgresql://...").format(url=url)
    if not url or "://" not in url:
        return URL.create("sqlite", database=url or None) if url else _refuse(refusal)
    try:
        parsed = make_url(url)
        backend = parsed.get_backend_name()
    except Exception as error:  # SQLAlchemy raises several kinds for a malformed address
        raise StoreProblem(refusal) from error
    if backend == "postgresql":
        return parsed.set(drivername="postgresql+psycopg")
    return parsed if backend == "sqlite" and parsed.database not in (None, "", ":memory:") else _refuse(refusal)


def _refuse(sentence: str) -> Any:
    raise StoreProblem(sentence)


def _sqlite(path: Path, mode: str) -> Engine:
    """SQLite with our own transactions, full durability and a private file."""
    place.refuse_unfit(path, mode != "rw")
    if mode == "rw":
        place.make(path)
    module = sqlite_module()
    address = f"{path.resolve().as_uri()}?mode={mode}"
    engine = create_engine(
        URL.create("sqlite", database=str(path.resolve())),
        creator=lambda: module.connect(
            address, uri=True, timeout=BUSY_SECONDS, check_same_thread=False, isolation_level=None
        ),
        module=module,
        poolclass=QueuePool,
        pool_size=16,
        max_overflow=32,
    )
    event.listen(engine, "connect", _prepare)
    event.listen(engine, "begin", begin)
    return engine


def _prepare(connection: Any, _record: object) -> None:
    """What SQLite forgets with every connection."""
    cursor = connection.cursor()
    cursor.execute("PRAGMA foreign_keys=ON")
    cursor.execute(f"PRAGMA synchronous={'FULL' if _write_ahead() else 'EXTRA'}")
    cursor.close()


def begin(connection: Connection) -> None:
    """Begin ourselves: the library's own way leaves half a migration behind and takes the write lock too late."""
    connection.exec_driver_sql("BEGIN IMMEDIATE" if connection.get_execution_options().get("writes") else "BEGIN")


def _write_ahead() -> bool:
    return write_ahead_is_safe(tuple(sqlite_module().sqlite_version_info))


def settle(store: Store) -> None:
    """Give a SQLite file narrow rights and the journal its library can be trusted with. The mode stays in the file.

    Only after the file is known to be ours: another program's database is not touched.
    """
    if store.engine.dialect.name != "sqlite":
        return
    place.tighten(Path(store.engine.url.database or ""))
    wanted = "wal" if _write_ahead() else "delete"
    until = time.monotonic() + BUSY_SECONDS
    with store._lock, as_store_problem(), contextlib.closing(store.engine.raw_connection()) as connection:
        while not _has_journal(connection, wanted):
            # Another server that starts at this moment may hold the file; it wants the same mode.
            if time.monotonic() > until:
                raise StoreProblem(_sentence("locked"))
            time.sleep(0.05)


def _has_journal(connection: Any, wanted: str) -> bool:
    """Ask for the journal mode; True once the file has it."""
    cursor = connection.cursor()
    if str(cursor.execute("PRAGMA journal_mode").fetchone()[0]).lower() == wanted:
        return True
    with contextlib.suppress(sqlite_module().OperationalError):
        cursor.execute(f"PRAGMA journal_mode={wanted}")
    return False


def is_still(url: str) -> bool:
    """Whether `url` is a SQLite file that nobody has open: no log and no journal lie beside it."""
    parsed = parse(url)
    return parsed.get_backend_name() == "sqlite" and place.is_still(Path(parsed.database or ""))


def is_writable(url: str) -> bool:
    """Whether the folder of a SQLite store may be written; True on PostgreSQL."""
    parsed = parse(url)
    return parsed.get_backend_name() != "sqlite" or place.writable(Path(parsed.database or "").resolve().parent)


def sqlite_version(connection: Connection) -> str | None:
    """The library's version, None on PostgreSQL."""
    if connection.dialect.name != "sqlite":
        return None
    return str(connection.execute(text("SELECT sqlite_version()")).scalar_one())
