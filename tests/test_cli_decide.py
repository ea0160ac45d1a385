"""`studyapp decide`: answers on stdout, everything else one sentence on stderr and exit 2."""

from __future__ import annotations

import hashlib
import json
import os
import re
import subprocess
import sys
from pathlib import Path

import pandas as pd
import pytest
from click.testing import CliRunner, Result

from demo_panels import generate
from studyapp.cli import group

COMMAND = [sys.executable, "-c", "from studyapp.cli import main; main()"]


def _decide(*arguments: object) -> Result:
    return CliRunner().invoke(group, ["decide", *map(str, arguments)])


def _panel(name: str) -> tuple[Path, str, Path]:
    return generate.FOLDER / name / "scores.csv", "--rule", generate.FOLDER / name / "RULE.toml"


@pytest.mark.parametrize(
    ("name", "headline"),
    [
        ("stop", "Stop at 12 hours."),
        ("conche_longer", "Conche longer than 24 hours."),
        ("no_hour_fits", "No hour that was served (0 to 24 h) fits."),
        ("empty_window", "Cannot tell yet: 16 h is long enough, but too late."),
        ("window", "Conche between 8 and 12 hours."),
        ("cannot_tell", "Cannot tell yet."),
        ("stay", "Stay at 24 hours."),
        ("control_not_found", "Cannot tell: the panel did not find"),
        ("same_orders", "Cannot tell: the serving orders"),
        ("second_look", "Stop at 12 hours."),
    ],
)
def test_the_first_line_is_the_answer(name: str, headline: str) -> None:
    """Then why, facts, a table an attribute, what would change it, and what a taste result never clears."""
    result = _decide(*_panel(name))
    assert result.exit_code == 0
    assert result.stderr == ""
    assert result.stdout.startswith(headline)
    for attribute in generate.settings(name, "RULE.toml")["attributes"]:
        assert re.search(rf"^{attribute}: wanted (lower|higher), margin 1", result.stdout, re.MULTILINE)
    assert "A taste result only. It clears nothing for allergens" in result.stdout
    assert max(map(len, result.stdout.splitlines())) <= 110


def test_a_table_has_a_row_a_pull_in_straight_columns() -> None:
    """Numbers end at the same place in every row."""
    lines = _decide(*_panel("stop")).stdout.splitlines()
    start = lines.index("acidity: wanted lower, margin 1, limit 4.8, against 24 h")
    rows = lines[start + 2 : start + 8]
    assert [row.split()[0] for row in rows] == ["0", "4", "8", "12", "16", "24"]
    assert len({re.match(r" *\S+ +\S+ +\S+ +\S+ +\S+ +\S+ +\S+ +\S+", row).end() for row in rows}) == 1  # type: ignore[union-attr]
    assert rows[-1].endswith("reference")


def test_cannot_tell_names_its_price() -> None:
    """What to do next, how many servings, how often that settles it."""
    text = _decide(*_panel("cannot_tell")).stdout
    assert re.search(
        r"The price of an answer\n- 1 more sitting with all pulls: \d+ servings? a person, \d+ seats,\s+an\s+answer",
        text,
    )


@pytest.mark.parametrize("name", ["stop", "cannot_tell"])
def test_json_is_one_object_that_says_the_same(name: str) -> None:
    """For people's scripts; a file's rule was not sealed in the app."""
    result = _decide(*_panel(name), "--json")
    document = json.loads(result.stdout)
    expected = generate.settings(name)["expected"]
    assert document["rule_version"] == 3
    assert (document["verdict"], document["hours"], document["sealed"]) == (
        expected["verdict"],
        expected.get("hours"),
        False,
    )
    assert all(warning["sentence"] != warning["code"] for warning in document["warnings"])


@pytest.mark.parametrize(
    ("scores", "rule", "sentence"),
    [
        (
            "assessor,hours,acidity\nHeron,8h,6\n",
            None,
            'scores.csv, row 2, column hours: "8h" is not a number; write 8.\n',
        ),
        (None, "alpha = 5\n", "RULE.toml, alpha: 5 does not lie between 0 and 0.5; write 0.05.\n"),
        (None, "", "RULE.toml: no attribute decides"),
    ],
)
def test_bad_input_is_one_sentence_and_exit_2(
    scores: str | None, rule: str | None, sentence: str, tmp_path: Path
) -> None:
    """Nothing on stdout, nothing written."""
    good_scores, _option, good_rule = _panel("stop")
    (tmp_path / "scores.csv").write_text(good_scores.read_text() if scores is None else scores)
    text = good_rule.read_text()
    (tmp_path / "RULE.toml").write_text(text if rule is None else rule + text.split("\n", 1)[1] if rule else "")
    before = sorted(tmp_path.iterdir())
    for more in ([], ["--json"]):
        result = _decide(tmp_path / "scores.csv", "--rule", tmp_path / "RULE.toml", *more)
        assert result.exit_code == 2
        assert result.stdout == ""
        assert result.stderr.startswith(sentence)
        assert result.stderr.count("\n") == 1
    assert sorted(tmp_path.iterdir()) == before


def test_scores_of_two_batches_are_judged_under_the_sealed_claim(tmp_path: Path) -> None:
    """Each of them where nothing is sealed, in its words; refused where one was sealed; a file of one batch is decided
    as without the column."""
    scores, option, rule = _panel("stop")
    heading, *lines = scores.read_text().splitlines()
    for name, other in (("one.csv", "autumn"), ("two.csv", "spring")):
        rows = [f"{line},{batch}" for line in lines for batch in dict.fromkeys(("autumn", other))]
        (tmp_path / name).write_text("\n".join([f"{heading},batch", *rows]))
    both = _decide(tmp_path / "two.csv", option, rule)
    assert (both.exit_code, both.stderr) == (0, "")
    assert "In each of these 2 batches, at 12 h every deciding attribute is within its margin" in both.stdout
    assert "Holds for         each of these 2 batches" in both.stdout
    document = json.loads(_decide(tmp_path / "two.csv", option, rule, "--json", "--cross-check").stdout)
    assert (document["claim"], document["batches"]["names"]) == ("each of these batches", ["autumn", "spring"])
    asked = [f"{name}, {batch}" for name in document["attributes"] for batch in ("autumn", "spring")]
    assert list(document["cross_check"]) == asked
    assert all(check["agrees"] for check in document["cross_check"].values())
    (tmp_path / "RULE.toml").write_text('claim = "this batch"\n' + Path(rule).read_text())
    refused = _decide(tmp_path / "two.csv", "--rule", str(tmp_path / "RULE.toml"))
    assert (refused.exit_code, refused.stdout) == (2, "")
    assert refused.stderr == (
        'two.csv, column batch: there are 2 batches, autumn, spring, and the rule claims "this batch". Make one file a '
        "batch, or seal another claim.\n"
    )
    told, plain = (json.loads(_decide(file, option, rule, "--json").stdout) for file in (tmp_path / "one.csv", scores))
    for document, file in ((told, tmp_path / "one.csv"), (plain, scores)):
        assert document.pop("files") == [
            {"name": each.name, "sha256": hashlib.sha256(each.read_bytes()).hexdigest()} for each in (file, Path(rule))
        ]
    assert told == plain


def test_scores_of_a_hundred_beside_a_margin_for_ten_are_asked_about(tmp_path: Path) -> None:
    """The same scores ten times as high: with margins and limits ten times as wide the verdict is the same, for no
    scale is better than another; with the old margins something is said."""
    scores, option, rule = _panel("stop")
    tall = pd.read_csv(scores)
    tall["score"] *= 10
    tall.to_csv(tmp_path / "tall.csv", index=False)
    wide = re.sub(
        r"^(margin|limit) = ([\d.]+)", lambda m: f"{m[1]} = {10 * float(m[2]):g}", Path(rule).read_text(), flags=re.M
    )
    (tmp_path / "WIDE.toml").write_text(wide)
    found = [
        json.loads(_decide(tmp_path / "tall.csv", option, file, "--json").stdout)
        for file in (rule, tmp_path / "WIDE.toml")
    ]
    codes = [{warning["code"] for warning in each["warnings"]} for each in found]
    assert ["margin for another scale" in each for each in codes] == [True, False]
    assert (found[1]["verdict"], found[1]["hours"]) == ("stop", 12.0)


def test_files_that_are_not_there_are_named() -> None:
    """Both the scores and the rule."""
    scores, option, rule = _panel("stop")
    assert "none.csv: the file cannot be read" in _decide("none.csv", option, rule).stderr
    assert "none.toml: the file cannot be read" in _decide(scores, option, "none.toml").stderr


def test_the_installed_command_answers_in_a_plain_terminal(tmp_path: Path) -> None:
    """Another folder, no home, a terminal that knows ASCII only."""
    bare = {"PATH": os.environ["PATH"], "PYTHONIOENCODING": "ascii", "HOME": str(tmp_path)}
    told = subprocess.run([*COMMAND, "decide", *map(str, _panel("stop"))], capture_output=True, cwd=tmp_path, env=bare)
    assert told.returncode == 0
    assert told.stderr == b""
    assert told.stdout.startswith(b"Stop at 12 hours.")
    assert list(tmp_path.iterdir()) == []


def test_neither_screens_nor_heavy_statistics_are_loaded_for_an_answer() -> None:
    """They would double the time to it."""
    program = (
        "import sys; from studyapp.cli import group; group.main(sys.argv[1:], standalone_mode=False);"
        "heavy = {'streamlit', 'altair', 'statsmodels', 'pingouin', 'scipy.stats', 'sqlalchemy'};"
        "print(sorted(heavy & set(sys.modules)), file=sys.stderr)"
    )
    arguments = [sys.executable, "-c", program, "decide", *map(str, _panel("cannot_tell"))]
    told = subprocess.run(arguments, capture_output=True, text=True, check=True)
    assert told.stderr.strip() == "[]"


def test_a_report_is_written_beside_the_answer(tmp_path: Path) -> None:
    """A PDF under its name and nothing else; the answer is the same."""
    scores, option, rule = _panel("stop")
    result = _decide(scores, option, rule, "--report", tmp_path / "answer.pdf")
    assert result.stdout == _decide(scores, option, rule).stdout
    assert [path.name for path in tmp_path.iterdir()] == ["answer.pdf"]
    assert (tmp_path / "answer.pdf").read_bytes().startswith(b"%PDF-")


def test_a_report_that_cannot_be_written_is_refused(tmp_path: Path) -> None:
    """A folder that is not there, and a folder in place of the file: one sentence, exit 2, nothing left behind."""
    scores, option, rule = _panel("stop")
    (tmp_path / "folder.pdf").mkdir()
    for place in (tmp_path / "none" / "answer.pdf", tmp_path / "folder.pdf"):
        result = _decide(scores, option, rule, "--report", place)
        assert (result.exit_code, result.stdout) == (2, "")
        assert result.stderr.startswith("Not done: the report cannot be written to")
    assert [path.name for path in tmp_path.iterdir()] == ["folder.pdf"]


def test_bad_scores_leave_an_earlier_report_alone(tmp_path: Path) -> None:
    """Nothing is half written."""
    (tmp_path / "answer.pdf").write_bytes(b"earlier")
    result = _decide(tmp_path / "none.csv", *_panel("stop")[1:], "--report", tmp_path / "answer.pdf")
    assert result.exit_code == 2
    assert (tmp_path / "answer.pdf").read_bytes() == b"earlier"


def test_a_second_opinion_stands_below_the_answer_when_it_is_asked_for() -> None:
    """A table an attribute in straight columns; nothing else of the answer moves."""
    plain, asked = _decide(*_panel("window")).stdout, _decide(*_panel("window"), "--cross-check").stdout
    before, _heading, opinion = asked.partition("A second opinion\n")
    assert _heading
    caution = plain.index("A taste result only.")
    assert before == plain[:caution]
    assert opinion.endswith(plain[caution:])
    lines = opinion.splitlines()
    for name in ("acidity", "fruity"):
        start = lines.index(name)
        table = lines[start + 1 : start + 13]
        assert table[0].split() == ["here", "statsmodels", "pingouin"]
        assert len({len(line) for line in table}) == 1
        assert [line.split()[-1] for line in table[-3:]] != ["–"] * 3
    assert opinion.count("statsmodels agrees") == 2
    assert "compares the same differences with another error" in opinion
    assert max(map(len, lines)) <= 110


def test_a_second_opinion_has_its_own_key_in_json() -> None:
    """Every attribute, ours beside theirs; the rest of the object is what it is without."""
    plain = json.loads(_decide(*_panel("stop"), "--json").stdout)
    document = json.loads(_decide(*_panel("stop"), "--json", "--cross-check").stdout)
    checks = document.pop("cross_check")
    assert document == plain
    assert "cross_check" not in plain
    assert list(checks) == list(plain["attributes"])
    for name, check in checks.items():
        found = check["mixed"]["other"]["found"]
        assert check["agrees"] is True
        assert found["loglik"] == pytest.approx(plain["attributes"][name]["reml_loglik"], abs=1e-4)
        assert check["anova"]["says"] == "unequal"


def test_a_confirmation_has_verdicts_of_its_own(tmp_path: Path) -> None:
    """The hour of the rule, and a rule that fits no confirmation is refused with what to write."""
    scores, rule = tmp_path / "scores.csv", tmp_path / "RULE.toml"
    means = {0: 7.0, 12: 3.0, 24: 3.0}
    rows = [
        f"A{a},{h},acidity,{m + 0.2 * a + 0.1 * ((3 * a + h + 5 * r) % 7):.1f},{r}"
        for a in range(8)
        for h, m in means.items()
        for r in (1, 2)
    ]
    scores.write_text("\n".join(["assessor,hours,attribute,score,replicate", *rows]))
    wish = '[attributes.acidity]\nwanted = "lower"\nmargin = 1.0\n'
    rule.write_text(f"confirms = 12\n{wish}")
    said = _decide(scores, "--rule", rule)
    assert said.stdout.startswith("Confirmed: 12 h is enough in this batch too.")
    answer = json.loads(_decide(scores, "--rule", rule, "--json").stdout)
    assert (answer["verdict"], answer["hours"], answer["confirms"]) == ("confirmed", 12.0, 12.0)
    for wrong in ("confirms = 8", 'confirms = 12\nclaim = "each of these batches"', "confirms = 12\ncontrol = 12"):
        rule.write_text(f"{wrong}\n{wish}")
        refused = _decide(scores, "--rule", rule)
        assert refused.exit_code == 2
        assert refused.stderr.count("\n") == 1
