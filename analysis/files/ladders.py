"""Files of a butter ladder, a row a fresh portion: added, quantity, value; `conched` names the conched mass."""

from __future__ import annotations

import math
from pathlib import Path

import pandas as pd

from analysis.files.columns import need, numbers, text_of
from analysis.files.score_files import ScoreError, Table, content_of, plain, table_from

CONCHED = "conched"
COLUMNS = ("added", "quantity", "value")
MOST_ADDED, LARGEST = 30.0, 1e9


def read_ladder(path: Path | str) -> pd.DataFrame:
    """The ladder in a CSV, XLSX or Parquet file; see `ladder_from`. Raises ScoreError, also without a file."""
    return ladder_from(*content_of(path))


def ladder_from(name: str, content: bytes) -> pd.DataFrame:
    """Readings of a ladder from the bytes of a file.

    Columns added (butter, per cent of the mass, or the word conched), value (above 0) and optionally quantity, where
    several were read; without it all are viscosity at 40 1/s. Returns these three, added NaN for the conched mass.
    Raises ScoreError.
    """
    read = table_from(plain(name, 80), content)
    table = Table(
        read.name, {key.casefold(): cells for key, cells in read.columns.items()}, read.rows, read.decimal_comma
    )
    for column in table.columns:
        if column not in COLUMNS:
            raise ScoreError(
                f'{table.name}, row 1: the column "{plain(column)}" is not known; known are added, quantity, value'
            )
    need(table, "added")
    need(table, "value")
    for position, cell in enumerate(table.columns["added"]):
        if not text_of(cell):
            table.fail(position, "added", "is empty; write the per cent added, 0 for none, or conched")
    frame = pd.DataFrame({"added": numbers(table, "added", _share, math.nan, CONCHED)})
    frame["value"] = numbers(table, "value", _above_zero)
    quantities = table.columns.get("quantity", [""] * len(frame))
    frame["quantity"] = [text_of(cell) or "viscosity at 40 1/s" for cell in quantities]
    return frame


def _share(value: float) -> str | None:
    return None if 0 <= value <= MOST_ADDED else f"does not lie between 0 and {MOST_ADDED:g} per cent; correct it"


def _above_zero(value: float) -> str | None:
    return None if 0 < value <= LARGEST else "is not above 0; no instrument shows that"
