"""Whether the record is still the one that was written: read everything back, recompute, say what does not hold."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from functools import partial
from pathlib import Path
from typing import Any

from studyapp.errors import StoreProblem
from studyapp.records import CheckReport, Finding
from studyapp.services.points import Kept, keep, load
from studyapp.store import Store, events, proofs, read_store
from studyapp.store.engine import sqlite_version, write_ahead_is_safe
from studyapp.store.faults import ERASED, Fault
from studyapp.store.proofs import Proof
from studyapp.words import _, ngettext

SHOWN = 20
HEAD_LETTERS = 64
MISTYPED = 4  # so many wrong letters in one head are a slip of the hand; another head differs in sixty. No source


def check(
    store_url: str,
    head: str | None = None,
    points: Path | None = None,
    whole: bool = False,
    heard: Callable[[float], None] = lambda _share: None,
) -> CheckReport:
    """Verify a store without writing to it, a study at a time.

    `head` is a hash printed earlier on a slip; the record must still contain it. `points` is a folder of signed
    points: up to the last one, what is as it was proven then is not proven again, unless the check is to be a `whole`
    one; a new point is left there. `heard` is told the share that is done, from 0 to 1.

    Raises:
        StoreProblem: there is no such store, it is none, or a newer version wrote it.
    """
    store = read_store(store_url)
    try:
        with store.read() as tx:
            return _report(tx, store, head, points, whole, heard)
    finally:
        store.close()


def _report(
    tx: Any, store: Store, head: str | None, points: Path | None, whole: bool, heard: Callable[[float], None]
) -> CheckReport:
    """Findings in the order in which a person mends them: the file, the record, the slip, the advice."""
    try:
        findings, proof = _proven(tx, store, None if store.older else points, whole, heard)
    except StoreProblem:
        raise
    except Exception as error:  # a damaged file fails in any place and with any error of the library
        said = str(getattr(error, "orig", error))
        return CheckReport((Finding("error", _damaged(said)),), 0, "")
    if head is not None:
        findings.append(against_slip(partial(events.has, tx), partial(events.hashes, tx), head))
    findings += _of_older(store.older) + _advice(tx)
    return CheckReport(tuple(findings), proof.count, proof.head)


def _proven(
    tx: Any, store: Store, points: Path | None, whole: bool, heard: Callable[[float], None]
) -> tuple[list[Finding], Proof]:
    """The record itself, from its last point on where there is one; where all of it holds, a new point is left."""
    before = load(points, store, tx) if points and not whole else None
    stands = before is not None and proofs.holds(tx, before.point)
    proof = proofs.proof(tx, before.point if before and stands else None, heard)
    wrong = [fault for fault in proof.faults if fault.code != ERASED]
    findings = in_words(wrong) + _unproved(proof.unproved, [fault for fault in proof.faults if fault.code == ERASED])
    findings += _since(before, stands, proof) if before else []
    if points and not wrong and not keep(points, store, tx, proof.point):
        findings.append(Finding("info", _("No point was kept: {folder} cannot be written.").format(folder=points)))
    return findings, proof


def _since(before: Kept, stands: bool, proof: Proof) -> list[Finding]:
    """What a point was good for."""
    named = {"time": before.at, "n": before.point.count}
    if not stands:
        sentence = _(
            "Careful: the last check, of {time}, proved {n} events, and the record no longer has them so. An older "
            "backup was put back since, or the record was cut off or written anew. Everything was checked."
        )
        return [Finding("warning", sentence.format(**named))]
    again = ngettext(
        "{n} study was proven anew; what was proven up to event {event} on {time} was read again and is as it was "
        "then ({alike} studies).",
        "{n} studies were proven anew; what was proven up to event {event} on {time} was read again and is as it was "
        "then ({alike} studies).",
        proof.proven,
    ).format(n=proof.proven, event=before.point.count, time=before.at, alike=proof.alike)
    return [Finding("info", again)]


def in_words(faults: Sequence[Fault]) -> list[Finding]:
    """The first faults in words, and how many more there are."""
    findings = [Finding("error", unsound(fault)) for fault in faults[:SHOWN]]
    more = len(faults) - SHOWN
    if more > 0:
        sentence = ngettext("Careful: {n} more row does not hold.", "Careful: {n} more rows do not hold.", more).format(
            n=more
        )
        findings.append(Finding("error", sentence))
    return findings


def _unproved(unproved: Mapping[str, int], erased: list[Fault]) -> list[Finding]:
    """What no event tells, so that nobody can say whether it is as it was."""
    sentence = _(
        "Careful: {table} {row} was erased, and no event tells of it. A restore by an earlier version of the app does "
        "that; otherwise it was done outside the app."
    )
    findings = [Finding("warning", sentence.format(table=each.table, row=each.row)) for each in erased[:SHOWN]]
    told = [_of_earlier(what, count) for what, count in unproved.items() if count]
    return findings + [Finding("info", each) for each in told]


def _of_earlier(what: str, count: int) -> str:
    """What the events of an earlier version do not tell."""
    sentences = {
        "times": ngettext(
            "{n} time was recorded by an earlier version and is proven to the minute only.",
            "{n} times were recorded by an earlier version and are proven to the minute only.",
            count,
        ),
        "pseudonyms": ngettext(
            "The pseudonym of {n} assessor was recorded by an earlier version without an event: it cannot be proved.",
            "The pseudonyms of {n} assessors were recorded by an earlier version without an event: they cannot be "
            "proved.",
            count,
        ),
        "names": ngettext(
            "The name of {n} account was recorded by an earlier version without an event: it cannot be proved.",
            "The names of {n} accounts were recorded by an earlier version without an event: they cannot be proved.",
            count,
        ),
        "passphrases": ngettext(
            "The passphrase of {n} account was set by an earlier version without an event: nobody can tell whether it "
            "is still that one. A new passphrase mends that.",
            "The passphrases of {n} accounts were set by an earlier version without an event: nobody can tell whether "
            "they are still those. New passphrases mend that.",
            count,
        ),
        "seeds": ngettext(
            "{n} study was sealed by an earlier version, whose event does not tell the secret number that its orders "
            "follow from.",
            "{n} studies were sealed by an earlier version, whose events do not tell the secret numbers that their "
            "orders follow from.",
            count,
        ),
        "imports": ngettext(
            "{n} imported study went on here: how far it was when it came cannot be proved.",
            "{n} imported studies went on here: how far they were when they came cannot be proved.",
            count,
        ),
    }
    return sentences[what].format(n=count)


def _damaged(said: str) -> str:
    return _("Careful: the file is damaged ({said}). Restore the last backup and check that.").format(said=said)


def unsound(fault: Fault) -> str:
    """What a fault means, where, and that it came from outside."""
    if fault.code == "damaged":
        return _damaged(fault.row)
    outside = _("This was done outside the app.")
    sentences = {
        "orphan": _("Careful: row {row} of {table} points at nothing."),
        "guard missing": _("Careful: the guard {row} is gone, so that {table} could be changed."),
        "table missing": _("Careful: the table {table} is gone."),
        "gap": _("Careful: event {row} is missing from the record."),
        "broken link": _("Careful: event {row} does not follow the one before it."),
        "changed event": _("Careful: event {row} does not match its seal."),
        "changed row": _("Careful: row {row} of {table} does not match its seal."),
        "row without event": _("Careful: row {row} of {table} was added and never recorded."),
        "event without row": _("Careful: row {row} of {table} was recorded and is gone."),
        "changed seal": _("Careful: the rule of study {row} is not the one that was sealed."),
        "changed cover": _("Careful: rows of {table} are not the ones that event {row} recorded."),
        "uncovered row": _("Careful: {table} holds rows that were never recorded."),
        "uncovered value": _("Careful: column {row} of {table} holds values that were never recorded."),
        "changed note": _("Careful: note {row} does not match its seal."),
        "shape missing": _("Careful: the index {row} of {table} is gone."),
        "changed shape": _("Careful: the {row} of {table} is not the one that this app makes."),
        "strange shape": _("Careful: the {row} of {table} is none that this app makes."),
        "changed cell": _("Careful: {column} in row {row} of {table} is not what the record tells."),
        "changed description": _("Careful: what {table} says of {row} is not what the tables tell."),
        "changed import": _("Careful: {table} of study {row} is not as it was brought in."),
    }
    return f"{sentences[fault.code].format(row=fault.row, table=fault.table, column=fault.column)} {outside}"


def against_slip(has: Callable[[str], bool], hashes: Callable[[], Iterable[str]], head: str) -> Finding:
    """The head written on paper is the only witness against a record that was written anew as a whole; `has` says
    whether the record knows a hash, `hashes` gives all it knows."""
    slip = "".join(head.split()).lower()
    if has(slip):
        return Finding("info", _("Kept: the record still contains the head on your slip."))
    if len(slip) != HEAD_LETTERS or not set(slip) <= set("0123456789abcdef"):
        sentence = _(
            "Not compared: a head has {n} figures and letters from a to f; yours has {m} signs or others among them. "
            "Type it again."
        )
        return Finding("error", sentence.format(n=HEAD_LETTERS, m=len(slip)))
    if any(sum(a != b for a, b in zip(slip, known, strict=True)) <= MISTYPED for known in hashes()):
        return Finding("error", _("Not compared: the head is mistyped; one in this record is almost the same."))
    return Finding(
        "error",
        _("Careful: the head on your slip is not in this record. Its end was cut off, or it was written anew."),
    )


def _of_older(revision: str | None) -> list[Finding]:
    """That an earlier version wrote the store; it is proven as that version left it."""
    if revision is None:
        return []
    sentence = _(
        "This store is of an older version of the app (tables {revision}). It was read as this version would bring it "
        "up to date; nothing was changed."
    )
    return [Finding("info", sentence.format(revision=revision))]


def _advice(tx: Any) -> list[Finding]:
    """What is no fault of the record and still worth mending."""
    version = sqlite_version(tx)
    if version is None or write_ahead_is_safe(tuple(int(part) for part in version.split("."))):
        return []
    sentence = _(
        "Careful: SQLite {version} can lose answers when two programs write at once. "
        "Install SQLite 3.51.3 or later; until then the store writes more slowly and safely."
    ).format(version=version)
    return [Finding("warning", sentence)]
