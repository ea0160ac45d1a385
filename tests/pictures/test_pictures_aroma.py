"""What the pictures of forced-choice results hold."""

from __future__ import annotations

import json
from itertools import pairwise

import pytest

from analysis.choice import carry_over, forced_choice, sequential, threshold
from studyapp.kinds.aroma.pictures.choice import noticing, ruler
from studyapp.kinds.aroma.pictures.dose import detection
from studyapp.kinds.aroma.pictures.ladder import ladder
from studyapp.kinds.aroma.pictures.rounds import by_round
from studyapp.pictures.marks import CROSS
from studyapp.pictures.theme import PAPER, SCREENS
from tests.pictures.picture_reading import (
    checked,
    marks,
    rows,
    sentences,
    shapes,
    silent_but_spoken,
    spoken,
    words,
)

LIGHT = SCREENS["light"]


@pytest.fixture
def triangle() -> forced_choice.ChoiceResult:
    """21 of 36 triangles right."""
    return forced_choice.judge_totals("triangle", 36, 21, 0.05, 0.3)


# ---- one test ----------------------------------------------------------------------------------------------------
def test_the_ruler_puts_count_guess_and_zones_where_they_belong(triangle: forced_choice.ChoiceResult) -> None:
    picture = checked(ruler(triangle, 12.0, LIGHT))
    said = words(picture)
    assert said["21 right"] == 21
    assert said["guessing 12"] == 12.0
    assert {"close enough", "cannot tell, 14 to 17", "detectable", "up to 13", "18 or more"} <= set(said)
    edges = sorted((row["x"], row["x2"]) for layer in marks(picture, "rect") for row in rows(layer))
    assert edges == [(-0.5, 6.5), (-0.5, 36.5), (6.5, 13.5), (13.5, 17.5), (17.5, 36.5)]
    assert sentences(picture) == ["21 of 36 answers are right"]


def test_the_word_for_guessing_keeps_away_from_the_triangle() -> None:
    few = forced_choice.judge_totals("triangle", 36, 6, 0.05, 0.3)
    rare = forced_choice.judge_totals("two-out-of-five", 30, 6, 0.05, 0.3)
    for result, guessed, align in ((few, 12.0, "left"), (rare, 3.0, "left")):
        picture = ruler(result, guessed, LIGHT)
        said = next(layer for layer in marks(picture, "text") if rows(layer)[0]["words"].startswith("guessing"))
        assert said["mark"]["align"] == align


def test_the_interval_shows_estimate_ends_and_limit(triangle: forced_choice.ChoiceResult) -> None:
    picture = checked(noticing(triangle, SCREENS["dark"]))
    assert {"38 %", "15", "58"} <= set(words(picture))
    band = next(marks(picture, "rect"))
    assert rows(band)[0]["x2"] == pytest.approx(30.0)
    assert band["mark"]["fill"] == SCREENS["dark"].band


# ---- dose --------------------------------------------------------------------------------------------------------
def _fit(right: tuple[int, ...]) -> threshold.ThresholdFit:
    """Six people, four doses, ten triangles each; so many of the ten right at each dose."""
    answers = [
        (f"a{person}", dose, int(trial < count))
        for person in range(6)
        for dose, count in zip((5, 10, 20, 60), right, strict=True)
        for trial in range(10)
    ]
    who, doses, correct = zip(*answers, strict=True)
    return threshold.fit(threshold.dose_answers(who, doses, correct), "triangle", 0.05)


@pytest.fixture
def fitted() -> threshold.ThresholdFit:
    """4, 5, 8 and 10 of ten right."""
    return _fit((4, 5, 8, 10))


def test_the_curve_runs_through_its_half_way_point(fitted: threshold.ThresholdFit) -> None:
    picture = checked(detection(fitted, "min", 1 / 3, LIGHT))
    line = rows(next(marks(picture, "line")))
    near = min(line, key=lambda row: abs(row["x"] - fitted.estimate.value))
    # Slips of 1 % keep the curve a third of a point below the half-way line.
    assert near["y"] == pytest.approx(2 / 3, abs=0.03)
    assert all(row["low"] <= row["y"] <= row["high"] for row in line)
    assert [row["y"] for row in line] == sorted(row["y"] for row in line)
    assert any(said.startswith("half-way from ") for said in sentences(picture))
    assert any(said.startswith("half-way ") for said in words(picture))
    assert "20 min: 48 of 60 right" in sentences(picture)


def test_doses_far_apart_stand_by_their_ratio(fitted: threshold.ThresholdFit) -> None:
    assert detection(fitted, "min", 1 / 3, LIGHT)["encoding"]["x"]["scale"]["type"] == "log"


def test_no_half_way_point_is_drawn_where_none_was_tasted() -> None:
    """Three to four of ten right is what guessing gives: the diamond and its words are left out."""
    picture = detection(_fit((3, 4, 3, 4)), "min", 1 / 3, LIGHT)
    assert not any(said.startswith("half-way") for said in (*words(picture), *sentences(picture)))
    assert shapes(picture, "diamond") == []


# ---- batch after batch -------------------------------------------------------------------------------------------
def _ladder(right: dict[int, int], limit: float) -> carry_over.Ladder:
    """Twelve people, four sets each a batch; so many of the 48 right."""
    answers = [(f"a{n % 12}", level, int(n < count)) for level, count in right.items() for n in range(48)]
    who, level, correct = zip(*answers, strict=True)
    return carry_over.ladder(who, level, correct, "three-alternative", limit, 0.05)


def test_a_ladder_draws_each_rung_by_what_it_shows() -> None:
    """Found, found, gone at 40 %; against 20 % the last two are neither."""
    result = _ladder({1: 44, 2: 20, 3: 16}, 0.4)
    picture = checked(ladder(result, "carry over", LIGHT))
    clean = result.clean_from_all_tasted
    assert shapes(picture, "triangle-up")[0] == 1
    assert shapes(picture, "circle") == [at for at in (1, 2, 3) if clean is not None and at >= clean]
    assert "limit 40 %" in words(picture)
    assert shapes(ladder(_ladder({1: 44, 2: 18, 3: 18}, 0.2), "carry over", LIGHT), CROSS) == [2, 3]


def test_the_name_of_a_limit_keeps_away_from_the_hairline_above_it() -> None:
    """A limit of 20 % has the hairline of 25 % where its name would be; one of 30 % has none near."""
    for limit, below in ((0.2, True), (0.3, False)):
        picture = ladder(_ladder({1: 44, 2: 18}, limit), "carry over", LIGHT)
        name = next(layer for layer in marks(picture, "text") if rows(layer)[0]["words"].startswith("limit"))
        assert (name["mark"]["dy"] > 0) is below


def test_batches_and_days_are_named_at_their_ticks() -> None:
    """The expression of the axis is Vega's own language; a name with an apostrophe stays a name."""
    axis = ladder(_ladder({1: 44, 7: 18}, 0.4), "linger", LIGHT)["encoding"]["x"]["axis"]
    assert axis["labelExpr"] == ("abs(datum.value - 1) < 1e-6 ? '1 day' : abs(datum.value - 7) < 1e-6 ? '7 days' : ''")


# ---- a plan that stops early -------------------------------------------------------------------------------------
def _judged(cap: int, *right: int) -> sequential.SequentialResult:
    """Rounds of six triangles with so many right."""
    sealed = sequential.plan("triangle", 0.05, 0.05, 0.5, cap, 6)
    return sequential.judge(sealed, [[int(seat < count) for seat in range(6)] for count in right])


def test_the_way_of_the_count_goes_round_by_round() -> None:
    """Right answers beyond a third of the answers: 3 - 2 and 9 - 4; the round that ends it is a diamond."""
    picture = checked(by_round(_judged(36, 3, 6), LIGHT))
    way = next(listed for listed in (rows(layer) for layer in marks(picture, "line")) if len(listed) == 3)
    assert [(row["x"], row["y"]) for row in way] == [(0, 0), (1, pytest.approx(1)), (2, pytest.approx(5))]
    assert sentences(picture) == ["after round 1: 3 of 6 right", "after round 2: 9 of 12 right"]


@pytest.mark.parametrize("rounds", [2, 6, 10, 40])
def test_every_round_has_its_column(rounds: int) -> None:
    """What a round could say: up to three grounds that touch and never overlap."""
    picture = checked(by_round(_judged(6 * rounds, 3), PAPER))
    grounds = [row for layer in marks(picture, "rect") for row in rows(layer)]
    for number in range(1, rounds + 1):
        own = sorted((row["y"], row["y2"]) for row in grounds if row["x"] < number < row["x2"])
        assert own
        assert all(before[1] == pytest.approx(after[0]) for before, after in pairwise(own))


# ---- all of them -------------------------------------------------------------------------------------------------
def test_pictures_speak_sentences_and_name_nobody(
    triangle: forced_choice.ChoiceResult, fitted: threshold.ThresholdFit
) -> None:
    for picture in (
        ruler(triangle, 12.0, LIGHT),
        noticing(triangle, LIGHT),
        detection(fitted, "min", 1 / 3, LIGHT),
        ladder(_ladder({1: 44, 2: 20}, 0.4), "carry over", LIGHT),
    ):
        assert silent_but_spoken(picture)
        assert spoken(picture)
        assert "a0" not in json.dumps(picture)
