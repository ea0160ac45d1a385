"""Pieces of a comparison that cannot be served, and cups that nobody could judge, from the kitchen to the verdict."""

from __future__ import annotations

import random
import secrets
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from analysis.comparing import LostPiece, UnjudgedPiece
from demo_panels.workshop import open_key, sign
from studyapp.errors import BadInput, NotAllowed
from studyapp.kinds.comparison import deciding, setting_out
from studyapp.kinds.comparison.findings import comparison_finding
from studyapp.kinds.comparison.plan import ComparisonPlan
from studyapp.printing.papers import paper
from studyapp.records import Attribute, Sitting
from studyapp.services import joining, planning, preparing, tasting, watching
from studyapp.services.checking import check
from tests.conftest import CHECKS, Hand
from tests.furnished import empty
from tests.kinds.comparison.conftest import people
from tests.printing.paper_reading import flowing

AT = "2026-11-24T10:41"
PLAN = ComparisonPlan(
    "Three mills",
    question="Are the other mills as good?",
    makes=("new mill", "old mill", "stone mill"),
    control="new mill, two hours",
    attributes=(Attribute("Acidity"),),
    claims={"Acidity": "no worse"},
    sittings=2,
    looks=2,
    rest_seconds=0,
    warm_up=False,
    contains="cocoa, cane sugar",
)
TASTE = {0.0: 7.5, 11.0: 3.0, 21.0: 3.0, 31.0: 3.0}


def taste(shop: Any, sitting: Sitting, tired: str = "") -> None:
    """Everybody marks what is served; whoever is `tired` cannot judge the first cup of B."""
    for tray in preparing.trays(shop.store, shop.preparer, sitting.id):
        preparing.release_tray(shop.store, shop.preparer, sitting.id, tray.position, CHECKS, "Cleo")
    watching.open_sitting(shop.store, shop.leader, sitting.id)
    pieces = preparing.levels_by_code(shop.store, shop.preparer, sitting.id)
    for link in joining.issue_links(shop.store, shop.leader, sitting.id):
        hand = Hand(shop.store, joining.join(shop.store, link.code, "10.0.0.7", None))
        chance, here = random.Random(f"{link.pseudonym}{sitting.number}"), hand.serving()
        while here.kind == "serving" and here.serving is not None:
            if link.pseudonym == tired and pieces[here.code] == 21.0:
                tasting.cannot_judge(shop.store, hand.token, here.serving, "mouth tired", secrets.token_hex(12))
            else:
                for line in here.lines:
                    hand.mark(here.serving, line.id, round(TASTE[pieces[here.code]] + chance.gauss(0, 0.2), 1))
                tasting.finish_serving(shop.store, hand.token, here.serving)
            here = hand.place()
    watching.close_sitting(shop.store, shop.leader, sitting.id, "")


@pytest.fixture
def shop(tmp_path: Path) -> Any:
    """The people, and the plan sealed for six of them."""
    with_people = people(empty(tmp_path / "losing.sqlite"))
    plan = replace(PLAN, assessors=tuple(one.id for one in with_people.assessors[:6]))
    study = planning.start(with_people.store, with_people.leader, "comparison", plan)
    planning.seal(with_people.store, with_people.leader, study, plan.title)
    yield with_people, study
    with_people.store.close()


def lose(shop: Any, study: str, level: float, sitting: int | None = None) -> None:
    setting_out.note_lost(shop.store, shop.preparer, study, level, "spoilt", AT, sitting)


def test_what_is_lost_steps_out_and_the_verdict_says_so(shop: tuple[Any, str]) -> None:
    """C lost before anybody tasted it, B in the second sitting alone, one cup that somebody could not judge."""
    by, study = shop
    first, second = preparing.sittings(by.store, by.leader, study)
    lose(by, study, 31.0)
    taste(by, first, tired=by.assessors[0].pseudonym)
    lose(by, study, 21.0)
    taste(by, second)
    open_key(by, study)
    found = deciding.compared(by.store, by.leader, study)
    assert found.lost == (LostPiece("B", "lost", "2", None, "spoilt"), LostPiece("C", "lost", None, None, "spoilt"))
    assert found.unjudged == (UnjudgedPiece("Acidity", "B", 1),)
    assert list(found.makes) == ["B"]
    told = comparison_finding(found)
    assert told.headline.endswith("C was lost.")
    assert "In sitting 2, B was lost (spoilt): it is compared within the sittings that served it." in told.lede
    assert "Acidity of B: 1 serving could not be judged. What is said holds whatever it would have been." in told.lede
    # Filled with 10 against a mean of 3, what looks alike cannot be shown: no worse holds under one filling alone.
    assert found.makes["B"].verdict == "cannot tell"
    assert deciding.offers(by.store, by.leader, study) == ()
    assert "nothing tells how the pieces would have been judged" in told.warnings[-1]
    assert "C was lost (spoilt): nothing is said about it." in flowing(paper(by.store, by.leader, "report", study)[1])
    sign(by, study)
    assert replace(deciding.shown(by.store, by.leader, study).found, warnings=()) == replace(found, warnings=())
    assert check(by.store.url).sound


def test_the_next_sitting_leaves_out_what_is_lost(shop: tuple[Any, str]) -> None:
    """After the first opening the lost make gets no cups, and what was noted may be taken back before that only."""
    by, study = shop
    lose(by, study, 21.0)
    setting_out.undo_lost(by.store, by.preparer, study, 21.0, AT)
    assert setting_out.lost_of(by.store, by.leader, study) == ()
    lose(by, study, 31.0)
    first, second = preparing.sittings(by.store, by.leader, study)
    taste(by, first, tired=by.assessors[0].pseudonym)
    taste(by, second)
    with pytest.raises(NotAllowed, match="the loss stands"):
        setting_out.undo_lost(by.store, by.preparer, study, 31.0, AT)
    with pytest.raises(NotAllowed, match="make B: old mill was served at"):
        lose(by, study, 21.0)
    with pytest.raises(BadInput, match="choose one that is served"):
        lose(by, study, 41.0)
    open_key(by, study)
    with pytest.raises(NotAllowed, match="the key is open"):
        lose(by, study, 31.0)
    (third,) = deciding.plan_next_sitting(by.store, by.leader, study)
    assert set(preparing.levels_by_code(by.store, by.preparer, third.id).values()) == {0.0, 11.0, 21.0}


def test_without_its_reference_or_its_control_nothing_is_told(shop: tuple[Any, str]) -> None:
    """The control lost in every sitting: no likeness can be believed."""
    by, study = shop
    lose(by, study, 0.0)
    for sitting in preparing.sittings(by.store, by.leader, study):
        taste(by, sitting)
    open_key(by, study)
    found = deciding.compared(by.store, by.leader, study)
    assert found.reason == "control lost"
    assert {one.verdict for one in found.makes.values()} == {"cannot tell"}
    assert "nothing else shows that the panel was awake" in comparison_finding(found).lede.casefold()
