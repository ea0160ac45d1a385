"""Files of answers: what is read, and that every problem is one sentence naming file, row, column, value and rule."""

from __future__ import annotations

from pathlib import Path

import pytest

from analysis.files.answers import read_answers, read_batches, read_doses, read_rounds
from analysis.files.score_files import ScoreError


def _file(folder: Path, text: str, name: str = "answers.csv") -> Path:
    path = folder / name
    path.write_text(text, encoding="utf-8")
    return path


def test_answers_are_counted_by_assessor(tmp_path: Path) -> None:
    """In the order of first appearance; header in any case, blank lines skipped."""
    path = _file(tmp_path, "Assessor,Correct\nLark,1\nHeron,0\n\nLark,0\nHeron,1\nWren,1\n")
    assert read_answers(path).by_assessor() == (("Lark", "Heron", "Wren"), (2, 2, 1), (1, 1, 1))


def test_semicolons_and_decimal_commas_are_read(tmp_path: Path) -> None:
    """As spreadsheets of many languages write them."""
    answers = read_doses(_file(tmp_path, "assessor;dose;correct\nLark;2,5;1\nLark;5;0\n"))
    assert answers.level == (2.5, 5.0)


def test_a_workbook_is_read(tmp_path: Path) -> None:
    """Written by another library."""
    import xlsxwriter

    path = tmp_path / "answers.xlsx"
    with xlsxwriter.Workbook(str(path)) as workbook:
        sheet = workbook.add_worksheet()
        for row, cells in enumerate([["assessor", "batch", "correct"], [7, 1, 1], [7, 2, 0]]):
            sheet.write_row(row, 0, cells)
    answers = read_batches(path)
    assert (answers.assessor, answers.level, answers.correct) == (("7", "7"), (1.0, 2.0), (1, 0))


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("assessor,correct\nLark,2\n", 'row 2, column correct: "2" is not 0 or 1'),
        ("assessor,correct\nLark,yes\n", 'row 2, column correct: "yes" is not 0 or 1'),
        ("assessor,correct\nLark,\n", 'row 2, column correct: "" is not 0 or 1'),
        ("assessor,correct\n,1\n", 'row 2, column assessor: "" is empty'),
        ("assessor,correct\nLark,1\nlark,0\n", 'row 3, column assessor: "lark" and "Lark" look like one name'),
        ("assessor,right\nLark,1\n", "row 1: there is no column correct"),
        ("assesor,correct\nLark,1\n", 'rename "assesor" to assessor'),
        ("assessor,correct\n", "there is a header but no row below it"),
        ("", "the file is empty"),
    ],
)
def test_each_problem_of_a_test_is_one_sentence(tmp_path: Path, text: str, words: str) -> None:
    """File, row, column, value, rule."""
    with pytest.raises(ScoreError) as refused:
        read_answers(_file(tmp_path, text))
    sentence = str(refused.value)
    assert sentence.startswith("answers.csv")
    assert words in sentence
    assert sentence.endswith(".")
    assert "\n" not in sentence


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("assessor,dose,correct\nLark,-0.5,1\n", 'row 2, column dose: "-0.5" is below 0'),
        ("assessor,dose,correct\nLark,-5,1\n", 'row 2, column dose: "-5" is below 0'),
        ("assessor,dose,correct\nLark,5 min,1\n", 'row 2, column dose: "5 min" is not a number'),
        ("assessor,correct\nLark,1\n", "there is no column dose"),
        (
            "assessor,dose,correct\nLark,5,1\nLark,10,1\nWren,5,1\nWren,5,0\nWren,10,1\n",
            'row 4, column assessor: "Wren" counts 1 at dose 10 and 2 elsewhere; equal trials are needed',
        ),
    ],
)
def test_each_problem_of_doses_is_one_sentence(tmp_path: Path, text: str, words: str) -> None:
    """Doses are above 0, and an assessor has equal trials at each."""
    with pytest.raises(ScoreError) as refused:
        read_doses(_file(tmp_path, text))
    assert words in str(refused.value)


def test_lost_answers_are_accepted_when_said_so(tmp_path: Path) -> None:
    """`uneven` accepts an assessor with unequal trials."""
    path = _file(tmp_path, "assessor,dose,correct\nWren,5,1\nWren,5,0\nWren,10,1\n")
    assert len(read_doses(path, uneven=True).correct) == 3


@pytest.mark.parametrize("batch", ["0", "1.5", "first"])
def test_batches_are_whole_numbers_from_one(tmp_path: Path, batch: str) -> None:
    """The first plain batch after is 1."""
    with pytest.raises(ScoreError, match=f'row 2, column batch: "{batch}" is not'):
        read_batches(_file(tmp_path, f"assessor,batch,correct\nLark,{batch},1\n"))


def test_a_missing_file_is_named_without_its_folder(tmp_path: Path) -> None:
    """Check its name and folder."""
    with pytest.raises(ScoreError, match=r"^none\.csv: the file cannot be read"):
        read_answers(tmp_path / "none.csv")


def test_rounds_are_read_by_their_column_or_by_the_order_of_rows(tmp_path: Path) -> None:
    """A missing answer is None; a second one in the same round, or more people than are seated, is named."""
    by_column = _file(tmp_path, "assessor,round,correct\nLark,1,1\nHeron,1,0\nHeron,2,1\n", "rounds.csv")
    assert read_rounds(by_column, 3)[0] == [[1, 0, None], [None, 1, None]]
    by_rows = _file(tmp_path, "assessor,correct\nLark,1\nHeron,0\nLark,0\n", "rows.csv")
    assert read_rounds(by_rows, 2) == ([[1, 0], [0, None]], None)
    with pytest.raises(ScoreError, match="2 assessors and 1 are seated"):
        read_rounds(by_rows, 1)
    twice = _file(tmp_path, "assessor,round,correct\nLark,1,1\nLark,1,0\n", "twice.csv")
    with pytest.raises(ScoreError, match='row 3: "Lark" has two answers in round 1'):
        read_rounds(twice, 2)


def test_words_for_right_and_wrong_and_a_line_for_the_separator_are_read(tmp_path: Path) -> None:
    """As spreadsheets write them; the line sep= is no row of the sheet that one of them shows."""
    read = read_answers(_file(tmp_path, "sep=;\nassessor;correct\nLark;TRUE\nHeron;False\n"))
    assert (read.assessor, read.correct, read.rows) == (("Lark", "Heron"), (1, 0), (2, 3))


def test_one_and_zero_one_are_asked_about(tmp_path: Path) -> None:
    """A spreadsheet drops leading zeros, and two people say more than one."""
    with pytest.raises(ScoreError, match='"1" look like one name'):
        read_answers(_file(tmp_path, "assessor,correct\n1,1\n01,0\n"))


def test_dose_0_is_the_blank(tmp_path: Path) -> None:
    """Blank against blank is kept, and a dose below it refused."""
    assert read_doses(_file(tmp_path, "assessor,dose,correct\nLark,0,1\nLark,5,0\n")).level == (0.0, 5.0)
    with pytest.raises(ScoreError, match="is below 0"):
        read_doses(_file(tmp_path, "assessor,dose,correct\nLark,-1,1\n"))
