"""A study as a folder of tables that any program can read: a Data Package (datapackage.org, version 2).

Taken out and brought in again, every row is the same. The events of the study travel with it, so that whoever gets the
folder can check it. Real names and free notes of assessors do not travel.
"""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

from studyapp import registry
from studyapp.errors import BadInput, NotAllowed, NotFound
from studyapp.services import package_files
from studyapp.services.access import study_or_refuse
from studyapp.services.checking import unsound
from studyapp.store import Store, events, openings, package_checks, packages, studies
from studyapp.store.packages import FIRST_FORMAT, FORMAT, Row
from studyapp.words import _


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
        found, record = packages.take(tx, study_id), packages.record(tx, study_id)
    told = {"format": FORMAT, **record, **package_checks.told_of(found)}
    fields = packages.fields()
    files = {f"{name}.csv": package_files.table(rows, fields[name]) for name, rows in found.items()}
    files[package_files.DESCRIPTION] = package_files.description(study_id, study.plan.title, fields, told)
    return package_files.written(folder, files)


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


# ---- in ------------------------------------------------------------------------------------------------------------
def bring_in(store: Store, folder: Path) -> str:
    """Read a folder that `take_out` wrote into this store; returns the id of the study.

    Raises:
        BadInput: a table, column or cell is not as it was written, or the events tell otherwise; nothing is kept.
        NotAllowed: the study is kept here already.
    """
    found, record = read(folder)
    faults = package_checks.faults(found, record) if record else ()  # the first format brought nothing to check with
    if faults:
        raise BadInput(_("Not brought in. {sentence}").format(sentence=unsound(faults[0])))
    with store.write() as tx:
        if packages.known(tx, found["study"][0]["id"]):
            raise NotAllowed(_("Not done: this study is kept here already. Nothing was counted twice."))
        packages.put(tx, found, record)
    return str(found["study"][0]["id"])


def read(folder: Path) -> tuple[Mapping[str, list[Row]], Mapping[str, Any]]:
    """Every table of a package, and what the store that wrote it says of the record (nothing in the first format).

    Raises:
        BadInput: a table, column or cell is not as it was written, the seal or the hash of a row does not fit, or a
            newer version wrote it.
    """
    package_files.refuse_strange(folder)
    record = package_files.record_in(folder)
    version = record.get("format", FIRST_FORMAT)
    if version not in range(FIRST_FORMAT, FORMAT + 1):
        raise BadInput(_("datapackage.json: a newer version of the app wrote this package. Update the app."))
    fields = packages.fields(version)
    found = {
        name: package_files.rows(folder / f"{name}.csv", columns, packages.LATER.get(name, ()))
        for name, columns in fields.items()
    }
    if len(found["study"]) != 1:
        raise BadInput(_("study.csv: one row is needed, and there are {n}.").format(n=len(found["study"])))
    _refuse_changed(found)
    return found, record if version > FIRST_FORMAT else {}


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
