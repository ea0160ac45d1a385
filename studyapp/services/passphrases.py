"""What the store keeps of a passphrase, and whether a passphrase fits it.

Scrypt of the standard library at N = 2**17, r = 8, p = 1, the least that the OWASP Password Storage Cheat Sheet asks of
scrypt (read November 2026, https://cheatsheetseries.owasp.org/cheatsheets/Password_Storage_Cheat_Sheet.html). That is
128 MiB and about half a second for one hash, so a process works at one at a time, however many are asked for.
"""

from __future__ import annotations

import hashlib
import hmac
import secrets
import threading
from dataclasses import dataclass

from studyapp.errors import BadInput
from studyapp.words import _

SHORTEST = 10
_ONE_BY_ONE = threading.Lock()


@dataclass(frozen=True, slots=True)
class Cost:
    """The parameters of scrypt (RFC 7914); memory in bytes is 128 n r."""

    n: int
    r: int
    p: int


TODAY = Cost(2**17, 8, 1)
FIRST = Cost(2**14, 8, 1)  # of hashes that do not name their cost


def secret_of(passphrase: str) -> str:
    """What the store keeps of a new passphrase: cost, salt and hash.

    Raises:
        BadInput: it is too short.
    """
    if len(passphrase) < SHORTEST:
        raise BadInput(
            _("Fix the passphrase: take at least {n} letters; a short sentence is easy to keep in mind.").format(
                n=SHORTEST
            )
        )
    return _hashed(passphrase, TODAY, secrets.token_hex(16))


def fitting(passphrase: str, kept: str | None) -> str | None:
    """What to keep from now on if the passphrase fits `kept`, else None: the same, or a new hash where the cost was
    another. No account (`kept` None) takes as long as any other, and an old hash does not give itself away either."""
    cost, salt, _raw = _parts(kept or _never())
    fits = hmac.compare_digest(kept or "", _hashed(passphrase, cost, salt, named=_named(kept)))
    fresh = kept if cost == TODAY else _hashed(passphrase, TODAY, secrets.token_hex(16))
    return fresh if fits else None


def _never() -> str:
    """What no passphrase fits."""
    return f"scrypt:{TODAY.n}:{TODAY.r}:{TODAY.p}${'00' * 16}$"


def _named(kept: str | None) -> bool:
    return kept is None or kept.startswith("scrypt:")


def _parts(kept: str) -> tuple[Cost, str, str]:
    """Cost, salt and hash of what is kept."""
    *cost, salt, raw = kept.split("$")
    return (Cost(*map(int, cost[0].split(":")[1:])) if cost else FIRST), salt, raw


def _hashed(passphrase: str, cost: Cost, salt: str, *, named: bool = True) -> str:
    with _ONE_BY_ONE:
        raw = hashlib.scrypt(
            passphrase.encode(), salt=bytes.fromhex(salt), n=cost.n, r=cost.r, p=cost.p, maxmem=132 * cost.n * cost.r
        )
    return f"{f'scrypt:{cost.n}:{cost.r}:{cost.p}$' if named else ''}{salt}${raw.hex()}"
