"""Scores and rules from files: a published panel end to end, and every way in which two files do not fit."""

from __future__ import annotations

import csv
import json
from pathlib import Path

import numpy as np
import pytest

from studyapp.errors import BadInput
from studyapp.kinds.hours.files.bringing import decide_files, read_scores
from studyapp.kinds.hours.files.decisions import decision_document

REFERENCE = Path(__file__).parents[2] / "reference"
# Randall 1989, bitterness of white wine by nine judges, as in R's package ordinal (product = temperature x contact).
WINE = list(csv.DictReader((REFERENCE / "wine.csv").read_text(encoding="utf-8").splitlines()))
# REML fit of the same data by R 4.2.2 with lme4 1.1-31, lmerTest 3.1-3 and emmeans 1.8.4 (installed library).
FIT = json.loads((REFERENCE / "lmertest_reference.json").read_text(encoding="utf-8"))["wine"]
PRODUCTS = FIT["means"]["level"]
RULE = """
alpha = 0.05
[attributes.bitterness]
wanted = "lower"
margin = 10
"""


def _tidy() -> str:
    rows = [f"{row['judge']},{PRODUCTS.index(row['product'])},bitterness,{row['response']}" for row in WINE]
    return "\n".join(["assessor,sample,attribute,score", *rows])


def _wide() -> str:
    rows = [f"{row['judge']};{PRODUCTS.index(row['product'])};{row['rating']};{row['response']},0" for row in WINE]
    return "\n".join(["assessor;hours;rating;bitterness", *rows])


def _files(folder: Path, scores: str, rule: str = RULE) -> tuple[Path, Path]:
    (folder / "scores.csv").write_text(scores, encoding="utf-8")
    (folder / "RULE.toml").write_text(rule, encoding="utf-8")
    return folder / "scores.csv", folder / "RULE.toml"


def _said(folder: Path, scores: str, rule: str = RULE) -> str:
    with pytest.raises(BadInput) as caught:
        decide_files(*_files(folder, scores, rule))
    return str(caught.value)


@pytest.mark.parametrize("scores", [_tidy(), _wide()], ids=["tidy", "wide"])
def test_the_wine_panel_gives_the_published_fit(scores: str, tmp_path: Path) -> None:
    """Log likelihood, variances, F test, means and contrasts with Satterthwaite df, as R gives them."""
    decision, offers = decide_files(*_files(tmp_path, scores))
    wine = decision_document(decision, offers, sealed=False)["attributes"]["bitterness"]
    assert wine["reml_loglik"] == pytest.approx(FIT["reml_loglik"], rel=1e-9)
    named = {"assessor": "judge", "assessor:hours": "judge:product", "residual": "Residual"}
    for ours, theirs in named.items():
        assert wine["variance"][ours] == pytest.approx(FIT["variance"][theirs], rel=1e-6)
    for key in ("f", "num_df", "den_df", "p"):
        assert wine["anova"][key] == pytest.approx(FIT["anova"][key], rel=1e-5)
    assert [pull["mean"] for pull in wine["pulls"]] == pytest.approx(FIT["means"]["mean"], rel=1e-9)
    contrasts = FIT["contrasts"]
    shorter = wine["pulls"][:-1]
    assert [pull["difference"] for pull in shorter] == pytest.approx(contrasts["estimate"], rel=1e-9)
    assert [pull["se"] for pull in shorter] == pytest.approx(contrasts["se"], rel=1e-6)
    assert [pull["df"] for pull in shorter] == pytest.approx(contrasts["df"], rel=1e-5)
    assert [pull["upper"] for pull in shorter] == pytest.approx(contrasts["upper90"], rel=1e-6)
    assert [pull["lower"] for pull in shorter] == pytest.approx(contrasts["lower90"], rel=1e-6)
    assert wine["pulls"][-1]["difference"] == 0


def test_the_own_error_of_the_wine_panel_is_the_paired_one(tmp_path: Path) -> None:
    """On complete data each judge is one unit: the standard error of a paired t test on the judges' means (numpy)."""
    decision, _offers = decide_files(*_files(tmp_path, _tidy()))
    means = np.zeros((9, 4))
    for row in WINE:
        means[int(row["judge"]) - 1, PRODUCTS.index(row["product"])] += float(row["response"]) / 2
    for number, pull in enumerate(decision.attributes["bitterness"].pulls[:-1]):
        paired = means[:, number] - means[:, 3]
        assert pull.own_se == pytest.approx(paired.std(ddof=1) / 3, rel=1e-9)
        assert pull.own_df == pytest.approx(8, rel=1e-9)


def test_a_rating_in_the_file_that_the_rule_does_not_name_is_left_out(tmp_path: Path) -> None:
    """Only deciding attributes are read."""
    decision, _offers = decide_files(*_files(tmp_path, _wide()))
    assert list(decision.attributes) == ["bitterness"]


@pytest.mark.parametrize(
    ("scores", "rule", "sentence"),
    [
        ("assessor,hours,bitterness\nA,x,3\n", RULE, 'scores.csv, row 2, column hours: "x" is not a number'),
        ("assessor,hours,bitterness\nA,8,3\nB,8,3\n", RULE, "all scores are of one pull, 8 h; at least two pulls"),
        (_tidy(), "control = 9\n" + RULE, "RULE.toml, control: 9 h is not a pull shorter than the longest"),
        (
            _tidy(),
            "control = 3\n" + RULE,
            "control: 3 h is not a pull shorter than the longest; scores.csv has the pulls 0",
        ),
        (_tidy(), 'adjust = ["position"]\n' + RULE, '"position" needs a column position, and scores.csv has none.'),
        (_tidy(), 'adjust = ["sitting:hours"]\n' + RULE, '"sitting:hours" needs a column sitting'),
        ("assessor,hours,bitterness\nA,0,3\nA,8,\nB,0,2\n", RULE, "at least two pulls"),
        (
            "assessor,hours,bitterness,acidity\nA,0,3,1\nA,8,,4\nB,0,2,2\n",
            RULE + '[attributes.acidity]\nwanted = "same"\nmargin = 1\n',
            "no score of bitterness at 8 h; a deciding attribute needs every pull.",
        ),
        (
            _tidy(),
            RULE.replace("bitterness", "biterness"),
            'no score of "biterness", which the rule decides on; is it "bitt',
        ),
    ],
)
def test_files_that_do_not_fit_each_other_are_refused(scores: str, rule: str, sentence: str, tmp_path: Path) -> None:
    """Which file, which key, which pulls there are."""
    assert sentence in _said(tmp_path, scores, rule)


def test_scores_alone_are_read_with_all_attributes(tmp_path: Path) -> None:
    """As the screen does before a rule is chosen; a bad file is BadInput, never a ValueError."""
    path, _rule = _files(tmp_path, _wide())
    assert set(read_scores(path)["attribute"]) == {"rating", "bitterness"}
    with pytest.raises(BadInput, match="cannot be read"):
        read_scores(tmp_path / "none.csv")
