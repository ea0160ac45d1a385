"""Copies of the stores that earlier versions wrote, opened as somebody opens them who has just updated the app."""

from __future__ import annotations

import gzip
import json
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from studyapp.records import Staff
from studyapp.services import accounts, closing
from studyapp.store import Store, open_store

HERE = Path(__file__).parent
PASSPHRASE = "a bench by the window"  # of Ada and of Ben
TOLD: dict[str, dict[str, Any]] = {
    file.stem: json.loads(file.read_text(encoding="utf-8")) for file in sorted(HERE.glob("*.json"))
}
EVERY = tuple(TOLD)  # a store of each schema that ever stood
TO_THE_MINUTE = tuple(
    name for name, told in TOLD.items() if told["revision"] < "0003"
)  # so exact are times in their events
NAMES = tuple(name for name, told in TOLD.items() if "phones" in told)  # those with both kinds at every stage


def unpacked(name: str, file: Path) -> Path:
    """A copy of one of `EVERY` as its version left it."""
    file.write_bytes(gzip.decompress((HERE / f"{name}.sqlite.gz").read_bytes()))
    file.chmod(0o600)
    return file


@dataclass(frozen=True)
class Earlier:
    """A store brought up to date, its leader, and what was written down when it was made."""

    store: Store
    leader: Staff
    told: dict[str, Any]
    after: Callable[[Store], Store]

    def beside(self, file: Path) -> Store:
        """An empty store of the same version of the app."""
        return self.after(open_store(str(file)))

    def study(self, title: str) -> str:
        """The id of the study with this title."""
        return next(str(study["id"]) for study in self.told["studies"] if study["title"] == title)


@contextmanager
def opened(name: str, folder: Path, after: Callable[[Store], Store] = lambda store: store) -> Iterator[Earlier]:
    """A copy of one of `NAMES` in `folder`, migrated; `after` is what a version yet to come does to every store."""
    store = after(open_store(str(unpacked(name, folder / "studies.sqlite"))))
    try:
        leader = accounts.staff_of(store, accounts.sign_in(store, "Ada", PASSPHRASE, "10.0.0.7"))
        assert leader is not None
        yield Earlier(store, leader, TOLD[name], after)
    finally:
        store.close()


def signed_before(kept: Earlier, title: str, verdict_of: str, people: int = 2) -> str:
    """Let so many people sign, in the study with this title, the verdict that an earlier rule gave another; its id.

    So what was signed and what today's rule says differ, whichever way the rule has moved since.
    """
    document = next(study["verdict"] for study in kept.told["studies"] if study["title"] == verdict_of)
    study = kept.study(title)
    signers = (kept.leader, accounts.add_staff(kept.store, kept.leader, "Ida", "leader", PASSPHRASE))
    with kept.store.write() as tx:
        for signer in signers[:people]:
            closing.keep_signature(tx, study, 1, "signs", signer, document)
    return study
