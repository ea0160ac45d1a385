"""Files of readings: what is read, and the one sentence that says what is not."""

from __future__ import annotations

from pathlib import Path

import pytest

from analysis.files import ScoreError, read_readings, readings_from

HEAD = "hours,quantity,value,unit,method\n"


def test_repeats_and_curves_are_read() -> None:
    """Rows of both in one file; a decimal comma where semicolons part the cells."""
    plain = readings_from("r.csv", (HEAD + "0,moisture,1.62,%,oven\n24,moisture,0.8,%,oven\n").encode())
    assert plain["value"].tolist() == [1.62, 0.8]
    assert plain["shear_rate"].isna().all()
    head = "Hours;quantity;value;shear_rate;stress;branch;curve\n"
    text = head + "0;moisture;1,62;;;;\n0;;;5;48,9;Down;1\n0;;;5;49,5;Down;2\n"
    both = readings_from("r.csv", text.encode())
    assert both["stress"].dropna().tolist() == [48.9, 49.5]
    assert both["branch"].tolist() == ["", "down", "down"]
    assert both["curve"].tolist() == ["", "1", "2"]


@pytest.mark.parametrize(
    ("text", "says"),
    [
        (HEAD + "0,moisture,six,%,oven\n", 'r.csv, row 2, column value: "six" is not a number; write 6.'),
        (HEAD + "0,moisture,,%,oven\n", 'r.csv, row 2, column value: "" is empty; leave the whole row out'),
        (HEAD + "-1,moisture,1,%,oven\n", 'r.csv, row 2, column hours: "-1" is below zero'),
        (HEAD + "0,,1,%,oven\n", 'r.csv, row 2, column quantity: "" is empty; every row needs it'),
        (HEAD + "0,moisture,1,%,a\n0,Moisture,1,%,a\n", 'r.csv, row 3, column quantity: "Moisture" and "moisture"'),
        ("hours,quantity,worth\n0,a,1\n", 'r.csv, row 1: the column "worth" is not known'),
        ("hours,quantity,valu\n0,a,1\n", 'r.csv, row 1: the column "valu" is not known; is it value?'),
        ("hours,quantity\n0,a\n", "r.csv, row 1: there is no column value"),
        ("hours,shear_rate\n0,5\n", "r.csv, row 1: there is no column stress"),
        ("hours,shear_rate,stress\n0,0,5\n", 'r.csv, row 2, column shear_rate: "0" is not above 0'),
        ("hours,shear_rate,stress\n0,5,\n", 'r.csv, row 2, column stress: "" is empty; a point'),
        ("hours,shear_rate,stress,branch\n0,5,4,back\n", 'r.csv, row 2, column branch: "back" is not known'),
        ("hours,shear_rate,stress\n0,5,4\n0,5,5\n", 'r.csv, row 3, column shear_rate: "5" stands there twice'),
        ("hours,quantity,value,shear_rate,stress\n0,a,1,5,4\n", 'r.csv, row 2, column value: "1" stands beside'),
    ],
)
def test_what_is_wrong_is_one_sentence(text: str, says: str) -> None:
    """File, row, column, value, rule."""
    with pytest.raises(ScoreError) as problem:
        readings_from("r.csv", text.encode())
    assert str(problem.value).startswith(says)


def test_a_missing_file_is_named(tmp_path: Path) -> None:
    """One sentence as well."""
    with pytest.raises(ScoreError, match=r"none\.csv: the file cannot be read"):
        read_readings(tmp_path / "none.csv")
