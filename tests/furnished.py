"""Stores that are furnished once and copied for every test.

Hashing passphrases, sealing and tasting take most of a second each; a copy of the file takes a millisecond. What is
kept is kept for one process, as bytes, so no test can change what another one gets.
"""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Hashable
from contextlib import closing
from dataclasses import replace
from pathlib import Path
from typing import Any

from studyapp.store import Store, open_store
from studyapp.store.engine import sqlite_module

_FURNISHED: dict[tuple[Hashable, ...], tuple[bytes, Any]] = {}
_REACHED: dict[tuple[Hashable, ...], tuple[bytes, Any]] = {}


def empty(file: Path) -> Store:
    """A new store in `file`: every table, nothing in them."""
    return furnished(file, lambda _store: None)[0]


def furnished(file: Path, furnish: Callable[..., Any], *told: Hashable) -> tuple[Store, Any]:
    """The store in `file` as `furnish(store, *told)` leaves it, and what that gives with the store left out of it."""
    key = (furnish.__qualname__, *told)
    if key not in _FURNISHED:
        with closing(open_store(str(file))) as store:
            made = furnish(store, *told)
        _FURNISHED[key] = file.read_bytes(), made
    content, made = _FURNISHED[key]
    file.write_bytes(content)
    store = open_store(str(file))
    return store, (replace(made, store=store) if hasattr(made, "store") else made)


def reached(store: Store, go: Callable[[], Any], *named: Hashable) -> Any:
    """Take `store` to where `go` takes it, once for each name and each content to start from; what `go` gave there."""
    file = str(store.engine.url.database)
    aside = Path(f"{file}.reached")
    key = (_content(file), *named)
    if key in _REACHED:
        aside.write_bytes(_REACHED[key][0])
        _copy(str(aside), file)
    else:
        given = go()
        _copy(file, str(aside))
        _REACHED[key] = aside.read_bytes(), given
    aside.unlink()
    return _REACHED[key][1]


def _content(file: str) -> bytes:
    """Of every row of every table; bytes of files differ by how they came about."""
    with closing(sqlite_module().connect(file)) as connection:
        tables = connection.execute("SELECT name FROM sqlite_master WHERE type = 'table' ORDER BY name").fetchall()
        rows = [(name, connection.execute(f"SELECT * FROM {name}").fetchall()) for (name,) in tables]
    return hashlib.sha256(repr(rows).encode()).digest()


def _copy(source: str, target: str) -> None:
    """Page by page, whoever has either of them open."""
    sqlite = sqlite_module()
    with closing(sqlite.connect(source)) as one, closing(sqlite.connect(target)) as other:
        one.backup(other)
