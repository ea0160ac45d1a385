"""`studyapp plan hours`: the same chances from the command and from Python, and every slip answered."""

from __future__ import annotations

import json
import math
from pathlib import Path

import pytest
from click.testing import CliRunner

from analysis.planning import operating_characteristics
from analysis.simulation import AttributeTruth, Design, Scenario, first_order
from analysis.stopping import AttributeRule, Rule
from studyapp.cli import group

HOURS = (0.0, 4.0, 8.0, 12.0, 16.0, 24.0)
MEANS = first_order(HOURS, 7.0, 3.5, 6.0)
RULE = '[attributes.acidity]\nwanted = "lower"\nmargin = 1.0\n'
TRUTH = f"[attributes.acidity]\nmean = {list(MEANS)}\n"


@pytest.fixture
def files(tmp_path: Path) -> Path:
    """RULE.toml and TRUTH.toml of the first published scenario."""
    (tmp_path / "RULE.toml").write_text(RULE)
    (tmp_path / "TRUTH.toml").write_text(TRUTH)
    return tmp_path


def run(folder: Path, *words: str) -> tuple[int, str, str]:
    """Exit code, stdout and stderr."""
    named = [str(folder / word) if word.endswith(".toml") else word for word in words]
    result = CliRunner().invoke(group, ["plan", "hours", *named])
    return result.exit_code, result.stdout, result.stderr


def test_command_and_python_agree_for_the_same_seed(files: Path) -> None:
    """One draw, one rule, one answer."""
    code, out, _ = run(
        files, "--hours", "0,4,8,12,16,24", "--assessors", "8", "--replicates", "2", "--rule", "RULE.toml",
        "--truth", "TRUTH.toml", "--studies", "700", "--seed", "9", "--json",
    )  # fmt: skip
    scenario = Scenario(HOURS, {"acidity": AttributeTruth(MEANS)})
    ours = operating_characteristics(scenario, Rule({"acidity": AttributeRule("lower", 1.0)}), Design(8, 2), 700, 9)
    told = json.loads(out)
    assert code == 0
    assert told["stop"] == {f"{h:g}": chance for h, chance in ours.stop.items()}
    assert told["cannot tell"] == ours.cannot_tell
    assert told["too_early"] == ours.too_early
    assert (told["studies"], told["seed"]) == (700, 9)
    assert math.isclose(
        sum(told["stop"].values()) + told["conche longer"] + told["no hour fits"] + told["cannot tell"], 1
    )


def test_the_answer_without_json_is_a_sentence_first() -> None:
    """Assumptions are said to be assumptions."""
    code, out, _ = run(Path(), "--hours", "0,8,24", "--assessors", "8", "--margin", "1", "--studies", "200")
    assert code == 0
    assert out.startswith("Of 100 such studies")
    assert "are assumed" in out


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (("--assessors", "8", "--margin", "1"), "--hours"),
        (("--hours", "0,8,4", "--assessors", "8", "--margin", "1"), "each longer"),
        (("--hours", "0,8,x", "--assessors", "8", "--margin", "1"), "not a list of hours"),
        (("--hours", "0,8,24", "--margin", "1"), "--assessors"),
        (("--hours", "0,8,24", "--assessors", "0", "--margin", "1"), "--assessors"),
        (("--hours", "0,8,24", "--assessors", "8"), "--rule"),
        (("--hours", "0,8,24", "--assessors", "8", "--margin", "0"), "--margin"),
        (("--hours", "0,8,24", "--assessors", "8", "--rule", "RULE.toml", "--truth", "TRUTH.toml"), "list of 3"),
        (("--hours", "0,8,24", "--assessors", "8", "--margin", "1", "--truth", "TRUTH.toml"), "TRUTH.toml"),
        (("--hours", "0,8,24", "--assessors", "8", "--margin", "1", "--studies", "0"), "--studies"),
    ],
)
def test_every_slip_gets_one_sentence(files: Path, words: tuple[str, ...], says: str) -> None:
    """Exit 2, nothing on stdout."""
    code, out, error = run(files, *words)
    assert (code, out) == (2, "")
    assert says in error
    assert len(error.strip().splitlines()) == 1


@pytest.mark.parametrize(
    ("line", "says"),
    [
        ("correlation = 2", "share"),
        ("spred = 1", "no key"),
        ("[attributes.acidity]\nmean = [1, 2, 3]\nerror = -1", "below zero"),
        ('[attributes.acidity]\nmean = "high"', "list of 3"),
        ("[attributes.acidity]\nerror = 1", "no mean"),
        ("[attributes.acidity]\nmean = [1, 2, 3]\nrounded = 3", "neither true nor false"),
        ("attributes = 3", "no attribute"),
    ],
)
def test_every_slip_in_a_truth_is_named(tmp_path: Path, line: str, says: str) -> None:
    """File, key, value and rule."""
    (tmp_path / "TRUTH.toml").write_text(line)
    code, out, error = run(tmp_path, "--hours", "0,8,24", "--assessors", "8", "--margin", "1", "--truth", "TRUTH.toml")
    assert (code, out) == (2, "")
    assert "TRUTH.toml" in error
    assert says in error
