"""The butter that hours are worth, on screen and paper: typed, brought, refused, never said without a ladder."""

from __future__ import annotations

import csv
import io
from collections.abc import Callable, Sequence
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from streamlit.testing.v1 import AppTest

from studyapp.batches import Draft, Ladder, Making, Reading, Rung
from studyapp.errors import BadInput, NotAllowed
from studyapp.findings import butter as findings
from studyapp.pictures.butter import worth
from studyapp.pictures.surface import surface_by_size
from studyapp.pictures.theme import PAPER, SCREENS
from studyapp.printing import papers
from studyapp.services import batches, ladders, readings
from studyapp.services.checking import check
from studyapp.store import clock
from tests.pictures.picture_reading import checked, marks, rows, sentences, shapes, silent_but_spoken, words
from tests.printing.paper_reading import flowing
from tests.screens.test_batch_screens import press

Screen = Callable[..., AppTest]
Said = Callable[[AppTest], str]
FAST, SLOW = "viscosity at 40 1/s", "stress at 5 1/s"
OFF = [0.01, -0.01, 0.02, -0.015, 0.0, 0.01, -0.02, 0.015, 0.005, -0.01]  # fixed errors on logs
WITH = Ladder(6.0, 14.0, "2026-11-24", "rotating cup", "40 °C")


def rungs(quantity: str, fall: float, truth: float, conched: Sequence[float] = (0.01, 0.0, -0.01)) -> list[Rung]:
    """A ladder that falls by `fall` a per cent on logs, and a mass that is truly worth so much."""
    steps = zip(np.repeat([0.0, 1.0, 2.0, 3.0, 4.0], 2).tolist(), OFF, strict=True)
    own = [Rung(quantity, None, round(float(np.exp(1.6 - fall * truth + off)), 3)) for off in conched]
    return [*(Rung(quantity, x, round(float(np.exp(1.6 - fall * x + off)), 3)) for x, off in steps), *own]


LADDER = replace(WITH, rungs=(*rungs(FAST, 0.11, 2.8), *rungs(SLOW, 0.13, 2.0)), butter_kg=14.0, kw=2.7, kwh=0.28)


@pytest.fixture
def batch(workshop: Any) -> str:
    """A batch of 10 kg with nothing else."""
    return batches.add(workshop.store, workshop.leader, Draft("Batch 40", "Dark 72 %", "small conche", mass_g=10000.0))


def kept(workshop: Any, batch: str) -> Ladder:
    """What stands of the ladder."""
    return batches.batch(workshop.store, workshop.leader, batch).draft.made.ladder


def test_a_ladder_is_typed_and_answered(workshop: Any, batch: str, screen: Screen, said: Said) -> None:
    """A line a step, portions with a space between, a comma for a point; the answer is at least so much, with money."""
    page = screen("butter", "Ben", batch=batch)
    assert "What are the hours worth in butter?" in said(page)
    told = rungs(FAST, 0.11, 2.8)
    for number in range(5):
        cells = [f"{one.value:g}".replace(".", ",") for one in told if one.added == number]
        next(one for one in page.text_input if one.label == f"Portions of step {number + 1}").set_value(" ".join(cells))
    own = " ".join(f"{one.value:g}" for one in told if one.added is None)
    next(one for one in page.text_input if one.label == "Portions of the conched mass").set_value(own)
    press(page, "Keep the ladder")
    assert "Fix the instrument" in said(page)
    page.text_input(key="ladder-instrument").set_value("rotating cup")
    press(page, "Keep the ladder")
    assert "Fix the hours of the ladder" in said(page)
    page.number_input(key="ladder-hours-0").set_value(6.0)
    page.number_input(key="ladder-hours-1").set_value(14.0)
    press(page, "Keep the ladder")
    assert not page.exception
    assert sorted(kept(workshop, batch).rungs, key=str) == sorted(told, key=str)
    (found,) = findings.worths(findings.table(kept(workshop, batch))).values()
    assert found.low is not None
    least = f"{np.floor(100 * found.low) / 100:g}"
    assert f"14 hours are worth at least {least} % cocoa butter." in said(page)
    assert f"at least {100 * found.low:.0f} g" in said(page)  # of 10 kg, by hand
    assert "Type the prices" in said(page)
    page.number_input(key="butter-butter_kg").set_value(14.0)
    page.number_input(key="butter-kw").set_value(2.7)
    page.number_input(key="butter-kwh").set_value(0.28)
    press(page, "Reckon again")
    assert "6.05" in said(page)  # 8 h of 2.7 kW at .28, by hand
    assert "pays less than the energy of these hours. Flavour is another question." in said(page)
    assert check(workshop.store.url).sound


def test_a_table_brings_every_quantity_and_goes_out_again(
    workshop: Any, batch: str, screen: Screen, said: Said
) -> None:
    """Pasted it stands for all that was there; its print says the same; the one that is worth less counts."""
    ladders.keep(workshop.store, workshop.preparer, batch, replace(LADDER, rungs=tuple(rungs(FAST, 0.11, 1.0))))
    lines = [f"{'conched' if one.added is None else one.added},{one.quantity},{one.value}" for one in LADDER.rungs]
    page = screen("butter", batch=batch)
    page.text_area(key="ladder-pasted").set_value("\n".join(["added,quantity,value", *lines]))
    press(page, "Keep the ladder")
    assert kept(workshop, batch) == LADDER
    assert "the mass flows like the 6 h mass with at least that much butter added" in said(page)
    assert "Stress at 5 1/s and viscosity at 40 1/s were read; the smaller answer counts." in said(page)
    assert "larger, so not used" in said(page)
    table = findings.table(LADDER).to_csv(index=False, na_rep="conched")
    assert ladders.from_file("out.csv", table.encode()) == LADDER.rungs
    assert len(list(csv.reader(io.StringIO(table)))) == 27  # two ladders of ten and three, and the head
    printed = flowing(papers.paper(workshop.store, workshop.preparer, "butter", batch)[1])
    for line in ("14 hours are worth at least", "Butter not needed, a batch", "must be read in one session"):
        assert line in printed


def test_an_odd_reading_of_a_ladder_is_asked_about(workshop: Any, batch: str, screen: Screen, said: Said) -> None:
    """493 Pa.s for 4.93: nothing is kept until somebody says that the instrument showed it."""
    odd = replace(LADDER, rungs=(Rung(FAST, 0.0, 493.0), *LADDER.rungs))
    with pytest.raises(BadInput, match=r"493 Pa\.s is far from what is usual"):
        ladders.keep(workshop.store, workshop.preparer, batch, odd)
    ladders.keep(workshop.store, workshop.preparer, batch, LADDER)
    page = screen("butter", batch=batch)
    page.text_area(key="ladder-pasted").set_value(f"added,quantity,value\n0,{FAST},493\n1,{FAST},4\n")
    press(page, "Keep the ladder")
    assert "Is this right?" in said(page)
    assert kept(workshop, batch) == LADDER
    page.button(key="as-it-is").click().run()
    assert (kept(workshop, batch).asked, len(kept(workshop, batch).rungs)) == (True, 2)
    assert "No claim yet." in said(page)
    with pytest.raises(NotAllowed, match="no ladder of butter"):
        papers.paper(workshop.store, workshop.preparer, "butter", batch)


@pytest.mark.parametrize(
    ("wrong", "says"),
    [
        (lambda: replace(LADDER, conched_h=6.0), "more hours"),
        (lambda: replace(LADDER, rungs=(Rung("moisture", 0.0, 1.0),)), "above 0"),
        (lambda: replace(LADDER, rungs=(Rung(FAST, 0.0, -1.0),), asked=True), "above 0"),
        (lambda: replace(LADDER, rungs=(Rung(FAST, 31.0, 4.0),)), "no number"),
        (lambda: replace(LADDER, kwh=-0.1), "no number"),
        (lambda: replace(LADDER, rungs=LADDER.rungs * 9), "cannot be read"),
    ],
)
def test_a_ladder_that_cannot_be_is_refused(workshop: Any, batch: str, wrong: Callable[[], Ladder], says: str) -> None:
    """With the one thing to mend."""
    with pytest.raises(BadInput, match=says):
        ladders.keep(workshop.store, workshop.leader, batch, wrong())


def test_what_was_kept_of_that_day_stands_beside_the_ladder(workshop: Any, batch: str) -> None:
    """Portions of the conched mass kept with the batch count, if they are of the day, instrument and method."""
    today = clock.now().astimezone().date().isoformat()
    alone = replace(WITH, day=today, rungs=tuple(one for one in rungs(FAST, 0.11, 2.0) if one.added is not None))
    ones = [Reading(14.0, FAST, 4.0 + n / 100, "rotating cup", "40 °C", n) for n in (1, 2, 3)]
    other = Reading(14.0, FAST, 9.0, "cup of a neighbour", "40 °C", 1)
    readings.keep(workshop.store, workshop.leader, batch, [*ones, other])
    read = readings.read(workshop.store, workshop.leader, batch)
    assert findings.unread(alone) == [FAST]
    own = [one.value for one in findings.with_kept(alone, read).rungs if one.added is None]
    assert own == [4.01, 4.02, 4.03]
    assert findings.unread(findings.with_kept(replace(alone, day="2026-01-02"), read)) == [FAST]
    assert "was not read in the session of the ladder" in findings.why_unread(alone)


def test_the_next_batch_has_no_ladder(workshop: Any, batch: str) -> None:
    """It is another mass; an older record, which knew no ladder, reads as one without."""
    ladders.keep(workshop.store, workshop.leader, batch, LADDER)
    found = batches.batch(workshop.store, workshop.leader, batch)
    assert batches.like(found).made.ladder == Ladder()
    document = found.draft.made.document()
    assert Making.of(document).ladder == LADDER
    del document["ladder"]
    assert Making.of(document).ladder == Ladder()


# ---- the picture -----------------------------------------------------------------------------------------------------
@pytest.mark.parametrize("theme", [SCREENS["light"], SCREENS["dark"], PAPER])
def test_the_picture_of_a_ladder(theme: Any) -> None:
    """Discs for ten portions and the answer, diamonds for three; the bar ends at the least; words say the same."""
    own = replace(LADDER, rungs=tuple(rungs(FAST, 0.11, 2.8)))
    (one,) = findings.worths(findings.table(own)).values()
    picture = checked(worth(FAST, own, one, theme))
    assert silent_but_spoken(picture)
    assert (len(shapes(picture, "circle")), len(shapes(picture, "diamond"))) == (11, 3)
    bar = next(row for layer in marks(picture, "rule") for row in rows(layer) if row.get("say"))
    assert (bar["low"], bar["high"]) == (one.low, one.estimate)
    assert one.low is not None
    least = f"at least {np.floor(100 * one.low) / 100:g} %"
    assert least in words(picture)
    assert least in sentences(picture)
    assert least in findings.picture_says(FAST, own, one)


@pytest.mark.parametrize(
    ("fall", "truth", "headline"),
    [
        (0.1, 7.0, "14 hours are worth more than 4.0 % cocoa butter."),
        (-0.1, 2.0, "No claim: the mass did not get thinner with more butter."),
        (0.001, 2.0, "No claim: the ladder is too flat for its spread."),
        (0.1, -3.0, "No butter is shown to be saved."),
    ],
)
def test_no_claim_is_said_in_plain_words_and_drawn_without_one(fall: float, truth: float, headline: str) -> None:
    """Beyond the ladder, rising, flat, and a mass that is thicker than any step."""
    own = replace(LADDER, rungs=tuple(rungs(FAST, fall, truth)))
    found = findings.worths(findings.table(own))
    assert findings.headline(found, 14.0) == headline
    picture = checked(worth(FAST, own, found[FAST], PAPER))
    assert not [row for layer in marks(picture, "rule") for row in rows(layer) if row.get("say")]
    assert findings.money_says(own, found, None).startswith("Type the prices")
    assert findings.picture_says(FAST, own, found[FAST])


# ---- surface ---------------------------------------------------------------------------------------------------------
def test_surface_is_told_of_pasted_sizes_and_of_fineness(workshop: Any, batch: str, screen: Screen, said: Said) -> None:
    """By hand: shares .2 .3 .3 .2 at 5, 10, 20, 40 µm have a mean of 11.1 µm, 360 m²/kg at 1500; 20 µm alone 200."""
    ones = [Reading(hour, "fineness", size, "laser") for hour, size in ((0.0, 150.0), (24.0, 18.0))]
    readings.keep(workshop.store, workshop.leader, batch, ones)
    page = screen("surface", "Ben", batch=batch)
    assert "D90 was 150 µm at 0 h and 18 µm at 24 h" in said(page)
    assert "8.3 times the surface" in said(page)
    page.text_area(key="sizes-0").set_value("5 20\n10 30\n20,0 30\nforty 20")
    press(page, "Reckon the surface")
    assert "Fix line 4 of the sizes" in said(page)
    page.text_area(key="sizes-0").set_value("5 20\n10 30\n20,0 30\n40;20")
    page.text_area(key="sizes-1").set_value("20 100")
    press(page, "Reckon the surface")
    assert not page.exception
    assert "Batch 40 has 1.8 times the surface of another mass." in said(page)
    assert [cell in said(page) for cell in ("11.1", "360", "200")] == [True] * 3
    masses = [("A", 11.11, 360.0), ("B", 20.0, 200.0)]
    picture = checked(surface_by_size(masses, 1500.0, PAPER))
    assert shapes(picture, "circle") == [11.11, 20.0]
    assert sentences(picture) == ["A, 360 m²/kg", "B, 200 m²/kg"]
