"""Answers that grow more exact in the background while somebody looks at them.

A piece of work is an iterator of ever better answers. Its first steps are taken at once by whoever asks, all further
ones by a single thread for the whole server, one step of each piece in turn. So many people who plan at once wait a
little longer for each other and never take more than one processor from the assessors' phones; and as a piece is only
worked on while somebody looks, nothing has to be told when a browser is closed.
"""

from __future__ import annotations

import threading
import time
import traceback
from collections import deque
from collections.abc import Iterator
from typing import Generic, TypeVar

T = TypeVar("T")

AT_ONCE_SECONDS = 0.15  # a tap is answered within this and one step; the page itself takes as long again
UNSEEN_SECONDS = 10.0  # pages look once a second
REST_SHARE = 0.25  # of each step's time, left to whoever saves a mark


class Refining(Generic[T]):
    """One piece of work. `latest` is the best answer so far, None before the first; `failure` what ended it early, and
    `sentence` what a page says of that, once it has been worked out and logged."""

    def __init__(self, steps: Iterator[T | None], at_once: float = AT_ONCE_SECONDS) -> None:
        """Take the first step, and more until `at_once` seconds have passed; the rest goes on in the background.

        A step that yields None has nothing new to tell. Whatever the steps raise here is raised to the caller.
        """
        self.latest: T | None = None
        self.failure: Exception | None = None
        self.sentence = ""
        self.over = False
        self._steps = steps
        self._seen = time.monotonic()
        until = self._seen + at_once
        while True:
            self._step()
            if self.over or time.monotonic() >= until:
                break
        self.look()

    def look(self) -> T | None:
        """The best answer so far; work goes on as long as this is asked for again within ten seconds."""
        self._seen = time.monotonic()
        if not self.over:
            _enlist(self)
        return self.latest

    def cancel(self) -> None:
        """End it; a step that runs is the last, and its answer is not kept."""
        self.over = True

    @property
    def wanted(self) -> bool:
        """Whether another step is to be taken."""
        return not self.over and time.monotonic() - self._seen < UNSEEN_SECONDS

    def step_aside(self) -> None:
        """One step in the background; what it raises is kept as `failure`, without the values it worked on."""
        try:
            self._step()
        except Exception as failure:
            traceback.clear_frames(failure.__traceback__)
            self.failure, self.over = failure, True

    def _step(self) -> None:
        try:
            found = next(self._steps)
        except StopIteration:
            self.over = True
            return
        if found is not None and not self.over:
            self.latest = found


# ---- the thread ------------------------------------------------------------------------------------------------------
class _Bench:
    """The one thread and what waits for it. The thread ends when nothing is wanted and begins again when asked."""

    def __init__(self) -> None:
        self.lock = threading.Lock()
        self.waiting: deque[Refining[object]] = deque()
        self.thread: threading.Thread | None = None
        self.stopping = False

    def next(self) -> Refining[object] | None:
        """The next piece in turn; None when nothing is wanted, and the thread is then as good as ended."""
        with self.lock:
            while self.waiting and not self.stopping:
                piece = self.waiting.popleft()
                if piece.wanted:
                    self.waiting.append(piece)
                    return piece
            self.thread = None
            return None


_bench = _Bench()


def _enlist(piece: Refining[T]) -> None:
    with _bench.lock:
        if piece not in _bench.waiting:
            _bench.waiting.append(piece)  # type: ignore[arg-type]
        if _bench.thread is None and not _bench.stopping:
            _bench.thread = threading.Thread(target=_work, name="refining", daemon=True)
            _bench.thread.start()


def _work() -> None:
    while (piece := _bench.next()) is not None:
        begun = time.monotonic()
        piece.step_aside()
        time.sleep(REST_SHARE * (time.monotonic() - begun))


def stop() -> None:
    """Let the thread end after the step it is at, and give up what waits; a page that looks again begins it anew."""
    with _bench.lock:
        _bench.stopping, thread = True, _bench.thread
        _bench.waiting.clear()
    if thread is not None:
        thread.join()
    with _bench.lock:
        _bench.waiting.clear()
        _bench.stopping = False
