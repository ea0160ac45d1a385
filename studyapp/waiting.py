"""Who comes with too many others waits: a short line before work that costs much, and a polite "later" beyond it.

Hundreds of phones that follow their links in one moment, or a crowd that guesses passphrases, would otherwise take
every thread and all memory, and those who taste would wait behind them.
"""

from __future__ import annotations

import asyncio
import secrets
from collections import Counter
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager

from studyapp.errors import Busy
from studyapp.words import _

SOONEST, SPREAD = 2, 12  # seconds; spread, so that those who come again do not come in one moment again


class Line:
    """At most `at_work` are worked on at once and `patient` more wait, of one address at most `of_one` in both."""

    def __init__(self, at_work: int, patient: int, of_one: int | None = None) -> None:
        """An empty line; only one event loop may use it."""
        self._turns = asyncio.Semaphore(at_work)
        self._room = at_work + patient
        self._of_one = of_one or self._room
        self._here: Counter[str] = Counter()

    @asynccontextmanager
    async def turn(self, address: str) -> AsyncIterator[None]:
        """Wait for a turn and hold it.

        Raises:
            Busy: the line is full, or this address stands in it often enough.
        """
        if self._here.total() >= self._room or self._here[address] >= self._of_one:
            seconds = SOONEST + secrets.randbelow(SPREAD)
            raise Busy(_("Please wait: many are at the door. Try again in {n} seconds.").format(n=seconds), seconds)
        self._here[address] += 1
        try:
            async with self._turns:
                yield
        finally:
            self._here[address] -= 1
            self._here += Counter()  # forget addresses that left
