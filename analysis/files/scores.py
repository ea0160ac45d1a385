"""Score files into the tidy frame that the decision reads. Every problem is one sentence naming file, row and column.

Reading order: the two public readers, the two forms (tidy and wide), the columns, the rules that need all rows.
"""

from __future__ import annotations

import math
import re
from collections.abc import Collection
from difflib import get_close_matches
from pathlib import Path
from typing import Any

import pandas as pd

from analysis.files.columns import Piece, hours_wrong, need, numbers, text_of, texts
from analysis.files.score_files import KEYS, KNOWN, OPTIONAL, ScoreError, Table, content_of, filled, plain, table_from

__all__ = ["ScoreError", "read_scores", "scores_from"]

MOST_SCORES = 1_000_000
MOST_PULLS = 50
MOST_ASSESSORS = 1_000
LARGEST = 1e6
SCALES = ((0.0, 10.0), (0.0, 100.0))

_LOST = re.compile(r"\s*lost\b(.*)", re.IGNORECASE | re.DOTALL)
UNJUDGED = "unjudged"
NONE_LOST = pd.DataFrame(columns=["hours", "sitting", "why", "reason"])


def read_scores(path: Path | str, attributes: Collection[str] | None = None, piece: Piece = "hours") -> pd.DataFrame:
    """The scores in a CSV, XLSX or Parquet file; see `scores_from`. Raises ScoreError, also without a file."""
    name, content = content_of(path)
    return scores_from(name, content, attributes, piece)


def scores_from(
    name: str, content: bytes, attributes: Collection[str] | None = None, piece: Piece = "hours"
) -> pd.DataFrame:
    """Tidy scores, one row a score, from the bytes of a file.

    Tidy files have the columns assessor, hours (or a numeric sample), attribute and score; wide ones a column for each
    attribute instead of the last two. Optional columns: sitting, replicate, position, batch. Repeated servings without
    a replicate column are numbered in the order of their rows. An empty score cell is a missing score and its row is
    left out; `unjudged` in its place says that the assessor could not judge it. A row without an assessor and with
    `lost` in place of a score says that its pull was lost before anybody tasted it, in its sitting or, without one, in
    every; words after `lost` are the reason. With `attributes` each of them must occur, and only they are kept.
    `piece` is the column of what was tasted: hours, or the make, a text, with hours beside it if makes were pulled at
    several.

    Returns columns assessor (text), hours (float, h), attribute (text), score (float, scale units), replicate (whole
    number from 1), and, where the file has them, sitting (text), position (whole number from 1), batch (text); where it
    says of any why a score is missing, why ("unjudged", "lost") and reason (text). Raises ScoreError.
    """
    table = table_from(plain(name, 80), content)
    table, lost = _without_lost(table, piece)
    tidy = _tidy(table, piece) if {"attribute", "score"} & set(table.columns) else _wide(table, attributes, piece)
    if attributes is not None:
        tidy = _only(table, tidy, attributes)
    _check_scale(table, tidy)
    tidy = _numbered(table, tidy)
    kept = tidy[tidy["score"].notna() | (tidy["why"] == UNJUDGED)].drop(columns="row").reset_index(drop=True)
    if kept["score"].isna().all():
        raise ScoreError(f"{table.name}: no row has a score; fill in the scores")
    if lost.empty and not kept["why"].any():
        return kept.drop(columns="why")
    unasked = [column for column in ("sitting", "batch") if column not in kept]
    return pd.concat([kept, lost.drop(columns=unasked)], ignore_index=True)


# ---- why a score is missing ------------------------------------------------------------------------------------------
def _without_lost(table: Table, piece: Piece) -> tuple[Table, pd.DataFrame]:
    """The table less the rows that say of a piece that it was lost; and these, by what it was, sitting and reason."""
    said = _said_lost(table)
    if not said:
        return table, NONE_LOST
    rest, gone = _rows_of(table, [at for at in range(len(table.rows)) if at not in said]), _rows_of(table, sorted(said))
    named = {
        key: [text_of(cell) for cell in gone.columns.get(key, [""] * len(gone.rows))] for key in ("sitting", "batch")
    }
    return rest, _pieces(gone, piece).assign(**named, why="lost", reason=[said[at] for at in sorted(said)])


def _pieces(table: Table, piece: Piece) -> pd.DataFrame:
    """What was tasted, one row a row of the file: hours, or the make with hours beside it where the file has them."""
    hours = "sample" if "sample" in table.columns and "hours" not in table.columns else "hours"
    need(table, hours if piece == "hours" else piece)
    frame = pd.DataFrame(index=range(len(table.rows)))
    if piece == "make":
        frame["make"] = texts(table, "make")
    if piece == "hours" or "hours" in table.columns:
        frame["hours"] = numbers(table, hours, hours_wrong)
    return frame


def _said_lost(table: Table) -> dict[int, str]:
    """Rows (from 0) that say lost in the place of a score, with the words after it."""
    said: dict[int, str] = {}
    for name in (name for name in table.columns if name == "score" or name not in KNOWN):
        found = ((at, _LOST.match(cell)) for at, cell in enumerate(table.columns[name]) if isinstance(cell, str))
        said |= {at: told[1].strip(" ,:;") for at, told in found if told}
    people = table.columns.get("assessor", [])
    for at in said:
        if people and filled(people[at]):
            rule = "stands in a row that says lost; a piece is lost for everybody, so leave it empty"
            table.fail(at, "assessor", rule)
    return said


def _rows_of(table: Table, at: list[int]) -> Table:
    columns = {name: [cells[row] for row in at] for name, cells in table.columns.items()}
    return Table(table.name, columns, [table.rows[row] for row in at], table.decimal_comma)


def _unjudged(cell: Any) -> bool:
    return isinstance(cell, str) and cell.strip().casefold() == UNJUDGED


def _whys(table: Table, column: str) -> list[str]:
    return [UNJUDGED if _unjudged(cell) else "" for cell in table.columns[column]]


# ---- the two forms -------------------------------------------------------------------------------------------------
def _tidy(table: Table, piece: Piece) -> pd.DataFrame:
    need(table, "attribute")
    need(table, "score")
    frame = _servings(table, piece)
    frame["attribute"] = texts(table, "attribute")
    frame["score"] = numbers(table, "score", _score, math.nan, UNJUDGED)
    frame["why"] = _whys(table, "score")
    return frame


def _wide(table: Table, attributes: Collection[str] | None, piece: Piece) -> pd.DataFrame:
    """A column an attribute, made long; the row number stays with every score."""
    known = {*KEYS, "sample", *OPTIONAL, piece}
    own = [column for column in table.columns if column not in known]
    frame = _servings(table, piece)
    if not own:
        raise ScoreError(
            f"{table.name}, row 1: no column holds scores; add attribute and score, or a column an attribute"
        )
    wanted = own if attributes is None else [column for column in own if column in attributes]
    if len(wanted) * len(frame) > MOST_SCORES:
        raise ScoreError(f"{table.name}: more than {MOST_SCORES} scores; keep only one study in the file")
    parts = [
        frame.assign(
            attribute=column, score=numbers(table, column, _score, math.nan, UNJUDGED), why=_whys(table, column)
        )
        for column in wanted
    ]
    if parts:
        return pd.concat(parts, ignore_index=True)
    return frame.assign(attribute="", score=math.nan, why="").iloc[:0]


def _servings(table: Table, piece: Piece) -> pd.DataFrame:
    """Who tasted what when, one row a row of the file: row, assessor, what was tasted and the optional columns."""
    hours = "sample" if "sample" in table.columns and "hours" not in table.columns else "hours"
    need(table, "assessor")
    need(table, hours if piece == "hours" else piece)
    _refuse_near_names(table)
    frame = pd.DataFrame({"row": table.rows, "assessor": texts(table, "assessor")})
    frame = frame.join(_pieces(table, piece))
    _check_sizes(table, frame)
    for column in OPTIONAL:
        if column in table.columns and any(map(filled, table.columns[column])):
            counted = column in ("replicate", "position")
            frame[column] = numbers(table, column, _count) if counted else texts(table, column)
    return frame


def _check_sizes(table: Table, frame: pd.DataFrame) -> None:
    """Numbers in the wrong column make thousands of pulls or assessors, which no study has."""
    for column, what, most in (("hours", "pulls", MOST_PULLS), ("assessor", "assessors", MOST_ASSESSORS)):
        found = frame[column].nunique() if column in frame else 0
        if found > most:
            raise ScoreError(f"{table.name}, column {column}: {found} different {what} and at most {most} are read")


def _refuse_near_names(table: Table) -> None:
    """A misspelt optional column would be lost, or read as an attribute, without a word."""
    for column in table.columns:
        near = get_close_matches(column.casefold(), (*KEYS, *OPTIONAL), 1, 0.8)
        if near and column not in (*KEYS, *OPTIONAL) and near[0] not in table.columns:
            raise ScoreError(f'{table.name}, row 1: "{plain(column)}" looks like {near[0]}; rename the column')


def _only(table: Table, tidy: pd.DataFrame, attributes: Collection[str]) -> pd.DataFrame:
    """The deciding attributes alone, each with at least one score."""
    scored = set(tidy.loc[tidy["score"].notna(), "attribute"])
    present = scored | set(table.columns) - set(KNOWN)
    for attribute in attributes:
        if attribute not in scored:
            near = get_close_matches(attribute, sorted(present - {attribute}), 1, 0.6)
            mend = f'is it "{plain(near[0])}"?' if near else "add its scores or take it out of the rule"
            raise ScoreError(f'{table.name}: no score of "{plain(attribute)}", which the rule decides on; {mend}')
    return tidy[tidy["attribute"].isin(list(attributes))]


# ---- columns -------------------------------------------------------------------------------------------------------
def _score(value: float) -> str | None:
    return None if abs(value) <= LARGEST else "is too large for a score; correct it"


def _count(value: float) -> str | None:
    fits = 1 <= value <= LARGEST and value.is_integer()
    return None if fits else "is not a whole number from 1; correct it"


# ---- rules that need all rows --------------------------------------------------------------------------------------
def _check_scale(table: Table, tidy: pd.DataFrame) -> None:
    """Nine tenths of the scores tell the scale, 0 to 10 or 0 to 100; what lies outside it is a slip."""
    scores = tidy["score"].dropna()
    for low, high in SCALES:
        outside = scores[~scores.between(low, high)]
        if not len(scores) or len(outside) > len(scores) / 10:
            continue
        if len(outside):
            first = tidy.loc[outside.index].sort_values("row").iloc[0]
            column = "score" if "score" in table.columns else str(first["attribute"])
            rule = f"lies outside the scale {low:g} to {high:g} of the other scores; correct it or leave the cell empty"
            table.fail(table.rows.index(first["row"]), column, rule)
        return


def _numbered(table: Table, tidy: pd.DataFrame) -> pd.DataFrame:
    """Every score under its own replicate number; a second score in the same place is refused."""
    key = [column for column in ("assessor", "make", "hours", "attribute", *OPTIONAL) if column in tidy.columns]
    tidy = tidy.sort_values("row", kind="stable")
    if "replicate" in tidy.columns or "position" in tidy.columns:
        _refuse_repeats(table, tidy, key)
    if "replicate" in tidy.columns:
        return tidy.assign(replicate=tidy["replicate"].astype(int), **_whole_positions(tidy))
    _refuse_pasted_twice(table, tidy)
    within = [column for column in key if column != "position"]
    return tidy.assign(replicate=tidy.groupby(within, sort=False).cumcount() + 1, **_whole_positions(tidy))


def _whole_positions(tidy: pd.DataFrame) -> dict[str, pd.Series]:
    return {"position": tidy["position"].astype(int)} if "position" in tidy.columns else {}


def _refuse_repeats(table: Table, tidy: pd.DataFrame, key: list[str]) -> None:
    repeated = tidy[tidy.duplicated(key)]
    if repeated.empty:
        return
    second = repeated.iloc[0]
    same = (tidy[key] == second[key]).all(axis=1)
    first = tidy[same].iloc[0]
    mend = "keep one, or number the replicates"
    what = ", ".join(f"{column} {plain(text_of(second[column]))}" for column in key)
    where = f"{table.name}, row {second['row']}"
    if first["score"] == second["score"] or (math.isnan(first["score"]) and math.isnan(second["score"])):
        raise ScoreError(f"{where}: repeats row {first['row']} ({what}); {mend}")
    scores = f"{second['score']:g} stands against {first['score']:g} in row {first['row']}"
    raise ScoreError(f"{where}, column score: {scores} for the same serving ({what}); {mend}")


def _refuse_pasted_twice(table: Table, tidy: pd.DataFrame) -> None:
    """The same rows once more would pass for replicates and halve the error of the panel."""
    half, odd = divmod(len(tidy), 2)
    if odd or half < 10 or tidy["score"].nunique() < 3:
        return
    columns = tidy.columns.drop("row")
    if tidy.iloc[:half][columns].reset_index(drop=True).equals(tidy.iloc[half:][columns].reset_index(drop=True)):
        row = tidy.iloc[half]["row"]
        raise ScoreError(
            f"{table.name}, row {row}: from here on all rows repeat the first ones; remove the second copy"
        )
