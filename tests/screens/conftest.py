"""A study to plan and taste on a real store, and screens run without a browser."""

from __future__ import annotations

import random
from collections.abc import Callable, Iterator
from typing import Any

import pytest
from streamlit.testing.v1 import AppTest

from studyapp import session
from studyapp.kinds.hours.plan import HoursPlan, Pull
from studyapp.records import Attribute
from studyapp.services import accounts, closing, planning, preparing, watching
from tests.furnished import reached

HOURS = (0.0, 4.0, 8.0, 12.0, 16.0, 24.0)


# ---- a study to taste --------------------------------------------------------------------------------------------
PLAN = HoursPlan(
    title="Dark 72 %, lot 14",
    question="From how many hours on is this recipe as good as at 24 h?",
    recipe="Dark 72 %",
    batch="lot 14",
    pulls=tuple(Pull(hours) for hours in HOURS),
    attributes=(
        Attribute("Acidity", "sour bite", limit=5.0),
        Attribute("Bitterness", "as of coffee"),
        Attribute("Anything else", decides=False, margin=None),
    ),
    control=0.0,
    looks=2,
    sittings=1,
    rest_seconds=0,
    warm_up=False,
    contains="cocoa, cane sugar",
    traces="milk",
)
MEANS = {
    "stop": (7.0, 5.8, 4.8, 3.8, 3.4, 3.4),
    "conche longer": (9.0, 8.0, 7.0, 6.0, 5.6, 3.0),
    "no hour fits": (9.0, 8.5, 8.2, 8.0, 8.0, 8.0),
    "cannot tell": (7.0, 5.8, 4.6, 4.6, 4.6, 3.6),
}
SPREAD = {"stop": 0.15, "conche longer": 0.2, "no hour fits": 0.2, "cannot tell": 0.8}


@pytest.fixture
def plan() -> HoursPlan:
    """The plan that the workshop of these tests seals."""
    return PLAN


@pytest.fixture
def tasted(workshop: Any, hands: Any) -> Callable[[str], Any]:
    """A function that lets everybody taste so that a given verdict follows, and closes the sitting."""

    def taste(verdict: str) -> Any:
        hours_of = preparing.levels_by_code(workshop.store, workshop.preparer, workshop.sitting.id)

        def mark(place: Any, line: str) -> float:
            hours = hours_of[place.code]
            mean, chance = MEANS[verdict][HOURS.index(hours)], random.Random(f"{place.pseudonym} {hours} {line}")
            return round(min(10.0, max(0.0, chance.gauss(mean, SPREAD[verdict]))), 1)

        def sit() -> None:
            for hand in hands:
                hand.taste_all(mark)
            watching.close_sitting(workshop.store, workshop.leader, workshop.sitting.id, "")

        reached(workshop.store, sit, "tasted to its end", verdict)
        return workshop

    return taste


@pytest.fixture
def opened(tasted: Callable[[str], Any]) -> Callable[[str], Any]:
    """A function that also opens the key."""

    def open_key(verdict: str) -> Any:
        workshop = tasted(verdict)
        closing.open_key(workshop.store, workshop.leader, workshop.study, "Ada")
        return workshop

    return open_key


@pytest.fixture
def draft(workshop: Any) -> str:
    """The id of a study that has only its name."""
    return planning.new_study(workshop.store, workshop.leader, "hours", "Nib 100 %, lot 2")


# ---- screens without a browser -------------------------------------------------------------------------------------
def _stage(name: str) -> None:
    """One screen as the first page, with all others within reach of its buttons."""
    import importlib

    import streamlit as st

    from studyapp import registry, session
    from studyapp.errors import StudyError

    def drawer(screen: str):  # type: ignore[no-untyped-def]
        def draw() -> None:
            try:
                own = registry.pages("hours").own_pages()
                render = (
                    own[screen].render
                    if screen in own
                    else importlib.import_module(f"studyapp.screens.{screen}").render
                )
                render()
            except StudyError as refused:
                st.error(str(refused))

        return draw

    names = ("studies", "plan", "prepare", "watch", "open_key", "decide", "panel", "account", "bring", "pulls")
    names += ("batches", "batch", "write_batch", "readings", "hours_book", "butter", "surface")
    pages = {each: st.Page(drawer(each), title=each, url_path=each, default=each == name) for each in names}
    session.know_pages(pages)
    st.navigation(list(pages.values()), position="hidden").run()


@pytest.fixture
def screen(workshop: Any, monkeypatch: pytest.MonkeyPatch) -> Iterator[Callable[..., AppTest]]:
    """A function that opens a screen as "Ada" the leader, "Ben" the preparer, or "" signed out."""

    def show(name: str, who: str = "Ada", **ids: str) -> AppTest:
        token = accounts.sign_in(workshop.store, who, workshop.passphrase, "10.0.0.9") if who else ""
        monkeypatch.setattr(session, "read_cookies", lambda: {"staff": token})
        session.use(workshop.store)
        app = AppTest.from_function(_stage, args=(name,), default_timeout=60)
        for key, value in ids.items():
            app.query_params[key] = value
        return app.run()

    yield show
    session.use(None)


@pytest.fixture
def said() -> Callable[[AppTest], str]:
    """All text of a page, markup included."""
    return lambda app: "\n".join(str(getattr(block, "body", "")) for block in app.get("html"))
