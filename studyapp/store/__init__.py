"""The only SQL of the project: records in, records out, one writer."""

from __future__ import annotations

from studyapp.store import clock, older, revisions
from studyapp.store.engine import Store, connect, is_still, is_writable, settle
from studyapp.store.revisions import CODE_SALT

__all__ = ["CODE_SALT", "Store", "open_store", "read_as_it_stands", "read_store"]


def open_store(url: str) -> Store:
    """Open the store at `url` and bring its tables up to date.

    Raises:
        StoreProblem: it cannot be opened or written, is no store, or was written by a newer version.
    """
    store = Store(connect(url))
    try:
        with store.write() as tx:
            revisions.migrate(tx)
            clock.resume(tx)
        settle(store)
    except BaseException:
        store.close()
        raise
    return store


def read_store(url: str) -> Store:
    """Open an existing store for reading only; nothing is written. One of an earlier version is read as this version
    would bring it up to date, and says so in `older`.

    Raises:
        StoreProblem: there is none, or a newer version wrote it.
    """
    store, revision = _standing(url)
    return store if revision == revisions.today() else older.rehearsed(store, url, revision)


def read_as_it_stands(url: str) -> Store:
    """Open an existing store for reading only, with the tables it has, whichever version wrote them.

    Raises:
        StoreProblem: there is none, or a newer version wrote it.
    """
    return _standing(url)[0]


def _standing(url: str) -> tuple[Store, str]:
    """A store and its revision."""
    if is_still(url):  # look first without leaving a file beside a store that may not be ours
        store = Store(connect(url, read_only=True, still=True))
        revision = _proven(store)
        if not is_writable(url):
            return store, revision
        store.close()
    store = Store(connect(url, read_only=True))
    return store, _proven(store)


def _proven(store: Store) -> str:
    """The revision of a store, if it is one of ours that this version can read; else it is closed again."""
    try:
        with store.read() as tx:
            return revisions.known_revision(tx)
    except BaseException:
        store.close()
        raise
