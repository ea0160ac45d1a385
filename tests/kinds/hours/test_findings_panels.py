"""Sentences of real decisions: every invented panel through the whole rule, and random panels through every verdict."""

from __future__ import annotations

import re
import subprocess
import sys
from functools import cache
from typing import Any

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from analysis.stopping import AttributeRule, Decision, Rule, decide
from analysis.stopping.describe import describe
from demo_panels import generate
from studyapp.kinds.hours.files.bringing import decide_files
from studyapp.kinds.hours.findings import Costs, attribute_alt, hours_finding, pull_says
from tests.kinds.hours.test_findings_hours import FORBIDDEN, texts_of

HEADLINES = {
    "stop": "Stop at 12 hours.",
    "flow": "Stop at 16 hours.",
    "three_batches": "Stop at 12 hours.",
    "second_look": "Stop at 12 hours.",
    "window": "Conche between 8 and 12 hours.",
    "conche_longer": "Conche longer than 24 hours.",
    "no_hour_fits": "No hour that was served (0 to 24 h) fits.",
    "empty_window": "Cannot tell yet: 16 h is long enough, but too late.",
    "stay": "Stay at 24 hours.",
    "cannot_tell": "Cannot tell yet.",
    "control_not_found": "Cannot tell: the panel did not find the pull known to differ.",
    "same_orders": "Cannot tell: the serving orders favour some pulls.",
}


@cache
def decided(panel: str) -> tuple[Decision, Any]:
    """The decision on one invented panel."""
    folder = generate.FOLDER / panel
    readings = folder / "readings.csv"
    return decide_files(folder / "scores.csv", folder / "RULE.toml", readings=readings if readings.exists() else None)


def test_every_invented_panel_has_its_headline() -> None:
    """A new panel must say here what people will read first."""
    assert set(HEADLINES) == set(generate.panels())


@pytest.mark.parametrize(("panel", "headline"), HEADLINES.items())
def test_a_panel_gets_the_sentence_it_was_made_for(panel: str, headline: str) -> None:
    """Scores to sentences with nothing in between made up."""
    decision, offers = decided(panel)
    finding = hours_finding(decision, offers, panel, Costs(4.5, 6.0))
    assert finding.headline == headline
    assert [text for text in texts_of(finding) if FORBIDDEN.search(text)] == []


@pytest.mark.parametrize("panel", HEADLINES)
def test_no_number_in_the_lede_contradicts_the_verdict(panel: str) -> None:
    """An upper limit printed beside its margin lies on the side where the rule saw it."""
    decision, _offers = decided(panel)
    lede = hours_finding(decision).lede
    for most, margin in re.findall(
        r"(?:at most|worse by) (\d+\.\d+)(?: at most)?, against a margin of (\d+\.\d+)", lede
    ):
        assert float(most) < float(margin)
    for most, margin in re.findall(r"could be (?:up to|worse by) (\d+\.\d+) and the margin is (\d+\.\d+)", lede):
        assert float(most) >= float(margin)


def scores_of(rng: np.random.Generator, means: np.ndarray, spread: float) -> pd.DataFrame:
    """One attribute, six assessors twice."""
    pulls = np.array([0.0, 6.0, 12.0, 24.0])
    rows = [
        (f"a{person}", hour, "acidity", float(np.clip(mean + offset + rng.normal(0, spread), 0, 10)))
        for person, offset in enumerate(rng.normal(0, 1, 6))
        for hour, mean in zip(pulls, means, strict=True)
        for _again in range(2)
    ]
    return pd.DataFrame(rows, columns=["assessor", "hours", "attribute", "score"])


@settings(max_examples=25, deadline=None)
@given(
    seed=st.integers(0, 10_000),
    means=st.lists(st.floats(0, 10), min_size=4, max_size=4),
    spread=st.floats(0.05, 2.0),
    wanted=st.sampled_from(["lower", "higher", "same"]),
    limit=st.none() | st.floats(0.5, 9.5),
    looks=st.integers(1, 3),
)
def test_any_decision_can_be_told(
    seed: int, means: list[float], spread: float, wanted: Any, limit: float | None, looks: int
) -> None:
    """Whatever the scores, the finding is whole: no placeholder, no forbidden word, no sentence without an end."""
    frame = scores_of(np.random.default_rng(seed), np.array(means), spread)
    rule = Rule({"acidity": AttributeRule(wanted, 1.0, limit)}, looks=looks)
    decision = decide(frame, rule)
    finding = hours_finding(decision, description=describe(frame, rule))
    said = [*texts_of(finding), *finding.beside]
    for result in decision.attributes.values():
        said += [attribute_alt(result), *(pull_says(result, pull) for pull in result.pulls)]
    assert [text for text in said if FORBIDDEN.search(text)] == []
    assert finding.headline.endswith(".")
    assert finding.lede.endswith(".")


def test_sentences_need_nothing_heavy() -> None:
    """Importing findings and printing loads no numbers library, no typesetter and no Streamlit."""
    heavy = ("numpy", "pandas", "scipy", "streamlit", "altair", "typst", "segno")
    code = f"import sys, studyapp.findings, studyapp.printing.papers; print([m for m in {heavy} if m in sys.modules])"
    said = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True).stdout
    assert said.strip() == "[]"
