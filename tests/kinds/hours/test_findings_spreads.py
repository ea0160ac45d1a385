"""The sentences about the spreads behind a plan's chances."""

from __future__ import annotations

from dataclasses import replace

from analysis.planning.pooled_spreads import PooledSpreads, Spread
from studyapp.findings.spreads import spreads_told
from studyapp.services.spreads import ASSUMED, Spreads

ONE = PooledSpreads(
    Spread(1.26, 0.94, 1.91), Spread(0.4, 0.0, 0.7), Spread(0.3, 0.1, 0.5), Spread(0.9, 0.8, 1.0), 3, 210
)
ALL = PooledSpreads(Spread(1.1, 0.9, 1.4), Spread(0.5, 0.3, 0.7), None, Spread(1.0, 0.9, 1.1), 3, 420)
OWN = Spreads((("acidity", ONE),), ALL, 3, 9)


def test_assumed_spreads_are_said_with_their_numbers() -> None:
    """One sentence, whatever is asked; the numbers are the published defaults of the simulated truth."""
    (told,) = spreads_told(ASSUMED, ["Acidity"])
    assert "assessors ±1.0, their reading of a piece ±0.5, one mark ±1.0 units" in told
    assert "Your own panel may differ" in told


def test_own_spreads_say_their_studies_units_and_limits() -> None:
    source, acidity = spreads_told(OWN, ["Acidity"])
    assert source.startswith("Spread of scores from your own 3 opened studies, 9 assessors.")
    assert "95 % limits" in source
    assert acidity == (
        "Acidity: assessors ±1.3 (0.9 to 1.9), their reading of a piece ±0.4 (0.0 to 0.7), the same assessor on "
        "another day ±0.3 (0.1 to 0.5), one mark ±0.9 (0.8 to 1.0) units, from 210 marks."
    )


def test_attributes_never_scored_share_one_sentence() -> None:
    told = spreads_told(OWN, ["smoke", "Acidity", "fruit"])
    assert len(told) == 3
    assert told[2].startswith("Smoke and fruit: scored too little so far, so all attributes together are taken")
    assert "±1.0 (0.9 to 1.1) units" in told[2]


def test_one_invented_study_is_not_called_ones_own() -> None:
    (source, _line) = spreads_told(replace(OWN, studies=1, assessors=1, invented=True), ["Acidity"])
    assert "Spread of scores from 1 invented study, 1 assessor; a real one takes its place" in source
    assert "your own" not in source


def test_what_could_not_be_told_apart_is_said_once() -> None:
    """A sum parted as usual, and a floor."""
    parted = replace(
        OWN, attributes=(("acidity", replace(ONE, split=True, floored=True)), ("fruit", replace(ONE, split=True)))
    )
    *_lines, together, floor = spreads_told(parted, ["Acidity", "Fruit"])
    assert "only known together" in together
    assert "three steps of the line" in floor
    unknown = replace(OWN, attributes=(("acidity", replace(ONE, interaction=None)),))
    assert "their reading of a piece as usual" in spreads_told(unknown, ["Acidity"])[1]
