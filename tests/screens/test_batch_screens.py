"""Batches on the screen: written, shown with every departure, read beside the instrument; none of it for who tastes."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Any

import pytest
from streamlit.testing.v1 import AppTest

from studyapp.batches import Draft, Reading
from studyapp.kinds.hours import deciding
from studyapp.pictures.lanes import lanes
from studyapp.pictures.theme import SCREENS
from studyapp.printing import papers
from studyapp.services import batches, closing, readings
from studyapp.services.checking import check
from tests.conftest import another_leader
from tests.furnished import reached
from tests.pictures.picture_reading import checked, words
from tests.printing.paper_reading import flowing
from tests.services.test_batches import DOWN, DRAFT, furnish

Screen = Callable[..., AppTest]
Said = Callable[[AppTest], str]


@pytest.fixture
def batch(workshop: Any) -> str:
    """A batch of everything."""
    return str(reached(workshop.store, lambda: furnish(workshop), "a batch of everything"))


def press(page: AppTest, label: str) -> None:
    """The button with this label."""
    next(one for one in page.button if one.label == label).click().run()


def test_a_batch_is_begun_like_another_and_written(workshop: Any, batch: str, screen: Screen, said: Said) -> None:
    """Its programme and recipe come along, its log and readings do not; what is typed is kept, and a slip is told."""
    page = screen("batches")
    page.text_input(key="new-batch-name").set_value("Batch 34")
    page.selectbox(key="new-batch-like").set_value(1)
    page.button[0].click().run()
    (new,) = [one for one in batches.everywhere(workshop.store, workshop.leader) if one.draft.label == "Batch 34"]
    assert [phase.name for phase in new.draft.phases] == ["Fill", "Dry"]
    assert (new.draft.phases[1].real_temperature_c, new.draft.made.happened, new.study) == (None, (), None)
    assert batches.log(workshop.store, workshop.leader, new.id) is None
    page = screen("write_batch", batch=new.id)
    page.text_input(key="b-lot").set_value("15")
    page.number_input(key="b-phase-1-to").set_value(12.0)
    page.text_area(key="b-happened").set_value("lid open")
    page.button[0].click().run()
    assert "Fix line 1 of what happened" in said(page)
    page.text_area(key="b-happened").set_value("14 - 14.5: lid open")
    page.button[0].click().run()
    kept = batches.batch(workshop.store, workshop.leader, new.id).draft
    assert (kept.lot, kept.phases[1].to_hours, kept.made.parts[0].percent) == ("15", 12.0, 72.0)
    assert batch != new.id


def test_the_record_says_what_went_otherwise(workshop: Any, batch: str, screen: Screen, said: Said) -> None:
    """By hand from the record: 2 h 24 min for 2 h, 61 °C for 50 by the log; 8 h 30 min from 2 h 24, 69 for 65 °C."""
    page = screen("batch", batch=batch)
    assert not page.exception
    told = said(page)
    assert "Fill ran 24 min longer, was 11 °C above plan and turned 45 a minute for 20; " in told
    assert "Dry began 24 min late, ran 30 min longer and was 4 °C above plan." in told
    assert "Lid open, 30 min." in told
    assert "Compared with the bags by Ben" in told
    assert "Who tastes reads something else" in told  # the workshop's plan names other ingredients


def test_the_kitchen_is_told_of_another_list(workshop: Any, batch: str, screen: Screen, said: Said) -> None:
    """Before a tray is filled; where both lists agree, only until the preparer has compared them."""
    told = said(screen("prepare", "Ben", sitting=workshop.sitting.id))
    assert "Batch 33 contains something else than the people who taste read" in told
    same = replace(DRAFT.made, contains=workshop.plan.contains, traces=workshop.plan.traces)
    batches.keep(workshop.store, workshop.preparer, batch, replace(DRAFT, made=same))
    told = said(screen("prepare", "Ben", sitting=workshop.sitting.id))
    assert "something else" not in told
    assert "nobody has compared what it contains" in told
    batches.confirm_contents(workshop.store, workshop.preparer, batch)
    assert "nobody has compared" not in said(screen("prepare", "Ben", sitting=workshop.sitting.id))


def test_readings_are_typed_and_an_odd_one_is_asked_about(
    workshop: Any, batch: str, screen: Screen, said: Said
) -> None:
    """A stress that falls is asked about beside its picture; read again it is gone, kept it stays marked."""
    page = screen("readings", "Ben", batch=batch)
    for rate, stress in ((50, 96.0), (20, 16.9), (10, 43.8)):
        page.number_input(key=f"rate-0-1-{rate}").set_value(stress)
    press(page, "Keep portion 1")
    assert "16.9 Pa at 20 1/s is less than 43.8 at 10 1/s" in said(page)
    assert len(readings.read(workshop.store, workshop.preparer, batch).curves) == 1
    page.button(key="as-it-is").click().run()
    told = readings.read(workshop.store, workshop.preparer, batch).curves
    assert [(one.hours, one.asked) for one in told] == [(14.0, False), (0.0, True)]
    page.selectbox(key="what").set_value("moisture").run()
    page.number_input(key="value-moisture-0-1").set_value(0.9)
    press(page, "Keep portion 1")
    kept = readings.read(workshop.store, workshop.preparer, batch).values[-1]
    assert (kept.hours, kept.value, kept.instrument, kept.method) == (0.0, 0.9, "oven", "103 °C")


def test_three_portions_have_a_line_with_its_interval(workshop: Any, batch: str, screen: Screen, said: Said) -> None:
    """Casson's line is said with its interval over portions; a single one has none."""
    points = ((50.0, 96.0), (40.0, 79.0), (30.0, 62.0), (20.0, 45.0), (10.0, 27.0), (5.0, 17.0))
    curves = [
        replace(DOWN, hours=0.0, portion=portion, points=tuple((rate, stress * more) for rate, stress in points))
        for portion, more in ((1, 1.0), (2, 1.02), (3, 0.98))
    ]
    readings.keep(workshop.store, workshop.preparer, batch, curves[:1])
    assert "one portion has no interval" in said(screen("readings", batch=batch))
    readings.keep(workshop.store, workshop.preparer, batch, curves[1:])
    assert "90 % interval" in said(screen("readings", batch=batch))


def test_who_tastes_opens_no_page_of_batches(workshop: Any, batch: str, screen: Screen) -> None:
    """Signed out, which is all that a phone of an assessor is to these pages."""
    for page in ("batches", "batch", "write_batch", "readings", "butter", "surface"):
        assert screen(page, "", batch=batch).error


def test_a_batch_without_anything_is_a_page(workshop: Any, screen: Screen, said: Said) -> None:
    """A name is enough to begin with."""
    id_ = batches.add(workshop.store, workshop.leader, Draft("Batch 1"))
    page = screen("batch", batch=id_)
    assert not page.exception
    assert "Nobody has written what this batch contains" in said(page)
    readings.keep(workshop.store, workshop.leader, id_, [Reading(8.0, "ring spread", 112.0, "ring of 20 mm")])
    assert "112.0" in said(screen("batch", batch=id_))
    assert DRAFT.label != "Batch 1"


# ---- the hours book --------------------------------------------------------------------------------------------------
def test_the_book_begins_with_the_first_signature(opened: Callable[[str], Any], screen: Screen, said: Said) -> None:
    """Nothing before it; then the hour in use, what it is worth once a price is typed, and a card with that hour."""
    workshop = opened("stop")
    store, leader = workshop.store, workshop.leader
    assert "The book begins with the first signature" in said(screen("hours_book"))
    closing.sign(store, leader, workshop.study, "ran the test")
    closing.sign(store, another_leader(store, leader), workshop.study, "decides")
    hour = deciding.shown(store, leader, workshop.study).decision.hours
    page = screen("hours_book", study=workshop.study)
    assert not page.exception
    assert f"{hour:g} hours." in said(page)
    press(page, "Is it worth it?")
    assert "Cannot say: no price of a machine hour." in said(page)
    page.number_input(key="price-machine_hour").set_value(6.5)
    page.number_input(key="price-person_hour").set_value(24.0)
    press(page, "Reckon again")
    assert not page.exception
    assert f"{hour:g} h instead of 24 h saves {24 - hour:g} machine hours a batch." in said(page)
    name, pdf = papers.paper(store, leader, "card", workshop.study)
    told = flowing(pdf)
    assert (name, "Process card, print 1" in told, f"{hour:g} h" in told) == ("card.pdf", True, True)
    assert "as good, up to" in told
    assert "Acidity 1.0" in told
    assert "Process card, print 2" in flowing(papers.paper(store, leader, "card", workshop.study)[1])
    assert "machine hours a batch" in flowing(papers.paper(store, leader, "worth", workshop.study)[1])
    assert "What ends an entry" in flowing(papers.paper(store, leader, "book", workshop.study)[1])
    assert check(store.url).sound


def test_the_record_of_a_batch_is_a_page_of_paper(workshop: Any, batch: str) -> None:
    """Its sentence, its phases, what was read and what is in it; not for who tastes."""
    told = flowing(papers.paper(workshop.store, workshop.preparer, "batch", batch)[1])
    for line in ("Batch 33", "Dry began 24 min late", "cocoa, cane sugar, lecithin (soya)", "Ben", "Moisture, %"):
        assert line in told


def test_a_fourth_portion_and_lines_that_do_not_fit_are_told(
    workshop: Any, batch: str, screen: Screen, said: Said
) -> None:
    """A limit that three leave open asks for more; a bend and the gap between up and down are said, by hand."""
    rates = (5.0, 10.0, 20.0, 30.0, 40.0, 50.0)
    bent = tuple((rate, 10.0 + 0.05 * rate**2) for rate in rates)
    up = replace(DOWN, hours=0.0, branch="up", points=tuple((rate, 1.1 * stress) for rate, stress in bent))
    down = [replace(DOWN, hours=0.0, portion=portion, points=bent) for portion in (1, 2, 3)]
    readings.keep(workshop.store, workshop.preparer, batch, [up, *down])
    page = screen("readings", "Ben", batch=batch)
    assert "A line does not fit portion 1, 2 and 3: its points bend." in said(page)
    for rate in (5, 40):
        assert f"Portion 1: the way up lies 10 % above the way down at {rate} 1/s." in said(page)
    page.selectbox(key="what").set_value("flow curve").run()
    for rate, stress in ((50, 96.0), (20, 60.0), (10, 43.8)):
        page.number_input(key=f"rate-0-4-{rate}").set_value(stress)
    press(page, "Keep portion 4")
    assert not page.exception
    kept = readings.read(workshop.store, workshop.preparer, batch).curves
    assert sorted(one.portion for one in kept if (one.hours, one.branch) == (0.0, "down")) == [1, 2, 3, 4]


@pytest.mark.parametrize("what", ["temperature_c", "speed_rpm", "power_kw"])
def test_any_column_of_the_log_can_lie_under_the_pulls(workshop: Any, batch: str, screen: Screen, what: str) -> None:
    """Its line over what was planned with its tolerance; a log without the column has no such row."""
    found = batches.batch(workshop.store, workshop.leader, batch)
    log = batches.log(workshop.store, workshop.leader, batch)
    picture = checked(lanes(found, log, [(8.0, "taken"), (16.0, "lost")], SCREENS["light"], what))
    told = words(picture)
    assert ({"temperature_c": "Temperature", "speed_rpm": "Turns", "power_kw": "Power"}[what] in told) == (
        what != "power_kw"
    )
    page = screen("batch", batch=batch)
    page.segmented_control(key="log-line").set_value("speed_rpm").run()
    assert not page.exception
