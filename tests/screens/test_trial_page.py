"""What a phone gets of one set of a forced choice: codes, order words and sentences, and nothing of the samples."""

from __future__ import annotations

import json
from dataclasses import replace

import pytest

from studyapp.components import trial
from studyapp.records import Place

PLACE = Place(
    "trial", "Heron", "Tasting 1", number=2, of=3, trial="set-a", cups=("284", "739", "615"), method="triangle",
    ask="Which one is the odd one out?", pick=1,
)  # fmt: skip


def test_codes_come_in_the_order_of_tasting_with_a_word_each() -> None:
    sent = trial.data(PLACE, "box")
    assert [(cup["order"], cup["code"]) for cup in sent["cups"]] == [
        ("first", "284"),
        ("second", "739"),
        ("third", "615"),
    ]
    assert sent["heading"] == "Trial 2 of 3"
    assert sent["reference"] == ""
    assert json.loads(json.dumps(sent)) == sent, "plain texts and numbers only"


def test_the_reference_of_a_duo_trio_cannot_be_picked() -> None:
    sent = trial.data(replace(PLACE, method="duo-trio", tell_reference=True), "box")
    assert sent["reference"] == "284"
    assert [cup["code"] for cup in sent["cups"]] == ["739", "615"]
    assert [cup["order"] for cup in sent["cups"]] == ["second", "third"]


@pytest.mark.parametrize(("cups", "pick"), [(2, 1), (4, 2), (5, 2)])
def test_every_cup_of_a_set_is_offered(cups: int, pick: int) -> None:
    codes = tuple(str(100 + number) for number in range(cups))
    sent = trial.data(replace(PLACE, cups=codes, pick=pick), "box")
    assert tuple(cup["code"] for cup in sent["cups"]) == codes
    assert len({cup["order"] for cup in sent["cups"]}) == cups
    assert sent["pick"] == pick
    assert sent["ask"] == PLACE.ask


def test_going_back_is_allowed_only_where_the_rule_says_so() -> None:
    assert "Going back to a cup is allowed." in trial.data(PLACE, "box")["intro"]
    assert "Please do not go back to a cup." in trial.data(replace(PLACE, may_go_back=False), "box")["intro"]


def test_a_pair_is_asked_for_as_a_pair() -> None:
    one, two = (trial.data(replace(PLACE, pick=pick), "box")["words"] for pick in (1, 2))
    assert one["gap"] == "Pick one first. A guess is fine."
    assert two["gap"] == "Pick two first. A guess is fine."
