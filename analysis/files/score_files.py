"""A CSV, XLSX or Parquet file as columns of cells, each row with the number that a spreadsheet shows (header = row 1).

What a file is, its bytes tell, not its name. Limits on size come before any parser. Reading order: the error, the
table, the kinds of file, rows and header.
"""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, NoReturn

MOST_BYTES = 10 * 2**20
_SEPARATOR = re.compile(r'"?sep=([,;\t])"?\r?\n', re.IGNORECASE)
MOST_ROWS = 200_000
MOST_COLUMNS = 100
KEYS = ("assessor", "hours")
OPTIONAL = ("sitting", "replicate", "position", "batch")
KNOWN = (*KEYS, "sample", "attribute", "score", *OPTIONAL)


class ScoreError(ValueError):
    """A score file is not usable; str() is one sentence: file, row, column, value, rule."""

    def __init__(self, sentence: str) -> None:
        """Close the sentence."""
        super().__init__(sentence if sentence.endswith((".", "?")) else f"{sentence}.")


@dataclass(frozen=True, slots=True)
class Table:
    """Cells by column, with the row number of each; `decimal_comma` tells that a text "6,5" means 6.5."""

    name: str
    columns: dict[str, list[Any]]
    rows: list[int]
    decimal_comma: bool = False

    def fail(self, position: int, column: str, rule: str) -> NoReturn:
        """Raise the sentence about one cell; `position` counts from 0 among the rows."""
        cell = plain(self.columns[column][position])
        raise ScoreError(f'{self.name}, row {self.rows[position]}, column {plain(column)}: "{cell}" {rule}')


def content_of(path: Path | str) -> tuple[str, bytes]:
    """The name to show and the bytes of a file, no more than are read. Raises ScoreError."""
    path = Path(path)
    name = plain(path.name, 80)
    try:
        with path.open("rb") as file:
            return name, file.read(MOST_BYTES + 1)
    except (OSError, ValueError) as problem:
        raise ScoreError(f"{name}: the file cannot be read; check its name and folder") from problem


def table_from(name: str, content: bytes) -> Table:
    """The table in the bytes of a file. Raises ScoreError."""
    if len(content) > MOST_BYTES:
        raise ScoreError(f"{name}: the file is larger than 10 MB; keep only the scores of one study in it")
    if not content.strip():
        raise ScoreError(f"{name}: the file is empty; write a header row and one row a score")
    if content.startswith(b"PK"):
        return _from_xlsx(name, content)
    if content.startswith(b"PAR1"):
        return _from_parquet(name, content)
    if content.startswith(b"\xd0\xcf\x11\xe0"):
        raise ScoreError(f"{name}: this is an old or locked spreadsheet; save it as XLSX without a password, or as CSV")
    return _from_csv(name, _text(name, content))


def _text(name: str, content: bytes) -> str:
    """The text of a CSV file: UTF-8, with or without a mark at its beginning."""
    if content.startswith((b"\xff\xfe", b"\xfe\xff")):
        raise ScoreError(f"{name}: the file is saved as UTF-16; save it as CSV UTF-8")
    if b"\0" in content:
        raise ScoreError(f"{name}: this is not a table of text; save the scores as CSV UTF-8, XLSX or Parquet")
    try:
        return content.decode("utf-8-sig")
    except UnicodeDecodeError as problem:
        row = content.count(b"\n", 0, problem.start) + 1
        raise ScoreError(f"{name}, row {row}: a letter is not saved as UTF-8; save the file as CSV UTF-8") from problem


def _from_csv(name: str, text: str) -> Table:
    told = _SEPARATOR.match(text)  # a line for one spreadsheet, which does not count it as a row
    delimiter, text = (told[1], text[told.end() :]) if told else (_delimiter(text), text)
    records = csv.reader(io.StringIO(text, newline=""), delimiter=delimiter, strict=True)
    rows: list[Sequence[Any]] = []
    try:
        for record in records:
            rows.append(record)
            if len(rows) > MOST_ROWS + 1:
                break
    except csv.Error as problem:
        raise ScoreError(
            f"{name}, row {len(rows) + 1}: the quotes in this row do not close; mend or remove them"
        ) from problem
    return _from_rows(name, rows, decimal_comma=delimiter != ",", short_rows=False)


def _delimiter(text: str) -> str:
    """The separator that stands most often in the header; commas by default."""
    header = next((line for line in text.splitlines() if line.strip()), "")
    return max(",;\t", key=header.count)


def _from_xlsx(name: str, content: bytes) -> Table:
    from analysis.files.spreadsheets import SpreadsheetError, xlsx_rows

    try:
        rows: list[Sequence[Any]] = list(xlsx_rows(content))
    except SpreadsheetError as problem:
        raise ScoreError(f"{name}: {problem}") from problem
    return _from_rows(name, rows, decimal_comma=True, short_rows=True)


def _from_parquet(name: str, content: bytes) -> Table:
    import pyarrow as pa
    from pyarrow import parquet

    try:
        metadata = parquet.read_metadata(io.BytesIO(content))
        texts = _check_parquet(name, metadata)
        columns = parquet.ParquetFile(io.BytesIO(content), read_dictionary=texts).read()
        _check_texts(name, columns)
        frame = {key: cells for key, cells in columns.to_pydict().items() if not key.startswith("__index_level_")}
    except ScoreError:
        raise
    except (pa.ArrowException, OSError, ValueError, KeyError, TypeError) as problem:
        raise ScoreError(f"{name}: the Parquet file is damaged; write it again, or save the scores as CSV") from problem
    rows: list[Sequence[Any]] = [list(frame), *map(list, zip(*frame.values(), strict=True))]
    return _from_rows(name, rows, decimal_comma=False, short_rows=True)


def _check_parquet(name: str, metadata: Any) -> list[str]:
    """Refuse by what the file declares: rows, columns, unpacked size, nested columns. Returns the text columns."""
    columns = [metadata.schema.column(column) for column in range(metadata.num_columns)]
    unpacked = sum(metadata.row_group(group).total_byte_size for group in range(metadata.num_row_groups))
    if metadata.num_rows > MOST_ROWS:
        raise ScoreError(f"{name}: more than {MOST_ROWS} rows; keep only the scores of one study in it")
    if metadata.num_columns > MOST_COLUMNS or unpacked > 5 * MOST_BYTES:
        raise ScoreError(f"{name}: more than {MOST_COLUMNS} columns or 50 MB unpacked; keep only the scores in it")
    if any(column.max_repetition_level or "." in column.path for column in columns):
        raise ScoreError(f"{name}: a column holds lists or records; write one score a row")
    return [column.name for column in columns if column.physical_type == "BYTE_ARRAY"]


def _check_texts(name: str, columns: Any) -> None:
    """Refuse texts that are short in the file, kept once each, and long when every row gets its copy."""
    import pyarrow as pa
    import pyarrow.compute as pc

    size = 0
    for column in columns.columns:
        for chunk in column.chunks if pa.types.is_dictionary(column.type) else ():
            lengths = pc.binary_length(chunk.dictionary).take(chunk.indices)
            size += pc.sum(lengths.cast("int64")).as_py() or 0
    if size > 5 * MOST_BYTES:
        raise ScoreError(f"{name}: the texts unpack to more than 50 MB; keep only the scores in it")


def _from_rows(name: str, rows: list[Sequence[Any]], decimal_comma: bool, short_rows: bool) -> Table:
    """A table from a header row and data rows; blank rows are skipped but counted."""
    used = [(number, row) for number, row in enumerate(rows, start=1) if any(filled(cell) for cell in row)]
    if not used:
        raise ScoreError(f"{name}: the file is empty; write a header row and one row a score")
    names, data = _header(name, *used[0]), used[1:]
    if not data:
        raise ScoreError(f"{name}: there is a header but no row below it; write one row a score")
    if len(data) > MOST_ROWS:
        raise ScoreError(f"{name}: more than {MOST_ROWS} rows; keep only the scores of one study in it")
    fitted = [_fitted(name, number, row, len(names), short_rows) for number, row in data]
    columns = dict(zip(names, map(list, zip(*fitted, strict=True)), strict=True))
    return Table(name, columns, [number for number, _ in data], decimal_comma)


def _header(name: str, number: int, header: Sequence[Any]) -> list[str]:
    """Column names, the known ones in lower case; trailing empty ones cut, others refused."""
    names = [_column_name(cell) for cell in header]
    while names and not names[-1]:
        names.pop()
    if len(names) > MOST_COLUMNS:
        raise ScoreError(
            f"{name}: {len(names)} columns and at most {MOST_COLUMNS} are read; keep only the scores in it"
        )
    for place, column in enumerate(names, start=1):
        if not column:
            raise ScoreError(f"{name}, row {number}: column {place} has no name; name it or remove it")
        if names.count(column) > 1:
            raise ScoreError(f"{name}, row {number}: the column {plain(column)} stands there twice; keep one")
    return names


def _column_name(cell: Any) -> str:
    text = str(cell).strip() if filled(cell) else ""
    return text.casefold() if text.casefold() in KNOWN else text


def filled(cell: Any) -> bool:
    """False for blanks, and for the NaN that data frames write where nothing is."""
    return bool(cell.strip()) if isinstance(cell, str) else cell is not None and cell == cell


def _fitted(name: str, number: int, row: Sequence[Any], width: int, short_rows: bool) -> Sequence[Any]:
    """The row at the header's width; a CSV row that ends early may be the end of a torn file."""
    if len(row) > width and any(filled(cell) for cell in row[width:]):
        mend = "name every column; decimal commas need semicolons between the cells"
        raise ScoreError(f"{name}, row {number}: {len(row)} cells and only {width} columns; {mend}")
    if len(row) < width:
        if not short_rows:
            raise ScoreError(f"{name}, row {number}: {len(row)} cells and {width} columns; is the row cut off?")
        return [*row, *[""] * (width - len(row))]
    return row if len(row) == width else row[:width]


def plain(cell: Any, longest: int = 40) -> str:
    """A cell as one short line of printable text."""
    text = "" if cell is None else str(cell)
    line = "".join(letter if letter.isprintable() else " " for letter in text[: longest + 1]).strip()
    return line if len(text) <= longest else f"{line[:longest]}…"
