"""A study taken out as tables and brought in again is the same study, byte for byte."""

from __future__ import annotations

import csv
import json
import os
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from studyapp.errors import BadInput, NotAllowed, NotFound
from studyapp.kinds.hours import deciding, setting_out
from studyapp.kinds.hours.plan import HoursPlan
from studyapp.records import Attribute
from studyapp.services import accounts, closing, packages, panel, preparing, tasting, watching
from studyapp.services.checking import check
from studyapp.store import open_store
from studyapp.store.row_hashes import row_hash
from tests.furnished import reached


@pytest.fixture
def plan(plan: HoursPlan) -> HoursPlan:
    """Names that a spreadsheet could take for formulas, and an apostrophe of their own."""
    lines = (
        Attribute("=SUM(A1:A9)", "'quoted', with \"both\" and a\nline break"),
        Attribute("+fruit", "-5 means none; @home"),
        Attribute("Bitterness", "", decides=False),
    )
    return replace(plan, attributes=lines)


@pytest.fixture
def decided(workshop: Any, hands: list[Any]) -> Any:
    """A study that was tasted, corrected, given up, opened and signed."""
    reached(workshop.store, lambda: _decide(workshop, hands), "decided after all that happens")
    return workshop


def _decide(workshop: Any, hands: list[Any]) -> None:
    store, leader = workshop.store, workshop.leader
    preparing.fill_rows(store, workshop.preparer, workshop.sitting.id)
    setting_out.note_pull(store, workshop.preparer, workshop.study, 33.75, "2026-11-24 10:41", 3900.0)
    watching.note_deviation(store, leader, workshop.study, "The room was warm.")
    tasting.send_note(store, hands[0].token, "private words")
    here = hands[0].serving()
    hands[0].mark(here.serving, here.lines[0].id, 9.9)
    for number, hand in enumerate(hands[:-1]):
        hand.taste_all(lambda place, line, n=number: (len(line) + 3 * place.number + n) % 10)
    tasting.leave(store, hands[-1].token, True)
    watching.close_sitting(store, leader, workshop.sitting.id, "")
    closing.open_key(store, leader, workshop.study, "Ada")
    closing.sign(store, leader, workshop.study, "ran the test")


def bytes_in(folder: Path) -> dict[str, bytes]:
    """Every file of a folder."""
    return {file.name: file.read_bytes() for file in sorted(folder.iterdir())}


def test_out_in_out_gives_equal_bytes(decided: Any, tmp_path: Path) -> None:
    """Another store that takes the study in gives it out the same, and its own record is sound."""
    packages.take_out(decided.store, decided.study, tmp_path / "first")
    other = open_store(str(tmp_path / "other.sqlite"))
    assert packages.bring_in(other, tmp_path / "first") == decided.study
    packages.take_out(other, decided.study, tmp_path / "second")
    assert bytes_in(tmp_path / "first") == bytes_in(tmp_path / "second")
    assert check(str(tmp_path / "other.sqlite")).sound
    other.close()


def test_the_verdict_survives_the_journey(decided: Any, tmp_path: Path) -> None:
    """The same scores, the same rule, the same answer; the newcomer's first leader still has to be named."""
    packages.take_out(decided.store, decided.study, tmp_path / "out")
    other = open_store(str(tmp_path / "other.sqlite"))
    packages.bring_in(other, tmp_path / "out")
    assert accounts.needs_first_leader(other)
    leader = accounts.first_leader(other, "Zoe", "another long passphrase")
    here = deciding.scores(decided.store, decided.leader, decided.study)
    there = deciding.scores(other, leader, decided.study)
    assert there.equals(here)
    assert deciding.decision(other, leader, decided.study) == deciding.decision(
        decided.store, decided.leader, decided.study
    )
    watching.note_deviation(other, leader, decided.study, "Read again elsewhere.")
    assert check(str(tmp_path / "other.sqlite")).sound
    other.close()


def test_real_names_and_notes_stay_at_home(decided: Any, tmp_path: Path) -> None:
    """Pseudonyms travel; who they are, and what they wrote, does not."""
    kite = panel.add_assessor(decided.store, decided.leader, "Kite", "Real Name")
    packages.take_out(decided.store, decided.study, tmp_path / "out")
    everything = b"".join(bytes_in(tmp_path / "out").values()).decode()
    assert "Heron" in everything
    for word in ("Real Name", "private words", kite.id, decided.passphrase, "scrypt"):
        assert word not in everything


def test_no_cell_can_be_taken_for_a_formula(decided: Any, tmp_path: Path) -> None:
    """OWASP ASVS 5.0, 1.2.10: texts that begin with = + - @ are marked; numbers never are."""
    packages.take_out(decided.store, decided.study, tmp_path / "out")
    with (tmp_path / "out" / "attribute.csv").open(newline="", encoding="utf-8") as file:
        rows = sorted(csv.DictReader(file), key=lambda row: int(row["position"]))
    assert [row["name"] for row in rows] == ["'=SUM(A1:A9)", "'+fruit", "Bitterness"]
    assert rows[0]["definition"].startswith("''quoted'")


def test_the_description_names_every_table_and_column(decided: Any, tmp_path: Path) -> None:
    """Any program for Data Packages finds its way: https://datapackage.org/standard/data-package/."""
    packages.take_out(decided.store, decided.study, tmp_path / "out")
    described = json.loads((tmp_path / "out" / "datapackage.json").read_text())
    assert described["$schema"] == "https://datapackage.org/profiles/2.0/datapackage.json"
    for resource in described["resources"]:
        with (tmp_path / "out" / resource["path"]).open(newline="", encoding="utf-8") as file:
            assert next(csv.reader(file)) == [field["name"] for field in resource["schema"]["fields"]]
        assert {field["type"] for field in resource["schema"]["fields"]} <= {"string", "number", "integer", "boolean"}
    assert len(described["resources"]) == len(list((tmp_path / "out").glob("*.csv")))


def test_the_key_does_not_travel_before_it_is_open(workshop: Any, tmp_path: Path) -> None:
    """The tables say what every code stood for."""
    with pytest.raises(NotAllowed, match="not open yet"):
        packages.take_out(workshop.store, workshop.study, tmp_path / "out")
    assert not (tmp_path / "out").exists()


def test_a_folder_with_something_in_it_is_left_alone(decided: Any, tmp_path: Path) -> None:
    """Nothing is overwritten."""
    (tmp_path / "out").mkdir()
    (tmp_path / "out" / "mine.txt").write_text("mine")
    with pytest.raises(BadInput, match="not an empty folder"):
        packages.take_out(decided.store, decided.study, tmp_path / "out")
    assert [file.name for file in (tmp_path / "out").iterdir()] == ["mine.txt"]


def test_a_study_comes_in_once(decided: Any, tmp_path: Path) -> None:
    """Bringing it in again counts nothing twice."""
    packages.take_out(decided.store, decided.study, tmp_path / "out")
    with pytest.raises(NotAllowed, match="already"):
        packages.bring_in(decided.store, tmp_path / "out")


def test_a_study_is_found_by_id_or_title(decided: Any) -> None:
    """The command names it either way; a title that two studies share needs the id."""
    assert packages.find(decided.store, decided.study) == decided.study
    assert packages.find(decided.store, decided.plan.title) == decided.study
    with pytest.raises(NotFound, match="0 studies"):
        packages.find(decided.store, "nothing like it")


def _cell(name: str, row: int, column: str, value: str) -> Callable[[Path], None]:
    """Change one cell of a table."""

    def change(folder: Path) -> None:
        with (folder / name).open(newline="", encoding="utf-8") as file:
            rows = list(csv.reader(file))
        rows[row][rows[0].index(column)] = value
        with (folder / name).open("w", newline="", encoding="utf-8") as file:
            csv.writer(file, lineterminator="\r\n").writerows(rows)

    return change


def _pipe(folder: Path) -> None:
    """Whoever opened it would wait for ever."""
    (folder / "seat.csv").unlink()
    os.mkfifo(folder / "seat.csv")


def _link(folder: Path) -> None:
    (folder / "seat.csv").rename(folder.parent / "seat.csv")
    (folder / "seat.csv").symlink_to(folder.parent / "seat.csv")


def _forged_mark(folder: Path) -> None:
    """Another mark under a hash that fits it, as somebody makes it who knows how rows are hashed."""
    with (folder / "score.csv").open(newline="", encoding="utf-8") as file:
        (row, *_rest) = list(csv.DictReader(file))
    forged = row | {"value": 9.25, "reason": row["reason"] or None, "source": row["source"] or None}
    _cell("score.csv", 1, "value", "9.25")(folder)
    _cell("score.csv", 1, "sha256", row_hash("score", forged))(folder)


CHANGES = {
    "a mark and its hash": (_forged_mark, "Not brought in. .*row .* of score does not match its seal"),
    "the verdict that was signed": (_cell("decision.csv", 1, "at", "2026-01-01T00:00:00Z"), "rows of decision are not"),
    "a mark": (_cell("score.csv", 3, "value", "9.25"), r"score.csv, row 4: .*hash"),
    "a word for a mark": (
        _cell("score.csv", 3, "value", "much"),
        "score.csv, row 4, column value: “much” is no number",
    ),
    "an endless mark": (_cell("score.csv", 3, "value", "inf"), "“inf” is no number"),
    "a missing hour": (_cell("sample.csv", 1, "hours", ""), "sample.csv, row 2, column hours"),
    "a doubtful truth": (_cell("serving.csv", 1, "scored", "yes"), "“yes” is no boolean"),
    "the sealed plan": (_cell("study.csv", 1, "plan", "{}"), "not the one that was sealed"),
    "a broken plan": (_cell("study.csv", 1, "plan", "{"), "cannot be read"),
    "another column": (_cell("seat.csv", 0, "number", "place"), "seat.csv: the columns must be"),
    "a lost table": (lambda folder: (folder / "tray.csv").unlink(), "tray.csv: the table is missing"),
    "a cup of nothing": (_cell("serving.csv", 1, "sample_id", "nowhere"), "rows of serving are not the ones"),
    "a seat too many": (_cell("seat.csv", 2, "assessor_id", "nobody"), "rows of seat are not the ones"),
    "two cups of one code": (_cell("serving.csv", 2, "id", "x"), "rows of serving are not the ones"),
    "who signed": (_cell("signature.csv", 1, "name", "Eve"), "rows of signature are not the ones that event"),
    "whose account signed": (_cell("signature.csv", 1, "by", "eve"), "rows of signature are not the ones that event"),
    "who opened the key": (_cell("opening.csv", 1, "second", "eve"), "says of opened"),
    "the name of an account": (_cell("staff.csv", 1, "name", "Eve"), "name in row .* of staff"),
    "a pseudonym": (_cell("assessor.csv", 1, "pseudonym", "Eve"), "pseudonym in row .* of assessor"),
    "when a cup was finished": (
        _cell("serving.csv", 6, "finished_at", "2026-01-01T00:00:00Z"),
        "finished_at in row .* of serving",
    ),
    "how far the study is": (_cell("study.csv", 1, "state", "decided"), "state in row .* of study"),
    "an event": (_cell("event.csv", 9, "at", "2026-01-01T00:00:00Z"), "event .* does not match its seal"),
    "the text of an event": (_cell("event.csv", 9, "body", "{ }"), "event .* cannot be read"),
    "a named pipe": (_pipe, "seat.csv: this is no ordinary file"),
    "a link": (_link, "seat.csv: this is no ordinary file"),
    "no text at all": (lambda folder: (folder / "tray.csv").write_bytes(b"\xff\xfe\x00"), "tray.csv"),
}


@pytest.mark.parametrize("what", CHANGES)
def test_a_changed_table_is_refused_by_name_and_nothing_is_kept(decided: Any, tmp_path: Path, what: str) -> None:
    """File, row and column are in the sentence."""
    change, sentence = CHANGES[what]
    packages.take_out(decided.store, decided.study, tmp_path / "out")
    change(tmp_path / "out")
    other = open_store(str(tmp_path / "other.sqlite"))
    with pytest.raises(BadInput, match=sentence):
        packages.bring_in(other, tmp_path / "out")
    assert check(str(tmp_path / "other.sqlite")).events == 0
    other.close()
