"""Files of instrument readings, a row a repeat: hours, quantity, value. Points of flow curves stand in rows of their
own, or in a file of their own, with shear_rate and stress in place of value.
"""

from __future__ import annotations

import math
from difflib import get_close_matches
from pathlib import Path

import pandas as pd

from analysis.files.columns import Piece, hours_wrong, need, numbers, text_of, texts
from analysis.files.score_files import ScoreError, Table, content_of, filled, plain, table_from

LARGEST = 1e9
TEXTS = ("batch", "unit", "instrument", "method", "portion", "curve")
KNOWN = ("hours", "quantity", "value", *TEXTS, "shear_rate", "stress", "branch")
BRANCHES = ("up", "down")


def read_readings(path: Path | str, piece: Piece = "hours") -> pd.DataFrame:
    """The readings in a CSV, XLSX or Parquet file; see `readings_from`. Raises ScoreError, also without a file."""
    return readings_from(*content_of(path), piece)


def readings_from(name: str, content: bytes, piece: Piece = "hours") -> pd.DataFrame:
    """Readings, one row a repeat or a point of a flow curve, from the bytes of a file.

    Columns hours, quantity, value; for points shear_rate (1/s) and stress (Pa) instead of the last, optionally branch
    ("up", "down") and curve, one number a fresh portion. Optional for both: batch, unit, instrument, method, portion.
    `piece` "make": a column make, and hours only where makes were read at several.

    Returns the columns that the file has: numbers as float, NaN where empty, texts "" where empty. Raises ScoreError.
    """
    table = _known(table_from(plain(name, 80), content), piece)
    curves = "shear_rate" in table.columns or "stress" in table.columns
    for column in (piece,) if curves else (piece, "quantity", "value"):
        need(table, column)
    frame = pd.DataFrame({"make": texts(table, "make")}) if piece == "make" else pd.DataFrame()
    if "hours" in table.columns:
        frame["hours"] = numbers(table, "hours", hours_wrong)
    for column in ("value", "shear_rate", "stress"):
        rule = _positive if column == "shear_rate" else _finite
        frame[column] = numbers(table, column, rule, math.nan) if column in table.columns else math.nan
    if "quantity" in table.columns:
        # Spelt in two ways it would be two quantities; a point needs none.
        named = table if not curves else _where_filled(table, "quantity")
        texts(named, "quantity")
    for column in ("quantity", *TEXTS):
        if column in table.columns:
            frame[column] = [text_of(cell) for cell in table.columns[column]]
    if "branch" in table.columns:
        frame["branch"] = _branches(table)
    _check_rows(table, frame)
    _refuse_twice(table, frame)
    return frame


def _known(table: Table, piece: Piece) -> Table:
    """The table with its column names in lower case; one that is not known is refused, for it would be lost."""
    columns = {name.casefold(): cells for name, cells in table.columns.items()}
    known = KNOWN if piece == "hours" else (piece, *KNOWN)
    for name in columns:
        if name not in known:
            near = get_close_matches(name, known, 1, 0.6)
            mend = f"is it {near[0]}?" if near else f"known are {', '.join(known)}"
            raise ScoreError(f'{table.name}, row 1: the column "{plain(name)}" is not known; {mend}')
    return Table(table.name, columns, table.rows, table.decimal_comma)


def _where_filled(table: Table, column: str) -> Table:
    at = [row for row, cell in enumerate(table.columns[column]) if filled(cell)]
    columns = {name: [cells[row] for row in at] for name, cells in table.columns.items()}
    return Table(table.name, columns, [table.rows[row] for row in at], table.decimal_comma)


def _branches(table: Table) -> list[str]:
    cells = [text_of(cell).casefold() for cell in table.columns["branch"]]
    for position, cell in enumerate(cells):
        if cell and cell not in BRANCHES:
            table.fail(position, "branch", "is not known; write up or down")
    return cells


def _check_rows(table: Table, frame: pd.DataFrame) -> None:
    """A row is a reading of a quantity, or a point of a curve, and nothing between."""
    for position, (value, rate, stress) in enumerate(frame[["value", "shear_rate", "stress"]].to_numpy().tolist()):
        is_point = not (math.isnan(rate) and math.isnan(stress))
        lacks = next((name for name, cell in (("shear_rate", rate), ("stress", stress)) if math.isnan(cell)), "")
        if is_point and lacks and lacks in table.columns:
            table.fail(position, lacks, "is empty; a point of a flow curve has a shear_rate and a stress")
        if is_point and lacks:
            need(table, lacks)
        if is_point and not math.isnan(value):
            table.fail(position, "value", "stands beside a shear_rate; a point of a flow curve has its stress alone")
        if not is_point and math.isnan(value):
            column = "value" if "value" in table.columns else "shear_rate"
            table.fail(position, column, "is empty; leave the whole row out when nothing was read")
        if not is_point and not frame.get("quantity", pd.Series([""] * len(frame)))[position]:
            table.fail(position, "quantity" if "quantity" in table.columns else "value", "has no quantity; name it")


def _refuse_twice(table: Table, frame: pd.DataFrame) -> None:
    """Two stresses at one rate of one curve would be two curves without a number."""
    keys = [name for name in ("make", "batch", "hours", "curve", "branch", "shear_rate") if name in frame]
    points = frame[frame["shear_rate"].notna()]
    twice = points[points.duplicated(keys)]
    if len(twice):
        table.fail(int(twice.index[0]), "shear_rate", "stands there twice for one curve; number the portions in curve")


def _finite(value: float) -> str | None:
    return None if abs(value) <= LARGEST else "is too large for a reading; correct it"


def _positive(value: float) -> str | None:
    return _finite(value) if value > 0 else "is not above 0; write the rate in 1/s"
