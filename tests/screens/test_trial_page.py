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


@pytest.mark.parametrize(
    ("method", "cups", "words"),
    [
        ("triangle", 3, "Two of these are the same chocolate, one is not."),
        ("duo-trio", 3, "The reference is one chocolate."),
        ("two-alternative", 2, "These are two chocolates."),
        ("three-alternative", 3, "Two of these are the same chocolate, one has more of it."),
        ("tetrad", 4, "each of them twice"),
        ("two-out-of-five", 5, "one of them twice, the other three times"),
    ],
)
def test_each_kind_of_set_says_how_its_cups_are_related(method: str, cups: int, words: str) -> None:
    place = replace(PLACE, method=method, cups=tuple(str(100 + n) for n in range(cups)))
    place = replace(place, tell_reference=method == "duo-trio", pick=2 if cups > 3 else 1)
    sent = trial.data(place, "box")
    assert words in sent["intro"]
    assert sent["pick"] == place.pick
    assert len(sent["cups"]) == cups - place.tell_reference


def test_going_back_is_allowed_only_where_the_rule_says_so() -> None:
    assert "Going back to a cup is allowed." in trial.data(PLACE, "box")["intro"]
    assert "Please do not go back to a cup." in trial.data(replace(PLACE, may_go_back=False), "box")["intro"]


def test_a_pair_is_asked_for_as_a_pair() -> None:
    one, two = (trial.data(replace(PLACE, pick=pick), "box")["words"] for pick in (1, 2))
    assert one["gap"] == "Pick one first. A guess is fine."
    assert two["gap"] == "Pick two first. A guess is fine."
