"""Sentences about forced-choice results: every case has one, none promises too much, and they follow the numbers."""

from __future__ import annotations

import re
from typing import get_args

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from analysis.choice import carry_over, forced_choice
from analysis.choice.choice_planning import panel_reach, plan_different
from analysis.choice.psychometric import METHODS
from studyapp.kinds.aroma.files.forced_choice import d_prime_of
from studyapp.kinds.aroma.findings.trial_plans import plan_finding
from studyapp.kinds.aroma.findings.trials import choice_finding, choice_warning, ladder_finding

NEVER = re.compile(r"(?i:no difference|significant|proven|submit|invalid)|\{|\}|!|\bNone\b|\bnan\b")

PANELS = st.lists(st.integers(1, 4), min_size=1, max_size=12).flatmap(
    lambda each: st.tuples(st.just(each), st.tuples(*(st.integers(0, r) for r in each)))
)


def _text(finding: object) -> str:
    facts = " ".join(f"{f.label} {f.value} {f.note}" for f in finding.facts)  # type: ignore[attr-defined]
    parts = (finding.headline, finding.lede, facts, *finding.changes, *finding.warnings)  # type: ignore[attr-defined]
    return " ".join(parts)


@given(panel=PANELS, method=st.sampled_from(list(METHODS)), pd=st.floats(0.05, 0.9))
@settings(max_examples=80, deadline=None)
def test_every_result_has_whole_sentences(panel: tuple[list[int], tuple[int, ...]], method: str, pd: float) -> None:
    """No placeholder, no forbidden word, and the headline says what the result says."""
    result = forced_choice.judge_panel(method, panel[0], panel[1], 0.05, pd)
    finding = choice_finding(result, d_prime_of(method, pd), settling=40)
    assert not NEVER.search(_text(finding)), _text(finding)
    if result.fewer:
        assert finding.headline == "Cannot tell: fewer right than guessing would give."
        assert "swapped codes" in finding.lede
        return
    headlines = {
        (True, True): "Noticeable, and small enough.",
        (True, False): "Detectable.",
        (False, True): "Close enough.",
    }
    here = (result.different, result.similar.similar and result.similar.offered)
    if here in headlines:
        assert finding.headline == headlines[here]
    else:
        assert "cannot tell" in finding.headline.casefold()
        assert "40 people" in finding.lede


@pytest.mark.parametrize("code", get_args(forced_choice.Code))
def test_every_warning_has_its_sentence(code: forced_choice.Code) -> None:
    """With the value it needs, and without a placeholder left."""
    sentence = choice_warning(forced_choice.ChoiceWarning(code, 0.31), 8)
    assert sentence.endswith(".")
    assert "{" not in sentence
    assert (
        "Totals" in sentence
        or "31 %" in sentence
        or code in ("unequal trials", "fewer than guessing", "grouping rule", "control_not_served")
    )


def test_these_assessors_are_not_taken_for_people_like_them() -> None:
    """8 x 4, 10 right: within 11 for these, above 9 for people like them."""
    result = forced_choice.judge_panel("triangle", [4] * 8, [2, 2, 1, 1, 1, 1, 1, 1])
    finding = choice_finding(result, 1.64, settling=22)
    assert finding.headline == "Close enough for these assessors; cannot tell for people like them."
    assert "22 people with 4 trials each would settle it" in finding.lede


@given(right=st.lists(st.integers(0, 24), min_size=1, max_size=4))
@settings(max_examples=40, deadline=None)
def test_every_ladder_has_whole_sentences(right: list[int]) -> None:
    """Batches are named as +1, +2, ... and none is forgotten between found and clean."""
    rows = [
        (f"A{trial % 8}", number, int(trial < count))
        for number, count in enumerate(right, start=1)
        for trial in range(24)
    ]
    assessor, batch, correct = zip(*rows, strict=True)
    ladder = carry_over.ladder(assessor, batch, correct, "three-alternative")
    finding = ladder_finding(ladder)
    assert not NEVER.search(_text(finding))
    between = ladder.clean_from_all_tasted is None or (ladder.detected_through or 0) + 1 < ladder.clean_from_all_tasted
    open_ended = ladder.detected_through != ladder.rungs[-1].batch
    assert ("Neither found nor shown to be gone" in finding.lede) == (between and open_ended)


@pytest.mark.parametrize(("method", "named"), [("triangle", False), ("three-alternative", True)])
def test_a_plan_advises_to_name_the_taste_where_it_is_not_named(method: str, named: bool) -> None:
    """The better question, where there is one."""
    plan = plan_different(method, 0.05, 0.1, 0.3)
    finding = plan_finding(plan, method, 0.3, d_prime_of(method, 0.3), False, panel_reach(method, 8, 3, 0.05))
    assert any("name it" in sentence for sentence in finding.changes) != named
    assert "51 %" in finding.lede
