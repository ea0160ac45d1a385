"""`studyapp plan hours`: the same chances from the command and from Python, and every slip answered."""

from __future__ import annotations

import json
import math
import re
from pathlib import Path

import pytest
from click.testing import CliRunner

from analysis.planning.operating_characteristics import operating_characteristics
from analysis.planning.simulation import AttributeTruth, Design, Scenario, first_order
from analysis.stopping import AttributeRule, Rule
from demo_panels import workshop
from studyapp.cli import group
from studyapp.store import open_store

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
    assert (told["mean_hours"], told["mean_hours_se"]) == (ours.mean_hours, ours.mean_hours_se)
    assert (told["studies"], told["seed"]) == (700, 9)
    assert math.isclose(
        sum(told["stop"].values()) + told["conche longer"] + told["no hour fits"] + told["cannot tell"], 1
    )


def test_the_answer_without_json_is_a_sentence_first() -> None:
    """Assumptions are said to be assumptions; what is conched and what is saved make up the longest pull."""
    code, out, _ = run(Path(), "--hours", "0,8,24", "--assessors", "8", "--margin", "1", "--studies", "200")
    assert code == 0
    conched, saved = re.findall(r"([\d.]+) h (?:conched|saved)", out)
    assert math.isclose(float(conched) + float(saved), 24, abs_tol=0.1)
    assert out.startswith("Of 100 such studies")
    assert "The truth is assumed" in out
    assert "Assumed: the spread of an ordinary small panel, assessors ±1.0" in out


def test_an_hour_to_confirm_has_the_chances_of_its_own_verdicts(files: Path) -> None:
    """Three pieces, truly equal, 8 people and four servings in two sittings: about 80 of 100 by the table
    of the specification, within four Monte Carlo errors of 700 studies."""
    (files / "RULE.toml").write_text("confirms = 12\n" + RULE)
    (files / "TRUTH.toml").write_text("[attributes.acidity]\nmean = [7, 3.5, 3.5]\n")
    code, out, err = run(
        files, "--hours", "0,12,24", "--assessors", "8", "--replicates", "4", "--rule", "RULE.toml", "--truth",
        "TRUTH.toml", "--studies", "700", "--seed", "9",
    )  # fmt: skip
    assert (code, err) == (0, "")
    told = re.match(r"Of 100 such studies, about (\d+) confirm 12 h", out)
    assert told is not None
    assert 74 <= int(told[1]) <= 86
    assert [line.split("  ")[0] for line in out.split("\n\n")[1].splitlines()] == [
        "confirmed",
        "not confirmed",
        "cannot tell",
        "confirmed, truly too early",
    ]


def test_the_spreads_of_a_store_are_said_to_be_its_own(tmp_path: Path) -> None:
    """From how many studies; a store without any says so and assumes; reading leaves the store as it was."""
    for fill, says in ((False, "no opened study"), (True, "Spread of scores from 10 invented studies, 8 assessors")):
        file = tmp_path / f"{fill}.sqlite"
        store = open_store(str(file))
        if fill:
            workshop.fill(store)
        store.close()
        before = file.read_bytes()
        code, out, _ = run(
            Path(), "--hours", "0,8,24", "--assessors", "8", "--margin", "1", "--studies", "200", "--store", str(file)
        )
        assert code == 0
        assert says in out
        assert ("Assumed: the spread" in out) is not fill
        assert file.read_bytes() == before


@pytest.mark.parametrize(
    ("store", "says"),
    [
        ("none.sqlite", "there is no store"),
        ("other.sqlite", "not a store of this app"),
        ("nowhere/none.sqlite", "does not exist"),
        ("mysql://somewhere/none", "is no store"),
        ("postgresql://127.0.0.1:1/none", "does not answer"),
    ],
)
def test_a_store_that_is_not_there_is_refused_and_not_made(tmp_path: Path, store: str, says: str) -> None:
    """One sentence, exit 2, and no file that was not there before."""
    (tmp_path / "other.sqlite").write_text("something else altogether, long enough to be looked at twice")
    place = store if "://" in store else str(tmp_path / store)
    code, out, error = run(Path(), "--hours", "0,8,24", "--assessors", "8", "--margin", "1", "--store", place)
    assert (code, out) == (2, "")
    assert says in error
    assert len(error.strip().splitlines()) == 1
    assert [path.name for path in tmp_path.iterdir()] == ["other.sqlite"]


def test_a_truth_and_a_store_are_one_too_many(files: Path) -> None:
    """Both name spreads."""
    code, out, error = run(
        files, "--hours", "0,4,8,12,16,24", "--assessors", "8", "--margin", "1", "--truth", "TRUTH.toml",
        "--store", "none.sqlite",
    )  # fmt: skip
    assert (code, out) == (2, "")
    assert "give one of the two" in error


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (("--assessors", "8", "--margin", "1"), "--hours"),
        (("--hours", "0,8,4", "--assessors", "8", "--margin", "1"), "each longer"),
        (("--hours", "0,8,x", "--assessors", "8", "--margin", "1"), "not a list of hours"),
        (("--hours", "0,8,24", "--margin", "1"), "--assessors"),
        (("--hours", "0,8,24", "--assessors", "0", "--margin", "1"), "--assessors"),
        (("--hours", "0,8,24", "--assessors", "1", "--margin", "1"), "Fix --assessors: write a whole number from 2"),
        (("--hours", "0,8,24", "--assessors", "8", "--margin", "1", "--seed", "-1"), "Fix --seed"),
        (
            ("--hours", "0,8,24", "--assessors", "8", "--margin", "11"),
            "Fix --margin: it must be above 0 and at most 10",
        ),
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
        ("dropout = 1", "dropout: 1 is not a share"),
        ('dropout = "often"', "dropout"),
        ("[attributes.acidity]\nmean = [1, 2, 3]\nposition = 1", "acidity.position: 1 is not a list"),
        ("[attributes.acidity]\nmean = [1, 2, 3]\nposition = []", "one a place"),
        ('[attributes.acidity]\nmean = [1, 2, 3]\nposition = [1, "low"]', "acidity.position"),
        ("spred = 1", "no key"),
        ("[attributes.acidity]\nmean = [1, 2, 3]\nerror = -1", "below zero"),
        ('[attributes.acidity]\nmean = "high"', "list of 3"),
        ("[attributes.acidity]\nerror = 1", "no mean"),
        ("[attributes.acidity]\nmean = [1, 2, 3]\nrounded = 3", "neither true nor false"),
        ("attributes = 3", "no attribute"),
        ("[attributes.acidity]\nmean = [5, 4, 30]", "acidity.mean: 30.0 is not on the scale"),
        ("[attributes.acidity]\nmean = [5, 4, 3]", "the truth is about acidity, the rule about flavour"),
    ],
)
def test_every_slip_in_a_truth_is_named(tmp_path: Path, line: str, says: str) -> None:
    """File, key, value and rule."""
    (tmp_path / "TRUTH.toml").write_text(line)
    code, out, error = run(tmp_path, "--hours", "0,8,24", "--assessors", "8", "--margin", "1", "--truth", "TRUTH.toml")
    assert (code, out) == (2, "")
    assert "TRUTH.toml" in error
    assert says in error


def test_leavers_and_places_are_simulated_and_told(files: Path) -> None:
    """The command reads both from the truth, says so, and finds what Python finds."""
    words = ("--hours", "0,4,8,12,16,24", "--assessors", "8", "--rule", "RULE.toml", "--truth", "TRUTH.toml",
             "--studies", "200")  # fmt: skip
    (files / "RULE.toml").write_text('looks = 2\nadjust = ["position"]\n' + RULE)
    (files / "TRUTH.toml").write_text("dropout = 0.2\n" + TRUTH + "position = [1, 0, -0.2]\n")
    code, out, _ = run(files, *words)
    truth = AttributeTruth(MEANS, position=(1.0, 0.0, -0.2))
    sealed = Rule({"acidity": AttributeRule("lower", 1.0)}, looks=2, adjust=("position",))
    scenario = Scenario(HOURS, {"acidity": truth}, dropout=0.2)
    ours = operating_characteristics(scenario, sealed, Design(8, 2), 200, 1)
    assert code == 0
    assert f"about {round(100 * ours.cannot_tell)} cannot tell" in out
    assert "20 of 100 people still there leave for good" in out
    assert "+1, +0, -0.2 points too high" in " ".join(out.split())


def test_two_pulls_are_told_what_they_cannot_answer(files: Path) -> None:
    """The shorter of two is the control, which must be found worse: said under the chances, not for three."""
    asked = ("--assessors", "8", "--rule", "RULE.toml", "--studies", "200")
    _, two, _ = run(files, "--hours", "0,24", *asked)
    _, three, _ = run(files, "--hours", "0,12,24", *asked)
    assert "nothing lies between the control, 0 h, and the longest pull, 24 h" in " ".join(two.split())
    assert "nothing lies between" not in " ".join(three.split())
