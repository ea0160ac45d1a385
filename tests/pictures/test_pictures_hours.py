"""What the pictures of worsening hold."""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import replace
from typing import Any

import pandas as pd
import pytest

from analysis.instruments import Gate, GateResult, judge_gates
from analysis.stopping import AttributeResult
from analysis.stopping.departing import BatchNumbers
from studyapp.kinds.hours.findings.pulls import limit_decides
from studyapp.kinds.hours.findings.scale import Scale, shared_scale
from studyapp.kinds.hours.pictures import against_limit, worsening
from studyapp.kinds.hours.pictures.rows import Axis, flavour_row, limit_row
from studyapp.pictures.marks import CROSS, REFERENCE
from studyapp.pictures.theme import PAPER, SCREENS, Theme
from tests.kinds.hours.decisions import every_kind
from tests.pictures.picture_reading import checked, marks, rows, sentences, shapes, silent_but_spoken, words

Build = Callable[..., AttributeResult]
LIGHT = SCREENS["light"]
KINDS = every_kind()


def _drawn(result: AttributeResult, theme: Theme = LIGHT) -> dict[str, Any]:
    return checked(worsening(result, shared_scale([result]), theme))


def test_discs_crosses_and_reference_stand_where_the_result_says(attribute_result: Build) -> None:
    picture = _drawn(attribute_result())
    assert shapes(picture, "circle") == [12.0, 16.0]
    assert shapes(picture, CROSS) == [0.0, 4.0, 8.0]
    assert shapes(picture, REFERENCE) == [24.0]


@pytest.mark.parametrize("kind", KINDS)
def test_a_disc_stands_for_each_pull_shown_and_a_cross_for_each_not(kind: str) -> None:
    """Also when a longer pull failed: then the shorter one is not shown, however close it lies."""
    results = list(KINDS[kind].attributes.values())
    extent = shared_scale(results)
    for result in results:
        if limit_decides(result):
            continue  # two pictures: the next test
        *judged, _reference = result.pulls
        from_hour = 99.0 if result.shortest_hours is None else result.shortest_hours
        enough = [pull.hours for pull in judged if pull.hours >= from_hour and not pull.shown_to_fail]
        picture = worsening(result, extent, PAPER)
        assert shapes(picture, "circle") == enough
        assert shapes(picture, CROSS) == [pull.hours for pull in judged if pull.hours not in enough]
        none = not enough or result.shortest_hours >= result.reference_hours
        said = "none of these yet" if none else f"{result.shortest_hours:g} h is enough"
        assert said in words(picture)


LIMITED = [(kind, one.name) for kind, made in KINDS.items() for one in made.attributes.values() if limit_decides(one)]


@pytest.mark.parametrize(("kind", "name"), LIMITED)
def test_where_a_limit_decides_each_bar_is_read_against_its_own_line(kind: str, name: str) -> None:
    """A disc means that the end that decides lies on the good side of the line drawn, a cross that it does not: of the
    mean against the limit, with units on the axis; and of the worsening against the margin, no limit beside it."""
    result = KINDS[kind].attributes[name]
    picture, rule = checked(against_limit(result, LIGHT)), result.rule
    assert rule.limit is not None
    end = {pull.hours: (pull.mean_low if rule.wanted == "higher" else pull.mean_high) for pull in result.pulls}
    met = [hours for hours, at in end.items() if rule.sign * at < rule.sign * rule.limit]
    assert shapes(picture, "circle") == met
    assert shapes(picture, CROSS) == [hours for hours in end if hours not in met]
    assert picture["encoding"]["y"]["axis"]["title"] == "mean, 0 to 10 scale"
    assert f"limit {rule.limit:.1f}" in words(picture)
    beside = checked(worsening(result, shared_scale([result]), LIGHT))
    assert not any("limit" in word for word in words(beside))
    for pull in result.pulls[:-1]:
        inside = pull.decisive_upper is not None and pull.decisive_upper < rule.margin
        if pull.hours in shapes(beside, "circle"):
            assert inside
    if all(pull.within_margin and not pull.shown_to_fail for pull in result.pulls):
        assert shapes(beside, CROSS) == []


def test_the_pole_stands_on_the_margin_at_the_hour_that_is_enough(attribute_result: Build) -> None:
    picture = _drawn(attribute_result())
    pole = next(rows(layer)[0] for layer in marks(picture, "rule") if "say" not in rows(layer)[0])
    assert (pole["x"], pole["low"]) == (12.0, 1.0)
    assert pole["high"] > 3.6, "the pole ends above the highest bar"
    assert "12 h is enough" in words(picture)


@pytest.mark.parametrize("shortest", [None, 24.0])
def test_without_an_hour_there_is_no_pole_but_a_word(attribute_result: Build, shortest: float | None) -> None:
    picture = _drawn(attribute_result(shortest=shortest))
    assert all("say" in rows(layer)[0] for layer in marks(picture, "rule"))
    assert "none of these yet" in words(picture)
    assert shapes(picture, "circle") == []


def test_only_the_deciding_end_has_a_cap(attribute_result: Build) -> None:
    """The decision is one-sided, so the bar ends in a cap above; wanted the same, both ends decide."""
    one = {layer["encoding"]["y"]["field"] for layer in marks(_drawn(attribute_result()), "tick")}
    both = {layer["encoding"]["y"]["field"] for layer in marks(_drawn(attribute_result(wanted="same")), "tick")}
    assert one == {"high"}
    assert both == {"high", "low"}


def test_the_band_reaches_down_unless_the_same_is_wanted(attribute_result: Build) -> None:
    for wanted, bottom in (("lower", -1.0), ("same", -0.8)):
        picture = worsening(attribute_result(wanted=wanted, margin=0.8), Scale(-1.0, 4.0), LIGHT)
        row = rows(next(marks(picture, "rect")))[0]
        assert (row["y"], row["y2"]) == (bottom, 0.8)


def test_a_limit_lies_where_the_mean_would_reach_it(attribute_result: Build) -> None:
    """The reference has mean 3.5, so a limit of 5.5 is 2 units of worsening away; wanted higher, it is mirrored."""
    assert words(_drawn(attribute_result(limit=5.5)), "y")["limit 5.5"] == pytest.approx(2.0)
    assert words(_drawn(attribute_result(wanted="higher", limit=1.5)), "y")["limit 1.5"] == pytest.approx(2.0)


@pytest.mark.parametrize("limit", [4.3, 4.5, 4.7])
def test_the_names_of_margin_and_limit_lie_on_two_sides(attribute_result: Build, limit: float) -> None:
    """The margin is 1.0, the limit at 0.8, 1.0 and 1.2: two words on one side would overprint."""
    names = [layer["mark"]["dy"] for layer in marks(_drawn(attribute_result(limit=limit)), "text")]
    assert sorted(names[:2])[0] < 0 < sorted(names[:2])[1]


def test_colours_come_from_the_theme(attribute_result: Build) -> None:
    for theme in (*SCREENS.values(), PAPER):
        picture = _drawn(attribute_result(), theme)
        assert next(marks(picture, "rect"))["mark"]["fill"] == theme.band
        assert picture["config"]["font"] == theme.font


def test_only_pulls_are_read_aloud_and_in_words(attribute_result: Build) -> None:
    """Bands, rules, texts and axes are silent; each pull says one sentence."""
    picture = _drawn(attribute_result())
    assert silent_but_spoken(picture)
    assert "12 hours: worse by 0.4, at most 0.9, within the margin" in sentences(picture)


def test_a_chart_sends_hours_and_numbers_but_no_person_and_no_score(attribute_result: Build) -> None:
    picture = _drawn(attribute_result())
    names = {key for layer in picture["layer"] for row in rows(layer) for key in row}
    assert names <= {"x", "x2", "y", "y2", "low", "high", "words", "say"}
    assert "assessor" not in json.dumps(picture)
    assert "http" not in json.dumps({key: value for key, value in picture.items() if key != "$schema"})


def test_all_charts_of_a_decision_share_one_scale(attribute_result: Build) -> None:
    wide, narrow = attribute_result(), attribute_result(name="Bitterness", margin=0.5, shortest=16.0)
    scale = shared_scale([narrow, wide])
    assert scale == shared_scale([wide, narrow])
    assert scale.high > 3.6
    assert scale.low <= -0.4
    assert max(scale.ticks) < scale.high


# ---- rows over one axis ----------------------------------------------------------------------------------------------
def _limits(means: dict[float, float], **gate: Any) -> tuple[GateResult, ...]:
    """A limit of viscosity, three portions a pull, 2 % apart."""
    read = [(hour, "viscosity", mean * factor) for hour, mean in means.items() for factor in (0.98, 1.0, 1.02)]
    table = pd.DataFrame(read, columns=["hours", "quantity", "value"])
    limit = Gate(**{"quantity": "viscosity", "unit": "Pa.s", "at_most": 4.0, "log": True, **gate})
    return judge_gates(table, {"viscosity": limit}, (0.0, 8.0, 16.0, 24.0), 0.05)


@pytest.mark.parametrize("theme", [LIGHT, PAPER])
def test_a_limit_shows_every_pull_with_the_end_of_its_guard(theme: Theme) -> None:
    """Crosses before it is kept, discs after, the end that decides capped, a word where nothing was read."""
    results = _limits({0.0: 6.0, 16.0: 3.4, 24.0: 3.0})
    picture = checked(limit_row(results, Axis((0.0, 8.0, 16.0, 24.0), 16.0, theme)))
    assert shapes(picture, "circle") == [16.0, 24.0]
    assert shapes(picture, CROSS) == [0.0]
    assert {"limit 4 Pa.s", "16 h is enough", "not read"} <= set(words(picture))
    assert picture["encoding"]["y"]["scale"]["type"] == "log"
    ends = [pull.end for pull in results[0].pulls if pull.answer == "passes"]
    assert [row["high"] for layer in marks(picture, "tick") for row in rows(layer)] == pytest.approx(ends)


def test_rows_keep_the_same_room_so_that_hours_lie_under_hours(attribute_result: Build) -> None:
    """One width of scale, one domain; numbers of hours below the last row only; a limit from below is shaded above."""
    result = attribute_result()
    pulls = [pull.hours for pull in result.pulls]
    above = checked(flavour_row(result, shared_scale([result]), Axis(pulls, None, LIGHT, True, False)))
    below = checked(
        limit_row(_limits({0.0: 3.0, 24.0: 5.0}, at_most=None, at_least=4.0), Axis(pulls, None, LIGHT, False))
    )
    for picture in (above, below):
        axis = picture["encoding"]["y"]["axis"]
        assert axis["minExtent"] == axis["maxExtent"]
    assert above["encoding"]["x"]["scale"]["domain"] == below["encoding"]["x"]["scale"]["domain"]
    assert (above["encoding"]["x"]["axis"], below["encoding"]["x"]["axis"]["values"]) == (None, pulls)
    (good,) = [row for layer in marks(below, "rect") for row in rows(layer) if row["y"] == 4.0 and "y2" in row]
    assert good["y2"] == below["encoding"]["y"]["scale"]["domain"][1]


# ---- several batches -------------------------------------------------------------------------------------------------
THREE = BatchNumbers(
    ("31", "32", "34"),
    (0.0, 4.0, 8.0, 12.0, 16.0, 24.0),
    differences={
        "Acidity": {
            "31": (3.0, 1.8, 1.0, 0.3, 0.0, 0.0),
            "32": (3.1, 1.9, 1.1, 0.4, 0.1, 0.0),
            "34": (3.2, 2.0, 1.2, None, 0.2, 0.0),
        }
    },
)


def _rings(picture: dict[str, Any]) -> list[dict[str, Any]]:
    return [
        row
        for layer in marks(picture, "point")
        for row in rows(layer)
        if row.get("say", "")[:3] in ("31 ", "32 ", "34 ")
    ]


@pytest.mark.parametrize("theme", [*SCREENS.values(), PAPER])
def test_a_ring_stands_for_every_batch_in_the_order_tasted(attribute_result: Build, theme: Theme) -> None:
    """To the right of the bar over all, at true heights; none where a batch has no such pull, none at the reference."""
    result = attribute_result()
    scale, axis = shared_scale([result]), Axis(tuple(THREE.hours), 12.0, theme)
    for picture in (worsening(result, scale, theme, (), THREE), flavour_row(result, scale, axis, THREE)):
        found = _rings(checked(picture))
        assert [row["y"] for row in found] == [3.0, 1.8, 1.0, 0.3, 0.0, 3.1, 1.9, 1.1, 0.4, 0.1, 3.2, 2.0, 1.2, 0.2]
        at_zero = sorted(row["x"] for row in found if row["y"] > 2.5)
        assert 0 < at_zero[0] < at_zero[1] < at_zero[2] < 4
        assert "34 at 0 h: worse by 3.2." in sentences(picture)
        assert (
            len([row for layer in marks(picture, "rule") for row in rows(layer) if "high" in row and "say" in row]) == 5
        )


def test_batches_judged_each_for_itself_have_each_its_bar(attribute_result: Build) -> None:
    """And the pull has none over all."""
    alone = {batch: tuple(value - 0.5 if value else None for value in row) for batch, row in _of("Acidity").items()}
    upper = {batch: tuple(value + 0.5 if value else None for value in row) for batch, row in _of("Acidity").items()}
    told = replace(THREE, lower={"Acidity": alone}, upper={"Acidity": upper})
    result = attribute_result()
    picture = checked(worsening(result, shared_scale([result]), LIGHT, (), told))
    bars = [row for layer in marks(picture, "rule") for row in rows(layer) if "high" in row and "say" in row]
    assert len(bars) == 13  # five pulls of three batches, but for one lost and one that lies at nothing
    assert [row["high"] - row["y"] for row in bars] == pytest.approx([0.5] * 13)


def _of(name: str) -> dict[str, Any]:
    return dict(THREE.differences[name])
