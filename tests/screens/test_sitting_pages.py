"""The pages of a sitting while other things happen: they stay where they are."""

from __future__ import annotations

from collections.abc import Callable
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
