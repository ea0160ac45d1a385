"""Who comes with too many others waits: a short line before work that costs much, and a polite "later" beyond it.

Hundreds of phones that follow their links in one moment, or a crowd that guesses passphrases, would otherwise take
every thread and all memory, and those who taste would wait behind them.
"""

from __future__ import annotations

import asyncio
import secrets
from collections import Counter
from collections.abc import AsyncIterator, Callable
from contextlib import asynccontextmanager
from contextvars import copy_context
from typing import Any

from starlette.concurrency import run_in_threadpool

from studyapp.errors import Busy
from studyapp.store import Store
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


class Desk:
    """Small writes of one moment go to the store in one go, by one thread: a thread for each would wait for the same
    lock, and waking it costs more than the write. Whoever comes meanwhile is in the next go."""

    def __init__(self, most: int = 64) -> None:
        """At most so many in one go, so that the first of a crowd need not wait for the last."""
        self._most = most
        self._waiting: list[tuple[Callable[[Any], Any], asyncio.Future[Any]]] = []
        self._work: asyncio.Task[None] | None = None

    async def keep(self, store: Store, act: Callable[[Any], Any]) -> Any:
        """What `act` returns, once it is committed; it speaks the language of whoever asks."""
        kept = asyncio.get_running_loop().create_future()
        speaking = copy_context()
        self._waiting.append((lambda tx: speaking.run(act, tx), kept))
        if self._work is None or self._work.done():
            self._work = asyncio.create_task(self._serve(store))
        return await kept

    async def _serve(self, store: Store) -> None:
        while self._waiting:
            batch, self._waiting = self._waiting[: self._most], self._waiting[self._most :]
            try:
                found = await run_in_threadpool(store.write_all, [act for act, _kept in batch])
            except BaseException as problem:
                found = [problem] * len(batch)
            for (_act, kept), each in zip(batch, found, strict=True):
                if kept.cancelled():
                    continue
                if isinstance(each, BaseException):
                    kept.set_exception(each)
                else:
                    kept.set_result(each)
