"""Answers that grow more exact in the background while somebody looks at them.

A piece of work is an iterator of ever better answers. Its first steps are taken at once by whoever asks, all further
ones by a single thread for the whole server, one step of each piece in turn. So many people who plan at once wait a
little longer for each other and never take more than one processor from the assessors' phones; and as a piece is only
worked on while somebody looks, nothing has to be told when a browser is closed.
"""

from __future__ import annotations

import contextlib
import threading
import time
import traceback
from collections import deque
from collections.abc import Iterator
from typing import Generic, TypeVar

T = TypeVar("T")

AT_ONCE_SECONDS = 0.15  # a tap is answered within this and one step; the page itself takes as long again
UNSEEN_SECONDS = 10.0  # pages look once a second
REST_SHARE = 0.25  # of each step's time, left to the pages
# After something was saved the next step waits until it is quiet for so long; but not for ever, or a busy sitting would
# bring planning to a stand.
QUIET_SECONDS, LONGEST_REST = 0.25, 1.0


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
    """The one thread, what it is at and what waits for it. It ends when nothing is wanted and begins again when asked.

    `saved` is when something was last saved by anybody, `stopping` is set while the thread is to end. `turn` belongs to
    whoever is at work, be it this thread or one that works for itself.
    """

    def __init__(self) -> None:
        self.lock = threading.Lock()
        self.turn = threading.RLock()
        self.waiting: deque[Refining[object]] = deque()
        self.at: Refining[object] | None = None
        self.thread: threading.Thread | None = None
        self.stopping = threading.Event()
        self.saved = float("-inf")

    def next(self) -> Refining[object] | None:
        """The next piece in turn; the one before goes to the end, behind whatever came meanwhile.

        None when nothing is wanted, and the thread is then as good as ended.
        """
        with self.lock:
            if self.at is not None:
                self.waiting.append(self.at)
            self.at = None
            while self.waiting and not self.stopping.is_set():
                piece = self.waiting.popleft()
                if piece.wanted:
                    self.at = piece
                    return piece
            self.thread = None
            return None


_bench = _Bench()


def _enlist(piece: Refining[T]) -> None:
    with _bench.lock:
        if piece is not _bench.at and piece not in _bench.waiting:
            _bench.waiting.append(piece)  # type: ignore[arg-type]
        if _bench.thread is None and not _bench.stopping.is_set():
            _bench.thread = threading.Thread(target=_work, name="refining", daemon=True)
            _bench.thread.start()


def _work() -> None:
    while (piece := _bench.next()) is not None:
        with turn():
            begun = time.monotonic()
            piece.step_aside()
        _rest(time.monotonic() - begun)


def _rest(worked: float) -> None:
    """Leave the processor to others for a while, longer when something has just been saved."""
    _bench.stopping.wait(REST_SHARE * worked)
    wait_for_quiet()


@contextlib.contextmanager
def turn() -> Iterator[None]:
    """For work that a page cannot go without and does itself: one piece at a time, of a page or of the background, so
    that all of them together never take more than one processor."""
    with _bench.turn:
        yield


def wait_for_quiet() -> None:
    """Before a piece of work: until nobody has saved anything for a moment, though not for ever."""
    until = time.monotonic() + LONGEST_REST
    while (left := min(until, _bench.saved + QUIET_SECONDS) - time.monotonic()) > 0:
        if _bench.stopping.wait(left):
            return


def give_way() -> None:
    """Somebody saves something: what refines in the background waits for it."""
    _bench.saved = time.monotonic()


def stop() -> None:
    """Let the thread end after the step it is at, and give up what waits; a page that looks again begins it anew."""
    with _bench.lock:
        _bench.stopping.set()
        thread = _bench.thread
    if thread is not None:
        thread.join()
    with _bench.lock:
        _bench.waiting.clear()
        _bench.stopping.clear()
