"""The commands for forced-choice tests: the JSON contract, the sentences, and refusals on stderr alone."""

from __future__ import annotations

import csv
import json
import subprocess
import sys
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from click.testing import CliRunner, Result
from scipy.stats import binom, binomtest

from studyapp.cli import group

REFERENCE = Path(__file__).parent / "reference"


def _run(*arguments: object) -> Result:
    return CliRunner().invoke(group, [str(argument) for argument in arguments])


def _json(*arguments: object) -> dict[str, Any]:
    result = _run(*arguments, "--json")
    assert result.exit_code == 0, result.stderr
    assert result.stderr == ""
    document: dict[str, Any] = json.loads(result.stdout)
    return document


def _text(*arguments: object) -> str:
    result = _run(*arguments)
    assert result.exit_code == 0, result.stderr
    return " ".join(result.stdout.split())


def _answers(folder: Path, header: str, rows: list[tuple[object, ...]]) -> Path:
    path = folder / "answers.csv"
    with path.open("w", newline="", encoding="utf-8") as file:
        csv.writer(file).writerows([header.split(","), *rows])
    return path


def _panel(folder: Path, right: list[int], trials: int) -> Path:
    rows = [(f"A{person}", int(trial < count)) for person, count in enumerate(right) for trial in range(trials)]
    return _answers(folder, "assessor,correct", rows)


# ---- choice --------------------------------------------------------------------------------------------------------
def test_choice_prints_the_contract() -> None:
    """scipy.stats.binomtest gives p-value and limits; triangle 36/21: mark 18 (Huss 1995 and others, file 01)."""
    document = _json("choice", "--method", "triangle", "--trials", 36, "--correct", 21)
    test = binomtest(21, 36, 1 / 3, alternative="greater")
    assert document["p_value"] == pytest.approx(test.pvalue, rel=1e-12)
    assert (document["minimum_correct"], document["different"]) == (18, True)
    low = test.proportion_ci(0.95, "exact").low
    assert document["proportion_correct"]["low"] == pytest.approx(low, abs=1e-9)
    assert document["proportion_discriminators"]["low"] == pytest.approx((low - 1 / 3) * 1.5, abs=1e-9)
    assert set(document["proportion_correct"]) == {"estimate", "low", "high"}
    assert set(document["d_prime"]) == {"estimate", "low", "high", "se"}
    similar = document["similarity"]
    assert set(similar) == {"pd_limit", "p_value", "maximum_correct", "similar", "offered", "these_assessors"}
    assert set(similar["these_assessors"]) == {"p_value", "maximum_correct", "similar"}
    assert (similar["pd_limit"], similar["maximum_correct"], similar["similar"]) == (0.3, 13, False)
    assert "one trial each" in document["warnings"][0]
    assert document["warning_codes"] == ["one trial assumed"]


def test_choice_prints_null_where_there_is_nothing() -> None:
    """All right: d' and its upper limit are infinite; two triangles have no mark."""
    document = _json("choice", "--method", "triangle", "--trials", 2, "--correct", 2)
    assert document["minimum_correct"] is None
    assert document["d_prime"] == {"estimate": None, "low": pytest.approx(0.0), "high": None, "se": None}


def test_choice_counts_people_in_a_file(tmp_path: Path) -> None:
    """8 x 4, pd 30 %: marks 9 (people like them) and 11 (these): an identical pair passes in 34 and 63 of 100."""
    path = _panel(tmp_path, [1] * 8, 4)
    document = _json("choice", "--method", "triangle", "--answers", path)
    similar = document["similarity"]
    assert (similar["maximum_correct"], similar["these_assessors"]["maximum_correct"]) == (9, 11)
    assert document["d_prime"]["se"] is None


def test_choice_allows_different_numbers_of_trials(tmp_path: Path) -> None:
    """A lost serving costs one answer, not the study; a warning says so."""
    rows = [("A", 1), ("A", 0), ("B", 1), ("C", 0), ("C", 0)]
    document = _json("choice", "--method", "duo-trio", "--answers", _answers(tmp_path, "assessor,correct", rows))
    assert document["proportion_correct"]["estimate"] == 0.4
    assert any("same number of trials" in sentence for sentence in document["warnings"])


def test_a_limit_may_be_stated_as_a_distance() -> None:
    """d' 1 in three-alternative is pd 45 % (worked out apart: 45.055)."""
    document = _json("choice", "--method", "3-AFC", "--trials", 40, "--correct", 14, "--d-prime", 1)
    assert document["similarity"]["pd_limit"] == pytest.approx(0.4505, abs=5e-4)


@pytest.mark.parametrize(
    ("correct", "headline"),
    [(40, "Detectable."), (15, "Close enough."), (26, "Cannot tell yet.")],
)
def test_choice_says_the_answer_first(correct: int, headline: str) -> None:
    """The sentence, then the numbers, then the caution."""
    text = _text("choice", "--method", "triangle", "--trials", 60, "--correct", correct)
    assert text.startswith(headline)
    assert f"{correct} of 60 answers are right; guessing alone finds about 20." in text
    assert "95 % one-sided each" in text
    assert "It clears nothing for allergens" in text


def test_both_claims_can_hold() -> None:
    """Noticeable, and small enough: 300 triangles, 120 right, limit 30 %."""
    text = _text("choice", "--method", "triangle", "--trials", 300, "--correct", 120)
    assert text.startswith("Noticeable, and small enough.")


def test_cannot_tell_says_what_would_settle_it() -> None:
    """64 people once each: the first number with both chances at 90 % (checked against scipy in the planning tests)."""
    text = _text("choice", "--method", "triangle", "--trials", 36, "--correct", 15)
    assert "64 people, one trial each, would settle it in 9 of 10 cases." in text


def test_no_sentence_says_that_there_is_no_difference() -> None:
    """A result that is not significant is never turned into sameness."""
    for correct in (8, 12, 15, 20):
        text = _text("choice", "--method", "triangle", "--trials", 36, "--correct", correct).casefold()
        assert "no difference" not in text
        assert "significant" not in text


def test_choice_says_its_verdict_by_code() -> None:
    """36 triangles: found from 18, similar up to 13 (ISO 4120 Tables A.1, A.2); too few up to 6 (scipy)."""
    said = {18: ("different", None), 14: ("cannot tell", "between the marks"), 13: ("similar", None)}
    for correct, verdict in {**said, 6: ("cannot tell", "fewer right than guessing")}.items():
        document = _json("choice", "--method", "triangle", "--trials", 36, "--correct", correct)
        assert (document["verdict"], document["reason"]) == verdict
        assert (document["trials"], document["correct"], document["similarity"]["offered"]) == (36, correct, True)
    text = _text("choice", "--method", "triangle", "--trials", 36, "--correct", 6)
    assert text.startswith("Cannot tell: fewer right than guessing would give.")
    assert "swapped codes" in text


def test_choice_offers_no_mark_that_so_few_people_cannot_mean(tmp_path: Path) -> None:
    """Six people cannot speak for others below 1 - .05^(1/6) = 39 %."""
    path = _panel(tmp_path, [2, 2, 2, 1, 1, 2], 6)
    document = _json("choice", "--method", "triangle", "--answers", path)
    assert document["similarity"]["offered"] is False
    assert (document["verdict"], document["reason"]) == ("cannot tell", "too few people to show it")
    assert "So few people cannot show the limit of 30 %" in _text("choice", "--method", "triangle", "--answers", path)


# Six rounds of six triangles, 5 and 5 %, 50 %: by hand 9 or more and 3 or fewer of 12 end it (n/2 -+ 2.124).
ROUNDS = ("choice", "--method", "triangle", "--pd", 0.5, "--cap", 36, "--assessors", 6)


@pytest.mark.parametrize("column", [True, False])
def test_choice_judges_rounds_as_the_app_does(tmp_path: Path, column: bool) -> None:
    """A row a trial; without a column round the k-th answer of everybody is round k."""
    rows = [(f"A{seat}", number + 1, int(seat < right)) for number, right in enumerate((5, 5)) for seat in range(6)]
    header = "assessor,round,correct" if column else "assessor,correct"
    path = _answers(tmp_path, header, [row if column else (row[0], row[2]) for row in rows])
    document = _json(*ROUNDS, "--answers", path)
    assert (document["standing"], document["trials"], document["correct"]) == ("different", 12, 10)
    assert [one["standing"] for one in document["rounds"]] == ["go on", "different"]
    assert document["plan"]["cap_different_at_least"] == 19
    text = _text(*ROUNDS, "--answers", path)
    assert text.startswith("Detectable.")
    assert "10 of 12 answers are right after 2 complete rounds" in text


def test_choice_by_rounds_counts_two_of_six_as_no_end(tmp_path: Path) -> None:
    """Exactly what guessing gives goes on, whatever order the answers came in."""
    path = _answers(tmp_path, "assessor,correct", [(f"A{seat}", int(seat > 3)) for seat in range(6)])
    document = _json(*ROUNDS, "--answers", path)
    assert (document["standing"], document["trials"], document["correct"]) == ("go on", 6, 2)


def test_choice_by_rounds_fills_in_who_stayed_away(tmp_path: Path) -> None:
    """Three people right twice are missing from the last round: (2 + 1) / (2 + 1) each make 9 of 6."""
    given = [[0, 0, 0, 1, 1, 1], [0, 0, 0, 1, 1, 1], [0, 0, 0]]
    rows = [(f"A{seat}", n + 1, right) for n, one in enumerate(given) for seat, right in enumerate(one)]
    path = _answers(tmp_path, "assessor,round,correct", rows)
    document = _json(*ROUNDS, "--cap", 18, "--answers", path)  # of two caps the later one is taken
    assert (document["standing"], document["reason"]) == ("cannot tell", "those who stayed away")
    assert (document["missed"], document["filled"]) == (3, pytest.approx(9))


def test_plan_sequential_works_out_rounds() -> None:
    """Six rounds of six at 50 %: same up to 18, different from 19, 1.77 and 3.05 % (worked out apart)."""
    arguments = ("plan", "sequential", "--method", "triangle", "--pd", 0.5, "--cap", 36, "--assessors", 6)
    document = _json(*arguments)
    assert (document["cap_same_at_most"], document["cap_different_at_least"]) == (18, 19)
    assert (document["false_different"], document["false_same"]) == pytest.approx((0.0177, 0.0305), abs=5e-5)
    assert _text(*arguments).startswith("Decide after every round of 6 answers, at the latest after 36.")


# ---- plan ----------------------------------------------------------------------------------------------------------
def test_plan_choice_prints_the_contract() -> None:
    """ISO 4120 Table A.3 from memory: 53 triangles at .05/.10/30 %; reach of 8 x 4 worked out apart."""
    document = _json("plan", "choice", "--method", "triangle", "--assessors", 8, "--replicates", 4)
    assert (document["trials"], document["trials_kept"], document["minimum_correct"]) == (53, 57, 24)
    assert document["power"] >= 0.9
    assert document["by_power"]["0.8"] == {"detectable_pd": 0.40, "demonstrable_pd": 0.47, "maximum_correct": 13}
    assert document["by_power"]["0.9"] == {"detectable_pd": 0.49, "demonstrable_pd": 0.52, "maximum_correct": 14}
    assert document["floor_pd"] == pytest.approx(1 - 0.05 ** (1 / 8))


def test_plan_choice_for_similarity_has_the_other_mark() -> None:
    """54, kept 58 (worked out apart)."""
    document = _json("plan", "choice", "--method", "triangle", "--similarity")
    assert (document["trials"], document["trials_kept"]) == (54, 58)
    assert set(document) == {"trials", "trials_kept", "maximum_correct", "power"}


def test_plan_choice_says_what_six_people_cannot_show() -> None:
    """61 % at three trials each, floor 39 %."""
    text = _text("plan", "choice", "--method", "triangle", "--assessors", 6, "--replicates", 3)
    assert "6 people, 3 trials each, can show that fewer than 61 % notice, not less than that." in text
    assert "However often they taste, answers as an identical pair gives show nothing below 39 %" in text


def test_plan_sequential_prints_the_contract() -> None:
    """Triangle, 5 %/5 %, pd 30 %, cap 60 (worked out apart): l 24, u 28."""
    document = _json("plan", "sequential", "--method", "triangle", "--cap", 60)
    assert list(document) == [
        "people",
        "same_intercept",
        "different_intercept",
        "slope",
        "cap_same_at_most",
        "cap_different_at_least",
        "false_different",
        "false_same",
        "cannot_tell_identical",
        "cannot_tell_at_pd",
        "mean_trials_identical",
        "mean_trials_at_pd",
        "mean_trials_at_half_pd",
    ]
    assert (document["cap_same_at_most"], document["cap_different_at_least"]) == (24, 28)


def test_plan_sequential_says_how_to_use_it() -> None:
    """The rounds rule and the scope stand beside the lines."""
    text = _text("plan", "sequential", "--method", "triangle", "--cap", 60)
    assert text.startswith("Decide after every answer, at the latest after 60.")
    assert "“same” holds for these assessors only" in text


# ---- a positive control ----------------------------------------------------------------------------------------------
def test_a_control_is_judged_first_and_by_itself() -> None:
    """36 triangles, 13 right: similar (ISO 4120 Table A.2); a control of 12 is found from 8 (scipy)."""
    assert binomtest(8, 12, 1 / 3, alternative="greater").pvalue <= 0.05
    assert binomtest(7, 12, 1 / 3, alternative="greater").pvalue > 0.05
    asked = ("choice", "--method", "triangle", "--trials", 36, "--correct", 13)
    said = {}
    for right in (None, 8, 7):
        told = () if right is None else ("--control-trials", 12, "--control-correct", right)
        document = _json(*asked, *told)
        said[right] = (document["verdict"], document["reason"], "control_not_served" in document["warning_codes"])
    assert said == {
        None: ("similar", None, True),
        8: ("similar", None, False),
        7: ("cannot tell", "control not found", False),
    }
    p_value = pytest.approx(binomtest(7, 12, 1 / 3, alternative="greater").pvalue)
    expected = {"trials": 12, "correct": 7, "p_value": p_value, "minimum_correct": 8, "found": False}
    assert document["control"] == expected
    assert _text(*asked, *told).startswith("Cannot tell: the control was not found.")


def test_a_column_of_the_control_is_read_apart(tmp_path: Path) -> None:
    """Its rows belong to no batch, dose or round, and count in nobody's answers."""
    people = range(30)
    control = [(f"A{n}", "", int(n < 9), 1) for n in range(12)]
    batches = _answers(
        tmp_path, "assessor,batch,correct,control", [*((f"A{n}", 1, int(n < 10), 0) for n in people), *control]
    )
    document = _json("carryover", batches, "--method", "triangle")
    assert (document["control"]["trials"], document["control"]["correct"], document["clean_from_all_tasted"]) == (
        12,
        9,
        1,
    )
    assert document["rungs"][0]["trials"] == 30
    missed = _json("carryover", _answers(tmp_path, "assessor,batch,correct,control", [
        *((f"A{n}", 1, int(n < 10), 0) for n in people), *((name, "", 0, 1) for name, *_rest in control)
    ]), "--method", "triangle")  # fmt: skip
    assert (missed["clean_from_all_tasted"], missed["rungs"][0]["reason"]) == (None, "control not found")
    rounds = _answers(tmp_path, "assessor,correct,control", [
        *((f"A{n}", int(n < 1), "") for _round in range(2) for n in range(6)), *[("A1", 1, "true")] * 12
    ])  # fmt: skip
    judged = _json("choice", "--method", "triangle", "--answers", rounds, "--pd", 0.5, "--cap", 36, "--assessors", 6)
    assert (judged["standing"], judged["trials"], judged["control"]["found"]) == ("same", 12, True)
    doses = [(f"A{n}", dose, int(n == at), 0) for n in range(5) for at, dose in enumerate((5, 10, 20, 40))]
    doses += [("A1", "", 0, 1)] * 9
    text = _text("threshold", _answers(tmp_path, "assessor,dose,correct,control", doses), "--method", "triangle")
    assert text.startswith("Cannot tell: the control was not found.")


def test_a_control_is_planned_with_its_chance() -> None:
    """12 sets, right 8 in 10: P(X >= 8) .927 (scipy), times the power of the plan."""
    document = _json("plan", "choice", "--method", "triangle", "--pd", 0.5, "--similarity", "--control-trials", 12)
    assert document["control"] == {"trials": 12, "minimum_correct": 8, "power": pytest.approx(binom.sf(7, 12, 0.8))}
    assert document["power_with_control"] == pytest.approx(document["power"] * binom.sf(7, 12, 0.8))
    text = _text("plan", "choice", "--method", "triangle", "--pd", 0.5, "--similarity", "--control-trials", 12)
    assert "found from 8 right; in 93 of 100 if 8 of 10 are right" in text


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (("choice", "--trials", 9, "--correct", 3, "--control-trials", 9), "--control-correct together"),
        (
            ("choice", "--trials", 9, "--correct", 3, "--control-trials", 9, "--control-correct", 10),
            "do not fit 9 sets",
        ),
        (
            ("choice", "--trials", 9, "--correct", 3, "--control-trials", 0, "--control-correct", 0),
            "not a number of sets",
        ),
        (("plan", "choice", "--control-trials", 9), "belongs to a plan with --similarity"),
        (("plan", "choice", "--similarity", "--control-trials", 2), "no result would count as found"),
    ],
)
def test_a_control_that_cannot_be_read_is_refused(arguments: tuple[object, ...], said: str) -> None:
    result = _run(*arguments, "--method", "triangle")
    assert result.exit_code == 2
    assert said in result.stderr


def test_a_control_is_told_of_once(tmp_path: Path) -> None:
    """Either in the file or as numbers; a cell that is neither 0 nor 1 is named."""
    file = _answers(tmp_path, "assessor,correct,control", [("A", 1, 0), ("B", 0, 1)])
    told = ("choice", "--method", "triangle", "--answers", file, "--control-trials", 9, "--control-correct", 9)
    assert "give one of them" in _run(*told).stderr
    file = _answers(tmp_path, "assessor,correct,control", [("A", 1, 0), ("B", 0, "strong")])
    assert 'row 3, column control: "strong" is not 0 or 1' in _run(*told[:5]).stderr


# ---- threshold and carry-over --------------------------------------------------------------------------------------
def _doses(folder: Path, right: list[int], trials: int = 4, people: int = 8) -> Path:
    """Everyone has `right[i]` right answers at the i-th of doubling doses from 5, but for a little spread."""
    random = np.random.default_rng(3)
    rows = []
    for person in range(people):
        for dose, count in zip(5 * 2 ** np.arange(len(right)), right, strict=True):
            found = int(np.clip(count + random.integers(-1, 2), 0, trials))
            rows += [(f"A{person}", int(dose), int(trial < found)) for trial in range(trials)]
    return _answers(folder, "assessor,dose,correct", rows)


def test_threshold_prints_the_contract(tmp_path: Path) -> None:
    """Estimate between its limits, all within the doses tasted."""
    document = _json("threshold", _doses(tmp_path, [1, 1, 2, 3, 4, 4]), "--method", "three-alternative")
    assert set(document["threshold"]) == {"estimate", "low", "high"}
    found = document["threshold"]
    assert 5 < found["low"] < found["estimate"] < found["high"] < 160


def test_a_blank_that_betrays_itself_is_said_by_the_command_too(tmp_path: Path) -> None:
    """Dose 0 is not fitted, it checks the guessing: 16 right of 16 three-alternatives, P = 3^-16 (binomial)."""
    path = _doses(tmp_path, [1, 1, 2, 3, 4, 4])
    with path.open("a", encoding="utf-8") as file:
        file.writelines(f"A{person},0,1\n" for person in range(8) for _trial in range(2))
    arguments = ("threshold", path, "--method", "three-alternative", "--uneven")
    blank = _json(*arguments)["blank"]
    assert (blank["trials"], blank["correct"], blank["p_value"]) == (16, 16, pytest.approx(3.0**-16))
    assert "Blank against blank was told apart, 16 of 16" in _text(*arguments)


def test_threshold_prints_null_outside_the_doses(tmp_path: Path) -> None:
    """Found at every dose."""
    path = _doses(tmp_path, [4, 4, 4, 4], trials=4)
    document = _json("threshold", path, "--method", "two-out-of-five")
    assert document["threshold"] == {"estimate": None, "low": None, "high": None}
    text = _text("threshold", path, "--method", "two-out-of-five", "--unit", "min")
    assert text.startswith("Already found at the lowest dose, 5 min.")


def test_threshold_names_the_dose_in_its_unit(tmp_path: Path) -> None:
    """Half-way detection in one sentence, then both one-sided claims."""
    text = _text("threshold", _doses(tmp_path, [1, 1, 2, 3, 4, 4]), "--method", "3-AFC", "--unit", "min")
    assert text.startswith("Half notice it from ")
    assert "Shown to be found by the middle assessor from" in text
    assert "5 min" in text


def test_carryover_prints_the_contract(tmp_path: Path) -> None:
    """10 x 3 at pd 50 %: found from 15 right, clean up to 13 (exact marks)."""
    rows = [
        (f"A{trial % 10}", batch, int(trial < right))
        for batch, right in ((1, 28), (2, 14), (3, 9))
        for trial in range(30)
    ]
    path = _answers(tmp_path, "assessor,batch,correct", rows)
    document = _json("carryover", path, "--method", "three-alternative")
    assert (document["clean_from_all_tasted"], document["detected_through"]) == (3, 1)
    assert document["clean_from_batch_by_batch"] == 3
    assert [(rung["batch"], rung["correct"]) for rung in document["rungs"]] == [(1, 28), (2, 14), (3, 9)]
    text = _text("carryover", path, "--method", "three-alternative")
    assert text.startswith("Close enough from plain batch +3 on.")
    assert "Still found in +1." in text
    assert "Neither found nor shown to be gone: +2." in text


def test_seconds_after_a_piece_are_read_and_named(tmp_path: Path) -> None:
    """10 x 3 two-alternative sets at each time: found from 20 right (exact mark); a chosen share beside it."""
    rows = [
        (f"A{trial % 10}", at, int(trial < right))
        for at, right in ((30, 29), (60, 22), (120, 15))
        for trial in range(30)
    ]
    path = _answers(tmp_path, "assessor,seconds,correct", rows)
    options = ("--method", "two-alternative", "--pd", "0.6", "--share", "0.8")
    document = _json("carryover", path, *options)
    assert (document["detected_through"], document["noticed"][0]["share"]) == (60, 0.8)
    assert 30 <= document["noticed"][0]["estimate"] <= 60
    text = _text("carryover", path, *options)
    assert "80 % still notice it until about" in " ".join(text.split())
    assert "Still found after 60 seconds." in text
    assert "batch" not in text


# ---- refusals ------------------------------------------------------------------------------------------------------
CHOICE = ("choice", "--method", "triangle")
REFUSED = [
    ((*CHOICE, "--trials", 20, "--correct", 25), "25 right answers are more than the 20 trials asked"),
    ((*CHOICE, "--trials", 20, "--correct", -1), "Fix --correct: -1 is below 0"),
    ((*CHOICE, "--trials", -20, "--correct", 1), "Fix --trials: -20"),
    ((*CHOICE, "--trials", 0, "--correct", 0), "Fix --trials: 0"),
    ((*CHOICE, "--trials", "2o", "--correct", 1), "“2o” is not a whole number"),
    ((*CHOICE, "--trials", 20, "--correct", 9, "--pd", 30), "Write 0.30 for 30 %"),
    ((*CHOICE, "--trials", 20, "--correct", 9, "--pd", 0), "Fix --pd: 0 is out of range"),
    ((*CHOICE, "--trials", 20, "--correct", 9, "--pd", "nan"), "“nan” is not a number"),
    ((*CHOICE, "--trials", 20, "--correct", 9, "--alpha", 5), "Write 0.05 for 5 %"),
    ((*CHOICE, "--trials", 20, "--correct", 9, "--pd", 0.2, "--d-prime", 1), "not both"),
    ((*CHOICE, "--trials", 20), "Fix --correct: it is missing"),
    (CHOICE, "Fix --trials: it is missing"),
    (("choice", "--trials", 20, "--correct", 9), "Fix --method: it is missing"),
    (
        ("choice", "--method", "triangel", "--trials", 20, "--correct", 9),
        "the nearest is triangle. Known: triangle, duo",
    ),
    (("choice", "--method", "A\nB", "--trials", 20, "--correct", 9), "is not known"),
    ((*CHOICE, "--answers", "none.csv"), "none.csv: the file cannot be read"),
    ((*CHOICE, "--answers", "none.csv", "--trials", 3), "give either a file or"),
    (("plan", "choice", "--method", "triangle", "--beta", 0.9), "Fix --beta: 0.9 is out of range"),
    (("plan", "choice", "--method", "triangle", "--pd", 0.0001), "ask for more than 100000 trials"),
    (("plan", "choice", "--method", "triangle", "--assessors", 6), "give --assessors and --replicates together"),
    (("plan", "choice", "--method", "triangle", "--assessors", 6, "--replicates", 0), "replicates must be between 1"),
    (("plan", "sequential", "--method", "triangle"), "Fix --cap: it is missing"),
    (("plan", "sequential", "--method", "triangle", "--cap", 36, "--assessors", 5), "whole rounds of 5"),
    (("choice", "--method", "triangle", "--cap", 36), "Fix --assessors: it is missing"),
    (("choice", "--method", "triangle", "--cap", 36, "--assessors", 6), "Fix --answers: it is missing"),
    (("plan", "sequential", "--method", "triangle", "--cap", 0), "cap must be between 1 and 2000, got 0"),
    (("threshold", "none.csv", "--method", "triangle"), "none.csv: the file cannot be read"),
    (("carryover", "none.csv", "--method", "triangle", "--pd", 50), "Write 0.50 for 50 %"),
]


def _is_one_sentence_on_stderr(result: Result, words: str) -> None:
    assert result.exit_code == 2
    assert result.stdout == ""
    assert words in result.stderr
    assert result.stderr.count("\n") == 1
    assert "Traceback" not in result.stderr


@pytest.mark.parametrize(("arguments", "words"), REFUSED, ids=lambda value: value if isinstance(value, str) else "")
@pytest.mark.parametrize("json_wanted", [False, True])
def test_bad_input_is_one_sentence_on_stderr(arguments: tuple[object, ...], words: str, json_wanted: bool) -> None:
    """Exit 2, nothing on stdout, with and without --json."""
    _is_one_sentence_on_stderr(_run(*arguments, *(["--json"] if json_wanted else [])), words)


@pytest.mark.parametrize(
    ("command", "header", "rows", "words"),
    [
        ("choice", "assessor,correct", [("A", 2)], 'row 2, column correct: "2" is not 0 or 1'),
        ("threshold", "assessor,dose,correct", [("A", 5, 1), ("A", -1, 1)], 'row 3, column dose: "-1" is below 0'),
        ("threshold", "assessor,dose,correct", [("A", 5, 1), ("A", 9, 1), ("A", 9, 1)], '"A" counts 1 at dose 5 and 2'),
        ("threshold", "assessor,dose,correct", [("A", 5, 1), ("B", 5, 1)], "2 assessors and 2 doses or more"),
        (
            "carryover",
            "assessor,batch,correct",
            [("A", 1, 1), ("A", 2, 1), ("A", 2, 1)],
            '"A" counts 1 at batch 1 and 2',
        ),
        ("carryover", "assessor,batch,correct", [("A", "x", 1)], 'row 2, column batch: "x" is not a number'),
    ],
)
def test_a_bad_file_is_one_sentence_on_stderr(
    tmp_path: Path, command: str, header: str, rows: list[tuple[object, ...]], words: str
) -> None:
    """File, row, column, value and rule."""
    path = _answers(tmp_path, header, rows)
    argument = ("--answers", path) if command == "choice" else (path,)
    result = _run(command, *argument, "--method", "triangle")
    _is_one_sentence_on_stderr(result, words)
    assert "answers.csv" in result.stderr


def test_the_installed_command_answers_without_the_heavy_libraries() -> None:
    """From process start: nothing of pandas, statsmodels or streamlit is imported for one test."""
    program = (
        "import sys; from studyapp.cli import group; "
        "group('choice --method triangle --trials 36 --correct 21 --json'.split(), standalone_mode=False); "
        "print([name for name in ('pandas', 'statsmodels', 'streamlit', 'scipy.stats') if name in sys.modules], "
        "file=sys.stderr)"
    )
    done = subprocess.run([sys.executable, "-c", program], capture_output=True, text=True, timeout=60, check=True)
    assert json.loads(done.stdout)["different"] is True
    assert done.stderr.strip() == "[]"
