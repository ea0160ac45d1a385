"""Stores that are furnished once and copied for every test.

Hashing passphrases, sealing and tasting take most of a second each; a copy of the file takes a millisecond. What is
kept is kept for one process, as bytes, so no test can change what another one gets.
"""

from __future__ import annotations

from collections.abc import Callable, Hashable
from contextlib import closing
from dataclasses import replace
from pathlib import Path
from typing import Any

from studyapp.store import Store, open_store
from studyapp.store.engine import sqlite_module

_FURNISHED: dict[tuple[Hashable, ...], tuple[bytes, Any]] = {}
_REACHED: dict[tuple[Hashable, ...], bytes] = {}


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


def reached(store: Store, go: Callable[[], object], *key: Hashable) -> None:
    """Take `store` to where `go` takes it. Whoever has gone there before with this key starts from an equal store."""
    file = str(store.engine.url.database)
    aside = Path(f"{file}.reached")
    if key in _REACHED:
        aside.write_bytes(_REACHED[key])
        _copy(str(aside), file)
    else:
        go()
        _copy(file, str(aside))
        _REACHED[key] = aside.read_bytes()
    aside.unlink()


def _copy(source: str, target: str) -> None:
    """Page by page, whoever has either of them open."""
    sqlite = sqlite_module()
    with closing(sqlite.connect(source)) as one, closing(sqlite.connect(target)) as other:
        one.backup(other)
