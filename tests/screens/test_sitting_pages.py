"""The pages of a sitting while other things happen: they stay where they are."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Any

import pytest

from studyapp.services import planning, preparing, watching


@pytest.fixture
def beside(workshop: Any) -> Any:
    """A second sealed study with its planned sitting."""
    copy = planning.copy(workshop.store, workshop.leader, workshop.study)
    title = planning.study(workshop.store, workshop.leader, copy).plan.title
    planning.seal(workshop.store, workshop.leader, copy, title)
    return preparing.sittings(workshop.store, workshop.leader, copy)[0]


@pytest.mark.parametrize(("page", "who"), [("watch", "Ada"), ("prepare", "Ben")])
def test_a_page_stays_on_its_sitting(
    screen: Callable[..., Any], said: Callable[..., str], workshop: Any, page: str, who: str, beside: Any
) -> None:
    """Another study opens, this sitting closes: the page still shows the sitting in its address."""
    app = screen(page, who, study=workshop.study)
    assert app.query_params["sitting"] == workshop.sitting.id
    watching.open_sitting(workshop.store, workshop.leader, beside.id)
    watching.close_sitting(workshop.store, workshop.leader, workshop.sitting.id, "fire drill")
    app.run()
    assert not app.exception
    assert app.query_params["sitting"] == workshop.sitting.id
    title = planning.study(workshop.store, workshop.leader, beside.study).plan.title
    assert title not in said(app).split('class="rows')[0]


def test_among_two_that_run_nobody_guesses(
    screen: Callable[..., Any], said: Callable[..., str], workshop: Any, beside: Any
) -> None:
    """One that runs is meant; of two a hand chooses."""
    assert screen("watch").query_params["sitting"] == workshop.sitting.id
    watching.open_sitting(workshop.store, workshop.leader, beside.id)
    app = screen("watch")
    assert "sitting" not in app.query_params
    assert all(f"?sitting={one}" in said(app) for one in (workshop.sitting.id, beside.id))


def test_the_key_is_not_offered_while_a_sitting_is_outstanding(
    screen: Callable[..., Any], said: Callable[..., str], workshop: Any
) -> None:
    """Two sittings of 30 servings each; the first is closed, so opening now would leave half of them out."""
    store, leader = workshop.store, workshop.leader
    study = planning.new_study(store, leader, "hours", "Two")
    planning.keep_plan(store, leader, study, replace(workshop.plan, title="Two", sittings=2))
    planning.seal(store, leader, study, "Two")
    first, second = preparing.sittings(store, leader, study)
    watching.open_sitting(store, leader, first.id)
    watching.close_sitting(store, leader, first.id, "fire drill")
    app = screen("watch", sitting=first.id)
    assert "Outstanding: Tasting 2. Opening early leaves 30 of 60 planned tastings out for good" in said(app)
    assert "to-key" not in {button.key for button in app.button}
    watching.open_sitting(store, leader, second.id)
    watching.close_sitting(store, leader, second.id, "fire drill")
    assert "to-key" in {button.key for button in screen("watch", sitting=first.id).button}


def test_a_sitting_planned_for_another_day_is_asked_about(
    screen: Callable[..., Any], said: Callable[..., str], workshop: Any
) -> None:
    """A copy whose run is in the year 2030 is opened by a button that says so."""
    store, leader = workshop.store, workshop.leader
    study = planning.new_study(store, leader, "hours", "Later")
    planning.keep_plan(store, leader, study, replace(workshop.plan, title="Later", starts_at="2030-03-04T08:00"))
    planning.seal(store, leader, study, "Later")
    app = screen("watch", study=study)
    assert "Is it the right study?" in said(app)
    assert app.button(key="open-sitting").label == "Open it today all the same"
