"""One store: an engine, one writer behind one lock, readers apart. The only place that knows which database it is."""

from __future__ import annotations

import contextlib
import os
import stat
import sys
import threading
from collections.abc import Iterator
from pathlib import Path
from types import ModuleType
from typing import Any

from sqlalchemy import Connection, Engine, create_engine, event, make_url, text
from sqlalchemy.engine import URL
from sqlalchemy.exc import DBAPIError, OperationalError

from studyapp.errors import StoreProblem
from studyapp.words import _

# Versions in which the reset of the write-ahead log cannot lose commits: fixed in 3.51.3, 3.50.7 and 3.44.6.
FLOORS = ((3, 44, 6), (3, 50, 7), (3, 51, 3))
NETWORK_TYPES = ("nfs", "nfs4", "cifs", "smb3", "smbfs", "fuse", "fuseblk", "9p", "afs", "ncpfs")


def sqlite_module() -> ModuleType:
    """The SQLite library to use: the bundled one where it exists. Never both on one file in one process."""
    try:
        import pysqlite3.dbapi2 as module
    except ImportError:
        import sqlite3 as module
    return module  # type: ignore[no-any-return]


def write_ahead_is_safe(version: tuple[int, ...]) -> bool:
    """True when this SQLite library has the fix for its write-ahead log."""
    if version >= FLOORS[-1]:
        return True
    return any(version[:2] == floor[:2] and version >= floor for floor in FLOORS)


class Store:
    """An open store. `write()` is one transaction of the one writer; `read()` sees one moment."""

    def __init__(self, engine: Engine) -> None:
        self.engine = engine
        self._lock = threading.RLock()
        self._writer: Connection | None = None

    @property
    def url(self) -> str:
        """The address this store was opened at, without a password."""
        return self.engine.url.render_as_string(hide_password=True)

    @contextlib.contextmanager
    def write(self) -> Iterator[Connection]:
        """One write transaction: all of it is kept, or nothing."""
        with self._lock, _as_store_problem():
            if self._writer is None or self._writer.closed or self._writer.invalidated:
                self._writer = self.engine.connect().execution_options(writes=True)
            with self._writer.begin():
                yield self._writer

    @contextlib.contextmanager
    def read(self) -> Iterator[Connection]:
        """One read transaction."""
        with _as_store_problem(), self.engine.connect() as connection, connection.begin():
            yield connection

    def close(self) -> None:
        """Close every connection."""
        with self._lock:
            if self._writer is not None:
                self._writer.close()
            self._writer = None
            self.engine.dispose()


@contextlib.contextmanager
def _as_store_problem() -> Iterator[None]:
    """Turn what the database says into a sentence."""
    try:
        yield
    except OperationalError as error:
        raise StoreProblem(_sentence(str(error.orig))) from error
    except DBAPIError as error:
        if error.connection_invalidated or "not a database" in str(error.orig) or "malformed" in str(error.orig):
            raise StoreProblem(_sentence(str(error.orig))) from error
        raise


def _sentence(said: str) -> str:
    """Our words for the database's."""
    known = {
        "full": _("Not done: the disk is full. Nothing was half written. Free some space and try again."),
        "readonly": _(
            "Not done: the store may only be read. Give this account the right to write the file and its folder."
        ),
        "locked": _("Not done: another program holds the store. Close it and try again."),
        "not a database": _("Not done: the file is not a store of this app. Name another file."),
        "malformed": _("Careful: the store is damaged. Restore the last backup, then run the check."),
        "unable to open": _("Not done: the store cannot be opened. Check that its folder exists and may be written."),
    }
    for part, sentence in known.items():
        if part in said:
            return sentence
    return _("Not done: the store does not answer. What was kept before is kept; try again.")


def connect(url: str, *, read_only: bool = False) -> Engine:
    """An engine for `url`: a SQLite path or URL, or a PostgreSQL URL.

    Raises:
        StoreProblem: the file, its folder or its owner forbid it.
    """
    parsed = _parsed(url)
    if parsed.get_backend_name() == "sqlite":
        return _sqlite(parsed, read_only)
    return create_engine(parsed, pool_pre_ping=True)


def _parsed(url: str) -> URL:
    """The URL; a bare path means SQLite."""
    if "://" not in url:
        return URL.create("sqlite", database=str(Path(url)))
    parsed = make_url(url)
    if parsed.get_backend_name() not in ("sqlite", "postgresql"):
        raise StoreProblem(
            _("Not done: {url} is no store. Write a file name, sqlite:///FILE or postgresql://...").format(url=url)
        )
    return parsed.set(drivername="postgresql+psycopg") if parsed.get_backend_name() == "postgresql" else parsed


def _sqlite(url: URL, read_only: bool) -> Engine:
    """SQLite with our own transactions, full durability and a private file."""
    path = Path(url.database or "")
    _refuse_unfit(path, read_only)
    module = sqlite_module()
    safe = write_ahead_is_safe(module.sqlite_version_info)
    address = (
        f"file:{path.resolve().as_posix().replace('?', '%3f').replace('#', '%23')}?mode={'ro' if read_only else 'rwc'}"
    )
    engine = create_engine(
        "sqlite://",
        creator=lambda: module.connect(address, uri=True, timeout=30, check_same_thread=False, isolation_level=None),
        module=module,
        pool_size=16,
        max_overflow=32,
        pool_timeout=30,
        poolclass=_queue_pool(),
    )

    @event.listens_for(engine, "connect")
    def prepare(connection: Any, _record: object) -> None:
        cursor = connection.cursor()
        cursor.execute("PRAGMA foreign_keys=ON")
        cursor.execute("PRAGMA busy_timeout=30000")
        if not read_only:
            cursor.execute("PRAGMA journal_mode=WAL" if safe else "PRAGMA journal_mode=DELETE")
            cursor.execute("PRAGMA synchronous=FULL" if safe else "PRAGMA synchronous=EXTRA")
        cursor.close()

    @event.listens_for(engine, "begin")
    def begin(connection: Connection) -> None:
        connection.exec_driver_sql("BEGIN IMMEDIATE" if connection.get_execution_options().get("writes") else "BEGIN")

    return engine


def _queue_pool() -> Any:
    from sqlalchemy.pool import QueuePool

    return QueuePool


def _refuse_unfit(path: Path, read_only: bool) -> None:
    """Say in one sentence why this file cannot be the store, before anything is created."""
    folder = path.resolve().parent
    if not folder.is_dir():
        raise StoreProblem(_("Not done: the folder {folder} does not exist. Make it first.").format(folder=folder))
    kind = _file_system(folder)
    if kind in NETWORK_TYPES or kind.startswith("fuse."):
        raise StoreProblem(
            _(
                "Not done: {folder} is on a network drive ({kind}), where a file store can lose answers. Use a local disk or PostgreSQL."
            ).format(folder=folder, kind=kind)
        )
    if not path.exists():
        if read_only:
            raise StoreProblem(_("Not done: there is no store at {path}.").format(path=path))
        if not os.access(folder, os.W_OK) or not folder.stat().st_mode & stat.S_IWUSR:
            raise StoreProblem(
                _("Not done: the folder {folder} may only be read. Name a folder this account may write.").format(
                    folder=folder
                )
            )
        os.close(os.open(path, os.O_CREAT | os.O_WRONLY, 0o600))
        return
    _refuse_file(path, read_only)


def _refuse_file(path: Path, read_only: bool) -> None:
    """The file exists: it must be ours and writable."""
    status = path.stat()
    if path.is_dir():
        raise StoreProblem(_("Not done: {path} is a folder. Name a file.").format(path=path))
    if read_only:
        return
    if hasattr(os, "geteuid") and status.st_uid != os.geteuid():
        raise StoreProblem(
            _("Not done: {path} belongs to another account. Start the app as its owner.").format(path=path)
        )
    if not status.st_mode & stat.S_IWUSR or not os.access(path, os.W_OK):
        raise StoreProblem(
            _("Not done: {path} may only be read. Give this account the right to write it.").format(path=path)
        )
    if not path.parent.stat().st_mode & stat.S_IWUSR:
        raise StoreProblem(
            _("Not done: the folder {folder} may only be read. Name a folder this account may write.").format(
                folder=path.parent
            )
        )


def _file_system(folder: Path) -> str:
    """The type of the file system of `folder` on Linux, empty elsewhere."""
    if not sys.platform.startswith("linux"):
        return ""
    best, kind = "", ""
    with contextlib.suppress(OSError), open("/proc/self/mounts", encoding="utf-8") as mounts:
        for line in mounts:
            _device, point, type_, *_rest = line.split(" ")
            point = point.replace("\\040", " ")
            if (str(folder) + "/").startswith(point.rstrip("/") + "/") and len(point) >= len(best):
                best, kind = point, type_
    return kind


def sqlite_version(connection: Connection) -> str | None:
    """The library's version, None on PostgreSQL."""
    if connection.dialect.name != "sqlite":
        return None
    return str(connection.execute(text("SELECT sqlite_version()")).scalar_one())
