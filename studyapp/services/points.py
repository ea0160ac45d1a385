"""Points up to which a store was proven, kept outside it and signed with a key that is not in it.

Each is a small file in the data folder of the account that checked, and names how far the chain went and what every
study looked like. Who may write the store but not that folder cannot move a point: a copied disk, a share, whoever
administers PostgreSQL. Whoever may do both can make a point of their own; a head on paper is out of their reach too,
and `check --whole` asks no point.
"""

from __future__ import annotations

import contextlib
import hashlib
import hmac
import json
import os
import secrets
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from studyapp.store import Store, canonical, events, revisions, schema
from studyapp.store.proofs import FORM, Point

KEY, FOLDER = "check.key", "checked"


@dataclass(frozen=True, slots=True)
class Kept:
    """A point, and when it was kept."""

    point: Point
    at: str


def load(folder: Path, store: Store, tx: Any) -> Kept | None:
    """The point of a store, None where there is none of this version or its signature is another."""
    try:
        kept = json.loads(_file(folder, store, tx).read_text(encoding="utf-8"))
        body = kept["point"]
        signed = hmac.compare_digest(kept["signature"], _signature(_key(folder), body))
        if signed and (body["form"], body["tables"]) == (FORM, revisions.today()):
            return Kept(Point(body["count"], body["head"], body["digests"], body["unproved"]), body["at"])
    except (OSError, ValueError, KeyError, TypeError):
        pass  # as if there were none: everything is then proven
    return None


def keep(folder: Path, store: Store, tx: Any, point: Point) -> bool:
    """Sign a point and keep it in the place of the one before; False where the folder cannot be written."""
    body = {
        "form": FORM,
        "tables": revisions.today(),
        "at": events.now(),
        "count": point.count,
        "head": point.head,
        "digests": dict(point.digests),
        "unproved": dict(point.unproved),
    }
    try:
        file = _file(folder, store, tx)
        file.parent.mkdir(parents=True, exist_ok=True, mode=0o700)
        new = file.with_suffix(f".{secrets.token_hex(4)}")
        new.write_text(json.dumps({"point": body, "signature": _signature(_key(folder), body)}), encoding="utf-8")
        new.replace(file)
    except OSError:
        return False
    return True


def _signature(key: bytes, body: Mapping[str, Any]) -> str:
    """HMAC-SHA-256 (RFC 2104) of a point."""
    return hmac.new(key, canonical.dumps(body), hashlib.sha256).hexdigest()


def _key(folder: Path) -> bytes:
    """The key of this account, made at its first use and readable by nobody else."""
    file = folder / KEY
    with contextlib.suppress(FileExistsError):
        folder.mkdir(parents=True, exist_ok=True, mode=0o700)
        new = os.open(file, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
        with os.fdopen(new, "wb") as out:
            out.write(secrets.token_bytes(32))
    return file.read_bytes()


def _file(folder: Path, store: Store, tx: Any) -> Path:
    """One a store and place: a copy elsewhere, such as a backup, is proven as a whole."""
    first = tx.execute(schema.event.select().with_only_columns(schema.event.c.hash).where(schema.event.c.seq == 1))
    name = hashlib.sha256(f"{store.url} {first.scalar()}".encode()).hexdigest()[:24]
    return folder / FOLDER / f"{name}.json"
