"""What each page of a sitting hands to a phone: a fixed list of names, plain JSON, nothing else."""

from __future__ import annotations

import json
import re
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from studyapp.components import ballot, rest_timer, step
from studyapp.records import SCALE_HIGH, SCALE_LOW, SCALE_STEP, Line, Place

PLACE = Place(
    kind="serving",
    pseudonym="Heron",
    sitting_label="Tasting 1",
    serving="f00d",
    code="508",
    number=3,
    of=6,
    lines=(Line("a1", "Acidity", "sharp", "none", "very strong", 6.2), Line("b2", "Bitterness", "", "none", "strong")),
    ready_at="2026-11-24T10:45:00Z",
    rest_seconds=240,
    now="2026-11-24T10:41:00Z",
    saved_at="2026-11-24T10:40:51Z",
    contains="cocoa, cane sugar.",
    traces="milk",
    swallow="swallow or spit",
    routine="Sip.",
    minutes=25,
    line_count=2,
    marks_kept=12,
    grams_today=27.0,
    grams_week=54.0,
)
BALLOT = {"may_swap", "seat", "at", "serving", "code", "heading", "practice", "saved_at", "lines", "words"}
LINE = {"id", "name", "definition", "low_word", "high_word", "value"}
REST = {"seat", "at", "heading", "saved_at", "ready_at", "now", "seconds", "length", "routine", "words"}
STEP = {
    "seat",
    "at",
    "kind",
    "number",
    "heading",
    "aside",
    "title",
    "lede",
    "cards",
    "note",
    "small",
    "actions",
    "waits",
    "poll",
}


def plain(data: dict[str, Any]) -> dict[str, Any]:
    """The data as the phone gets it; refuses what JSON cannot hold."""
    kept: dict[str, Any] = json.loads(json.dumps(data, allow_nan=False))
    assert kept == data
    return kept


def test_a_ballot_hands_over_these_names_only() -> None:
    """A new field of a place reaches a phone only when somebody adds it here on purpose."""
    data = plain(ballot.data(PLACE, "box"))
    assert data.keys() == BALLOT
    assert [line.keys() for line in data["lines"]] == [LINE, LINE]
    assert [line["value"] for line in data["lines"]] == [6.2, None]


def test_a_rest_hands_over_these_names_only() -> None:
    """Times are the server's."""
    data = plain(rest_timer.data(replace(PLACE, kind="rest"), "box"))
    assert data.keys() == REST
    assert (data["ready_at"], data["now"], data["length"]) == (PLACE.ready_at, PLACE.now, "4 minutes in all")


@pytest.mark.parametrize("kind", ["welcome", "waiting", "paused", "done", "stopped", "left", "nothing", "elsewhere"])
def test_other_pages_hand_over_these_names_only(kind: Any) -> None:
    """No code and no serving on a page without a cup."""
    data = plain(step.data(replace(PLACE, kind=kind), "box"))
    assert data.keys() <= STEP | {"words"}
    assert "508" not in json.dumps(data)
    assert "f00d" not in json.dumps(data)


def test_the_gap_is_said_for_any_number_of_lines() -> None:
    """One, two, or many lines: a whole sentence each, with room for the names."""
    lines = tuple(replace(PLACE.lines[0], id=str(number)) for number in range(8))
    said = ballot.data(replace(PLACE, lines=lines), "box")["words"]["gaps"]
    assert said[0] == "One line has no mark yet: {names}."
    assert said[1] == "Two lines have no mark yet: {names}."
    assert said[7] == "8 lines have no mark yet: {names}."


@pytest.mark.parametrize(
    ("contains", "traces", "expected"),
    [
        ("cocoa, milk.", "nuts", ["Contains cocoa, milk.", "Made where nuts are handled too"]),
        ("cocoa", "", ["Contains cocoa."]),
        ("", "", ["Nobody has written down what is in it. Ask before you taste."]),
    ],
)
def test_the_caution_says_what_is_known(contains: str, traces: str, expected: list[str]) -> None:
    """Contents and traces come first, unknown is said, and the caution always ends with what to do."""
    place = replace(PLACE, kind="welcome", contains=contains, traces=traces)
    card = step.data(place, "box")["cards"][0]
    assert card["caution"]
    assert all(said.startswith(start) for said, start in zip(card["texts"], expected, strict=False))
    assert card["texts"][-1].startswith("If any of it is not for you, do not taste.")
    assert len(card["texts"]) == len(expected) + 1


def test_a_sitting_of_sets_speaks_of_answers_on_every_page() -> None:
    """Nobody marks a line there, so no page says that marks are kept."""
    for kind in ("welcome", "waiting", "paused", "done", "stopped"):
        said = json.dumps(step.data(replace(PLACE, kind=kind, cups_a_set=3, botanical="Mentha spicata"), "box"))
        assert "marks are kept" not in said
    assert "All your answers are kept." in json.dumps(step.data(replace(PLACE, kind="paused", cups_a_set=3), "b"))


def test_the_ballot_marks_on_the_scale_that_the_store_keeps() -> None:
    """The ends and the steps of the line are written once more in the page's script; they may not drift apart."""
    script = (Path(ballot.__file__).parent / "ballot.js").read_text(encoding="utf-8")
    written = {name: float(value) for name, value in re.findall(r"^const (LOW|HIGH|STEP) = ([\d.]+);$", script, re.M)}
    assert written == {"LOW": SCALE_LOW, "HIGH": SCALE_HIGH, "STEP": SCALE_STEP}
