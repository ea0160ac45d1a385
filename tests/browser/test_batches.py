"""A batch written, its log brought and its pull read from a phone beside the instrument; no barrier on the way."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from studyapp.services import batches, readings
from tests.browser.test_study import Desk, _barriers

pytestmark = pytest.mark.browser
LOG = "hours,temp,speed\n" + "\n".join(f"{minute / 60:.4f},{60 + minute % 3},45" for minute in range(0, 240, 2))


def test_a_batch_is_recorded_and_read_from_a_phone(
    server: Any, workshop: Any, phone: Callable[..., Any], tmp_path: Path
) -> None:
    """Name, one phase, a log with a bad line, an odd stress that is read again; what is kept is what was typed."""
    page, _heard = phone(390, "light")
    bench = Desk(page, server.url)
    bench.sign_in("Ben", workshop.passphrase)
    page.goto(f"{server.url}/batches")
    page.get_by_label("Name of a new batch").fill("Batch 33")
    bench.press("Begin")
    bench.see("Phases of the programme")
    bench.type("Phases of the programme", "1")
    for label, text in (("Recipe", "Dark 72 %"), ("Phase 1", "Dry"), ("from, h", "0"), ("to, h", "4"), ("°C", "60")):
        page.get_by_label(label, exact=True).first.fill(text)
    bench.press("Keep the record")
    bench.see("Conched 4 h.")
    page.get_by_text("Bring a machine log").click()
    page.locator('input[type="file"]').set_input_files(
        {"name": "log.csv", "mimeType": "text/csv", "buffer": f"{LOG}\n4.0,7o.1,45".encode()}
    )
    bench.see("Fix line 122: “7o.1” cannot be read.")
    bench.press("Keep this log")
    bench.see("Bring another machine log")
    assert _barriers(page) == []

    bench.press("Add readings")
    bench.see("0 h pull")
    page.get_by_label("Instrument", exact=True).fill("rotating cup")
    page.get_by_label("Method", exact=True).fill("40 °C")
    page.get_by_label("Method", exact=True).press("Tab")
    bench.settle()
    for rate, stress in ((10, "43.8"), (20, "16.9")):
        page.get_by_label(f"Pa at {rate} 1/s", exact=True).fill(stress)
    bench.press("Keep portion 1")
    bench.see("Is this right?")
    bench.see("16.9 Pa at 20 1/s is less than 43.8 at 10 1/s.")
    bench.shoot(tmp_path, "odd")
    bench.press("Read the instrument again, type it")
    bench.see("Add a reading")
    page.get_by_label("Pa at 20 1/s", exact=True).fill("63.0")  # the other was not asked about and stands
    bench.press("Keep portion 1")
    bench.see("Take something back")
    assert _barriers(page) == []
    (kept,) = batches.everywhere(workshop.store, workshop.preparer)
    log = batches.log(workshop.store, workshop.preparer, kept.id)
    assert (kept.draft.phases[0].temperature_c, log and log.lines, log and log.left_out) == (60.0, 121, 1)
    (curve,) = readings.read(workshop.store, workshop.preparer, kept.id).curves
    assert (curve.points, curve.asked, curve.by) == (((10.0, 43.8), (20.0, 63.0)), False, "Ben")
