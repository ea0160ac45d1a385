"""Every warning of the stop rule has its sentence."""

from __future__ import annotations

import ast
from pathlib import Path
from typing import Any

import pytest

import analysis
from analysis.stopping import Warning as StopWarning
from analysis.stopping.evidence import WHY_NOT
from studyapp.kinds.hours.findings import warning_sentence
from studyapp.kinds.hours.findings.warnings import warning_codes

VALUES: dict[str, Any] = {
    "limit": "viscosity",
    "read": 5,
    "sealed": 3,
    "attribute": "off-notes",
    "assessors": 6,
    "why": "one order for all",
    "adjusted": False,
    "count": 1,
    "hours": 12.0,
    "reference": 24.0,
    "low": 0.4,
    "high": 1.6,
    "earlier": 8.0,
    "difference": 1.0,
    "both": 3,
    "batch": "lot 33",
    "batches": 3,
    "deviation": 1.2,
    "wanted": "lower",
    "top": 100.0,
    "margin": 1.0,
}
# Written out, not read from the source, so that a code that is misspelt in either place fails.
CODES = {
    "too few assessors",
    "same score everywhere",
    "own error unknown",
    "copied",
    "one person's copies",
    "few assessors",
    "rests on few",
    "not_told_here",
    "nobody marked",
    "grew",
    "one batch",
    "batches differ",
    "window not confirmed",
    "order not recorded",
    "orders unbalanced",
    "as prepared for this sitting",
    "sittings disagree",
    "someone still notices",
    "scales stretched",
    "margin for another scale",
    "read on",
}


def codes_in_the_rule() -> set[str]:
    """The codes as the source raises them: first argument of a warning, and the reasons not to judge an attribute."""
    found = {why for why in WHY_NOT if why is not None}
    for path in Path(analysis.__file__).parent.rglob("*.py"):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Call) and isinstance(node.func, ast.Name) and node.func.id == "Warning":
                found |= {arg.value for arg in node.args[:1] if isinstance(arg, ast.Constant)}
    return found


def test_every_code_of_the_rule_has_a_sentence_and_none_is_left_over() -> None:
    """A new warning without words, or words for a warning that is gone, fails here."""
    assert codes_in_the_rule() == warning_codes()
    assert warning_codes() == CODES


@pytest.mark.parametrize("code", sorted(warning_codes()))
@pytest.mark.parametrize("count", [1, 3])
@pytest.mark.parametrize("why", ["one order for all", "first too often", "far from the reference"])
@pytest.mark.parametrize("adjusted", [True, False])
@pytest.mark.parametrize("wanted", ["lower", "higher", "same"])
def test_a_warning_is_one_or_two_whole_sentences(code: str, count: int, why: str, adjusted: bool, wanted: str) -> None:
    """Filled, ended, and free of jargon."""
    people = {"assessors": ("Lark", "Heron")[:count]} if code == "one person's copies" else {}
    values = VALUES | {"count": count, "both": count, "why": why, "adjusted": adjusted, "wanted": wanted} | people
    sentence = warning_sentence(StopWarning(code, values))
    assert sentence.endswith(".")
    assert sentence[0].isupper()
    assert not any(piece in sentence for piece in ("{", "}", "None", "significant", "no difference"))


SENTENCES = [
    (
        "not_told_here",
        {"hours": 0.0},
        "Off-notes: at 0 h these people did not find it higher. That it is no worse rests",
    ),
    (
        "not_told_here",
        {"wanted": "higher"},
        "Off-notes: at 12 h these people did not find it lower. That it is no worse",
    ),
    (
        "not_told_here",
        {"wanted": "same"},
        "Off-notes: at 12 h these people did not find it different. That it stays the",
    ),
    ("nobody marked", {}, "Nobody marked any off-notes anywhere, so no pull is worse on it than another."),
    ("nobody marked", {"wanted": "higher", "attribute": "fruit"}, "Everybody gave fruit the highest mark everywhere,"),
    (
        "copied",
        {},
        "Off-notes: for everybody the second score equals the first, or all courses are the same, so it is not",
    ),
    ("copied", {}, "Ask whether scores were copied, and taste again."),
    ("one person's copies", {"assessors": ("Lark",)}, "every second score of Lark equals the first. It may be chance"),
    (
        "one person's copies",
        {"assessors": ("Lark", "Heron")},
        "every second score of Lark and Heron equals their first.",
    ),
    ("rests on few", {"both": 0}, "Off-notes: nobody scored both 12 h and the longest pull."),
    (
        "rests on few",
        {"both": 1},
        "only 1 person scored both 12 h and the longest pull, and what is said of 12 h rests on",
    ),
    (
        "rests on few",
        {},
        "only 3 people scored both 12 h and the longest pull, and what is said of 12 h rests on them.",
    ),
    ("grew", {}, "Off-notes at 12 h: shown higher than at 8 h by 1.0 units, between 0.4 and 1.6."),
    ("grew", {"low": 0.04}, "between 0.04 and 1.6."),
    ("few assessors", {}, "Only 6 assessors tasted: the intervals are wide, so good pulls can stay unshown."),
    (
        "few assessors",
        {"widest": 1.24},
        "Only 6 assessors tasted: limits lie up to 1.2 units either side, so good pulls",
    ),
]


@pytest.mark.parametrize(("code", "values", "said"), SENTENCES)
def test_a_warning_says_what_it_knows(code: str, values: dict[str, Any], said: str) -> None:
    """One and many, every wish, every number with its limits."""
    assert said in warning_sentence(StopWarning(code, VALUES | values))


def test_the_one_who_still_notices_is_counted() -> None:
    """A floor hides such a person from any mean, so the sentence gives the count."""
    sentence = warning_sentence(StopWarning("someone still notices", VALUES))
    assert sentence.startswith("Off-notes: 1 of 6 clearly finds 12 h worse than 24 h.")


def test_an_unknown_code_is_refused() -> None:
    """A warning must not vanish because nobody wrote its sentence."""
    with pytest.raises(ValueError, match="no sentence for the warning 'moon phase'"):
        warning_sentence(StopWarning("moon phase"))
