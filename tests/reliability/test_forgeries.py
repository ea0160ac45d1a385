"""Forty ways to forge a record, written down and tried: the check finds every one (two of them by the printed head).

Each forgery works on the file itself, with the guards removed first where that is needed, and takes back what it can:
hashes of rows, triggers, whole chains. What it cannot take back is what the check looks for.
"""

from __future__ import annotations

import json
import random
import shutil
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from studyapp.errors import StoreProblem
from studyapp.kinds.hours import setting_out
from studyapp.services import closing, preparing, tasting, watching
from studyapp.services.checking import check
from studyapp.store import events
from studyapp.store.engine import sqlite_module
from studyapp.store.row_hashes import row_hash

pytestmark = pytest.mark.reliability
Cursor = Any


# ---- a whole study, played once --------------------------------------------------------------------------------------
@pytest.fixture(scope="module")
def shelf(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Any]:
    """A place for the file and the head of the finished study."""
    return {"folder": tmp_path_factory.mktemp("record")}


@pytest.fixture
def record(shelf: dict[str, Any], request: pytest.FixtureRequest, tmp_path: Path) -> tuple[Path, str]:
    """A copy of a finished record, with the head that was printed at its end."""
    if "file" not in shelf:
        _play(request, shelf)
    copy = tmp_path / "forged.sqlite"
    shutil.copy(shelf["file"], copy)
    return copy, shelf["head"]


def _play(request: pytest.FixtureRequest, shelf: dict[str, Any]) -> None:
    """Taste, correct, take out, note, deviate, close, open, sign."""
    workshop, hands = request.getfixturevalue("workshop"), request.getfixturevalue("hands")
    store, leader, preparer, study = workshop.store, workshop.leader, workshop.preparer, workshop.study
    preparing.fill_rows(store, preparer, workshop.sitting.id)
    setting_out.note_pull(store, preparer, study, 33.75, "2026-11-24 10:41", 3900.0)
    first = hands[0].serving()
    hands[0].mark(first.serving, first.lines[0].id, 9.9)
    for number, hand in enumerate(hands):
        hand.taste_all(lambda place, line, n=number: (len(line) + 3 * place.number + n) % 10)
    tasting.send_note(store, hands[1].token, "number two was grainy")
    watching.note_deviation(store, leader, study, "The room was warm.")
    watching.close_sitting(store, leader, workshop.sitting.id, "")
    closing.open_key(store, leader, study, "Ada")
    closing.sign(store, leader, study, "ran the test")
    shelf["file"] = shelf["folder"] / "studies.sqlite"
    target = sqlite_module().connect(str(shelf["file"]))
    with store.read() as tx:
        tx.connection.driver_connection.backup(target)
    target.close()
    report = check(str(shelf["file"]))
    assert report.sound, report
    shelf["head"] = report.head


# ---- tools of a forger -----------------------------------------------------------------------------------------------
def unguard(cursor: Cursor) -> list[str]:
    """Take the triggers away; returns how to put them back."""
    found = cursor.execute("SELECT name, sql FROM sqlite_master WHERE type = 'trigger'").fetchall()
    for name, _sql in found:
        cursor.execute(f"DROP TRIGGER {name}")
    return [sql for _name, sql in found]


def one(cursor: Cursor, query: str) -> Any:
    """The first value of a query."""
    return cursor.execute(query).fetchone()[0]


def rehash_row(cursor: Cursor, id_: int) -> str:
    """Give a changed score the hash it should have."""
    found = cursor.execute("SELECT * FROM score WHERE id = ?", (id_,))
    row = dict(zip((column[0] for column in found.description), found.fetchone(), strict=True))
    sha = row_hash("score", row)
    cursor.execute("UPDATE score SET sha256 = ? WHERE id = ?", (sha, id_))
    return sha


def rehash_chain(cursor: Cursor) -> None:
    """Write every link anew from the first event on."""
    prev = events.GENESIS
    rows = cursor.execute("SELECT seq, at, kind, study_id, body FROM event ORDER BY seq").fetchall()
    cursor.execute("UPDATE event SET prev = 'p' || seq, hash = 'h' || seq")
    for number, (seq, at, kind, study, body) in enumerate(rows, start=1):
        hash_ = events.link(number, at, kind, study, json.loads(body), prev)
        cursor.execute("UPDATE event SET seq = ?, prev = ?, hash = ? WHERE seq = ?", (number, prev, hash_, seq))
        prev = hash_


def edit_event(cursor: Cursor, kind: str, **changes: Any) -> None:
    """Change the body of the last event of a kind, canonically."""
    seq, body = cursor.execute(
        "SELECT seq, body FROM event WHERE kind = ? ORDER BY seq DESC LIMIT 1", (kind,)
    ).fetchone()
    import rfc8785

    text = rfc8785.dumps({**json.loads(body), **changes}).decode()
    cursor.execute("UPDATE event SET body = ? WHERE seq = ?", (text, seq))


def sql(*statements: str) -> Callable[[Cursor], None]:
    """A forgery that needs nothing but SQL."""

    def forge(cursor: Cursor) -> None:
        for statement in statements:
            cursor.execute(statement)

    return forge


def edit_score_and_hash(cursor: Cursor) -> None:
    """Change a mark and its own hash."""
    cursor.execute("UPDATE score SET value = 9.7 WHERE id = 10")
    rehash_row(cursor, 10)


def edit_score_hash_and_event(cursor: Cursor) -> None:
    """Change a mark, its hash and the body of its event, but not the link."""
    cursor.execute("UPDATE score SET value = 9.7 WHERE id = 10")
    sha = rehash_row(cursor, 10)
    cursor.execute(
        "UPDATE event SET body = ? WHERE kind = 'score' AND json_extract(body, '$.score') = 10",
        (f'{{"score":10,"sha256":"{sha}"}}',),
    )


def delete_score_and_event(cursor: Cursor) -> None:
    """Take out a mark together with its event."""
    cursor.execute("DELETE FROM score WHERE id = 10")
    cursor.execute("DELETE FROM event WHERE kind = 'score' AND body LIKE '{\"score\":10,%'")


def delete_event_and_close_the_gap(cursor: Cursor) -> None:
    """Take out one event and write the rest of the chain anew, but forget the row it spoke of."""
    cursor.execute("DELETE FROM event WHERE kind = 'score' AND body LIKE '{\"score\":10,%'")
    rehash_chain(cursor)


def swap_values(cursor: Cursor) -> None:
    """Exchange the marks of two cups."""
    a, b = (one(cursor, f"SELECT value FROM score WHERE id = {id_}") for id_ in (5, 20))
    cursor.execute("UPDATE score SET value = ? WHERE id = 5", (b,))
    cursor.execute("UPDATE score SET value = ? WHERE id = 20", (a,))


def swap_rows(cursor: Cursor) -> None:
    """Exchange two whole rows, hashes and all."""
    cursor.execute("UPDATE score SET id = -1 WHERE id = 5")
    cursor.execute("UPDATE score SET id = 5 WHERE id = 20")
    cursor.execute("UPDATE score SET id = 20 WHERE id = -1")


def swap_samples(cursor: Cursor) -> None:
    """Exchange what two codes stood for: the key itself."""
    first, second = cursor.execute(
        "SELECT id, sample_id FROM serving WHERE scored = 1 AND position IN (1, 2) ORDER BY assessor_id LIMIT 2"
    ).fetchall()
    cursor.execute("UPDATE serving SET sample_id = ? WHERE id = ?", (second[1], first[0]))
    cursor.execute("UPDATE serving SET sample_id = ? WHERE id = ?", (first[1], second[0]))


def swap_hours(cursor: Cursor) -> None:
    """Exchange the hours of two samples."""
    cursor.execute("UPDATE sample SET hours = -1 WHERE hours = 17.25")
    cursor.execute("UPDATE sample SET hours = 17.25 WHERE hours = 61.5")
    cursor.execute("UPDATE sample SET hours = 61.5 WHERE hours = -1")


def widen_the_margin(cursor: Cursor) -> None:
    """Move the goalposts in the sealed plan."""
    plan = json.loads(one(cursor, "SELECT plan FROM study WHERE seal IS NOT NULL"))
    plan["attributes"][0]["margin"] = 3.0
    cursor.execute("UPDATE study SET plan = ?", (json.dumps(plan),))


def widen_the_margin_and_seal(cursor: Cursor) -> None:
    """The same with a fresh seal."""
    widen_the_margin(cursor)
    seal = events.digest(json.loads(one(cursor, "SELECT plan FROM study")))
    cursor.execute("UPDATE study SET seal = ?", (seal,))


def seal_anew_with_event(cursor: Cursor) -> None:
    """The same with a fresh seal and a changed event."""
    widen_the_margin_and_seal(cursor)
    edit_event(cursor, "sealed", seal=one(cursor, "SELECT seal FROM study"))


def later_opening(cursor: Cursor) -> None:
    """Claim that the key was opened later, in row and event alike, without the links behind."""
    cursor.execute("UPDATE opening SET at = '2027-01-01T00:00:00Z'")
    cursor.execute("UPDATE event SET at = '2027-01-01T00:00:00Z' WHERE kind = 'key opened'")


def add_score(cursor: Cursor) -> None:
    """Slip in one more correction, with a true hash and no event."""
    cursor.execute(
        "INSERT INTO score (serving_id, attribute_id, value, nonce, at, sha256)"
        " SELECT serving_id, attribute_id, 1.0, 'forged', at, '' FROM score WHERE id = 10"
    )
    rehash_row(cursor, one(cursor, "SELECT max(id) FROM score"))


def add_score_and_unlinked_event(cursor: Cursor) -> None:
    """The same with an event that links to nothing."""
    add_score(cursor)
    id_ = one(cursor, "SELECT max(id) FROM score")
    sha = one(cursor, f"SELECT sha256 FROM score WHERE id = {id_}")
    seq = one(cursor, "SELECT max(seq) FROM event") + 1
    cursor.execute(
        "INSERT INTO event VALUES (?, '2026-11-24T00:00:00Z', 'score', NULL, ?, 'p', 'h')",
        (seq, f'{{"score":{id_},"sha256":"{sha}"}}'),
    )


def cut_tail_of_events(cursor: Cursor) -> None:
    """Forget the last events, but leave the rows they spoke of."""
    cursor.execute("DELETE FROM event WHERE seq > (SELECT max(seq) FROM event) - 3")


def cut_tail(cursor: Cursor) -> None:
    """Undo the signature without a trace: its event, the verdict it kept, and the rows."""
    cursor.execute("DELETE FROM event WHERE kind IN ('signed', 'verdict kept')")
    cursor.execute("DELETE FROM signature")
    cursor.execute("DELETE FROM decision")


def rewrite_everything(cursor: Cursor) -> None:
    """Change a mark, its hash, its event, and every link after it."""
    cursor.execute("UPDATE score SET value = 9.7 WHERE id = 10")
    sha = rehash_row(cursor, 10)
    seq = one(cursor, "SELECT seq FROM event WHERE kind = 'score' AND json_extract(body, '$.score') = 10")
    import rfc8785

    cursor.execute(
        "UPDATE event SET body = ? WHERE seq = ?", (rfc8785.dumps({"score": 10, "sha256": sha}).decode(), seq)
    )
    rehash_chain(cursor)


CUP = "SELECT serving_id FROM score WHERE id = 10"
OTHER_CUP = "SELECT serving_id FROM score WHERE id = 30"
LINE = "SELECT attribute_id FROM score WHERE id = 11"
FORGERIES: dict[str, Callable[[Cursor], None]] = {
    "raise one mark": sql("UPDATE score SET value = 9.5 WHERE id = 10"),
    "lower every mark of a cup": sql(f"UPDATE score SET value = 9.7 WHERE serving_id = ({CUP})"),
    "make a mark missing": sql("UPDATE score SET value = NULL, reason = 'broken' WHERE id = 10"),
    "turn 5 into the text 5": sql("UPDATE score SET value = 'five' WHERE id = 10"),
    "give a missing reason": sql("UPDATE score SET reason = 'second thoughts' WHERE id = 10"),
    "edit a mark and its hash": edit_score_and_hash,
    "edit a mark, its hash and its event": edit_score_hash_and_event,
    "delete a mark": sql("DELETE FROM score WHERE id = 10"),
    "delete the first mark, which was corrected": sql("DELETE FROM score WHERE id = 1"),
    "delete the last mark": sql("DELETE FROM score WHERE id = (SELECT max(id) FROM score)"),
    "delete every mark": sql("DELETE FROM score"),
    "delete a mark and its event": delete_score_and_event,
    "delete an event and close the gap": delete_event_and_close_the_gap,
    "delete the first event": sql("DELETE FROM event WHERE seq = 1"),
    "swap two marks": swap_values,
    "swap two rows": swap_rows,
    "move a mark to another line": sql(f"UPDATE score SET attribute_id = ({LINE}) WHERE id = 10"),
    "move a mark to another cup": sql(f"UPDATE score SET serving_id = ({OTHER_CUP}) WHERE id = 10"),
    "swap two samples in the key": swap_samples,
    "swap the hours of two samples": swap_hours,
    "give a cup another code": sql("UPDATE serving SET code = '099' WHERE id = (SELECT min(id) FROM serving)"),
    "make a scored cup a warm-up": sql("UPDATE serving SET scored = 0 WHERE position = 3"),
    "make a scored cup neither scored nor not": sql("UPDATE serving SET scored = 2 WHERE position = 3"),
    "rename an attribute": sql("UPDATE attribute SET name = 'Sourness' WHERE position = 0"),
    "turn off a deciding attribute": sql("UPDATE attribute SET decides = 0 WHERE position = 0"),
    "give a seat to somebody else": sql("UPDATE seat SET number = number + 10"),
    "widen the sealed margin": widen_the_margin,
    "widen the margin and seal it": widen_the_margin_and_seal,
    "seal anew with its event": seal_anew_with_event,
    "unseal the study": sql("UPDATE study SET seal = NULL, sealed_at = NULL"),
    "back-date a mark": sql("UPDATE score SET at = '2026-01-01T00:00:00Z' WHERE id = 10"),
    "back-date the seal": sql("UPDATE study SET sealed_at = '2026-01-01T00:00:00Z'"),
    "back-date an event": sql("UPDATE event SET at = '2026-01-01T00:00:00Z' WHERE seq = 20"),
    "claim a later opening": later_opening,
    "slip in a correction": add_score,
    "slip in a correction with an event": add_score_and_unlinked_event,
    "drop a deviation": sql("DELETE FROM deviation"),
    "soften a deviation": sql("UPDATE deviation SET known = 'nothing served'"),
    "sign for somebody else": sql("UPDATE signature SET name = 'Dora'"),
    "change the signed verdict": sql("UPDATE decision SET document = replace(document, '\"verdict\"', '\"verdict \"')"),
    "clear a tray afterwards": sql("UPDATE tray SET second_person = 'Dora' WHERE position = 1"),
    "rewrite a note": sql("UPDATE note SET text = 'number two was lovely'"),
    "cut the tail of the events": cut_tail_of_events,
    "leave the guards away": lambda _cursor: None,
}  # fmt: skip
BY_HEAD = {"cut the tail": cut_tail, "write everything anew": rewrite_everything}


def forge(file: Path, act: Callable[[Cursor], None], put_back: bool = True) -> None:
    """Open the file beside the app, forge, and put the guards back as if nothing had been."""
    connection = sqlite_module().connect(str(file))
    cursor = connection.cursor()
    cursor.execute("PRAGMA foreign_keys=OFF")
    guards = unguard(cursor)
    act(cursor)
    for guard in guards if put_back else ():
        cursor.execute(guard)
    connection.commit()
    connection.close()


def test_there_are_forty_forgeries_or_more() -> None:
    """The list may grow; it does not shrink."""
    assert len(FORGERIES) + len(BY_HEAD) >= 40


@pytest.mark.parametrize("name", FORGERIES)
def test_a_forgery_is_found_without_any_paper(record: tuple[Path, str], name: str) -> None:
    """The file alone gives it away."""
    file, _head = record
    forge(file, FORGERIES[name], put_back=name != "leave the guards away")
    report = check(str(file))
    assert not report.sound
    assert all(finding.sentence.startswith("Careful:") for finding in report.findings)


@pytest.mark.parametrize("name", BY_HEAD)
def test_a_forgery_without_a_seam_is_found_by_the_printed_head(record: tuple[Path, str], name: str) -> None:
    """Who rewrites everything leaves a file that is sound in itself; the head on paper is the witness."""
    file, head = record
    forge(file, BY_HEAD[name])
    assert check(str(file)).sound
    report = check(str(file), head)
    assert not report.sound
    assert "slip" in report.findings[-1].sentence


def test_an_honest_record_keeps_every_head_it_ever_had(record: tuple[Path, str]) -> None:
    """A slip printed long ago still fits after the record has grown."""
    file, head = record
    connection = sqlite_module().connect(str(file))
    heads = [row[0] for row in connection.execute("SELECT hash FROM event ORDER BY seq").fetchall()]
    connection.close()
    assert heads[-1] == head
    for slip in (heads[0], heads[len(heads) // 2].upper(), f" {head} "):
        assert check(str(file), slip).sound


def test_the_first_bad_row_is_named(record: tuple[Path, str]) -> None:
    """Where to look is part of the answer."""
    file, _head = record
    forge(file, sql("UPDATE score SET value = 9.5 WHERE id IN (10, 12)"))
    first = check(str(file)).findings[0]
    assert "row 10 of score" in first.sentence


# ---- damage without intent -------------------------------------------------------------------------------------------
RECORD = (
    "event",
    "score",
    "sample",
    "attribute",
    "serving",
    "sitting",
    "opening",
    "signature",
    "deviation",
    "decision",
)


def rows_of(file: Path) -> dict[str, Any] | None:
    """The rows of the record, None when the file can no longer be read through."""
    connection = sqlite_module().connect(f"{file.as_uri()}?mode=ro&immutable=1", uri=True)
    try:
        found = {table: connection.execute(f"SELECT * FROM {table} ORDER BY 1").fetchall() for table in RECORD}
        found["study"] = connection.execute("SELECT id, plan, seal, sealed_at FROM study").fetchall()
    except (sqlite_module().Error, UnicodeDecodeError, OverflowError):
        return None
    finally:
        connection.close()
    return found


def sound(file: Path) -> bool:
    """Whether the check believes a file; a refusal to open it is a no."""
    try:
        return check(str(file)).sound
    except StoreProblem as problem:
        return not str(problem)


def test_damage_that_changed_a_record_never_goes_unnoticed(record: tuple[Path, str], tmp_path: Path) -> None:
    """200 times 1 to 64 flipped bits, and 20 cut ends: what reads differently afterwards is never called sound."""
    file, _head = record
    whole, rng = file.read_bytes(), random.Random(12)
    before, changed, missed = rows_of(file), 0, []
    damaged = tmp_path / "damaged.sqlite"
    for number in range(220):
        content = bytearray(whole)
        if number >= 200:
            content = content[: rng.randrange(512, len(whole))]
        else:
            for _ in range(rng.randint(1, 64)):
                content[rng.randrange(100, len(content))] ^= 1 << rng.randrange(8)
        damaged.write_bytes(content)
        if rows_of(damaged) != before:
            changed += 1
            missed += [number] if sound(damaged) else []
    assert changed > 100
    assert missed == []
