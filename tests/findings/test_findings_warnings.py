"""Every warning of the stop rule has its sentence."""

from __future__ import annotations

import ast
from pathlib import Path
from typing import Any

import pytest

import analysis
from analysis.shown import WHY_NOT
from analysis.stopping import Warning as StopWarning
from studyapp.findings import warning_sentence
from studyapp.findings.warnings import warning_codes

VALUES: dict[str, Any] = {
    "attribute": "off-notes",
    "assessors": 6,
    "why": "one order for all",
    "adjusted": False,
    "count": 1,
    "hours": 12.0,
    "reference": 24.0,
    "low": 0.4,
    "high": 1.6,
}


def codes_in_the_rule() -> set[str]:
    """The codes as the source raises them: first argument of a warning, and the reasons not to judge an attribute."""
    found = {why for why in WHY_NOT if why is not None}
    for path in Path(analysis.__file__).parent.glob("*.py"):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Call) and isinstance(node.func, ast.Name) and node.func.id == "Warning":
                found |= {arg.value for arg in node.args[:1] if isinstance(arg, ast.Constant)}
    return found


def test_every_code_of_the_rule_has_a_sentence_and_none_is_left_over() -> None:
    """A new warning without words, or words for a warning that is gone, fails here."""
    assert codes_in_the_rule() == warning_codes()


@pytest.mark.parametrize("code", sorted(warning_codes()))
@pytest.mark.parametrize("count", [1, 3])
@pytest.mark.parametrize("why", ["one order for all", "far from the reference"])
@pytest.mark.parametrize("adjusted", [True, False])
def test_a_warning_is_one_or_two_whole_sentences(code: str, count: int, why: str, adjusted: bool) -> None:
    """Filled, ended, and free of jargon."""
    sentence = warning_sentence(StopWarning(code, VALUES | {"count": count, "why": why, "adjusted": adjusted}))
    assert sentence.endswith(".")
    assert sentence[0].isupper()
    assert not any(piece in sentence for piece in ("{", "}", "None", "significant", "no difference"))


def test_the_one_who_still_notices_is_counted() -> None:
    """A floor hides such a person from any mean, so the sentence gives the count."""
    sentence = warning_sentence(StopWarning("someone still notices", VALUES))
    assert sentence.startswith("Off-notes: 1 of 6 clearly finds 12 h worse than 24 h.")


def test_an_unknown_code_is_refused() -> None:
    """A warning must not vanish because nobody wrote its sentence."""
    with pytest.raises(ValueError, match="no sentence for the warning 'moon phase'"):
        warning_sentence(StopWarning("moon phase"))
