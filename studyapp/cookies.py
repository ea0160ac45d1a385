"""The cookies that say who a browser is: `seat` of an assessor, `staff` of a leader or preparer, `device`, by which two
links opened at one browser are seen, and `known`, a token that somebody signed in here with before; it opens nothing.

Each holds a random token that tells nothing by itself. Under TLS they carry the `__Host-` prefix, so that no other
program on the same name can plant them; on a plain-http network of a workshop that prefix is not possible.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Literal

Kind = Literal["seat", "staff", "device", "known"]
DAYS_90 = 90 * 24 * 3600


def name(kind: Kind, *, secure: bool) -> str:
    """The cookie's name on this connection."""
    return f"__Host-{kind}" if secure else kind


def token(cookies: Mapping[str, str], kind: Kind, *, secure: bool) -> str | None:
    """The token this browser holds, if any."""
    return cookies.get(name(kind, secure=secure)) or None
