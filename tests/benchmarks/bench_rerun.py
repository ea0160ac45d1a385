"""What the page of a verdict costs: its first run, and the same page again when nothing has happened in its study.

Run `python tests/benchmarks/bench_rerun.py`. Every opened study of the invented workshop, hours and aroma alike, drawn
by the real screen without a browser; told is the processor time of the thread that draws, so that a busy machine does
not blur it. Below: a mark kept while nobody asks for anything, and while pages work out verdicts without a pause, one
after the other, as many as the server lets them.
"""

from __future__ import annotations

import os

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
os.environ["STUDYAPP_DEMO"] = "1"

import itertools
import logging
import tempfile
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from statistics import median

from bench_store import furnished
from streamlit.testing.v1 import AppTest

import demo_panels
from studyapp import session
from studyapp.kinds.aroma import deciding as aroma_deciding
from studyapp.kinds.hours import deciding
from studyapp.records import Mark, Staff, Study
from studyapp.services import accounts, planning, refining, tasting
from studyapp.services.worked_out import Keeper
from studyapp.store import Store, open_store

RERUNS, MARKS, PAUSE = 7, 150, 0.02


def page(study: str) -> None:
    """The screen of one verdict, with the time it takes put beside it; the script of a tab."""
    import time

    import streamlit as st

    from studyapp.screens import decide

    st.query_params["study"] = study
    start = time.thread_time()
    decide.render()
    st.session_state["taken"] = 1000 * (time.thread_time() - start)


def opened(store: Store, leader: Staff) -> list[Study]:
    """Every study whose verdict can be read."""
    return [study for study in planning.studies(store, leader) if study.state in ("opened", "decided")]


def reruns(study: str) -> tuple[float, float]:
    """Milliseconds of the first run, and the median of those after it."""
    app, taken = AppTest.from_function(page, args=(study,), default_timeout=300), []
    for _ in range(1 + RERUNS):
        app.run()
        assert not app.exception
        taken.append(app.session_state["taken"])
    return taken[0], median(taken[1:])


# ---- marks beside it -------------------------------------------------------------------------------------------------
def marker(store: Store) -> Callable[[], float]:
    """A function that keeps one mark as a phone's POST does, and tells the milliseconds."""
    _leader, _study, _sitting, tokens = furnished(store)
    here, numbers = tasting.place(store, tokens[0]), itertools.count()

    def mark() -> float:
        one = Mark(here.serving or "", here.lines[0].id, 5.0, f"mark-{next(numbers):020d}")
        start = time.perf_counter()
        refining.give_way()
        tasting.keep_mark(store, tokens[0], one)
        return 1000 * (time.perf_counter() - start)

    return mark


@contextmanager
def reading(store: Store, leader: Staff, gate: bool) -> Iterator[list[int]]:
    """A page that works out one verdict after the other meanwhile, through the keeper or without its gate; how many."""
    names, over, done = itertools.cycle(opened(store, leader)), threading.Event(), [0]

    def read() -> None:
        keeper = Keeper(most=1)
        while not over.is_set():
            study = next(names)
            work = _work(store, leader, study)
            if gate:
                keeper.once(store, (study.id, done[0]), work)
            else:
                work()
            done[0] += 1

    thread = threading.Thread(target=read)
    thread.start()
    try:
        yield done
    finally:
        over.set()
        thread.join()


def _work(store: Store, leader: Staff, study: Study) -> Callable[[], object]:
    """All that is worked out for a study, past what is kept."""
    if study.kind == "aroma":
        return lambda: aroma_deciding._verdict(store, study.id)

    def both() -> None:
        from analysis.stopping.describe import describe

        weighed = deciding._to_weigh(store, leader, study.id)
        describe(*weighed)

    return both


def marks(mark: Callable[[], float]) -> tuple[float, float]:
    """Median and 95th percentile of marks, milliseconds, as one quick hand makes them."""
    taken = []
    for _ in range(MARKS):
        taken.append(mark())
        time.sleep(PAUSE)
    taken.sort()
    return median(taken), taken[int(0.95 * MARKS)]


# ---- the table -------------------------------------------------------------------------------------------------------
def main() -> None:
    """Print the tables."""
    logging.disable(logging.CRITICAL)
    with tempfile.TemporaryDirectory() as name:
        store, other = (open_store(str(Path(name) / f"{which}.sqlite")) for which in ("demo", "sitting"))
        demo_panels.load(store)
        token = accounts.enter_demo(store, "leader")
        leader = accounts.staff_of(store, token)
        assert leader is not None
        session.use(store)
        session.read_cookies = lambda: {"staff": token}
        print(f"{'page of a verdict':44}{'first, ms':>11}{'again, ms':>11}{'ratio':>8}")
        for study in opened(store, leader):
            first, again = reruns(study.id)
            print(f"{study.kind + ', ' + study.plan.title[:34]:44}{first:11.0f}{again:11.1f}{first / again:8.0f}")
        mark = marker(other)
        alone = marks(mark)
        print(f"\n{'a mark, ms':44}{'p50':>11}{'p95':>11}{'x alone':>8}")
        print(f"{'alone':44}{alone[0]:11.2f}{alone[1]:11.2f}")
        for what, gate in (("verdicts worked out beside it", True), ("the same, were they not to give way", False)):
            with reading(store, leader, gate) as done:
                beside = marks(mark)
            print(f"{f'{what} ({done[0]})':44}{beside[0]:11.2f}{beside[1]:11.2f}{beside[0] / alone[0]:8.1f}")
        for each in (store, other):
            each.close()


if __name__ == "__main__":
    main()
