"""What the chain keeps of a row that is only ever added, a score or a trial: one hash over its columns.

The columns a table began with are always in it; one that was added since is in it where it holds something. So a row
keeps its hash when its table grows, and no value of a row stays outside its hash.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from studyapp.store import events

# Name in the hash by column. Never changed: every row kept so far was hashed under these names.
FIRST: dict[str, dict[str, str]] = {
    "score": {
        "serving_id": "serving",
        "attribute_id": "attribute",
        "value": "value",
        "reason": "reason",
        "nonce": "nonce",
        "at": "at",
    },
    "trial": {name: name for name in ("set_id", "choice", "guess", "reason", "nonce", "at")},
}
# The number is given by each database, and the hash cannot be in itself.
BESIDE = frozenset({"id", "sha256"})


def row_hash(table: str, row: Mapping[str, Any]) -> str:
    """SHA-256 of a row of `table`; a column that is missing from `row` and came later counts as empty.

    Raises:
        ValueError, TypeError: a value has no canonical text.
    """
    first = FIRST[table]
    later = {name: row[name] for name in row.keys() - first.keys() - BESIDE if row[name] is not None}
    return events.digest({**later, **{name: row[column] for column, name in first.items()}})
