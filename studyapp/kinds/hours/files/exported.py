"""Scores, readings and the rule of an opened look as the files that `studyapp decide` takes, for the same verdict."""

from __future__ import annotations

import csv
import io
import json
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import asdict
from typing import TYPE_CHECKING, Any

from studyapp.services.package_files import MARKED

if TYPE_CHECKING:
    import pandas as pd

    from analysis.stopping import Rule

SCORES, READINGS, RULE = "scores.csv", "readings.csv", "RULE.toml"
SCORE_COLUMNS = ("assessor", "hours", "attribute", "score", "sitting", "replicate", "position", "batch")


def files_of(scores: pd.DataFrame, rule: Rule, readings: pd.DataFrame | None) -> dict[str, str]:
    """The text of each file by its name; of readings only where the rule has limits of instruments.

    `scores` and `readings` as `analysis.stopping.decide` takes them. A pull that was sealed and that nobody scored has
    no place in a file of scores, so a verdict that hangs on one is not found again.
    """
    tidy = [_score_row(row) for row in scores.to_dict("records") if row.get("why") != "unread"]
    found = {SCORES: _csv(SCORE_COLUMNS, tidy), RULE: rule_text(rule)}
    if readings is not None:
        told = readings.dropna(axis="columns", how="all")
        found[READINGS] = _csv(list(told.columns), told.to_dict("records"))
    return found


def _score_row(row: Mapping[Any, Any]) -> dict[Any, Any]:
    """A row as it is; where no score came, the word for it stands in its place."""
    if row.get("why") == "lost":
        return {**row, "assessor": None, "attribute": None, "score": f"lost {row.get('reason') or ''}".strip()}
    return {**row, "score": "unjudged"} if row.get("why") == "unjudged" else dict(row)


def _csv(columns: Sequence[str], rows: Iterable[Mapping[Any, Any]]) -> str:
    text = io.StringIO(newline="")
    writer = csv.writer(text, lineterminator="\r\n")
    writer.writerow(columns)
    for row in rows:
        writer.writerow([_cell(row.get(column)) for column in columns])
    return text.getvalue()


def _cell(value: Any) -> str:
    if value is None or value != value:
        return ""
    if isinstance(value, str):
        return f"'{value}" if value.startswith(MARKED) else value
    return f"{value:g}" if value == int(value) else repr(float(value))


def rule_text(rule: Rule) -> str:
    """The rule as TOML."""
    head = {
        "alpha": rule.alpha,
        "looks": rule.looks,
        "look": rule.look,
        "adjust": list(rule.adjust),
        "control": rule.control,
        "lost_reference": rule.lost_reference,
        "claim": rule.claim,
        "batches": rule.batches,
    }
    parts = [_table("", head)]
    parts += [_table(f"attributes.{_quoted(name)}", asdict(own)) for name, own in rule.attributes.items()]
    parts += [_table(f"gates.{_quoted(name)}", asdict(own)) for name, own in rule.gates.items()]
    return "\n".join(parts)


def _table(name: str, values: Mapping[str, Any]) -> str:
    lines = [f"{key} = {_value(value)}" for key, value in values.items() if value is not None and value != ""]
    return "\n".join([*([f"[{name}]"] if name else []), *lines, ""])


def _value(value: Any) -> str:
    """A text, list, number or truth value as TOML has it, which writes them as JSON does."""
    return json.dumps(value, ensure_ascii=False)


def _quoted(name: str) -> str:
    return json.dumps(name, ensure_ascii=False)
