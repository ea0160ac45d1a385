"""Files that chance has mangled: an answer or one sentence, never anything else, and the store untouched.

Seeded, so that a failure can be repeated: two thousand inputs over scores (bytes and rows of CSV, bytes of XLSX and of
Parquet) and rules (bytes and lines of TOML).
"""

from __future__ import annotations

import io
import json
import random
import re
from collections.abc import Callable
from pathlib import Path

import pandas as pd
import pytest
import xlsxwriter

from demo_panels import generate
from studyapp.errors import BadInput
from studyapp.kinds.hours.files.bringing import decide_files
from studyapp.kinds.hours.files.decisions import decision_document
from studyapp.kinds.hours.findings import hours_finding
from studyapp.store import open_store

pytestmark = pytest.mark.reliability
ROUNDS, EACH = 10, 40
SCORES = (generate.FOLDER / "window" / "scores.csv").read_bytes()
RULE = (generate.FOLDER / "window" / "RULE.toml").read_bytes()
CELLS = [
    "",
    " ",
    "0",
    "-1",
    "10",
    "11",
    "1e9",
    "nan",
    "inf",
    "8h",
    "five",
    "6,5",
    '"',
    "'",
    "é",
    "\x00",
    "٦",
    "=A1",
    "Heron",
]
CELLS += ["acidity", "hours", ",", ";", "1" * 400, "0.1.2", "-", "TRUE", "1e-320", "2026-11-25", "\ufeff", "🍫"]
LINES = ["alpha = 5", "looks = 2", "look = 2", 'adjust = ["position"]', "adjust = [[]]", "control = 4", "control = 99"]
LINES += [
    "margin = 0",
    "limit = 4",
    "limit = nan",
    'wanted = "same"',
    "[attributes.smoke]",
    "[[attributes]]",
    "= 3",
    "x = {",
]
LINES += [
    "[attributes]",
    'wanted = "higher"',
    "margin = 0.001",
    "margin = 999999",
    "alpha = 0.499",
    "alpha = 1e-9",
    "\x00",
]


def _bytes(content: bytes, rng: random.Random) -> bytes:
    """Bytes flipped, cut out, doubled, or the end torn off."""
    mangled = bytearray(content)
    for _step in range(rng.choice((1, 1, 2, 5, 20))):
        at = rng.randrange(len(mangled) or 1)
        match rng.randrange(4):
            case 0 if mangled:
                mangled[min(at, len(mangled) - 1)] = rng.randrange(256)
            case 1:
                del mangled[at : at + rng.choice((1, 3, 50))]
            case 2:
                mangled[at:at] = mangled[at : at + rng.choice((1, 20, 500))]
            case _:
                del mangled[max(at, 1) :]
    return bytes(mangled)


def _rows(content: bytes, rng: random.Random) -> bytes:
    """Cells replaced, rows and columns dropped, doubled, emptied or shuffled; still a table most of the time."""
    rows = [line.split(",") for line in content.decode().splitlines()]
    for _step in range(rng.choice((1, 1, 2, 4))):
        row, column = rng.randrange(len(rows)), rng.randrange(len(rows[0]))
        match rng.randrange(9):
            case 0 | 1:
                rows[row][min(column, len(rows[row]) - 1)] = rng.choice(CELLS)
            case 2:
                rows = [line[:column] + line[column + 1 :] for line in rows] if len(rows[0]) > 1 else rows
            case 3:
                rows.insert(row, list(rows[rng.randrange(len(rows))]))
            case 4:
                rows = [rows[0], *(line for line in rows[1:] if rng.random() < rng.choice((0.05, 0.5, 0.95)))]
            case 5:
                rows = [rows[0], *rng.sample(rows[1:], len(rows) - 1)]
            case 6:
                value = rng.choice(CELLS)
                rows = [rows[0], *([*line[:column], value, *line[column + 1 :]] for line in rows[1:])]
            case 7:
                rows = [rows[0], *(line for line in rows[1:] if line[0] in ("Heron", "Otter", "Wren", "Hare", "Vole"))]
            case _:
                value = rng.choice(CELLS)
                rows = [
                    rows[0],
                    *(
                        [*line[:column], value, *line[column + 1 :]] if rng.random() < 0.3 else line
                        for line in rows[1:]
                    ),
                ]
    return "\n".join(",".join(line) for line in rows).encode("utf-8", "replace")


def _lines(content: bytes, rng: random.Random) -> bytes:
    """Lines of a rule replaced, doubled, dropped or swapped."""
    lines = content.decode().splitlines()
    for _step in range(rng.choice((1, 1, 2, 3))):
        at = rng.randrange(len(lines))
        match rng.randrange(4):
            case 0:
                lines[at] = rng.choice(LINES)
            case 1:
                lines.insert(at, rng.choice([*LINES, lines[at]]))
            case 2:
                lines[at] = lines[at].replace("=", rng.choice(["= -", '= "', "= [", "==", "= 1"]))
            case _:
                del lines[at]
        lines = lines or [""]
    return "\n".join(lines).encode()


def _xlsx() -> bytes:
    buffer = io.BytesIO()
    book = xlsxwriter.Workbook(buffer)
    page = book.add_worksheet("scores")
    for number, line in enumerate(SCORES.decode().splitlines()):
        page.write_row(
            number, 0, [float(cell) if cell.replace(".", "").isdigit() else cell for cell in line.split(",")]
        )
    book.close()
    return buffer.getvalue()


def _parquet() -> bytes:
    buffer = io.BytesIO()
    pd.read_csv(io.BytesIO(SCORES)).to_parquet(buffer)
    return buffer.getvalue()


KINDS: dict[str, tuple[Callable[[], bytes], Callable[[bytes, random.Random], bytes], str]] = {
    "bytes of CSV": (lambda: SCORES, _bytes, "scores"),
    "rows of CSV": (lambda: SCORES, _rows, "scores"),
    "bytes of XLSX": (_xlsx, _bytes, "scores"),
    "bytes of TOML": (lambda: RULE, _bytes, "rule"),
    "lines of TOML": (lambda: RULE, _lines, "rule"),
}


def _settled(scores: Path, rule: Path) -> str | None:
    """None for an answer that can be told in words and as JSON, else the sentence that refuses."""
    try:
        decision, offers = decide_files(scores, rule, draws=50)
    except BadInput as refused:
        return str(refused)
    told = hours_finding(decision, offers)
    assert told.headline.endswith(".")
    assert not re.search(r"\b(nan|inf|None)\b", told.lede)
    assert json.dumps(decision_document(decision, offers, sealed=False), allow_nan=False)
    return None


@pytest.mark.parametrize("round_", range(ROUNDS))
@pytest.mark.parametrize("kind", list(KINDS))
def test_a_mangled_file_gets_an_answer_or_one_sentence(kind: str, round_: int, tmp_path: Path) -> None:
    """The sentence names the file; nothing is written beside it."""
    make, mangle, which = KINDS[kind]
    sound = make()
    scores, rule = tmp_path / "scores.csv", tmp_path / "RULE.toml"
    scores.write_bytes(SCORES)
    rule.write_bytes(RULE)
    said = []
    for number in range(EACH):
        rng = random.Random(f"{kind} {round_} {number}")
        (scores if which == "scores" else rule).write_bytes(mangle(sound, rng))
        said.append(_settled(scores, rule))
    refused = [sentence for sentence in said if sentence is not None]
    assert refused, "nothing was mangled enough to be refused"
    for sentence in refused:
        assert sentence.startswith(("scores.csv", "RULE.toml"))
        assert sentence.endswith((".", "?"))
        assert sentence.isprintable()
        assert len(sentence) < 400
    assert sorted(path.name for path in tmp_path.iterdir()) == ["RULE.toml", "scores.csv"]


def test_a_mangled_parquet_file_gets_an_answer_or_one_sentence(tmp_path: Path) -> None:
    """Fewer of them: its parser is not ours, and every byte of its footer matters."""
    sound = _parquet()
    scores, rule = tmp_path / "scores.csv", tmp_path / "RULE.toml"
    rule.write_bytes(RULE)
    said = []
    for number in range(60):
        scores.write_bytes(_bytes(sound, random.Random(number)))
        said.append(_settled(scores, rule))
    assert any(sentence is not None for sentence in said)
    assert all(sentence is None or sentence.startswith("scores.csv") for sentence in said)


def test_a_store_in_the_same_folder_is_not_touched(tmp_path: Path) -> None:
    """Files are read, decided on and forgotten."""
    open_store(f"sqlite:///{tmp_path / 'store.sqlite'}").close()
    before = {path.name: path.read_bytes() for path in tmp_path.iterdir()}
    scores, rule = tmp_path / "scores.csv", tmp_path / "RULE.toml"
    for content in (SCORES, SCORES[:500], b"\x00"):
        scores.write_bytes(content)
        rule.write_bytes(RULE)
        _settled(scores, rule)
    assert {name: (tmp_path / name).read_bytes() for name in before} == before
