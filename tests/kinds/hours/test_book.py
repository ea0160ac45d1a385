"""The hours book: the hour in use follows from what was signed, is taken back by what did not show it, has a price."""

from __future__ import annotations

from dataclasses import replace

import pytest

from studyapp.batches import Batch, Draft
from studyapp.kinds.hours.deciding.book import MOST_BATCHES, Book, Entry, Prices, worth
from studyapp.kinds.hours.findings import book as findings
from studyapp.kinds.hours.pictures.book import batches_down, saved_against_spent
from studyapp.kinds.hours.plan import HoursPlan, Pull
from studyapp.pictures.theme import SCREENS
from studyapp.records import Study
from tests.kinds.hours.decisions import ACIDITY, HOURS, attribute, decision
from tests.pictures.picture_reading import checked

STOPS = decision(attribute("acidity", ACIDITY), hours=12.0, passes={hour: hour >= 12 for hour in HOURS})
PLAN = HoursPlan(
    "Dark 72 %, lot 14",
    recipe="Dark 72 %",
    machine="small conche",
    pulls=tuple(Pull(hour) for hour in HOURS),
    assessors=tuple("abcdefgh"),
    warm_up=False,
    rest_seconds=240,
    piece_g=5.0,
)


def entry(label: str, day: str, lot: str = "14", shown: bool = True, card: float | None = None) -> Entry:
    """A signed study of one batch of two sittings; where nothing was `shown`, no pull passes but the longest."""
    told = (
        STOPS
        if shown
        else replace(STOPS, verdict="cannot tell", hours=None, passes={hour: hour == 24 for hour in HOURS})
    )
    study = Study(label, "hours", PLAN, "decided", day)
    batch = Batch(label, Draft(label, lot=lot), label, day, "Ada")
    return Entry(study, told, (batch,), day, 2, card)


def book(*entries: Entry) -> Book:
    """A book of these."""
    return Book("Dark 72 %", "small conche", entries, (Batch("w", Draft("Batch 52"), None, "", "Ada"),))


CHOSE = (entry("Batch 31", "2026-11-10"), entry("Batch 32", "2026-11-24", "15"))


def test_an_hour_stands_until_a_batch_does_not_show_it() -> None:
    """Two chose 12 h; the third did not show it: back to the longest, and the printed card is out of date."""
    kept, back = book(*CHOSE), book(*CHOSE, entry("Batch 47", "2027-03-02", "16", shown=False))
    assert (kept.in_use, kept.withdrawn, kept.ends_on) == (12.0, None, "2027-11-24")
    assert findings.headline(kept) == "12 hours."
    assert "Shown in Batch 31 and Batch 32." in findings.lede(kept)
    assert back.in_use is None
    assert findings.headline(back) == "Back to 24 hours, for now."
    assert "12 h was chosen and Batch 47 did not show it." in findings.lede(back)
    assert [hour for _sign, _words, hour in findings.said_of(back)] == ["12 h", "12 h", "24 h", "not asked"]
    printed = book(replace(CHOSE[0], card=12.0), *back.entries[1:])
    assert printed.outdated == printed.entries[0]
    assert book(replace(CHOSE[0], card=12.0), CHOSE[1]).outdated is None


def test_a_longer_choice_that_every_batch_showed_is_the_hour_in_use() -> None:
    """One chose 12 h, the other 16 h and did not show 12: 16 h, which both showed."""
    later = replace(STOPS, hours=16.0, passes={hour: hour >= 16 for hour in HOURS})
    found = book(CHOSE[0], replace(CHOSE[1], decision=later))
    assert found.in_use == 16.0


def test_a_hour_that_a_study_did_not_serve_is_not_taken_back_by_it() -> None:
    """Its pulls were others."""
    other = replace(STOPS, verdict="cannot tell", hours=None, passes={0.0: False, 8.0: False, 24.0: True})
    assert book(CHOSE[0], replace(CHOSE[1], decision=other)).in_use == 12.0


def test_a_panel_that_was_not_awake_takes_nothing_back_and_bears_nothing() -> None:
    """Its control was not found, so its crosses and discs mean nothing; the row has no sign and says why."""
    asleep = entry("Batch 34", "2026-12-01", shown=False)
    asleep = replace(asleep, decision=replace(asleep.decision, control_found=False))
    found = book(*CHOSE, asleep)
    assert (found.in_use, len(found.bearing)) == (12.0, 2)
    rows = [row for one in batches_down(found, SCREENS["light"])["layer"] for row in one["data"]["values"]]
    assert not [row for row in rows if "Batch 34" in str(row.get("say", ""))]
    assert "control not found" in [row.get("words") for row in rows]
    assert "Batch 34 did not find its control" in findings.picture_says(found)


def test_the_card_holds_the_limits_of_the_study_that_chose_its_hour() -> None:
    """A later study bears the hour without choosing it: its own choice, shorter, is none of the card's."""
    thick = {**STOPS.passes, 12.0: False}
    longer = replace(CHOSE[0], decision=replace(STOPS, hours=16.0, binding="viscosity", passes=thick))
    found = book(longer, CHOSE[1])
    assert (found.in_use, found.bearing[-1]) == (16.0, CHOSE[1])
    assert found.chosen_by is longer
    assert [fact.value for fact in findings.facts(found)][:2] == ["16 h", "Viscosity, 16 h"]


def test_what_an_hour_is_worth_is_reckoned_by_hand() -> None:
    """12 h at 6.50, 12 h x 2.7 kW at 0.28, half an hour at 24; two studies of 8 people x 2 sittings x 6 pieces of 6 min
    at 24 and 5 g at 14 a kg; one batch in twenty lost for 200 on average."""
    prices = Prices(40.0, 6.5, 0.28, 2.7, 24.0, 30.0, 14.0, second_grade=200.0)
    found = worth(book(*CHOSE), prices)
    assert found is not None
    assert found.a_batch == pytest.approx(12 * 6.5 + 12 * 2.7 * 0.28 + 12.0)
    people, mass = 2 * 8 * 2 * 6 * 0.1 * 24.0, 2 * 8 * 2 * 6 * 0.005 * 14.0
    assert found.cost == pytest.approx(people + mass)
    assert found.pays == 5  # 474.24 / 99.072 is 4.79
    assert found.pays_late == 6  # 474.24 / 89.072 is 5.32
    assert findings.worth_headline(found, MOST_BATCHES) == "Yes, once 5 batches are made so."
    assert "12 h instead of 24 h saves 12 machine hours a batch." in findings.worth_lede(found, book(*CHOSE), 40.0)
    assert worth(book(*CHOSE), Prices()) is None
    assert findings.worth_headline(None, MOST_BATCHES) == "Cannot say: no price of a machine hour."


def test_pictures_stand_where_their_numbers_are() -> None:
    """A diamond at every chosen hour, a cross a pull that was not shown; two lines meet where the tasting is paid."""
    found = book(*CHOSE, entry("Batch 47", "2027-03-02", shown=False))
    layers = checked(batches_down(found, SCREENS["light"]))["layer"]
    rows = {row["say"] for one in layers for row in one["data"]["values"] if "say" in row}
    assert len([say for say in rows if "chosen" in say]) == 2
    assert len([say for say in rows if "Batch 47" in say and "not shown" in say]) == 5
    told = worth(book(*CHOSE), Prices(40.0, 6.5, person_hour=24.0))
    assert told is not None
    meeting = [
        row
        for one in checked(saved_against_spent(told, 40.0, SCREENS["light"]))["layer"]
        if one["mark"].get("shape") == "diamond"
        for row in one["data"]["values"]
    ]
    assert meeting == [{"x": pytest.approx(told.cost / told.a_batch), "y": pytest.approx(told.cost)}]
