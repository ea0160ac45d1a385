"""The files of a package: tables as CSV of RFC 4180 beside the datapackage.json that describes them."""

from __future__ import annotations

import csv
import io
import json
import math
import stat
from collections.abc import Collection, Mapping, Sequence
from pathlib import Path
from typing import Any

from studyapp.errors import BadInput
from studyapp.store.packages import Field, Row
from studyapp.words import _

PROFILE = "https://datapackage.org/profiles/2.0/datapackage.json"
DESCRIPTION = "datapackage.json"
RECORD = "studyapp:record"  # our own property; the standard leaves room for such
MOST_BYTES = 50 * 2**20
# A cell that begins so could be taken for a formula; a cell that begins with ' must keep it on the way back.
MARKED = ("=", "+", "-", "@", "\t", "\r", "\0", "'")


# ---- out -----------------------------------------------------------------------------------------------------------
def table(rows: Sequence[Row], fields: Sequence[Field]) -> str:
    """CSV of RFC 4180 with a head line; an empty cell is a missing value."""
    text = io.StringIO(newline="")
    writer = csv.writer(text, lineterminator="\r\n")
    writer.writerow([field.name for field in fields])
    for row in rows:
        writer.writerow([_cell(row[field.name], field) for field in fields])
    return text.getvalue()


def _cell(value: Any, field: Field) -> str:
    if value is None:
        return ""
    if field.kind == "boolean":
        return "true" if value else "false"
    if field.kind == "number":
        return repr(float(value))
    text = str(value)
    return f"'{text}" if field.kind == "string" and text.startswith(MARKED) else text


def description(study_id: str, title: str, tables: Mapping[str, Sequence[Field]], record: Mapping[str, Any]) -> str:
    """The datapackage.json: every table with its fields, and what the store that wrote it says of the record."""
    resources = [
        {
            "name": name.replace("_", "-"),
            "path": f"{name}.csv",
            "type": "table",
            "format": "csv",
            "mediatype": "text/csv",
            "encoding": "utf-8",
            "schema": {"fields": [_field(field) for field in fields], "missingValues": [""]},
        }
        for name, fields in tables.items()
    ]
    head = {"$schema": PROFILE, "name": f"study-{study_id}", "title": title}
    return (
        json.dumps(
            {**head, RECORD: dict(record), "resources": resources}, indent=2, ensure_ascii=False, sort_keys=False
        )
        + "\n"
    )


def _field(field: Field) -> dict[str, Any]:
    kept = {"constraints": {"required": True}} if field.required and field.kind != "string" else {}
    return {"name": field.name, "type": field.kind, **kept}


def written(folder: Path, files: Mapping[str, str]) -> tuple[Path, ...]:
    if folder.exists() and (not folder.is_dir() or any(folder.iterdir())):
        raise BadInput(_("Not done: {folder} is not an empty folder. Name a new one.").format(folder=folder))
    try:
        folder.mkdir(mode=0o700, parents=True, exist_ok=True)
        for name, text in files.items():
            (folder / name).write_text(text, encoding="utf-8", newline="")
    except OSError as error:
        raise BadInput(_("Not done: {folder} cannot be written. Name another folder.").format(folder=folder)) from error
    return tuple(folder / name for name in files)


# ---- in ------------------------------------------------------------------------------------------------------------
def refuse_strange(folder: Path) -> None:
    """Files and nothing else, before any of them is opened: a pipe never ends, a link leads elsewhere.

    Raises:
        BadInput: there is no such folder, or it holds something else.
    """
    try:
        inside = sorted(folder.iterdir())
        strange = [each for each in inside if not stat.S_ISREG(each.lstat().st_mode)]
    except OSError as error:
        sentence = _("{folder}: there is no such folder, or it cannot be read. Name one that `export` wrote.")
        raise BadInput(sentence.format(folder=folder)) from error
    if strange:
        sentence = _("{file}: this is no ordinary file. Take it out of the folder; a package holds files only.")
        raise BadInput(sentence.format(file=strange[0].name))


def record_in(folder: Path) -> Mapping[str, Any]:
    """What the store that wrote a package says of the record; empty for a package of the first format.

    Raises:
        BadInput: the description cannot be read.
    """
    try:
        described = json.loads(text_of(folder / DESCRIPTION))
        found = described.get(RECORD, {})
    except (ValueError, RecursionError, AttributeError) as error:
        raise BadInput(_("{file}: it cannot be read.").format(file=DESCRIPTION)) from error
    if not isinstance(found, dict):
        raise BadInput(_("{file}: it cannot be read.").format(file=DESCRIPTION))
    return found


def text_of(file: Path) -> str:
    """The text of one file. Raises BadInput, naming it."""
    try:
        if file.stat().st_size > MOST_BYTES:
            raise BadInput(_("{file}: the file is larger than 50 MB.").format(file=file.name))
        with file.open(encoding="utf-8", newline="") as opened:
            return opened.read()
    except (OSError, UnicodeDecodeError) as error:
        raise BadInput(_("{file}: the table is missing or cannot be read.").format(file=file.name)) from error


def rows(file: Path, fields: Sequence[Field], later: Collection[str] = ()) -> list[Row]:
    """The rows of one table; columns that came `later` than the package may be missing, and are empty then."""
    try:
        lines = list(csv.reader(io.StringIO(text_of(file), newline=""), strict=True))
    except csv.Error as error:
        raise BadInput(_("{file}: the table is missing or cannot be read.").format(file=file.name)) from error
    head = lines[0] if lines else []
    here = [field for field in fields if field.name in head or field.name not in later]
    if head != [field.name for field in here]:
        wanted = ", ".join(field.name for field in fields)
        raise BadInput(_("{file}: the columns must be {names}.").format(file=file.name, names=wanted))
    empty = {field.name: None for field in fields}
    return [empty | _row(file.name, number, line, here) for number, line in enumerate(lines[1:], start=2)]


def _row(file: str, number: int, line: Sequence[str], fields: Sequence[Field]) -> Row:
    if len(line) != len(fields):
        raise BadInput(_("{file}, row {row}: {n} cells are needed.").format(file=file, row=number, n=len(fields)))
    row = {}
    for text, field in zip(line, fields, strict=True):
        try:
            row[field.name] = _value(text, field)
        except ValueError as error:
            place = {"file": file, "row": number, "column": field.name, "value": text[:40], "kind": field.kind}
            raise BadInput(_("{file}, row {row}, column {column}: “{value}” is no {kind}.").format(**place)) from error
    return row


def _value(text: str, field: Field) -> Any:
    """The value of a cell; ValueError when it is of another kind."""
    if text == "" and (field.kind != "string" or not field.required):
        if field.required:
            raise ValueError("empty")
        return None
    if field.kind == "boolean":
        return ("false", "true").index(text) == 1
    if field.kind == "integer":
        return int(text)
    if field.kind == "number":
        return _finite(float(text))
    return text.removeprefix("'")


def _finite(number: float) -> float:
    if not math.isfinite(number):
        raise ValueError("not finite")
    return number
