"""On the plan page: when what is to be done, how much to take, and which other design or test would do."""

from __future__ import annotations

import re
import time
from collections.abc import Callable
from dataclasses import replace
from datetime import datetime
from datetime import time as time_of_day
from typing import Any

import pytest
from streamlit.testing.v1 import AppTest

from studyapp.errors import BadInput
from studyapp.kinds.hours.deciding import prospects
from studyapp.kinds.hours.plan import Habits, Pull
from studyapp.kinds.hours.rule import run_calendar
from studyapp.services import planning

Screen = Callable[..., AppTest]
Said = Callable[[AppTest], str]


@pytest.fixture
def planned(workshop: Any) -> str:
    """A draft whose run begins on a Monday at eight, with a mass at each pull."""
    id_ = planning.new_study(workshop.store, workshop.leader, "hours", "Planned")
    pulls = tuple(Pull(pull.hours, 100.0) for pull in workshop.plan.pulls)
    plan = replace(workshop.plan, title="Planned", pulls=pulls, question="When?", starts_at="2026-11-23T08:00")
    planning.keep_plan(workshop.store, workshop.leader, id_, plan)
    return id_


def until(app: AppTest, said: Said, words: str, seconds: float = 120) -> str:
    """Look at the page again and again until it says something; fail when it never does."""
    end = time.monotonic() + seconds
    while words not in said(app):
        assert not app.exception
        assert time.monotonic() < end
        app.run()
    assert not app.exception
    return said(app)


def test_the_calendar_names_what_falls_at_night(screen: Screen, said: Said, planned: str) -> None:
    app = screen("plan", study=planned)
    assert not app.exception
    told = said(app)
    assert "nobody there" in told
    assert "2 times fall when nobody is there. No start in the week after has fewer" in told
    assert "temper and mould for tasting 1" in told
    assert f"/calendar/{planned}" in told


def test_how_the_workshop_works_is_kept_with_the_draft(screen: Screen, said: Said, workshop: Any, planned: str) -> None:
    """Another rest, longer days and other days of the week: in the store at once, and there for the next browser."""
    app = screen("plan", study=planned)
    app.number_input(key=f"rest-days-{planned}").set_value(14).run()
    assert "14 days old" in said(app)
    app.multiselect(key=f"days-{planned}").set_value([1, 2, 3, 4, 5]).run()
    app.time_input(key=f"closes-{planned}").set_value(time_of_day(21, 30)).run()
    assert not app.exception
    kept = planning.study(workshop.store, workshop.leader, planned).plan.habits
    assert kept == Habits(closes="21:30", days=(1, 2, 3, 4, 5), rest_days=14)
    again = screen("plan", study=planned)
    assert again.time_input(key=f"closes-{planned}").value == time_of_day(21, 30)
    assert "14 days old" in said(again)


def test_hours_that_suit_no_day_are_said_and_kept_until_they_are_mended(
    screen: Screen, said: Said, workshop: Any, planned: str
) -> None:
    """A day that ends before it begins: the calendar waits, the rest of the page goes on, no seal."""
    app = screen("plan", study=planned)
    app.time_input(key=f"closes-{planned}").set_value(time_of_day(7)).run()
    assert not app.exception
    assert "Fix the working hours" in said(app)
    assert "temper and mould" not in said(app)
    assert "Grams to take at each pull" in said(app)
    with pytest.raises(BadInput, match="Fix the working hours"):
        planning.seal(workshop.store, workshop.leader, planned, "Planned")
    app.time_input(key=f"closes-{planned}").set_value(time_of_day(18)).run()
    assert "temper and mould" in said(app)


def test_sittings_of_later_looks_stand_apart(screen: Screen, said: Said, workshop: Any, planned: str) -> None:
    """One sitting, then two more looks of one: on 2, 10 and 18 December; the mass is 8 and 16 days older."""
    plan = planning.study(workshop.store, workshop.leader, planned).plan
    assert (plan.looks, plan.sittings, plan.next_sittings) == (2, 1, 1)
    app = screen("plan", study=planned)
    assert "Look 3" not in said(app)
    app.number_input(key=f"looks-{planned}").set_value(3).run()
    told = said(app)
    second, third = (told.index(f"Opening {n}, only if the verdict before cannot tell") for n in (2, 3))
    assert told.index("tasting 1") < second < told.index("mass 8 days older than for tasting 1") < third
    assert third < told.index("mass 16 days older than for tasting 1")
    assert told.index("Keep what is left of every pull in the same way") > third


def test_the_start_is_kept_before_there_are_pulls(screen: Screen, workshop: Any, draft: str) -> None:
    app = screen("plan", study=draft)
    app.datetime_input(key=f"start-{draft}-0").set_value(datetime(2026, 11, 23, 8)).run()
    assert not app.exception
    assert planning.study(workshop.store, workshop.leader, draft).plan.starts_at == "2026-11-23T08:00"


def test_the_load_is_kept_and_too_large_pulls_are_cautioned(
    screen: Screen, said: Said, workshop: Any, planned: str
) -> None:
    app = screen("plan", study=planned)
    app.number_input(key=f"load-{planned}").set_value(8.0).run()
    assert planning.study(workshop.store, workshop.leader, planned).plan.load_g == 8000.0
    assert "the pulls take 7.5 of 100 g of the load" in said(app)
    assert "Careful: 100 g are planned at" in said(app)


def test_a_sealed_plan_keeps_its_calendar_and_how_the_workshop_works(
    screen: Screen, said: Said, workshop: Any, planned: str
) -> None:
    app = screen("plan", study=planned)
    app.number_input(key=f"rest-days-{planned}").set_value(14).run()
    planning.seal(workshop.store, workshop.leader, planned, "Planned")
    app.run()
    assert not app.exception
    told = said(app)
    assert "temper and mould for tasting 1" in told
    assert "14 days old" in told


def test_without_a_start_the_calendar_waits(screen: Screen, said: Said, draft: str) -> None:
    assert "The calendar comes once the pulls" in said(screen("plan", study=draft))


def test_a_design_is_proposed_and_made_a_draft(screen: Screen, said: Said, workshop: Any, planned: str) -> None:
    """With one attribute and a wide margin something reaches 30 in 100; the draft is that design under a new name."""
    plan = planning.study(workshop.store, workshop.leader, planned).plan
    one = (replace(plan.attributes[0], margin=2.0, limit=None),)
    planning.keep_plan(workshop.store, workshop.leader, planned, replace(plan, attributes=one))
    app = screen("plan", study=planned)
    app.number_input(key=f"wish-{planned}").set_value(30)
    app.button(key=f"propose-{planned}").click().run()
    told = until(app, said, "Side by side")
    assert "Side by side" in told
    assert "as written" in told
    assert "which of three has more of it" in told
    before = {study.id for study in planning.studies(workshop.store, workshop.leader)}
    app.button(key=f"draft-{planned}").click().run()
    (new,) = [study for study in planning.studies(workshop.store, workshop.leader) if study.id not in before]
    assert (new.plan.title, new.state) == ("Planned, again", "draft")
    assert new.plan.sittings >= 2


def test_where_nothing_reaches_a_chance_it_is_said(screen: Screen, said: Said, planned: str) -> None:
    """Five people and two deciding attributes with a limit: 95 in 100 is out of reach."""
    app = screen("plan", study=planned)
    app.number_input(key=f"wish-{planned}").set_value(95)
    app.button(key=f"propose-{planned}").click().run()
    told = until(app, said, "Side by side")
    assert "No plan within these pieces a person and eight sittings reaches 95 in 100" in told
    assert "twice the sittings: " in told


def test_a_palate_is_part_of_the_plan(screen: Screen, said: Said, workshop: Any, planned: str) -> None:
    app = screen("plan", study=planned)
    app.number_input(key=f"palate-{planned}").set_value(5).run()
    assert planning.study(workshop.store, workshop.leader, planned).plan.palate == 5
    assert "each assessor tastes the longest, the control and 3 of the others" in said(app)
    assert "5 scored pieces a sitting" in said(app)


def test_a_search_goes_on_beside_and_ends_when_the_design_changes(screen: Screen, said: Said, planned: str) -> None:
    """Another field leaves it alone; another design gives it up, says so, and the old one does not bring it back."""
    app = screen("plan", study=planned)
    app.number_input(key=f"wish-{planned}").set_value(95)
    app.button(key=f"propose-{planned}").click().run()
    app.text_area(key=f"traces-{planned}").set_value("hazelnut").run()
    assert "Trying designs, the smallest first" in said(app)
    app.number_input(key=f"sittings-{planned}").set_value(3).run()
    assert "The plan has changed since the last search; search again." in said(app)
    app.number_input(key=f"sittings-{planned}").set_value(1).run()
    assert "Trying designs" not in said(app)
    assert "search again" in said(app)


# ---- what the plan can show ----------------------------------------------------------------------------------------
def _tried(told: str) -> int:
    """Studies behind the numbers, as the page says."""
    found = re.search(r"(?:times: |Tried )([\d\u202f]+)", told)
    assert found is not None
    return int(found.group(1).replace("\u202f", ""))


def test_the_chances_are_there_at_once_and_grow_exact(screen: Screen, said: Said, workshop: Any, planned: str) -> None:
    """From a few studies to all of them; the last are those of a call for as many, and nothing is tried further."""
    plan = planning.study(workshop.store, workshop.leader, planned).plan
    plan = replace(plan, attributes=plan.attributes[:1], looks=1)
    planning.keep_plan(workshop.store, workshop.leader, planned, plan)
    app = screen("plan", study=planned)
    first = _tried(said(app))
    assert 0 < first < prospects.STUDIES
    told = until(app, said, "± is what more trying could still change")
    assert _tried(told) == prospects.STUDIES
    power = prospects.what_it_can_show(plan)
    for chance in (power.stop_by, power.stop_later, power.cannot_tell, power.two_more_people, power.one_more_sitting):
        assert f"{100 * chance.share:.0f}\N{NO-BREAK SPACE}±\N{NO-BREAK SPACE}1 in 100" in told


def test_a_changed_margin_begins_anew_and_ends_what_ran(
    screen: Screen, said: Said, workshop: Any, planned: str
) -> None:
    """The margin stands beside its line; what was tried for the old one is given up."""
    app = screen("plan", study=planned)
    _asked, before = app.session_state["_kept_power"]
    app.number_input(key=f"margin-{planned}-0-0").set_value(1.5).run()
    _asked, after = app.session_state["_kept_power"]
    assert before.over
    assert after is not before
    assert before.latest != after.latest
    assert planning.study(workshop.store, workshop.leader, planned).plan.attributes[0].margin == 1.5
    assert "Trying this plan" in said(app)


def test_a_better_start_is_taken_by_its_button(screen: Screen, said: Said, workshop: Any, planned: str) -> None:
    """By hand: from 14:00 on a Monday the pulls at 8, 12 and 16 h fall at night; from 8:00 on Tuesday two of six do."""
    plan = planning.study(workshop.store, workshop.leader, planned).plan
    late = run_calendar.moved_to(plan, datetime(2026, 11, 23, 14))
    planning.keep_plan(workshop.store, workshop.leader, planned, late)
    app = screen("plan", study=planned)
    assert "3 times fall when nobody is there. With hour zero on Tue 24 Nov, 08:00 it would be 2 times" in said(app)
    app.button(key=f"take-start-{planned}").click().run()
    assert not app.exception
    kept = planning.study(workshop.store, workshop.leader, planned).plan
    assert run_calendar.start_of(kept) == datetime(2026, 11, 24, 8)
    assert "Hour zero was moved here from Mon 23 Nov, 14:00." in said(app)
    app.run()
    assert run_calendar.start_of(planning.study(workshop.store, workshop.leader, planned).plan) == datetime(
        2026, 11, 24, 8
    )


def test_the_spreads_are_assumed_until_a_study_is_opened(
    screen: Screen, said: Said, opened: Callable[[str], Any], planned: str
) -> None:
    """A sealed study tells nothing; once its key is open its spreads are named with their limits, and the chances
    begin anew."""
    app = screen("plan", study=planned)
    assert "Assumed: the spread of an ordinary small panel" in said(app)
    _asked, before = app.session_state["_kept_power"]
    opened("cannot tell")
    app.run()
    told = said(app)
    assert "Assumed" not in told
    assert "Spread of scores from your own 1 opened study, 5 assessors." in told
    assert re.search(r"Acidity: assessors ±\d\.\d \(\d\.\d to \d\.\d\), their reading of a piece", told)
    assert "only known together" in told  # one sitting, each pull once
    _asked, after = app.session_state["_kept_power"]
    assert before.over
    assert after is not before
