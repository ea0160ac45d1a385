"""Score files: what is read, and the one sentence for everything that is not."""

from __future__ import annotations

import datetime
import io
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
import xlsxwriter
from hypothesis import given, settings
from hypothesis import strategies as st

from analysis.files.scores import ScoreError, read_scores, scores_from

TIDY = "assessor,hours,attribute,score\n"
ROWS = [("Heron", 0, "acidity", 6.5), ("Heron", 24, "acidity", 3.0), ("Otter", 0, "acidity", 7.0)]


def _said(content: str | bytes, name: str = "scores.csv", attributes: list[str] | None = None) -> str:
    """The sentence that refuses a file."""
    with pytest.raises(ScoreError) as caught:
        scores_from(name, content.encode() if isinstance(content, str) else content, attributes)
    return str(caught.value)


def _xlsx(rows: list[list[object]], sheet: str = "scores") -> bytes:
    buffer = io.BytesIO()
    options = {"strings_to_formulas": False, "strings_to_urls": False, "default_date_format": "d mmm yyyy"}
    book = xlsxwriter.Workbook(buffer, options)
    page = book.add_worksheet(sheet)
    for number, row in enumerate(rows):
        page.write_row(number, 0, row)
    book.close()
    return buffer.getvalue()


def _parquet(frame: pd.DataFrame) -> bytes:
    buffer = io.BytesIO()
    frame.to_parquet(buffer)
    return buffer.getvalue()


# ---- what is read --------------------------------------------------------------------------------------------------
def test_tidy_csv_becomes_one_row_a_score() -> None:
    """Columns, types and order of the file."""
    read = scores_from("scores.csv", (TIDY + "Heron,0,acidity,6.5\nOtter,24,off-notes,3\n").encode())
    expected = pd.DataFrame(
        {
            "assessor": ["Heron", "Otter"],
            "hours": [0.0, 24.0],
            "attribute": ["acidity", "off-notes"],
            "score": [6.5, 3.0],
            "replicate": [1, 1],
        }
    )
    pd.testing.assert_frame_equal(read, expected)


def test_csv_xlsx_and_parquet_of_the_same_scores_read_alike(tmp_path: Path) -> None:
    """The kind of file makes no difference, and its bytes tell it, not its name."""
    frame = pd.DataFrame(ROWS, columns=["assessor", "hours", "attribute", "score"])
    text = frame.to_csv(index=False).encode()
    sheet = _xlsx([list(frame.columns), *frame.to_numpy().tolist()])
    read = [scores_from("scores.csv", content) for content in (text, sheet, _parquet(frame))]
    pd.testing.assert_frame_equal(read[0], read[1])
    pd.testing.assert_frame_equal(read[0], read[2])
    file = tmp_path / "scores.csv"
    file.write_bytes(text)
    pd.testing.assert_frame_equal(read_scores(file), read[0])


def test_a_column_an_attribute_reads_like_a_row_a_score() -> None:
    """The wide form; an empty cell is a missing score, of that attribute alone."""
    wide = scores_from("w.csv", b"assessor,hours,acidity,bitterness\nHeron,0,6,5\nHeron,24,,4\n")
    tidy = scores_from("t.csv", (TIDY + "Heron,0,acidity,6\nHeron,0,bitterness,5\nHeron,24,bitterness,4\n").encode())
    pd.testing.assert_frame_equal(wide, tidy)


@pytest.mark.parametrize(
    "content",
    [
        "\ufeffassessor,hours,attribute,score\nHeron,8,acidity,6.5\n".encode(),
        b"assessor;hours;attribute;score\r\nHeron;8;acidity;6,5\r\n",
        b"assessor\thours\tattribute\tscore\nHeron\t8\tacidity\t6.5\n",
        b"assessor,hours,attribute,score\rHeron,8,acidity,6.5",
        b"\n\nAssessor , HOURS,Attribute,Score,,\n\nHeron,8.0,acidity,6.50,,\n\n",
        b'"assessor","hours","attribute","score","note"\n"Heron","8","acidity","6.5","a, b\nc"\n',
        b"assessor,sample,attribute,score\nHeron,8,acidity,6.5\n",
        b"assessor,sample,hours,attribute,score\nHeron,B,8,acidity,6.5\n",
        b"assessor,hours,attribute,score,sitting\nHeron,8,acidity,6.5,\n",
    ],
    ids=[
        "mark",
        "semicolons",
        "tabs",
        "old newlines",
        "blanks",
        "quotes",
        "numeric sample",
        "sample and hours",
        "empty",
    ],
)
def test_everyday_spellings_of_the_same_file_read_alike(content: bytes) -> None:
    """Separators, decimal commas, a byte order mark, blank rows, capitals in the header, other columns."""
    read = scores_from("scores.csv", content)
    assert read.to_dict("records") == [
        {"assessor": "Heron", "hours": 8.0, "attribute": "acidity", "score": 6.5, "replicate": 1}
    ]


def test_optional_columns_come_with_their_types() -> None:
    """Sitting and batch are labels, replicate and position count from 1."""
    content = b"assessor,hours,attribute,score,sitting,replicate,position,batch\nHeron,8,acidity,6,1,2,3,B7\n"
    row = scores_from("s.csv", content).iloc[0].to_dict()
    assert (row["sitting"], row["batch"], row["replicate"], row["position"]) == ("1", "B7", 2, 3)


def test_whole_numbers_of_a_spreadsheet_are_labels_as_they_were_typed() -> None:
    """A cell holds 7 as 7.0; assessor 7 is still called 7."""
    read = scores_from("s.xlsx", _xlsx([["assessor", "hours", "attribute", "score"], [7, 8, "acidity", 6]]))
    assert read["assessor"].tolist() == ["7"]


def test_repeated_rows_without_a_replicate_column_are_numbered() -> None:
    """In the order of the file, within each sitting."""
    content = (
        TIDY + "Heron,8,acidity,6\nOtter,8,acidity,5\nHeron,8,acidity,6\nHeron,8,acidity,\nHeron,8,acidity,4\n"
    ).encode()
    read = scores_from("s.csv", content)
    assert read.loc[read["assessor"] == "Heron", "replicate"].tolist() == [1, 2, 4]
    sat = b"assessor,hours,attribute,score,sitting\nHeron,8,acidity,6,1\nHeron,8,acidity,5,2\nHeron,8,acidity,5,2\n"
    assert scores_from("s.csv", sat)["replicate"].tolist() == [1, 1, 2]


def test_only_the_deciding_attributes_are_kept_and_a_comment_column_is_no_attribute() -> None:
    """The rule's names choose among the columns of the wide form."""
    content = b"assessor,hours,acidity,remark\nHeron,0,6,nice\nHeron,24,3,flat\n"
    assert set(scores_from("s.csv", content, ["acidity"])["attribute"]) == {"acidity"}
    assert "column remark" in _said(content)


def test_a_hundred_thousand_rows_are_read() -> None:
    """Nothing is lost or changed on the way."""
    rng = np.random.default_rng(3)
    n = 100_000
    frame = pd.DataFrame(
        {
            "assessor": [f"P{k % 12}" for k in range(n)],
            "hours": [float(k // 12 % 6 * 4) for k in range(n)],
            "attribute": "acidity",
            "score": rng.integers(0, 101, n) / 10,
        }
    )
    read = scores_from("s.csv", frame.to_csv(index=False).encode())
    pd.testing.assert_frame_equal(read[list(frame.columns)], frame)
    assert read.groupby(["assessor", "hours"])["replicate"].max().between(1388, 1389).all()


# ---- what is refused -----------------------------------------------------------------------------------------------
@pytest.mark.parametrize(
    ("rows", "sentence"),
    [
        ("Heron,8h,acidity,6\n", 'scores.csv, row 2, column hours: "8h" is not a number; write 8.'),
        (
            "Heron,8,acidity,6\n\nHeron,0,acidity,five\n",
            'scores.csv, row 4, column score: "five" is not a number; write 5.',
        ),
        ("Heron,8,acidity,nan\n", 'row 2, column score: "nan" is not a number; leave the cell empty'),
        ("Heron,8,acidity,inf\n", 'row 2, column score: "inf" is not a number; leave the cell empty'),
        ("Heron,8,acidity,1e999\n", '"1e999" is not a number; leave the cell empty'),
        ("Heron,8,acidity,NA\n", '"NA" is not a number; leave the cell empty when a score is missing.'),
        ("Heron,8,acidity,1_0\n", '"1_0" is not a number'),
        ("Heron,8,acidity,٦\n", '"٦" is not a number'),
        ('Heron,8,acidity,"6,5"\n', '"6,5" is not a number; write 6.5.'),
        (
            "Heron,8,acidity,6,5\n",
            "row 2: 5 cells and only 4 columns; name every column; decimal commas need semicolons",
        ),
        ("Heron,8,acidity\n", "row 2: 3 cells and 4 columns; is the row cut off?"),
        ("Heron,-8,acidity,6\n", 'row 2, column hours: "-8" is below zero'),
        ("Heron,99999,acidity,6\n", 'column hours: "99999" is too large for hours'),
        ("Heron,,acidity,6\n", 'column hours: "" is empty; every row needs it.'),
        (",8,acidity,6\n", 'column assessor: "" is empty'),
        ("Heron,8,acidity,2e6\n", '"2e6" is too large for a score'),
        (
            "Heron,8,acidity,6\nheron ,0,acidity,5\n",
            'row 3, column assessor: "heron" and "Heron" in row 2 look like one name',
        ),
        ("Heron,8,acidity,6\nHeron,8,Acidity,5\n", 'row 3, column attribute: "Acidity" and "acidity" in row 2'),
        ('Heron,8,acidity,"6\n', "row 2: the quotes in this row do not close"),
        ("Heron,8,acidity,\n", "scores.csv: no row has a score; fill in the scores."),
    ],
)
def test_a_bad_cell_is_named_with_row_column_value_and_rule(rows: str, sentence: str) -> None:
    """Rows count as a spreadsheet shows them, blank ones included."""
    said = _said(TIDY + rows)
    assert sentence in said
    assert said.startswith("scores.csv")
    assert said.endswith((".", "?"))


@pytest.mark.parametrize(
    ("content", "sentence"),
    [
        ("", "the file is empty"),
        (" \n\n", "the file is empty"),
        (TIDY, "there is a header but no row below it"),
        (
            "assessor,hour,attribute,score\nHeron,8,acidity,6\n",
            'row 1: there is no column hours; rename "hour" to hours.',
        ),
        ("assessor,hours,atribute,score\nHeron,8,acidity,6\n", 'no column attribute; rename "atribute" to attribute.'),
        ("assessor,hours,attribute,skore\nHeron,8,acidity,6\n", 'no column score; rename "skore" to score.'),
        (
            "hours,attribute,score\n8,acidity,6\n",
            "there is no column assessor; add it, beside hours, attribute, score.",
        ),
        ("assessor,hours\nHeron,8\n", "row 1: no column holds scores"),
        ("assessor,hours,acidity,postion\nHeron,8,6,1\n", 'row 1: "postion" looks like position; rename the column.'),
        ("assessor,hours,,acidity\nHeron,8,1,6\n", "row 1: column 3 has no name"),
        ("assessor,hours,acidity,acidity\nHeron,8,1,6\n", "row 1: the column acidity stands there twice"),
        ("assessor,sample,attribute,score\nHeron,B,acidity,6\n", 'column sample: "B" is not a number'),
        ("assessor,hours,acidity,replicate\nHeron,8,1,1.5\n", 'column replicate: "1.5" is not a whole number from 1'),
        ("assessor,hours,acidity,position\nHeron,8,1,0\n", 'column position: "0" is not a whole number from 1'),
        ("assessor,hours,acidity,position\nHeron,8,1,1\nHeron,0,1,\n", 'row 3, column position: "" is empty'),
        ("\n".join(["assessor,hours,a"] + [f"H,{k},5" for k in range(51)]), "column hours: 51 different pulls"),
        (",".join(["assessor", "hours"] + [f"a{k}" for k in range(99)]) + "\nx", "101 columns and at most 100"),
    ],
)
def test_a_file_of_the_wrong_shape_is_refused_with_the_way_out(content: str, sentence: str) -> None:
    """Missing and misspelt columns come with the nearest name."""
    assert sentence in _said(content)


@pytest.mark.parametrize(
    ("content", "sentence"),
    [
        (TIDY.encode("utf-16"), "saved as UTF-16; save it as CSV UTF-8."),
        ((TIDY + "Heron,8,acidity,6\nRémi,8,acidity,6\n").encode("latin-1"), "row 3: a letter is not saved as UTF-8"),
        (b"\x89PNG\r\n\x1a\n\0\0\0", "not a table of text"),
        (b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1" + bytes(500), "old or locked spreadsheet"),
        (b"PAR1 and nothing else", "the Parquet file is damaged"),
        (b"PK\x03\x04 and nothing else", "the workbook is damaged"),
        (b"x" * (10 * 2**20 + 1), "larger than 10 MB"),
    ],
)
def test_bytes_that_are_no_score_file_are_refused(content: bytes, sentence: str) -> None:
    """Encodings, pictures, old spreadsheets, torn files, too much."""
    assert sentence in _said(content)


def test_a_missing_file_and_a_folder_are_refused(tmp_path: Path) -> None:
    """Nothing is created."""
    for path in (tmp_path / "none.csv", tmp_path):
        with pytest.raises(ScoreError, match="cannot be read; check its name and folder"):
            read_scores(path)
    assert list(tmp_path.iterdir()) == []


def test_more_rows_than_a_study_has_are_refused() -> None:
    """Two hundred thousand is the most."""
    assert "more than 200000 rows" in _said(TIDY + "a,8,b,6\n" * 200_001)


@pytest.mark.parametrize(
    ("usual", "slip", "scale"), [(5.0, 55.0, "0 to 10"), (5.0, -0.1, "0 to 10"), (55.0, 550.0, "0 to 100")]
)
def test_a_score_outside_the_scale_of_the_others_is_refused(usual: float, slip: float, scale: str) -> None:
    """The scale is the smaller of 0 to 10 and 0 to 100 that holds nine tenths of the scores."""
    rows = [f"P{k},8,acidity,{usual}" for k in range(12)]
    said = _said(TIDY + "\n".join([*rows, f"P1,0,acidity,{slip}"]))
    assert f'row 14, column score: "{slip}" lies outside the scale {scale} of the other scores' in said
    wide = "assessor,hours,acidity,bitterness\n" + "\n".join(
        [*(f"P{k},8,{usual},{usual}" for k in range(12)), f"P1,0,{usual},{slip}"]
    )
    assert "row 14, column bitterness" in _said(wide)


def test_other_scales_are_taken_as_they_are() -> None:
    """Where a tenth or more lies outside both, any finite number is a score."""
    rows = "\n".join(f"P{k},8,acidity,{50 if k % 5 else -50}" for k in range(20))
    assert scores_from("s.csv", (TIDY + rows).encode())["score"].min() == -50
    fits = "\n".join(f"P{k},8,acidity,{(0, 10)[k % 2]}" for k in range(20))
    assert len(scores_from("s.csv", (TIDY + fits).encode())) == 20


def test_a_second_score_for_the_same_serving_is_refused_with_both_rows() -> None:
    """Replicate, sitting and position tell servings apart; values do not."""
    header = "assessor,hours,attribute,score,replicate\n"
    said = _said(header + "Heron,8,acidity,6,1\nOtter,8,acidity,6,1\nHeron,8,acidity,7,1\n")
    assert "row 4, column score: 7 stands against 6 in row 2 for the same serving" in said
    assert "row 3: repeats row 2" in _said(header + "Heron,8,acidity,6,1\nHeron,8,acidity,6,1\n")
    with_sitting = "assessor,hours,attribute,score,sitting,position\nHeron,8,acidity,6,1,2\nHeron,8,acidity,7,2,2\n"
    assert len(scores_from("s.csv", with_sitting.encode())) == 2
    assert "row 4, column score" in _said(with_sitting + "Heron,8,acidity,5,2,2\n")


def test_a_file_pasted_twice_does_not_pass_for_replicates() -> None:
    """It would halve the error of the panel; a floor of equal scores stays allowed."""
    once = "".join(f"P{k % 6},{k // 6 * 8},acidity,{k / 3:.1f}\n" for k in range(18))
    assert "row 20: from here on all rows repeat the first ones" in _said(TIDY + once + once)
    floor = "".join(f"P{k % 6},{k // 6 * 8},off-notes,0\n" for k in range(18))
    assert len(scores_from("s.csv", (TIDY + floor + floor).encode())) == 36


@pytest.mark.parametrize(
    ("attributes", "sentence"),
    [
        (["Acidity"], 'no score of "Acidity", which the rule decides on; is it "acidity"?'),
        (["acidity", "smoke"], 'no score of "smoke", which the rule decides on; add its scores or take it out'),
    ],
)
def test_an_attribute_that_the_rule_decides_on_must_be_there(attributes: list[str], sentence: str) -> None:
    """Tidy and wide, with the nearest name."""
    assert sentence in _said(TIDY + "Heron,8,acidity,6\n", attributes=attributes)
    assert sentence in _said("assessor,hours,acidity\nHeron,8,6\n", attributes=attributes)


def test_a_sentence_stays_one_line_however_wild_the_cell() -> None:
    """Control characters and long texts are cut."""
    said = _said(TIDY + 'Heron,8,acidity,"' + "x\n\x1b[31m" * 50 + '"\n')
    assert "\n" not in said
    assert "\x1b" not in said
    assert len(said) < 200


# ---- spreadsheets --------------------------------------------------------------------------------------------------
HEADER = ["assessor", "hours", "attribute", "score"]


def test_rows_of_a_spreadsheet_keep_their_numbers() -> None:
    """A table that begins lower down is named as the program shows it."""
    content = _xlsx([[], HEADER, [], ["Heron", "8h", "acidity", 6]])
    assert 's.xlsx, row 4, column hours: "8h" is not a number; write 8.' in _said(content, "s.xlsx")


@pytest.mark.parametrize("cell", [True, "6 points", datetime.date(2026, 6, 5), "#N/A"])
def test_cells_that_are_no_numbers_are_refused(cell: object) -> None:
    """True is not 1."""
    assert "column score" in _said(_xlsx([HEADER, ["Heron", 8, "acidity", cell]]), "s.xlsx")


@pytest.mark.parametrize(("names", "read"), [(("notes", "Scores"), True), (("notes", "more"), False)])
def test_among_several_filled_sheets_the_one_named_scores_is_read(names: tuple[str, ...], read: bool) -> None:
    """Empty sheets do not count; two filled ones without that name are refused."""
    buffer = io.BytesIO()
    book = xlsxwriter.Workbook(buffer)
    for name, row in zip(names, (["a", "b"], HEADER), strict=True):
        page = book.add_worksheet(name)
        page.write_row(0, 0, row)
        page.write_row(1, 0, ["Heron", 8, "acidity", 6])
    book.add_worksheet("empty")
    book.close()
    if read:
        assert len(scores_from("s.xlsx", buffer.getvalue())) == 1
    else:
        assert '2 sheets hold cells; name the one to read "scores".' in _said(buffer.getvalue(), "s.xlsx")


# ---- Parquet -------------------------------------------------------------------------------------------------------
def test_what_a_data_frame_leaves_out_is_a_missing_score() -> None:
    """Not a number in a float column of Parquet; the index of the frame is no attribute."""
    frame = pd.DataFrame({"assessor": ["Heron", "Otter"], "hours": [8, 8], "acidity": [6.0, np.nan]}, index=[5, 9])
    assert scores_from("s.parquet", _parquet(frame))["attribute"].tolist() == ["acidity"]


def test_parquet_with_lists_is_refused() -> None:
    """One score a row."""
    frame = pd.DataFrame({"assessor": ["Heron"], "hours": [8], "acidity": [[6.0, 5.0]]})
    assert "a column holds lists" in _said(_parquet(frame))


def test_parquet_whose_short_dictionary_unpacks_to_much_text_is_refused() -> None:
    """A text of a hundred kilobytes, kept once and used in a thousand rows."""
    frame = pd.DataFrame({"assessor": pd.Categorical(["x" * 100_000] * 1000), "hours": 8, "acidity": 6.0})
    content = _parquet(frame)
    assert len(content) < 200_000
    assert "the texts unpack to more than 50 MB" in _said(content)


# ---- as a property -------------------------------------------------------------------------------------------------
names = st.text(st.characters(codec="utf-8", categories=("L", "N", "P", "S", "Zs")), min_size=1, max_size=12)
panels = st.tuples(
    st.lists(
        names.map(str.strip).filter(bool),
        min_size=1,
        max_size=4,
        unique_by=lambda name: " ".join(name.casefold().split()),
    ),
    st.lists(st.floats(0, 100).map(lambda hours: round(hours, 2)), min_size=1, max_size=4, unique=True),
    st.lists(
        st.sampled_from(["acidity", "off-notes", "bitter, sweet", 'the "roast"', "señal"]),
        min_size=1,
        max_size=3,
        unique=True,
    ),
    st.integers(0, 2**32),
)


@settings(max_examples=60, deadline=None)
@given(panels)
def test_whatever_names_and_numbers_a_table_holds_come_back(
    panel: tuple[list[str], list[float], list[str], int],
) -> None:
    """Written by pandas and xlsxwriter, tidy and wide, with commas and with semicolons, and as texts of a workbook."""
    people, hours, attributes, seed = panel
    rng = np.random.default_rng(seed)
    tidy = pd.DataFrame(
        [(who, hour, line, rng.integers(0, 101) / 10) for who in people for hour in hours for line in attributes],
        columns=["assessor", "hours", "attribute", "score"],
    )
    wide = tidy.pivot(index=["assessor", "hours"], columns="attribute", values="score").reset_index()
    files = [
        tidy.to_csv(index=False).encode(),
        tidy.to_csv(index=False, sep=";", decimal=",").encode(),
        wide.to_csv(index=False).encode(),
        _parquet(tidy),
        _xlsx([list(tidy.columns), *tidy.astype(object).to_numpy().tolist()]),
        _xlsx([list(tidy.columns), *([*row[:3], str(row[3]).replace(".", ",")] for row in tidy.to_numpy().tolist())]),
    ]
    wanted = tidy.sort_values(["assessor", "hours", "attribute"]).reset_index(drop=True)
    for content in files:
        read = scores_from("s", content).sort_values(["assessor", "hours", "attribute"]).reset_index(drop=True)
        pd.testing.assert_frame_equal(read[list(wanted.columns)], wanted)
