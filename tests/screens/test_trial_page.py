"""What a phone gets of one set of a forced choice: codes, order words and sentences, and nothing of the samples."""

from __future__ import annotations

import json
from dataclasses import replace

import pytest

from studyapp.components import rest_timer, step, trial
from studyapp.records import Place

PLACE = Place(
    "trial", "Heron", "Tasting 1", number=2, of=3, trial="set-a", cups=("284", "739", "615"), cups_a_set=3,
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
    sent = trial.data(replace(PLACE, tell_reference=True), "box")
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


# ---- the pages around the sets -------------------------------------------------------------------------------------
def test_the_first_page_names_the_plant_and_counts_sets() -> None:
    """Who tastes must be able to decline, so the plant stands there before anything is served."""
    place = replace(PLACE, kind="welcome", botanical="Mentha spicata", contains="cocoa")
    sent = step.data(place, "box")
    assert sent["lede"].startswith("3 sets of 3 small pieces of chocolate. In each you pick one cup.")
    told = [text for card in sent["cards"] for text in card["texts"]]
    assert any(text.startswith("With Mentha spicata. If you are expecting, take medicine") for text in told)
    pair = step.data(replace(place, cups_a_set=4, pick=2, botanical=""), "box")
    assert "In each you pick two cups." in pair["lede"]
    assert not any("With " in text for card in pair["cards"] for text in card["texts"])


def test_pages_of_a_sitting_of_sets_speak_of_answers() -> None:
    done = step.data(replace(PLACE, kind="done", marks_kept=3), "box")
    assert done["lede"].startswith("All your 3 answers are kept.")
    assert done["words"]["stopKeep"] == "Stop, keep my answers"
    rest = rest_timer.data(replace(PLACE, kind="rest", ready_at="2026-11-24T10:53:40Z", rest_seconds=240), "box")
    assert rest["heading"] == "Rest, then trial 2 of 3"
    assert rest["words"]["next"] == "Next set"


def test_pages_of_a_sitting_of_servings_still_speak_of_marks() -> None:
    served = replace(PLACE, kind="done", cups_a_set=0, marks_kept=3)
    assert step.data(served, "box")["lede"].startswith("All your 3 marks are kept.")
    assert step.data(served, "box")["words"]["next"] == "Next serving"
