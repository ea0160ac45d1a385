"""`studyapp butter`: what hours in the conche save, from a file; every slip is one sentence."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner, Result

from analysis.files.ladders import ladder_from
from analysis.files.score_files import ScoreError
from analysis.instruments import butter_worth
from studyapp.cli import group

STEPS = np.repeat([0, 1, 2, 3, 4], 2)


def rows(quantity: str, slope: float, worth: float) -> list[str]:
    """A ladder that falls by `slope` a per cent on logs, and a conched mass worth so much; small fixed errors."""
    off = [0.01, -0.01, 0.02, -0.015, 0.0, 0.01, -0.02, 0.015, 0.005, -0.01]
    steps = [f"{x},{quantity},{np.exp(1.6 - slope * x + e):.4f}" for x, e in zip(STEPS, off, strict=True)]
    return [*steps, *(f"conched,{quantity},{np.exp(1.6 - slope * worth + e):.4f}" for e in (0.01, 0.0, -0.01))]


def butter(folder: Path, lines: list[str], *more: str) -> Result:
    """What the command prints of a file with these rows."""
    file = folder / "ladder.csv"
    file.write_text("\n".join(["added,quantity,value", *lines]) + "\n")
    return CliRunner().invoke(group, ["butter", str(file), *more])


def test_the_smaller_of_two_quantities_counts(tmp_path: Path) -> None:
    """At least so much, with both intervals and the money; the numbers are those of the statistics."""
    lines = [*rows("viscosity at 40 1/s", 0.11, 2.8), *rows("stress at 5 1/s", 0.13, 2.0)]
    told = " ".join(butter(tmp_path, lines, "--mass", "10", "--price", "18").stdout.split())
    found = json.loads(butter(tmp_path, lines, "--json").stdout)
    assert found["counts"] == "stress at 5 1/s"
    ladder = ladder_from("ladder.csv", (tmp_path / "ladder.csv").read_bytes())
    own = ladder[ladder["quantity"] == "stress at 5 1/s"]
    steps, conched = own[own["added"].notna()], own[own["added"].isna()]
    worth = butter_worth(steps["added"], steps["value"], conched["value"])
    assert worth.low is not None
    assert found["quantities"]["stress at 5 1/s"]["low"] == worth.low
    assert told.startswith(f"These hours are worth at least {np.floor(100 * worth.low) / 100:g} % cocoa butter.")
    assert f"{100 * worth.low:.0f} g of butter" in told


def test_a_ladder_that_carries_no_claim_says_why(tmp_path: Path) -> None:
    """One that rises, and a mass thinner than the whole ladder."""
    rising = butter(tmp_path, rows("viscosity at 40 1/s", -0.1, 2.0)).stdout
    assert rising.startswith("No claim")
    assert "the mass did not get thinner with more butter" in rising
    beyond = butter(tmp_path, rows("viscosity at 40 1/s", 0.1, 7.0)).stdout
    assert beyond.startswith("These hours are worth more than 4.0 % cocoa butter.")


@pytest.mark.parametrize(
    ("row", "says"),
    [
        ("-1,a,4", 'ladder.csv, row 2, column added: "-1" does not lie between 0 and 30 per cent'),
        (",a,4", 'ladder.csv, row 2, column added: "" is empty'),
        ("0,a,0", 'ladder.csv, row 2, column value: "0" is not above 0'),
        ("none,a,4", 'ladder.csv, row 2, column added: "none" is not a number'),
    ],
)
def test_every_slip_is_told_with_its_place(row: str, says: str) -> None:
    """File, row, column, value, rule."""
    with pytest.raises(ScoreError) as problem:
        ladder_from("ladder.csv", f"added,quantity,value\n{row}\n".encode())
    assert str(problem.value).startswith(says)


def test_a_ladder_without_the_conched_mass_is_refused(tmp_path: Path) -> None:
    """Exit 2, one sentence on stderr; so are a mass without a price and a strange column."""
    told = butter(tmp_path, rows("viscosity at 40 1/s", 0.1, 2.0)[:10])
    assert (told.exit_code, told.stdout) == (2, "")
    assert told.stderr.startswith("ladder.csv, viscosity at 40 1/s: no reading of the conched mass")
    alone = butter(tmp_path, rows("viscosity at 40 1/s", 0.1, 2.0), "--mass", "10")
    assert alone.stderr.startswith("Fix --mass")
