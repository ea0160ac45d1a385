"""Two batches from the bench to the verdict: written and read from a phone, claimed and sealed, tasted, opened."""

from __future__ import annotations

import json
import random
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner

from studyapp.batches import Reading
from studyapp.cli import group
from studyapp.kinds.hours.plan import HoursPlan, Limit, Pull
from studyapp.records import Attribute
from studyapp.services import batches, closing, joining, planning, preparing, readings, watching
from studyapp.services.checking import check
from tests.browser.test_study import Desk, _barriers, open_step
from tests.conftest import CHECKS, Hand

pytestmark = pytest.mark.browser
TITLE = "Dark 72 %, two batches"
MEANS = {0.0: 7.0, 8.0: 4.1, 16.0: 4.0, 24.0: 4.0}  # flavour is ready at 8 h
VISCOSITY = {0.0: 6.0, 8.0: 3.1, 16.0: 1.9, 24.0: 1.8}  # and the mass thin enough at 16 h
QUANTITY, INSTRUMENT, METHOD = "viscosity at 40 1/s", "rotating cup", "40 °C"


def a_batch_from_a_phone(bench: Desk) -> None:
    """Its record with a programme, and the first portion of its first pull."""
    page = bench.page
    page.goto(f"{bench.url}/batches")
    page.get_by_label("Name of a new batch").fill("Batch 33")
    bench.press("Begin")
    bench.see("Phases of the programme")
    bench.type("Phases of the programme", "1")
    for label, text in (("Recipe", "Dark 72 %"), ("Phase 1", "Dry"), ("from, h", "0"), ("to, h", "24"), ("°C", "60")):
        page.get_by_label(label, exact=True).first.fill(text)
    bench.press("Keep the record")
    bench.see("Conched 24 h.")
    bench.press("Add readings")
    bench.see("0 h pull")
    bench.settle()
    bench.choose("What", "Viscosity at 40 1/s")
    page.get_by_label("Instrument", exact=True).fill(INSTRUMENT)
    bench.type("Method", METHOD)
    page.get_by_label("Viscosity at 40 1/s, Pa.s").fill("6.0")
    bench.press("Keep portion 1")
    bench.see("Take something back")


def claimed_and_sealed(desk: Desk, study: str, folder: Path) -> None:
    """A claim on each of two batches, one with a record and one that is named before it is made."""
    page = desk.page
    page.goto(f"{desk.url}/plan?study={study}")
    desk.see(f"Plan: {TITLE}")
    open_step(page, "The question")
    page.get_by_text("Each of these batches", exact=True).click()
    desk.settle()
    desk.choose("Batches", "Batch 33")
    box = page.get_by_role("combobox", name="Batches")
    box.fill("Batch 34")
    box.press("Enter")
    desk.settle()
    desk.shoot(folder, "claim")
    assert _barriers(page) == []
    desk.press("Seal and make codes")
    dialog = page.get_by_role("dialog")
    dialog.get_by_text("The verdict is about each of these 2 batches: Batch 33, Batch 34.").wait_for()
    dialog.get_by_role("textbox").fill(TITLE)
    dialog.get_by_role("button", name="Seal the rule").click()
    desk.see("Seal of the record after")


def read_by_instrument(workshop: Any, study: str) -> None:
    """The rest of three portions of every pull of both batches."""
    for one in batches.of_study(workshop.store, workshop.preparer, study):
        kept = {(each.hours, each.portion) for each in readings.read(workshop.store, workshop.preparer, one.id).values}
        told = [
            Reading(hours, QUANTITY, round(value * (0.99 + portion / 100), 3), INSTRUMENT, METHOD, portion)
            for hours, value in VISCOSITY.items()
            for portion in (1, 2, 3)
            if (hours, portion) not in kept
        ]
        readings.keep(workshop.store, workshop.preparer, one.id, told)


def tasted(workshop: Any, study: str) -> None:
    """Five people taste both sittings."""
    store, leader, ben = workshop.store, workshop.leader, workshop.preparer
    pieces = planning.study(store, leader, study).plan.pieces()
    for sitting in preparing.sittings(store, leader, study):
        key = preparing.levels_by_code(store, ben, sitting.id)
        for tray in preparing.trays(store, ben, sitting.id):
            preparing.release_tray(store, ben, sitting.id, tray.position, CHECKS, "Cleo")
        watching.open_sitting(store, leader, sitting.id)

        def value(place: Any, line: str, key: Any = key) -> float:
            batch, hours = pieces[key[place.code]]
            return MEANS[hours] + random.Random(f"{place.pseudonym} {batch} {hours} {line}").gauss(0.0, 0.2)

        for link in joining.issue_links(store, leader, sitting.id):
            Hand(store, joining.join(store, link.code, "10.0.0.7", None)).taste_all(value)


def the_files_say_the_same(desk: Desk, folder: Path) -> None:
    """What the page gives to take along, decided by the command."""
    page = desk.page
    page.get_by_text("Take out as files").click()
    for name in ("scores.csv", "readings.csv", "RULE.toml"):
        with page.expect_download() as coming:
            desk.press(name)
        coming.value.save_as(folder / name)
    scores, rule, read = (str(folder / name) for name in ("scores.csv", "RULE.toml", "readings.csv"))
    asked = CliRunner().invoke(group, ["decide", scores, "--rule", rule, "--readings", read, "--json"])
    assert asked.exit_code == 0, asked.output
    told = json.loads(asked.output)
    assert (told["verdict"], told["hours"], told["claim"]) == ("stop", 16.0, "each of these batches")
    assert told["binding"] == "Viscosity at 40 1/s"
    assert {one["batch"] for one in told["gates"]["Viscosity at 40 1/s"]["pulls"]} == {"Batch 33", "Batch 34"}


def test_two_batches_flavour_and_flow_from_the_bench_to_the_verdict(
    server: Any, workshop: Any, phone: Callable[..., Any], tmp_path: Path
) -> None:
    """Flavour is ready at 8 h, viscosity at 16 h, in both batches: viscosity decides."""
    store, leader = workshop.store, workshop.leader
    bench = Desk(phone(390)[0], server.url)
    bench.sign_in("Ben", workshop.passphrase)
    a_batch_from_a_phone(bench)
    limit = Limit("Viscosity at 40 1/s", QUANTITY, "Pa.s", at_most=2.2, instrument=INSTRUMENT, method=METHOD)
    plan = HoursPlan(
        TITLE,
        question="Is 16 h enough in both?",
        pulls=tuple(Pull(hours, 220.0) for hours in MEANS),
        attributes=(Attribute("Acidity"), Attribute("Astringency")),
        assessors=workshop.plan.assessors,
        looks=1,
        sittings=2,
        rest_seconds=0,
        warm_up=False,
        contains="cocoa",
        limits=(limit,),
    )
    study = planning.start(store, leader, "hours", plan)
    desk = Desk(phone(1280)[0], server.url)
    desk.sign_in("Ada", workshop.passphrase)
    claimed_and_sealed(desk, study, tmp_path)
    read_by_instrument(workshop, study)
    tasted(workshop, study)
    closing.open_key(store, leader, study, "nobody else leads")
    desk.page.goto(f"{server.url}/decide?study={study}")
    desk.see("Stop at 16 hours.")
    desk.see("Flavour is ready at 8 h, Viscosity at 40 1/s at 16 h: Viscosity at 40 1/s decides.")
    desk.see("each of these 2 batches")
    desk.see("The 2 batches at 16 h")
    desk.settle()
    desk.shoot(tmp_path, "verdict")
    assert _barriers(desk.page) == []
    the_files_say_the_same(desk, tmp_path)
    assert check(store.url).sound
