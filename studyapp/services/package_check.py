"""Whether a package is still the one that was written: the check of a store, on a folder."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

from studyapp.errors import StudyError
from studyapp.records import CheckReport, Finding
from studyapp.services import packages
from studyapp.services.checking import against_slip, in_words
from studyapp.store import package_checks
from studyapp.words import _, ngettext


def check(folder: Path, head: str | None = None) -> CheckReport:
    """Verify a package without keeping it. `head` is a hash printed earlier, on a seal or a report.

    Raises:
        BadInput: there is no such folder.
    """
    try:
        found, record = packages.read(folder)
        faults = package_checks.faults(found, record) if record else ()
    except StudyError as refused:
        return CheckReport((Finding("error", str(refused)),), 0, "")
    findings = in_words(faults)
    if not record:
        sentence = _(
            "This package is of the first format, without events: seal and hashes of marks hold; what else was changed "
            "cannot be told."
        )
        return CheckReport((*findings, Finding("warning", sentence)), 0, "")
    told = package_checks.chain(found["event"])
    if head is not None:
        known = [str(row["hash"]) for row in found["event"]]
        findings.append(against_slip(known.__contains__, lambda: known, head))
    return CheckReport((*findings, *_said(record)), told.count, told.head)


def _said(record: Mapping[str, Any]) -> Sequence[Finding]:
    """Where the store stood, and who opened and signed."""
    head = ngettext(
        "The store that wrote it held {n} event; its head was {head}.",
        "The store that wrote it held {n} events; its head was {head}.",
        record["head_events"],
    ).format(n=record["head_events"], head=record["head"])
    opened = [
        (_("Opening {look} of the key: opened by one person.") if one["how"] == package_checks.ONE else "").format(
            look=one["look"]
        )
        for one in record["opened"]
    ]
    signed = [
        (_("After opening {look}: second signature missing.") if one["how"] == package_checks.MISSING else "").format(
            look=one["look"]
        )
        for one in record["signed"]
    ]
    return [Finding("info", sentence) for sentence in (head, *opened, *signed) if sentence]
