"""What the pictures hold. `to_dict()` checks each against the Vega-Lite schema that Altair ships."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator
from typing import Any

import pytest

from analysis.stopping import AttributeResult
from studyapp.components import charts
from studyapp.components.look import TOKENS, Theme
from studyapp.findings.scale import Scale, shared_scale

Build = Callable[..., AttributeResult]


def _drawn(result: AttributeResult, theme: Theme = "light") -> dict[str, Any]:
    return charts.worsening(result, shared_scale([result]), theme).to_dict()


def _marks(spec: dict[str, Any], kind: str) -> Iterator[dict[str, Any]]:
    return (layer for layer in spec["layer"] if layer["mark"]["type"] == kind)


def _rows(spec: dict[str, Any], layer: dict[str, Any]) -> list[dict[str, Any]]:
    return spec["datasets"][layer["data"]["name"]] if "name" in layer["data"] else layer["data"]["values"]


def _words(spec: dict[str, Any]) -> dict[str, float]:
    return {row["words"]: row["worse"] for layer in _marks(spec, "text") for row in _rows(spec, layer)}


def _points(spec: dict[str, Any], shape: str) -> list[float]:
    spoken = (layer for layer in _marks(spec, "point") if "description" in layer["encoding"])
    return [row["hours"] for layer in spoken if layer["mark"]["shape"] == shape for row in _rows(spec, layer)]


def test_discs_crosses_and_square_stand_where_the_result_says(attribute_result: Build) -> None:
    spec = _drawn(attribute_result())
    assert _points(spec, "circle") == [12.0, 16.0]
    assert _points(spec, charts._CROSS) == [0.0, 4.0, 8.0]
    assert _points(spec, "square") == [24.0]


def test_the_pole_stands_on_the_margin_at_the_hour_that_is_enough(attribute_result: Build) -> None:
    spec = _drawn(attribute_result())
    pole = next(layer for layer in _marks(spec, "rule") if "top" in _rows(spec, layer)[0])
    row = _rows(spec, pole)[0]
    assert (row["hours"], row["worse"]) == (12.0, 1.0)
    assert row["top"] > 3.6, "the pole ends above the highest bar"
    assert "12 h is enough" in _words(spec)


@pytest.mark.parametrize("shortest", [None, 24.0])
def test_without_an_hour_there_is_no_pole_but_a_word(attribute_result: Build, shortest: float | None) -> None:
    spec = _drawn(attribute_result(shortest=shortest))
    assert not [layer for layer in _marks(spec, "rule") if any("top" in row for row in _rows(spec, layer))]
    assert "none of these yet" in _words(spec)
    assert _points(spec, "circle") == []


def test_only_the_deciding_end_has_a_cap(attribute_result: Build) -> None:
    """The decision is one-sided, so the bar ends in a cap above; wanted the same, both ends decide."""
    one = {layer["encoding"]["y"]["field"] for layer in _marks(_drawn(attribute_result()), "tick")}
    both = {layer["encoding"]["y"]["field"] for layer in _marks(_drawn(attribute_result(wanted="same")), "tick")}
    assert one == {"high"}
    assert both == {"high", "low"}


def test_the_band_reaches_down_unless_the_same_is_wanted(attribute_result: Build) -> None:
    for wanted, bottom in (("lower", -1.0), ("same", -0.8)):
        result = attribute_result(wanted=wanted, margin=0.8)
        spec = charts.worsening(result, Scale(-1.0, 4.0), "light").to_dict()
        row = _rows(spec, next(_marks(spec, "rect")))[0]
        assert (row["worse"], row["top"]) == (bottom, 0.8)


def test_a_limit_lies_where_the_mean_would_reach_it(attribute_result: Build) -> None:
    """The reference has mean 3.5, so a limit of 5.5 is 2 units of worsening away; wanted higher, it is mirrored."""
    assert _words(_drawn(attribute_result(limit=5.5)))["limit 5.5"] == pytest.approx(2.0)
    assert _words(_drawn(attribute_result(wanted="higher", limit=1.5)))["limit 1.5"] == pytest.approx(2.0)


def test_colours_come_from_the_theme(attribute_result: Build) -> None:
    for theme in ("light", "dark"):
        assert next(_marks(_drawn(attribute_result(), theme), "rect"))["mark"]["color"] == TOKENS[theme]["band"]


def test_only_pulls_are_read_aloud_and_in_words(attribute_result: Build) -> None:
    """Bands, rules, texts and axes are silent; each pull says one sentence."""
    spec = _drawn(attribute_result())
    for layer in spec["layer"]:
        assert layer["mark"].get("aria") is False or "description" in layer["encoding"]
    axes = [layer["encoding"][side]["axis"] for layer in spec["layer"] for side in "xy" if side in layer["encoding"]]
    assert axes
    assert all(axis["aria"] is False for axis in axes)
    said = [row["say"] for layer in _marks(spec, "point") for row in _rows(spec, layer) if "say" in row]
    assert "12 hours: worse by 0.4, at most 0.9, within the margin" in said


def test_a_chart_sends_hours_and_numbers_but_no_person_and_no_score(attribute_result: Build) -> None:
    spec = _drawn(attribute_result())
    names = {key for layer in spec["layer"] for row in _rows(spec, layer) for key in row}
    assert names <= {"hours", "worse", "low", "high", "top", "end", "words", "say"}
    assert "assessor" not in json.dumps(spec)
    assert "http" not in json.dumps({key: value for key, value in spec.items() if key != "$schema"})


def test_all_charts_of_a_decision_share_one_scale(attribute_result: Build) -> None:
    wide, narrow = attribute_result(), attribute_result(name="Bitterness", margin=0.5, shortest=16.0)
    scale = shared_scale([narrow, wide])
    assert scale == shared_scale([wide, narrow])
    assert scale.high > 3.6
    assert scale.low <= -0.4
    assert max(scale.ticks) < scale.high
