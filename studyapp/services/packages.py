"""A study as a folder of tables that any program can read: a Data Package (datapackage.org, version 2).

Taken out and brought in again, every row is the same. Real names and free notes of assessors do not travel.
"""

from __future__ import annotations

import csv
import io
import json
import math
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

from studyapp import registry
from studyapp.errors import BadInput, NotAllowed, NotFound
from studyapp.services.access import study_or_refuse
from studyapp.store import Store, events, openings, packages, studies
from studyapp.store.packages import Field, Row
from studyapp.words import _

PROFILE = "https://datapackage.org/profiles/2.0/datapackage.json"
MOST_BYTES = 50 * 2**20
# A cell that begins so could be taken for a formula; a cell that begins with ' must keep it on the way back.
MARKED = ("=", "+", "-", "@", "\t", "\r", "\0", "'")


# ---- out -----------------------------------------------------------------------------------------------------------
def take_out(store: Store, study_id: str, folder: Path) -> tuple[Path, ...]:
    """Write a study to a new or empty folder; returns the files.

    Raises:
        NotFound: there is no such study.
        NotAllowed: its key is not open, and the tables hold the key.
        BadInput: the folder has something in it, or cannot be written.
    """
    with store.read() as tx:
        study = study_or_refuse(tx, study_id)
        if study.state == "sealed" or openings.shut(tx, study_id):  # by the chain, whatever the state says
            raise NotAllowed(_("Not done: the tables hold the key, and the key of this study is not open yet."))
        found = packages.take(tx, study_id)
    files = {f"{name}.csv": _table(rows, packages.fields()[name]) for name, rows in found.items()}
    files["datapackage.json"] = _description(study_id, study.plan.title)
    return _written(folder, files)


def find(store: Store, words: str) -> str:
    """The id of the study with this id or title.

    Raises:
        NotFound: none, or more than one has it.
    """
    with store.read() as tx:
        found = [kept.id for kept in studies.all_studies(tx) if words in (kept.id, kept.document["title"])]
    if len(found) != 1:
        raise NotFound(
            _("Not done: {n} studies are called {words}. Write the id of one.").format(n=len(found), words=words)
        )
    return found[0]


def _table(rows: Sequence[Row], fields: Sequence[Field]) -> str:
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


def _description(study_id: str, title: str) -> str:
    """The datapackage.json: every table with its fields."""
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
        for name, fields in packages.fields().items()
    ]
    head = {"$schema": PROFILE, "name": f"study-{study_id}", "title": title}
    return json.dumps({**head, "resources": resources}, indent=2, ensure_ascii=False, sort_keys=False) + "\n"


def _field(field: Field) -> dict[str, Any]:
    kept = {"constraints": {"required": True}} if field.required and field.kind != "string" else {}
    return {"name": field.name, "type": field.kind, **kept}


def _written(folder: Path, files: Mapping[str, str]) -> tuple[Path, ...]:
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
def bring_in(store: Store, folder: Path) -> str:
    """Read a folder that `take_out` wrote into this store; returns the id of the study.

    Raises:
        BadInput: a table, column or cell is not as it was written; nothing is kept.
        NotAllowed: the study is kept here already.
    """
    found = {name: _rows(folder / f"{name}.csv", fields) for name, fields in packages.fields().items()}
    if len(found["study"]) != 1:
        raise BadInput(_("study.csv: one row is needed, and there are {n}.").format(n=len(found["study"])))
    study = found["study"][0]
    _refuse_changed(found)
    with store.write() as tx:
        if packages.known(tx, study["id"]):
            raise NotAllowed(_("Not done: this study is kept here already. Nothing was counted twice."))
        packages.put(tx, found)
    return str(study["id"])


def _refuse_changed(found: Mapping[str, Sequence[Row]]) -> None:
    """The seal and the hash of every score must still fit."""
    study = found["study"][0]
    try:
        plan = json.loads(study["plan"])
        seal = events.digest(plan)
    except (ValueError, RecursionError) as error:
        raise BadInput(_("study.csv: the plan cannot be read.")) from error
    if not isinstance(plan, dict):
        raise BadInput(_("study.csv: the plan cannot be read."))
    if study["seal"] is not None and study["seal"] != seal:
        raise BadInput(_("study.csv: the plan is not the one that was sealed."))
    if study["kind"] not in registry.KINDS:
        raise BadInput(_("study.csv: this app does not know a study of the kind {kind}.").format(kind=study["kind"]))
    registry.deciding(study["kind"]).refuse_foreign(plan, [_document(row) for row in found["decision"]])
    for name in ("score", "trial"):
        for number, row in enumerate(found[name], start=2):
            if not packages.row_fits(name, row):
                raise BadInput(
                    _("{file}, row {row}: it does not match its hash.").format(file=f"{name}.csv", row=number)
                )


def _document(row: Row) -> dict[str, Any]:
    """A verdict as it was signed."""
    try:
        document = json.loads(row["document"])
    except (ValueError, RecursionError):
        document = None
    if not isinstance(document, dict):
        raise BadInput(_("decision.csv: a signed verdict cannot be read."))
    return document


def _rows(file: Path, fields: Sequence[Field]) -> list[Row]:
    """The rows of one table."""
    try:
        if file.stat().st_size > MOST_BYTES:
            raise BadInput(_("{file}: the file is larger than 50 MB.").format(file=file.name))
        lines = list(csv.reader(io.StringIO(file.read_text(encoding="utf-8"), newline=""), strict=True))
    except (OSError, UnicodeDecodeError, csv.Error) as error:
        raise BadInput(_("{file}: the table is missing or cannot be read.").format(file=file.name)) from error
    names = [field.name for field in fields]
    if not lines or lines[0] != names:
        wanted = ", ".join(names)
        raise BadInput(_("{file}: the columns must be {names}.").format(file=file.name, names=wanted))
    return [_row(file.name, number, line, fields) for number, line in enumerate(lines[1:], start=2)]


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
