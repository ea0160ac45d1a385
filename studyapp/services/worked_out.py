"""What the page of an opened study needs, worked out once: kept in memory while nothing it rests on has changed.

An answer is kept under all that decides it: the store, the study, its look, the last of its events, and what else the
caller names, such as the version of the rule. Every score, note, signature and sitting is an event, so nothing has to
be told when one happens: the answer is simply asked for under another name, and the old one is forgotten in its turn.
Memory is the only place; what stands in the store is what people did, never what was reckoned from it.
"""

from __future__ import annotations

import threading
import weakref
from collections import OrderedDict
from collections.abc import Callable, Hashable
from dataclasses import dataclass
from typing import Any, TypeVar

from studyapp.services import refining
from studyapp.store import Store, events

T = TypeVar("T")
Name = tuple["weakref.ref[Store]", Hashable]

# Ten answers and pictures a study, so the studies that a workshop looks at in a week; a few megabytes.
MOST = 300


class Keeper:
    """Up to `most` answers; the one not asked for longest goes first. Safe with any number of threads."""

    def __init__(self, most: int = MOST) -> None:
        """Empty."""
        self.most = most
        self._lock = threading.Lock()
        self._kept: OrderedDict[Name, Any] = OrderedDict()

    def once(self, store: Store, name: Hashable, work: Callable[[], T]) -> T:
        """The answer of this name in this store, worked out by whoever asks first while all others wait for it.

        Work is taken up one piece at a time and gives way to whoever saves. What it raises goes to who asked and is
        not kept: the next one to ask tries again. Answers are shared, so nobody may change one.
        """
        of = (weakref.ref(store), name)  # never equal to that of another store, even at the same address later
        known, answer = self._find(of)
        if known:
            return answer  # type: ignore[no-any-return]
        with refining.turn():
            known, answer = self._find(of)
            if not known:
                refining.wait_for_quiet()
                answer = work()
                self._keep(of, answer)
        return answer  # type: ignore[no-any-return]

    def __len__(self) -> int:
        """How many answers are kept."""
        return len(self._kept)

    def _find(self, of: Name) -> tuple[bool, Any]:
        with self._lock:
            if of not in self._kept:
                return False, None
            self._kept.move_to_end(of)
            return True, self._kept[of]

    def _keep(self, of: Name, answer: object) -> None:
        with self._lock:
            self._kept[of] = answer
            while len(self._kept) > self.most:
                self._kept.popitem(last=False)


_keeper = Keeper()


@dataclass(frozen=True, slots=True)
class Moment:
    """An opened study after the last of its events, and what else decides whatever is worked out of it."""

    store: Store
    rests_on: tuple[Hashable, ...]

    def once(self, what: Hashable, work: Callable[[], T]) -> T:
        """The answer to `what` at this moment; see `Keeper.once`."""
        return _keeper.once(self.store, (self.rests_on, what), work)


def moment(store: Store, tx: Any, study_id: str, look: int, *more: Hashable) -> Moment:
    """The present moment of a study. Whatever is worked out must be read after it, never before."""
    return Moment(store, (study_id, look, events.head_of(tx, study_id), *more))
