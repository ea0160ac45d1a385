"""Whoever edits a store by hand is found out: every edit is named with its row, in a file whose guards are back.

The chain itself is left whole here; what is edited is only what moves on with the work, people, drafts, and the tables,
guards and indexes themselves.
"""

from __future__ import annotations

import contextlib
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import pytest
from sqlalchemy import event

from studyapp.records import CheckReport
from studyapp.services.checking import check
from studyapp.store import checks, read_store, state_checks
from studyapp.store.engine import sqlite_module
from tests.reliability.conftest import points_of
from tests.stores import earlier

pytestmark = pytest.mark.reliability


@dataclass(frozen=True)
class Edit:
    """`change` in SQL; what must be named: the row that `row` finds (a text as it is), in `table`, and the column."""

    change: str
    table: str
    row: str
    column: str = ""


# ---- the edits -------------------------------------------------------------------------------------------------------
T = "'2026-01-01T00:00:00Z'"
JUDGED = "SELECT min(id) FROM serving WHERE outcome = 'judged'"
MISSING = "SELECT min(id) FROM serving WHERE outcome = 'missing'"
AGREED = "SELECT sitting_id || ' ' || assessor_id FROM presence WHERE agreed_at IS NOT NULL AND left_at IS NULL LIMIT 1"
OUT = "SELECT sitting_id || ' ' || assessor_id FROM presence WHERE declined_at IS NOT NULL"
LEFT = "SELECT sitting_id || ' ' || assessor_id FROM presence WHERE left_at IS NOT NULL"
SITTING, DECIDED = "SELECT id FROM sitting", "SELECT id FROM study WHERE seal IS NOT NULL"
DRAFT, BEN = "SELECT id FROM study WHERE seal IS NULL", "SELECT id FROM staff WHERE name = 'Ben'"
CLEO, HERON = "SELECT id FROM staff WHERE name = 'Cleo'", "SELECT id FROM assessor WHERE pseudonym = 'Heron'"
PERSON_OF_HERON = "SELECT person_id FROM assessor WHERE pseudonym = 'Heron'"
SEAT = "SELECT min(hash) FROM token WHERE kind = 'seat'"
KITE, NOTE = "SELECT id FROM assessor WHERE pseudonym = 'Kite'", "SELECT id FROM note"


def cell(table: str, row: str, column: str, value: str) -> Edit:
    """One cell of one row takes another value."""
    names = {"presence": "sitting_id || ' ' || assessor_id"}
    return Edit(f"UPDATE {table} SET {column} = {value} WHERE {names.get(table, 'id')} = ({row})", table, row, column)


HOURS = {
    "an earlier consent": cell("presence", AGREED, "agreed_at", T),
    "no consent": cell("presence", AGREED, "agreed_at", "NULL"),
    "a consent of somebody who sat out": cell("presence", OUT, "agreed_at", T),
    "nobody sat out": cell("presence", OUT, "declined_at", "NULL"),
    "left earlier": cell("presence", LEFT, "left_at", T),
    "left without marks": cell("presence", LEFT, "kept", "0"),
    "never left": cell("presence", LEFT, "left_at", "NULL"),
    "never there": Edit(f"DELETE FROM presence WHERE sitting_id || ' ' || assessor_id = ({OUT})", "presence", OUT),
    "served earlier": cell("serving", JUDGED, "started_at", T),
    "finished earlier": cell("serving", JUDGED, "finished_at", T),
    "never finished": cell("serving", JUDGED, "finished_at", "NULL"),
    "judged what was missing": cell("serving", MISSING, "outcome", "'judged'"),
    "missing what was judged": cell("serving", JUDGED, "outcome", "'missing'"),
    "a second later": cell("serving", JUDGED, "started_at", "strftime('%Y-%m-%dT%H:%M:%SZ', started_at, '+1 second')"),
    "open again": cell("sitting", SITTING, "state", "'open'"),
    "opened earlier": cell("sitting", SITTING, "opened_at", T),
    "closed earlier": cell("sitting", SITTING, "closed_at", T),
    "decided without a second signature": cell("study", DECIDED, "state", "'decided'"),
    "sealed again": cell("study", DECIDED, "state", "'sealed'"),
    "another look": cell("study", DECIDED, "look", "2"),
    "an invented example": cell("study", DECIDED, "example", "1"),
    "made earlier": cell("study", DECIDED, "created_at", T),
    "made by somebody else": cell("study", DECIDED, "created_by", f"({BEN})"),
    "sealed by somebody else": cell("study", DECIDED, "sealed_by", f"({BEN})"),
    "another plan of a draft": cell("study", DRAFT, "plan", "replace(plan, 'Acidity', 'Sourness')"),
    "a draft that no event tells of": Edit(
        "INSERT INTO study (id, state, look, plan, created_at, example, kind) "
        "VALUES ('x', 'draft', 0, '{}', 't', 0, 'hours')",
        "study",
        "'x'",
    ),
    "a leader": cell("staff", BEN, "role", "'leader'"),
    "an account that lives again": cell("staff", CLEO, "ended_at", "NULL"),
    "an account that ended": cell("staff", BEN, "ended_at", T),
    "a leader of one's own": Edit(
        "INSERT INTO staff (id, name, role, secret, created_at) VALUES ('eve', 'Eve', 'leader', 'x', 't')",
        "staff",
        "'eve'",
    ),
    "another name of an account": cell("staff", BEN, "name", "'Eve'"),
    "an account of another person": cell("staff", BEN, "person_id", f"({PERSON_OF_HERON})"),
    "a person behind another pseudonym": cell(
        "assessor", HERON, "person_id", f"(SELECT person_id FROM assessor WHERE id = ({KITE}))"
    ),
    "a person nobody added": Edit("INSERT INTO person (id, created_at) VALUES ('x', 't')", "person", "'x'"),
    "a sign-in of one's own": Edit(
        f"INSERT INTO token (hash, kind, staff_id, created_at) VALUES ('eve', 'staff', ({BEN}), 't')", "token", "'eve'"
    ),
    "a seat that lives again": Edit(
        f"UPDATE token SET ended_at = NULL WHERE hash = ({SEAT})", "token", f"substr(({SEAT}), 1, 12)", "ended_at"
    ),
    "another pseudonym": cell("assessor", HERON, "pseudonym", "'Crane'"),
    "may not taste": cell("assessor", HERON, "may_taste", "0"),
    "an erased name": cell("person", f"SELECT person_id FROM assessor WHERE id = ({KITE})", "name", "'Invented Name'"),
    "a note less": Edit("DELETE FROM note", "note", NOTE),
    "a note of another sitting": Edit("UPDATE note SET sitting_id = 'elsewhere'", "note", NOTE),
}  # fmt: skip
SEEN = "SELECT min(id) FROM trial_set WHERE finished_at IS NULL AND started_at IS NOT NULL"
ANSWERED = "SELECT min(id) FROM trial_set WHERE outcome = 'answered'"
AROMA = {
    "an answer that was none": cell("trial_set", ANSWERED, "outcome", "'missing'"),
    "a set that was not needed": cell("trial_set", ANSWERED, "outcome", "'not needed'"),
    "answered earlier": cell("trial_set", ANSWERED, "finished_at", T),
    "served earlier": cell("trial_set", ANSWERED, "started_at", T),
    "open again": cell("trial_set", ANSWERED, "finished_at", "NULL"),
    "closed without an answer": cell("trial_set", SEEN, "finished_at", T),
    "never seen": cell("trial_set", SEEN, "started_at", "NULL"),
}  # fmt: skip
SHAPES = {
    "a hollow guard": Edit(
        "DROP TRIGGER score_no_update; CREATE TRIGGER score_no_update BEFORE UPDATE ON score "
        "WHEN FALSE BEGIN SELECT RAISE(ABORT, 'score is append-only'); END",
        "score",
        "'trigger score_no_update'",
    ),
    "a narrower guard": Edit(
        "DROP TRIGGER serving_fixed; CREATE TRIGGER serving_fixed BEFORE UPDATE OF code ON serving WHEN TRUE "
        "BEGIN SELECT RAISE(ABORT, 'serving is sealed'); END",
        "serving",
        "'trigger serving_fixed'",
    ),
    "no guard": Edit("DROP TRIGGER sample_fixed", "sample", "'sample_fixed'"),
    "a trigger that writes": Edit(
        "CREATE TRIGGER helper AFTER INSERT ON score BEGIN UPDATE serving SET outcome = 'judged'; END",
        "score",
        "'trigger helper'",
    ),
    "no index": Edit("DROP INDEX uq_trial_answer", "trial", "'uq_trial_answer'"),
    "another index": Edit(
        "DROP INDEX uq_trial_answer; CREATE UNIQUE INDEX uq_trial_answer ON trial (set_id) WHERE choice IS NULL",
        "trial",
        "'index uq_trial_answer'",
    ),
    "one column more": Edit("ALTER TABLE tray ADD COLUMN hint TEXT", "tray", "'table tray'"),
    "a table of one's own": Edit("CREATE TABLE aside (value TEXT)", "aside", "'table aside'"),
    "a view in the way": Edit("CREATE VIEW scores AS SELECT * FROM score", "scores", "'view scores'"),
}


def edited(file: Path, edit: Edit, guards: bool) -> str:
    """Edit beside the app, with the guards out of the way and put back; the row that must be named."""
    with contextlib.closing(sqlite_module().connect(str(file))) as connection:
        connection.execute("PRAGMA foreign_keys=OFF")
        row = str(connection.execute(f"SELECT ({edit.row})").fetchone()[0])
        kept = connection.execute("SELECT name, sql FROM sqlite_master WHERE type = 'trigger'").fetchall()
        for name, _sql in kept if guards else ():
            connection.execute(f"DROP TRIGGER {name}")
        before = connection.total_changes
        connection.executescript(edit.change)
        assert connection.total_changes > before or not guards, "the edit changed nothing"
        for _name, sql in kept if guards else ():
            connection.execute(sql)
        connection.commit()
    return row


def reports(file: Path) -> list[CheckReport]:
    """The check of everything, and the one that goes on from the point that was left before the edit."""
    return [check(str(file)), check(str(file), points=points_of(file))]


def named(report: CheckReport, edit: Edit, row: str) -> bool:
    """Whether an error names the row, the table and the column."""
    told = [finding.sentence for finding in report.findings if finding.level == "error"]
    table = "" if edit.table == "note" else edit.table
    return any(all(part in sentence for part in (row, table, edit.column)) for sentence in told)


@pytest.mark.parametrize("name", HOURS)
def test_an_edit_of_hours_is_named_with_its_row(hours: Path, name: str) -> None:
    """Consent, servings, sittings, states, roles, pseudonyms, drafts, notes."""
    row = edited(hours, HOURS[name], guards=True)
    if name == "an erased name":  # told by the pseudonym's row: a person has no other name in the record
        with contextlib.closing(sqlite_module().connect(str(hours))) as connection:
            row = str(connection.execute(KITE).fetchone()[0])
    for report in reports(hours):
        assert named(report, HOURS[name], row), report


@pytest.mark.parametrize("name", AROMA)
def test_an_edit_of_sets_is_named_with_its_row(aroma: Path, name: str) -> None:
    """How far a set went decides a sequential verdict."""
    row = edited(aroma, AROMA[name], guards=True)
    for report in reports(aroma):
        assert named(report, AROMA[name], row), report


@pytest.mark.parametrize("name", SHAPES)
def test_an_edit_of_tables_guards_and_indexes_is_named(aroma: Path, name: str) -> None:
    """Word by word what an empty store of this version has."""
    row = edited(aroma, SHAPES[name], guards=False)
    for report in reports(aroma):
        assert named(report, SHAPES[name], row), report


def test_swapped_pseudonyms_are_both_named(hours: Path) -> None:
    """Heron's answers under Lark's name."""
    swap = Edit(
        "UPDATE assessor SET pseudonym = 'x' WHERE pseudonym = 'Heron';"
        "UPDATE assessor SET pseudonym = 'Heron' WHERE pseudonym = 'Lark';"
        "UPDATE assessor SET pseudonym = 'Lark' WHERE pseudonym = 'x'",
        "assessor",
        HERON,
        "pseudonym",
    )
    edited(hours, swap, guards=True)
    told = [each.sentence for each in check(str(hours)).findings if "pseudonym in row" in each.sentence]
    assert len(told) == 2


def test_an_erasure_that_no_event_tells_of_is_said(hours: Path) -> None:
    """A restore by an earlier version repeated erasures without an event, so this is a warning and names the row."""
    edit = Edit(f"UPDATE note SET text = NULL, salt = NULL, erased_at = {T}", "note", NOTE)
    row = edited(hours, edit, guards=True)
    told = [each for each in check(str(hours)).findings if each.level == "warning" and row in each.sentence]
    assert len(told) == 1


def test_the_state_is_read_in_as_many_statements_for_a_large_store(tmp_path: Path) -> None:
    """What it costs grows with the rows that are read, not with questions about each of them."""
    asked = {}
    for name in earlier.TO_THE_MINUTE:
        file = earlier.unpacked(name, tmp_path / f"{name}.sqlite")
        with contextlib.closing(read_store(str(file))) as store, store.read() as tx:
            told, seen = checks.chain(tx), []
            event.listen(store.engine, "before_cursor_execute", lambda *call, seen=seen: seen.append(call[2]))
            assert state_checks.state_faults(tx, told.sound).faults == ()
            asked[told.count] = len(seen)
    few, many = sorted(asked)
    assert many > 5 * few
    assert asked[few] == asked[many]


# ---- earlier stores --------------------------------------------------------------------------------------------------
@pytest.mark.parametrize("name", earlier.TO_THE_MINUTE)
def test_what_an_earlier_store_cannot_prove_is_said(name: str, tmp_path: Path) -> None:
    """It is sound; times hold to the minute and pseudonyms not at all, and both are said, not guessed."""
    report = check(str(earlier.unpacked(name, tmp_path / "studies.sqlite")))
    assert report.sound
    said = " ".join(finding.sentence for finding in report.findings if finding.level == "info")
    assert "proven to the minute only" in said
    assert "The pseudonyms of 6 assessors" in said


OLD_EDITS = ("an earlier consent", "served earlier", "missing what was judged", "open again", "a leader")


@pytest.mark.parametrize("name", earlier.TO_THE_MINUTE)
@pytest.mark.parametrize("edit", OLD_EDITS)
def test_an_edit_of_an_earlier_store_is_named(name: str, edit: str, tmp_path: Path) -> None:
    """What its events do tell is held against them."""
    file = earlier.unpacked(name, tmp_path / "studies.sqlite")
    one = HOURS[edit]
    if edit == "open again":
        one = cell("sitting", "SELECT min(id) FROM sitting WHERE state = 'closed'", "state", "'open'")
    elif edit == "an earlier consent":
        one = cell("presence", f"{AGREED}", "agreed_at", T)
    row = edited(file, one, guards=True)
    report = check(str(file))
    assert named(report, one, row), report


# ---- imports ---------------------------------------------------------------------------------------------------------
@pytest.mark.parametrize(
    ("table", "change"),
    [
        ("study", "state = 'opened'"),
        ("sitting", f"closed_at = {T}"),
        ("serving", "outcome = 'missing'"),
        ("presence", f"agreed_at = {T}"),
    ],
)
def test_an_edit_of_an_imported_study_is_named(imported: tuple[Path, str], table: str, change: str) -> None:
    """Its events stayed where it was tasted; the digests of the import hold its rows."""
    file, study = imported
    edited(file, Edit(f"UPDATE {table} SET {change}", table, "'x'"), guards=True)
    told = [each.sentence for each in check(str(file)).findings if each.level == "error"]
    assert any(f"{table} of study {study} is not as it was brought in" in each for each in told), told


# ---- the head --------------------------------------------------------------------------------------------------------
def _swapped(head: str) -> str:
    """The head with the first two neighbours that differ changed over (two alike would leave it as it was)."""
    at = next(at for at in range(len(head) - 1) if head[at] != head[at + 1])
    return head[:at] + head[at + 1] + head[at] + head[at + 2 :]


MISTAKES: dict[str, Callable[[str], str]] = {
    "a letter too few": lambda head: head[:-1],
    "a letter twice": lambda head: head[0] + head,
    "an o for a zero": lambda head: head[:10] + "o" + head[11:],
    "two letters swapped": _swapped,
    "another figure": lambda head: ("0" if head[0] != "0" else "1") + head[1:],
    "nothing": lambda head: "",
}


@pytest.mark.parametrize("name", MISTAKES)
def test_a_mistyped_head_is_called_one(hours: Path, name: str) -> None:
    """The record is not accused of what a finger did."""
    head = check(str(hours)).head
    report = check(str(hours), MISTAKES[name](head))
    assert not report.sound
    assert report.findings[-1].sentence.startswith("Not compared: ")
    assert check(str(hours), f" {head[:32].upper()} {head[32:]}\n").sound


def test_another_head_is_no_slip_of_the_hand(hours: Path) -> None:
    """A whole head of another record is missing here, and that is said."""
    report = check(str(hours), "5" * 64)
    assert "is not in this record" in report.findings[-1].sentence
