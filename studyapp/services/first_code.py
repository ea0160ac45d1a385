"""The code that the first panel leader of an empty store types: finding the address first puts nobody in charge."""

from __future__ import annotations

import hmac

from studyapp.errors import NotAllowed
from studyapp.records import Staff
from studyapp.services.access import code_hash, new_code
from studyapp.services.accounts import count_wrong, first_leader, needs_first_leader, refuse_flood
from studyapp.store import Store, people
from studyapp.words import _

KEPT = "first code"
LETTERS = 12


def make(store: Store) -> str | None:
    """A new code, which ends the one before; None where somebody leads already. Readable only now."""
    if not needs_first_leader(store):
        return None
    code = new_code(LETTERS)
    hashed = code_hash(store, code)
    with store.write() as tx:
        people.forget_meta(tx, KEPT)
        people.keep_meta(tx, KEPT, hashed)
    return "-".join(code[at : at + 4] for at in range(0, LETTERS, 4))


def begin(store: Store, code: str, name: str, passphrase: str, address: str) -> Staff:
    """Make the first panel leader, who has read the code where the app was started.

    Raises:
        NotAllowed: the code is another one, or somebody leads already.
        TooManyTries: too many wrong codes in the last minute.
        BadInput: the name or the passphrase is not usable.
    """
    refuse_flood(store, "first", address)
    hashed = code_hash(store, code.replace("-", "").replace(" ", ""))
    with store.read() as tx:
        kept = people.meta(tx, KEPT)
    if kept is None or not hmac.compare_digest(kept, hashed):
        count_wrong(store, "first", address)
        raise NotAllowed(
            _("Not done: the code is another one. Read it where the app was started; every start prints a new one.")
        )
    return first_leader(store, name, passphrase)  # and with that the code is worthless
