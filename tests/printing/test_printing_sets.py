"""Paper for a sitting of sets: codes only for the room, the key apart, cups in the order of tasting."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from studyapp.errors import NotAllowed
from studyapp.methods import METHODS
from studyapp.printing.papers import paper
from studyapp.services import preparing
from tests.furnished import furnished
from tests.kinds.aroma.aroma_kitchen import CANARIES, PLAN, Kitchen, furnish_aroma
from tests.printing.paper_reading import flowing, flowing_pages, pages_of


@pytest.fixture
def kitchen(tmp_path: Path) -> Iterator[Kitchen]:
    """A sealed triangle study of six people."""
    store, made = furnished(tmp_path / "studies.sqlite", furnish_aroma, PLAN, 6)
    yield made
    store.close()


def printed(kitchen: Kitchen, kind: str, by: Any = None) -> bytes:
    """A paper of the first sitting."""
    return paper(kitchen.store, by or kitchen.preparer, kind, kitchen.sittings()[0].id)[1]


def codes(kitchen: Kitchen) -> list[str]:
    """Every code of the first sitting, tray by tray, in the order of tasting."""
    trays = preparing.trays(kitchen.store, kitchen.preparer, kitchen.sittings()[0].id)
    return [cup.code for tray in trays for cup in tray.cups]


@pytest.mark.parametrize("kind", ["labels", "labels-24", "trays"])
def test_paper_for_the_room_tells_no_box(kitchen: Kitchen, kind: str) -> None:
    """Every code once, nothing of what is in a cup."""
    text = flowing(printed(kitchen, kind, kitchen.leader))
    assert [text.split().count(code) for code in codes(kitchen)] == [1] * 36
    assert [word for word in (*CANARIES, "box A", "box B", "infused", PLAN.blank) if word in text] == []


def test_a_tray_sheet_shows_each_set_from_left_to_right(kitchen: Kitchen) -> None:
    """The codes of a seat follow each other as its page will show them, under their numbers."""
    pages = flowing_pages(printed(kitchen, "trays"))
    assert len(pages) == 2
    trays = preparing.trays(kitchen.store, kitchen.preparer, kitchen.sittings()[0].id)
    for tray, page in zip(trays, pages, strict=True):
        for seat in range(1, 7):
            own = [cup for cup in tray.cups if cup.seat == seat]
            assert f"{own[0].pseudonym} {' '.join(cup.code for cup in own)}" in page
        assert "cup 1 cup 2 cup 3" in page
        assert "botanical, its part and its lot named to assessors" in page


def test_the_key_is_for_the_preparer_alone(kitchen: Kitchen) -> None:
    """Code and box of every cup, in order, and what each box holds."""
    for kind in ("fill", "preparation"):
        with pytest.raises(NotAllowed):
            printed(kitchen, kind, kitchen.leader)
    text = flowing(printed(kitchen, "fill"))
    for row in preparing.fill_rows(kitchen.store, kitchen.preparer, kitchen.sittings()[0].id):
        assert f"seat {row.seat} " + " ".join(f"{code} box {letter}" for code, letter in row.cups) in text
    assert PLAN.blank in text
    assert "30 cups" in text


def test_the_preparation_holds_all_three(kitchen: Kitchen) -> None:
    """Labels, two trays and the key, whose marks stand on their own pages only."""
    pages = flowing_pages(printed(kitchen, "preparation"))
    assert len(pages_of(printed(kitchen, "preparation"))) == len(pages) == 4
    assert ["KEY" in page for page in pages] == [False, False, False, True]


def test_a_ballot_of_sets_asks_the_question_and_names_the_plant(kitchen: Kitchen) -> None:
    """Each set of a person in order, a box to tick at each code; what is in the pieces first, and no box letter."""
    text = flowing(printed(kitchen, "ballots", kitchen.leader))
    for tray in preparing.trays(kitchen.store, kitchen.leader, kitchen.sittings()[0].id):
        for seat in {cup.seat for cup in tray.cups}:
            assert " ".join(cup.code for cup in tray.cups if cup.seat == seat) in text
    assert "Heron: set 1 of 2" in text
    assert METHODS[PLAN.method].question(PLAN.note) in text
    assert PLAN.warned_of in text
    assert [word for word in (*CANARIES, "box A", "box B", "infused", PLAN.blank) if word in text] == []
