"""From a cold start of `studyapp run` to the first ballot on an assessor's screen, beside a bare interpreter.

Run `python tests/benchmarks/bench_start.py`. Medians of a few rounds with their range, each with a fresh process and a
fresh browser profile, beside an interpreter that imports Streamlit in the same round. Files and bytecode are in the
system's memory for both, and the browser already runs: the first start after a reboot is slower. Needs
/usr/bin/chromium.
"""

from __future__ import annotations

import subprocess
import sys
import tempfile
import time
from pathlib import Path
from statistics import median

from bench_touch import furnish, started

from studyapp.services import joining, preparing
from studyapp.store import open_store

ROUNDS = 5


def link_of(folder: Path) -> str:
    """A store with open sittings, and one join link."""
    store = open_store(str(folder / "s.sqlite"))
    try:
        furnish(store)
        from studyapp.store import people

        with store.read() as tx:
            leader = people.staff_by_role(tx, "leader")
        assert leader is not None
        sitting = preparing.sittings(store, leader)[0]
        return f"/join/{joining.issue_links(store, leader, sitting.id)[0].code}"
    finally:
        store.close()


def bare() -> float:
    """Seconds of an interpreter that imports Streamlit and ends."""
    begun = time.perf_counter()
    subprocess.run([sys.executable, "-c", "import streamlit"], check=True)
    return time.perf_counter() - begun


def once(browser: object, folder: Path, link: str) -> tuple[float, float, float]:
    """Seconds to the first answer, to the first page, and of a second phone's page."""
    begun = time.perf_counter()
    process, port = started(folder)
    try:
        answered = time.perf_counter() - begun
        drawn(browser, f"http://127.0.0.1:{port}{link}")
        whole = time.perf_counter() - begun
        second = drawn(browser, f"http://127.0.0.1:{port}{link}")
    finally:
        process.terminate()
        process.wait(20)
    return answered, whole, second


def drawn(browser: object, address: str) -> float:
    """Seconds until the first ballot is drawn in a fresh profile."""
    begun = time.perf_counter()
    context = browser.new_context(viewport={"width": 390, "height": 844})  # type: ignore[attr-defined]
    page = context.new_page()
    page.goto(address)
    page.get_by_role("slider").first.wait_for()
    took = time.perf_counter() - begun
    context.close()
    return took


def main() -> None:
    """Print the table."""
    from playwright.sync_api import sync_playwright

    with tempfile.TemporaryDirectory() as name, sync_playwright() as playwright:
        folder = Path(name)
        link = link_of(folder)
        browser = playwright.chromium.launch(
            executable_path="/usr/bin/chromium", args=["--no-sandbox", "--disable-gpu"]
        )
        rounds = [(*once(browser, folder, link), bare()) for _round in range(ROUNDS)]
        browser.close()
    names = ("start to first answer", "start to first page drawn", "second phone, page drawn", "import streamlit alone")
    for label, *times in zip(names, *rounds, strict=True):
        ratios = [taken / row[-1] for taken, row in zip(times, rounds, strict=True)]
        print(f"{label:<28}{median(times):7.2f} s{median(ratios):8.1f} x   ({min(ratios):.1f} to {max(ratios):.1f})")


if __name__ == "__main__":
    main()
