"""Columns of a table as texts and numbers; what cannot be read is told in one sentence with file, row and column."""

from __future__ import annotations

import math
import re
from collections.abc import Callable
from difflib import get_close_matches
from typing import Any, Literal

from analysis.files.score_files import ScoreError, Table, filled, plain

# What was tasted, or read: pulls by their hours, or makes by their names.
Piece = Literal["hours", "make"]

_NUMBER = re.compile(r"[+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d{1,3})?", re.ASCII)
_COMMA_NUMBER = re.compile(r"[+-]?\d+,\d+", re.ASCII)
_WORDS = ("zero", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten")


def need(table: Table, column: str) -> None:
    """Refuse a table without a column, naming the one that looks like it."""
    if column in table.columns:
        return
    near = get_close_matches(column, [name.casefold() for name in table.columns], 1, 0.6)
    found = next((name for name in table.columns if near and name.casefold() == near[0]), None)
    mend = f'rename "{plain(found)}" to {column}' if found else f"add it, beside {', '.join(map(plain, table.columns))}"
    raise ScoreError(f"{table.name}, row 1: there is no column {column}; {plain(mend, 160)}")


def texts(table: Table, column: str) -> list[str]:
    """Texts of a column; two that differ only in case or spaces would count as two."""
    read: dict[Any, str] = {}
    first: dict[str, tuple[str, int]] = {}
    keys = [_distinct(cell) for cell in table.columns[column]]
    for position, key in enumerate(keys):
        if key not in read:
            name = text_of(key[1])
            if not name:
                table.fail(position, column, "is empty; every row needs it")
            alike, row = first.setdefault(" ".join(name.casefold().split()), (name, table.rows[position]))
            if alike != name:
                table.fail(position, column, f'and "{plain(alike)}" in row {row} look like one name; write them alike')
            read[key] = name
    return [read[key] for key in keys]


def text_of(cell: Any) -> str:
    """The text of a cell, "" where it is empty; 3 for 3.0."""
    if isinstance(cell, float) and cell.is_integer():
        return str(int(cell))
    return str(cell).strip() if filled(cell) else ""


def _distinct(cell: Any) -> tuple[type, Any]:
    """A key under which 1, 1.0 and True stay apart."""
    return (type(cell), str(cell) if isinstance(cell, (list, dict, set)) else cell)


def numbers(
    table: Table, column: str, rule: Callable[[float], str | None], empty: float | None = None, blank: str = ""
) -> list[float]:
    """Numbers of a column, each distinct cell read once; `rule` says what is wrong with one, or None. An empty cell is
    `empty`, or refused; the word `blank` in it is as good as nothing."""
    read: dict[Any, float] = {}
    keys = [_distinct(cell) for cell in table.columns[column]]
    for position, key in enumerate(keys):
        if key not in read:
            cell = "" if blank and _says(key[1], blank) else key[1]
            read[key] = _number(table, position, column, cell, empty)
            wrong = None if math.isnan(read[key]) else rule(read[key])
            if wrong:
                table.fail(position, column, wrong)
    return [read[key] for key in keys]


def _says(cell: Any, word: str) -> bool:
    return isinstance(cell, str) and cell.strip().casefold() == word


def _number(table: Table, position: int, column: str, cell: Any, empty: float | None) -> float:
    if not filled(cell):
        return empty if empty is not None else table.fail(position, column, "is empty; every row needs it")
    if isinstance(cell, (int, float)) and not isinstance(cell, bool):
        if math.isfinite(cell):
            return float(cell)
        table.fail(position, column, "is not a finite number; leave the cell empty when a score is missing")
    text = str(cell).strip()
    if table.decimal_comma and _COMMA_NUMBER.fullmatch(text):
        text = text.replace(",", ".")
    if isinstance(cell, str) and _NUMBER.fullmatch(text) and math.isfinite(float(text)):
        return float(text)
    return table.fail(position, column, f"is not a number; {_mended(cell, text, may_be_empty=empty is not None)}")


def _mended(cell: Any, text: str, may_be_empty: bool) -> str:
    """What to write instead, where that can be guessed."""
    if not isinstance(cell, str):
        return "format the column as numbers"
    if text.casefold() in _WORDS:
        return f"write {_WORDS.index(text.casefold())}"
    if _COMMA_NUMBER.fullmatch(text):
        return f"write {text.replace(',', '.')}"
    digits = _NUMBER.search(text)
    if digits and digits.group() != text and len(text) <= 12 and len(_NUMBER.findall(text)) == 1:
        return f"write {digits.group()}"
    return "leave the cell empty when a score is missing" if may_be_empty else "write it in digits"


def hours_wrong(value: float) -> str | None:
    """What is wrong with hours in the conche, or None."""
    if value < 0:
        return "is below zero; hours count from the start of the conche"
    return None if value <= 10_000 else "is too large for hours in the conche; correct it"
