"""What the pictures of forced-choice results hold. `to_dict()` checks each against the Vega-Lite schema."""

from __future__ import annotations

import json
from collections.abc import Iterator
from typing import Any

import pytest

from analysis.choice import carry_over, forced_choice, sequential, threshold
from studyapp.components import aroma_charts
from studyapp.components.look import TOKENS

Spec = dict[str, Any]


def _rows(spec: Spec, layer: Spec) -> list[Spec]:
    return spec["datasets"][layer["data"]["name"]] if "name" in layer["data"] else layer["data"]["values"]


def _marks(spec: Spec, kind: str) -> Iterator[Spec]:
    return (layer for layer in spec["layer"] if layer["mark"]["type"] == kind)


def _words(spec: Spec) -> dict[str, float]:
    return {row["words"]: row["x"] for layer in _marks(spec, "text") for row in _rows(spec, layer)}


def _spoken(spec: Spec) -> list[str]:
    layers = (layer for layer in spec["layer"] if "description" in layer["encoding"])
    return [row["say"] for layer in layers for row in _rows(spec, layer)]


def _silent_but_spoken(spec: Spec) -> bool:
    return all(layer["mark"].get("aria") is False or "description" in layer["encoding"] for layer in spec["layer"])


@pytest.fixture
def triangle() -> forced_choice.ChoiceResult:
    """21 of 36 triangles right."""
    return forced_choice.judge_totals("triangle", 36, 21, 0.05, 0.3)


def test_the_ruler_puts_count_guess_and_zones_where_they_belong(triangle: forced_choice.ChoiceResult) -> None:
    spec = aroma_charts.ruler(triangle, 12.0).to_dict()
    words = _words(spec)
    assert words["21 right"] == 21
    assert words["guessing 12"] == 12.0
    assert {"close enough", "cannot tell, 14 to 17", "detectable", "up to 13", "18 or more"} <= set(words)
    edges = sorted((row["x"], row["end"]) for layer in _marks(spec, "rect") for row in _rows(spec, layer))
    assert edges == [(-0.5, 13.5), (-0.5, 36.5), (13.5, 17.5), (17.5, 36.5)]
    assert _spoken(spec) == ["21 of 36 answers are right"]


def test_the_word_for_guessing_keeps_away_from_the_triangle() -> None:
    few = forced_choice.judge_totals("triangle", 36, 6, 0.05, 0.3)
    rare = forced_choice.judge_totals("two-out-of-five", 30, 6, 0.05, 0.3)
    for result, guessed, align in ((few, 12.0, "left"), (rare, 3.0, "left")):
        spec = aroma_charts.ruler(result, guessed).to_dict()
        said = next(layer for layer in _marks(spec, "text") if _rows(spec, layer)[0]["words"].startswith("guessing"))
        assert said["mark"]["align"] == align


def test_the_interval_shows_estimate_ends_and_limit(triangle: forced_choice.ChoiceResult) -> None:
    spec = aroma_charts.noticing(triangle, "dark").to_dict()
    assert {"38 %", "15", "58"} <= set(_words(spec))
    band = next(_marks(spec, "rect"))
    assert _rows(spec, band)[0]["end"] == pytest.approx(30.0)
    assert band["mark"]["color"] == TOKENS["dark"]["band"]


@pytest.fixture
def fitted() -> threshold.ThresholdFit:
    """Six people, four doses, ten triangles each: 4, 5, 8 and 10 right."""
    rows = [
        (f"a{person}", dose, int(trial < right))
        for person in range(6)
        for dose, right in ((5, 4), (10, 5), (20, 8), (60, 10))
        for trial in range(10)
    ]
    who, doses, right = zip(*rows, strict=True)
    return threshold.fit(threshold.dose_answers(who, doses, right), "triangle", 0.05)


def test_the_curve_runs_through_its_half_way_point(fitted: threshold.ThresholdFit) -> None:
    spec = aroma_charts.detection(fitted, "min", 1 / 3).to_dict()
    line = _rows(spec, next(_marks(spec, "line")))
    near = min(line, key=lambda row: abs(row["x"] - fitted.estimate.value))
    # Slips of 1 % keep the curve a third of a point below the half-way line.
    assert near["y"] == pytest.approx(2 / 3, abs=0.03)
    assert all(row["low"] <= row["y"] <= row["high"] for row in line)
    assert [row["y"] for row in line] == sorted(row["y"] for row in line)
    assert any(said.startswith("half-way from ") for said in _spoken(spec))
    assert "20 min: 48 of 60 right" in _spoken(spec)


def test_doses_far_apart_stand_by_their_ratio(fitted: threshold.ThresholdFit) -> None:
    spec = aroma_charts.detection(fitted, "min", 1 / 3).to_dict()
    kinds = {layer["encoding"]["x"]["scale"]["type"] for layer in spec["layer"] if "x" in layer["encoding"]}
    assert kinds == {"log"}


def test_a_ladder_draws_each_rung_by_what_it_shows() -> None:
    rows = [(f"a{n % 12}", level, int(n < count)) for level, count in ((1, 44), (2, 20), (3, 16)) for n in range(48)]
    who, level, right = zip(*rows, strict=True)
    ladder = carry_over.ladder(who, level, right, "three-alternative", 0.4, 0.05)
    spec = aroma_charts.ladder(ladder, "carry over").to_dict()
    spoken = (layer for layer in _marks(spec, "point") if "description" in layer["encoding"])
    shapes = {row["x"]: layer["mark"]["shape"] for layer in spoken for row in _rows(spec, layer)}
    clean = ladder.clean_from_all_tasted
    assert shapes[1] == "triangle-up"
    assert {shape for at, shape in shapes.items() if clean is not None and at >= clean} == {"circle"}
    assert "limit 40 %" in _words(spec)


def test_two_lines_and_the_way_between_them() -> None:
    sealed = sequential.plan("triangle", 0.05, 0.05, 0.5, 36)
    spec = aroma_charts.lines(sealed, [(6, 3), (12, 6)]).to_dict()
    way = next(rows for rows in (_rows(spec, layer) for layer in _marks(spec, "line")) if len(rows) == 3)
    assert [(row["x"], row["y"]) for row in way] == [(0, 0), (6, 3), (12, 6)]
    assert _spoken(spec) == ["after 6 answers 3 right", "after 12 answers 6 right"]


def test_pictures_speak_sentences_and_name_nobody(
    triangle: forced_choice.ChoiceResult, fitted: threshold.ThresholdFit
) -> None:
    for chart in (
        aroma_charts.ruler(triangle, 12.0),
        aroma_charts.noticing(triangle),
        aroma_charts.detection(fitted, "min", 1 / 3),
    ):
        spec = chart.to_dict()
        assert _silent_but_spoken(spec)
        assert "a0" not in json.dumps(spec)
