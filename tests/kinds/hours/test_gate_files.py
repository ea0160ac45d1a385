"""Limits of instruments from files to the printed answer: what `decide` and `plan hours` say, and every slip."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner, Result

from demo_panels import generate
from studyapp.cli import group
from studyapp.errors import BadInput
from studyapp.kinds.hours.deciding.signed import decision_from
from studyapp.kinds.hours.files.bringing import decide_files
from studyapp.kinds.hours.files.decisions import decision_document
from studyapp.kinds.hours.files.rules import read_rule

STOP = generate.FOLDER / "stop"
GATE = '[gates.viscosity]\nunit = "Pa.s"\nat_most = 4.0\nmethod = "40 C, down"\nrepeats = 3\n'
THIN = {0: 6.0, 4: 5.0, 8: 4.4, 12: 4.2, 16: 3.4, 24: 3.0}


def written(folder: Path, means: dict[int, float], gate: str = GATE) -> tuple[Path, Path]:
    """The rule of the invented panel that stops at 12 h with a limit of viscosity; three portions a pull."""
    rule, readings = folder / "RULE.toml", folder / "readings.csv"
    rule.write_text((STOP / "RULE.toml").read_text() + "\n" + gate)
    rows = [
        f'{hour},viscosity,{mean * factor:.3f},Pa.s,"40 C, down"'
        for hour, mean in means.items()
        for factor in (0.98, 1.0, 1.02)
    ]
    readings.write_text("\n".join(["hours,quantity,value,unit,method", *rows]) + "\n")
    return rule, readings


def decide(folder: Path, means: dict[int, float], *more: str, gate: str = GATE) -> Result:
    """What the command prints."""
    rule, readings = written(folder, means, gate)
    command = ["decide", str(STOP / "scores.csv"), "--rule", str(rule), "--readings", str(readings), *more]
    return CliRunner().invoke(group, command)


def test_flavour_and_viscosity_decide_together(tmp_path: Path) -> None:
    """By hand: flavour is enough at 12 h, 4.2 is above 4.0 there, 3.4 is not at 16 h. The text names what decides."""
    told = decide(tmp_path, THIN)
    assert told.exit_code == 0
    assert told.stdout.startswith("Stop at 16 hours.")
    text = " ".join(told.stdout.split())
    assert "Flavour is ready at 12 h, viscosity at 16 h: viscosity decides." in text
    assert "Decides the hour viscosity, 16 h (next is acidity, 12 h)" in text
    assert "viscosity: at most 4 Pa.s" in text
    assert "A limit for viscosity of" in text


def test_the_object_has_every_pull_of_every_limit(tmp_path: Path) -> None:
    """Keys that scripts rely on, and a signed document that reads back as it was."""
    found = json.loads(decide(tmp_path, THIN, "--json").stdout)
    assert (found["verdict"], found["hours"], found["binding"]) == ("stop", 16, "viscosity")
    pulls = found["gates"]["viscosity"]["pulls"]
    assert [pull["answer"] for pull in pulls] == [*["fails"] * 4, "passes", "passes"]
    assert set(pulls[0]) >= {"hours", "mean", "guard", "answer", "repeats"}
    assert pulls[4]["mean"] == pytest.approx(3.4, abs=0.01)
    rule, readings = written(tmp_path, {**THIN, 24: 3.97})
    decision, _offers = decide_files(STOP / "scores.csv", rule, readings=readings)
    assert decision.more_repeats
    back = decision_from(json.loads(json.dumps(decision_document(decision, (), sealed=True))))
    assert (back.gates, back.taste, back.more_repeats) == (decision.gates, decision.taste, decision.more_repeats)


def test_an_open_limit_says_what_would_settle_it(tmp_path: Path) -> None:
    """Near the limit, not read, and no readings at all."""
    near = " ".join(decide(tmp_path, {**THIN, 16: 3.6, 24: 3.97}).stdout.split())
    assert near.startswith("Cannot tell yet: flavour is ready, viscosity not. Flavour is ready at 12 h.")
    assert "open: too near the limit (at most 4 Pa.s)" in near
    assert "portions of the 24 h pull settle viscosity there in about" in near
    unread = " ".join(decide(tmp_path, {hour: mean for hour, mean in THIN.items() if hour != 16}).stdout.split())
    assert "Read viscosity of 3 fresh portions of the 16 h pull." in unread
    thick = dict.fromkeys(THIN, 5.0) | {24: 5.01}
    assert "Viscosity at 0, 4, 8, 12, 16 and 24 h: the limit, at most 4 Pa.s, is broken." in " ".join(
        decide(tmp_path, thick).stdout.split()
    )


@pytest.mark.parametrize(
    ("gate", "says"),
    [
        ("[gates.viscosity]\nat_mots = 4", 'RULE.toml, gates.viscosity: there is no key "at_mots"; is it at_most?'),
        ("[gates.viscosity]\nat_most = '4'", "RULE.toml, gates.viscosity.at_most: '4' is not a number"),
        ("[gates.viscosity]\nat_most = 4\nat_least = 2", "RULE.toml, gates.viscosity, at_most: give either"),
        ("[gates.viscosity]\nat_most = 4\nlog = 1", "RULE.toml, gates.viscosity.log: 1 is neither true nor false."),
        ("[gates.viscosity]\nat_most = 4\nmonotone = true", "RULE.toml, gates.viscosity, monotone: viscosity and"),
        ("[gates.viscosity]\nat_most = 4\nmethod = 40", "RULE.toml, gates.viscosity.method: 40 is not a text"),
        ("[gates.viscosity]\nat_most = 4\nrepeats = 0", "RULE.toml, gates.viscosity.repeats: 0 is not a whole"),
        ("[gates.acidity]\nat_most = 4", "RULE.toml, gates.acidity: an attribute has this name"),
        ("[gates]\nviscosity = 4", "RULE.toml, gates.viscosity: 4 is not a table"),
    ],
)
def test_every_slip_in_a_limit_has_its_sentence(tmp_path: Path, gate: str, says: str) -> None:
    """File, key, value, rule."""
    rule, _readings = written(tmp_path, THIN, gate)
    with pytest.raises(BadInput) as problem:
        read_rule(rule)
    assert str(problem.value).replace('"4"', "'4'").startswith(says)


@pytest.mark.parametrize(
    ("old", "new", "says"),
    [
        ("0,viscosity,6.000", "0,viscosity,thick", 'readings.csv, row 3, column value: "thick" is not a number'),
        ("40 C, down", "25 C", "readings.csv, gates.viscosity: viscosity was sealed with the method '40 C, down'"),
        ("0,viscosity,6.000", "3,viscosity,6.000", "readings.csv, column hours: 3 h is no pull of the scores"),
    ],
)
def test_every_slip_in_readings_is_told_on_stderr(tmp_path: Path, old: str, new: str, says: str) -> None:
    """Exit 2, nothing on stdout."""
    rule, readings = written(tmp_path, THIN)
    readings.write_text(readings.read_text().replace(old, new))
    command = ["decide", str(STOP / "scores.csv"), "--rule", str(rule), "--readings", str(readings)]
    told = CliRunner().invoke(group, command)
    assert (told.exit_code, told.stdout) == (2, "")
    assert told.stderr.startswith(says)


def planned(folder: Path, gates: str, *more: str) -> Result:
    """What the plan says of these limits, one attribute at ease."""
    rule, truth = folder / "RULE.toml", folder / "TRUTH.toml"
    rule.write_text('[attributes.acidity]\nwanted = "lower"\nmargin = 2.0\n' + GATE)
    truth.write_text("[attributes.acidity]\nmean = [7, 3.5, 3.5, 3.5]\n" + gates)
    fixed: list[Any] = ["--hours", "0,8,16,24", "--assessors", 8, "--studies", 60, "--rule", rule, "--truth", truth]
    return CliRunner().invoke(group, ["plan", "hours", *map(str, fixed), *more])


def test_a_plan_reckons_with_instruments(tmp_path: Path) -> None:
    """A mass too thick before 16 h is never stopped at 8 h; one that thickens again stops nowhere, and that is said."""
    late = planned(tmp_path, "[gates.viscosity]\nmean = [6, 5, 3.4, 3.0]\nsd = 0.02\nrepeats = 3\n", "--json")
    found = json.loads(late.stdout)
    assert found["stop"]["8"] == 0
    assert found["stop"]["16"] > 0.5
    turning = planned(tmp_path, "[gates.viscosity]\nmean = [6, 3.4, 3.4, 5.0]\nsd = 0.02\nrepeats = 3\n")
    assert "viscosity breaks its limit again at a longer pull" in turning.stdout
    lacking = planned(tmp_path, "")
    assert (lacking.exit_code, lacking.stdout) == (2, "")
    assert lacking.stderr.startswith("TRUTH.toml, gates: the truth has none, the rule viscosity;")
