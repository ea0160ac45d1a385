"""The pages of a study that was sealed or signed under an earlier version of the stop rule."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest

from studyapp.services import closing
from studyapp.store import Store
from tests.stores import earlier
from tests.stores.earlier import PASSPHRASE, Earlier, signed_before


@dataclass
class Updated:
    """A store of before, as the screens of these tests want a workshop."""

    kept: Earlier
    store: Store
    passphrase: str = PASSPHRASE


@pytest.fixture
def workshop(tmp_path: Path) -> Iterator[Updated]:
    """The store of version 1, brought up to date."""
    with earlier.opened("v0002_rule_1", tmp_path) as kept:
        yield Updated(kept, kept.store)


@pytest.fixture
def page(workshop: Updated, screen: Callable[..., Any], said: Callable[[Any], str]) -> Callable[[str, str], str]:
    """A function that returns all text of one screen for the study with this title."""

    def show(name: str, title: str) -> str:
        app = screen(name, study=workshop.kept.study(title))
        assert not app.exception
        return said(app)

    return show


def test_a_signed_verdict_stands_as_it_was_signed(page: Any, workshop: Updated) -> None:
    """Signed at 4 h, although a longer pull is better; no later rule takes that back from the page."""
    text = page("decide", "Hours, signed before a better hour")
    assert "Stop at 4 hours." in text
    assert "decided by the corrected version" not in text
    assert text.count("Ida") == 1


def test_the_sentence_of_the_corrected_rule_stands_beside_it(page: Any, workshop: Updated) -> None:
    """One sentence, and only where it says otherwise: the same scores, signed once at 4 h and once at 8 h."""
    signed_before(workshop.kept, "Hours, opened", "Hours, signed before a better hour")
    text = page("decide", "Hours, opened")
    assert "Stop at 4 hours." in text
    assert text.count("on the same scores the corrected rule of today says: Stop at 8 hours.") == 1
    assert "The rule was corrected since" not in page("decide", "Hours, signed")


def test_an_unsigned_study_names_the_change_as_a_departure(page: Any) -> None:
    """Beside the departures that people noted; the page no longer says that nothing departed."""
    for title in ("Hours, opened", "Hours, cannot tell"):
        text = page("decide", title)
        departures = text.split("Departures from the plan")[1]
        first = departures.index("sealed under version 1 of the stop rule and decided by the corrected version 3")
        assert first < departures.index("The room was warm.")
        assert "The rule was corrected since" not in text


def test_the_sealed_rule_is_read_with_its_version(page: Any, workshop: Updated) -> None:
    """The seal's own version, not today's; a page of the plan of before works as it did."""
    assert "Version 1 of the stop rule." in page("plan", "Hours, sealed")


def test_a_verdict_signed_now_stays_when_the_page_is_drawn_again(page: Any, workshop: Updated) -> None:
    """What was read, signed and read again is one and the same."""
    before = page("decide", "Hours, opened")
    closing.sign(workshop.store, workshop.kept.leader, workshop.kept.study("Hours, opened"), "ran the test")
    after = page("decide", "Hours, opened")
    assert before.split("Departures from the plan")[0] == after.split("Departures from the plan")[0]
