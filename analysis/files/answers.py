"""Answers of a forced-choice test in a file: one row a trial, columns assessor, correct and perhaps dose or batch.

A column control says 1 where the other cup was the positive control; such a row belongs to no dose, batch or round.

Every problem is one sentence naming file, row, column, value and rule. Rows are numbered as a spreadsheet shows them.
"""

from __future__ import annotations

import math
import re
from collections import Counter, defaultdict
from collections.abc import Callable
from dataclasses import dataclass
from difflib import get_close_matches
from pathlib import Path
from typing import Any

from analysis.files.score_files import ScoreError, Table, content_of, filled, plain, table_from

MOST_ANSWERS = 10_000

_NUMBER = re.compile(r"[+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d{1,3})?", re.ASCII)


@dataclass(frozen=True, slots=True)
class Answers:
    """Trials in the order of their rows. `level` is the dose or batch of each, empty when the file needs none; `column`
    is where it stood.

    `control` counts the trials of the control and the right ones among them, which are none of the others; None where
    the file has none.
    """

    name: str
    assessor: tuple[str, ...]
    correct: tuple[int, ...]
    level: tuple[float, ...]
    rows: tuple[int, ...]
    control: tuple[int, int] | None = None
    column: str = ""

    def by_assessor(self) -> tuple[tuple[str, ...], tuple[int, ...], tuple[int, ...]]:
        """Names, trials and right answers of every assessor, in the order of first appearance."""
        trials = Counter(self.assessor)
        right: Counter[str] = Counter()
        for name, correct in zip(self.assessor, self.correct, strict=True):
            right[name] += correct
        names = tuple(trials)
        return names, tuple(trials[name] for name in names), tuple(right[name] for name in names)


def read_answers(path: Path | str) -> Answers:
    """The answers of one test: columns assessor and correct. Raises ScoreError."""
    return _read(Path(path), None, None)


def read_doses(path: Path | str, uneven: bool = False) -> Answers:
    """Answers with a column dose, 0 for blank against blank.

    Unless `uneven`, an assessor must have equal trials at every dose.
    """
    answers = _read(Path(path), "dose", _dose)
    if not uneven:
        _check_even(answers, "dose")
    return answers


def read_rounds(path: Path | str, people: int) -> tuple[list[list[int | None]], tuple[int, int] | None]:
    """Answers of a panel in rounds: for each round one entry a person, 1 right, 0 wrong, None missed; and its control.

    Rounds are those of a column round, whole numbers from 1; without it everybody's answers in the order of their rows.
    Raises ScoreError, also where the file names more people than are seated.
    """
    answers = _read(Path(path), "round", _round, optional=True)
    seats = {name: seat for seat, name in enumerate(dict.fromkeys(answers.assessor))}
    if len(seats) > people:
        raise ScoreError(f"{answers.name}: {len(seats)} assessors and {people} are seated; a round has one answer each")
    said: dict[tuple[int, int], int] = {}
    so_far: Counter[str] = Counter()
    for place, (name, correct) in enumerate(zip(answers.assessor, answers.correct, strict=True)):
        so_far[name] += 1
        number = int(answers.level[place]) if answers.level else so_far[name]
        if (number, seats[name]) in said:
            raise ScoreError(
                f'{answers.name}, row {answers.rows[place]}: "{plain(name)}" has two answers in round {number}; '
                "a round has one answer each"
            )
        said[number, seats[name]] = correct
    last = max((number for number, _seat in said), default=0)
    rounds = [[said.get((number, seat)) for seat in range(people)] for number in range(1, last + 1)]
    return rounds, answers.control


def read_batches(path: Path | str, uneven: bool = False) -> Answers:
    """Answers with a column batch, whole numbers from 1 (the first plain batch after); days, or seconds after a piece,
    may stand instead of it. Otherwise as `read_doses`."""
    table = _table(Path(path))
    column = next((name for name in ("batch", "days", "seconds") if name in table.columns), "batch")
    answers = _answers(table, column, _batch)
    if not uneven:
        _check_even(answers, column)
    return answers


def _read(path: Path, level: str | None, rule: Callable[[float], str | None] | None, optional: bool = False) -> Answers:
    return _answers(_table(path), level, rule, optional)


def _answers(
    table: Table, level: str | None, rule: Callable[[float], str | None] | None, optional: bool = False
) -> Answers:
    if optional and level not in table.columns:
        level = None
    assessor = [_assessor(table, position) for position in range(len(table.rows))]
    _refuse_alike(table, assessor)
    correct = [_correct(table, position) for position in range(len(table.rows))]
    control = _control(table)
    main = [position for position in range(len(table.rows)) if not control[position]]
    levels = {} if level is None or rule is None else _levels(table, level, rule, main)
    apart = [right for right, is_control in zip(correct, control, strict=True) if is_control]
    return Answers(
        table.name,
        tuple(assessor[position] for position in main),
        tuple(correct[position] for position in main),
        tuple(levels[position] for position in main if levels),
        tuple(table.rows[position] for position in main),
        (len(apart), sum(apart)) if apart else None,
        level or "",
    )


def _table(path: Path) -> Table:
    name, content = content_of(path)
    read = table_from(name, content)
    if len(read.rows) > MOST_ANSWERS:
        raise ScoreError(f"{name}: {len(read.rows)} answers and at most {MOST_ANSWERS} are read")
    columns = {column.casefold(): cells for column, cells in read.columns.items()}
    return Table(read.name, columns, read.rows, read.decimal_comma)


# ---- columns -------------------------------------------------------------------------------------------------------
def _cells(table: Table, column: str) -> list[Any]:
    if column not in table.columns:
        near = get_close_matches(column, table.columns, 1, 0.6)
        mend = f'rename "{plain(near[0])}" to {column}' if near else f"add it, beside {', '.join(table.columns)}"
        raise ScoreError(f"{table.name}, row 1: there is no column {column}; {plain(mend, 160)}")
    return table.columns[column]


def _assessor(table: Table, position: int) -> str:
    cell = _cells(table, "assessor")[position]
    if not filled(cell):
        table.fail(position, "assessor", "is empty; every trial needs its assessor")
    return str(int(cell)) if isinstance(cell, float) and cell.is_integer() else str(cell).strip()


def _refuse_alike(table: Table, names: list[str]) -> None:
    """Names that differ in case, spaces or leading zeros only would make two people of one, who say more than one."""
    seen: dict[str, str] = {}
    for position, name in enumerate(names):
        alike = " ".join(name.casefold().split())
        first = seen.setdefault(alike.lstrip("0") or "0" if alike.isdecimal() else alike, name)
        if first != name:
            table.fail(position, "assessor", f'and "{plain(first)}" look like one name; write them alike')


def _correct(table: Table, position: int) -> int:
    wrong = "is not 0 or 1; write 1 for a right answer and 0 for a wrong one"
    return _zero_or_one(table, position, "correct", wrong)


def _control(table: Table) -> list[int]:
    """Which rows are of the control; none without such a column. An empty cell is no control."""
    if "control" not in table.columns:
        return [0] * len(table.rows)
    wrong = "is not 0 or 1; write 1 where the other cup was the control and 0 elsewhere"
    cells = enumerate(table.columns["control"])
    return [_zero_or_one(table, position, "control", wrong) if filled(cell) else 0 for position, cell in cells]


def _zero_or_one(table: Table, position: int, column: str, wrong: str) -> int:
    cell = _cells(table, column)[position]
    said = {"true": 1.0, "false": 0.0}.get(str(cell).strip().casefold())
    value = _number(table, cell) if said is None else said
    if value not in (0, 1):
        table.fail(position, column, wrong)
    return int(value)


def _levels(table: Table, column: str, rule: Callable[[float], str | None], asked: list[int]) -> dict[int, float]:
    cells = _cells(table, column)
    values = {position: _number(table, cells[position]) for position in asked}
    for position, value in values.items():
        wrong = "is not a number; write it in digits" if not math.isfinite(value) else rule(value)
        if wrong:
            table.fail(position, column, wrong)
    return values


def _number(table: Table, cell: Any) -> float:
    """The number in a cell, NaN when there is none."""
    if isinstance(cell, (int, float)):
        return float(cell)
    text = str(cell).strip()
    text = text.replace(",", ".") if table.decimal_comma else text
    return float(text) if _NUMBER.fullmatch(text) else math.nan


def _dose(value: float) -> str | None:
    return None if value >= 0 else "is below 0; write minutes or grams, and 0 for blank against blank"


def _batch(value: float) -> str | None:
    return None if value >= 1 and value.is_integer() else "is not a whole number from 1, the first plain batch after"


def _round(value: float) -> str | None:
    return (
        None if 1 <= value <= MOST_ANSWERS and value.is_integer() else "is not a whole number from 1, the first round"
    )


# ---- rules that need all rows --------------------------------------------------------------------------------------
def _check_even(answers: Answers, column: str) -> None:
    """A row lost or pasted twice shows as one assessor with unequal trials."""
    counts: defaultdict[str, Counter[float]] = defaultdict(Counter)
    for name, level in zip(answers.assessor, answers.level, strict=True):
        counts[name][level] += 1
    for name, trials in counts.items():
        asked = max(trials.values())
        for level in sorted(set(answers.level)):
            if trials[level] != asked:
                row = answers.rows[answers.assessor.index(name)]
                raise ScoreError(
                    f'{answers.name}, row {row}, column assessor: "{plain(name)}" counts {trials[level]} at {column} '
                    f"{level:g} and {asked} elsewhere; equal trials are needed, or --uneven if answers were lost"
                )
