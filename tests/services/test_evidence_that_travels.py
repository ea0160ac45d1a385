"""A package is checked by itself, says who was alone, and stays marked wherever it is brought in."""

from __future__ import annotations

import json
import shutil
import zipfile
from contextlib import closing as shut
from pathlib import Path
from typing import Any

import pytest

from studyapp.errors import BadInput
from studyapp.services import accounts, closing, evidence, package_check, packages, planning, watching
from studyapp.services.checking import check
from studyapp.store import Store, open_store
from tests.furnished import reached
from tests.stores.earlier import HERE

PHRASE = "a bench by the window"


@pytest.fixture
def package(workshop: Any, hands: list[Any], tmp_path: Path) -> Path:
    """A study that one person opened and signed, taken out."""

    def decide() -> None:
        for hand in hands:
            hand.taste_all(lambda place, line: (len(line) + 3 * place.number) % 10)
        watching.close_sitting(workshop.store, workshop.leader, workshop.sitting.id)
        closing.open_key(workshop.store, workshop.leader, workshop.study, "Nobody else leads here.")
        closing.sign(workshop.store, workshop.leader, workshop.study, "ran the test")

    reached(workshop.store, decide, "opened and signed by one")
    packages.take_out(workshop.store, workshop.study, tmp_path / "out")
    return tmp_path / "out"


def other(tmp_path: Path, name: str = "other") -> Store:
    return open_store(str(tmp_path / f"{name}.sqlite"))


def test_a_package_is_checked_by_itself_and_says_who_was_alone(package: Path) -> None:
    """Sound, with the head of the store and both words; an event's hash on paper is found, a foreign one is not."""
    report = package_check.check(package)
    said = " ".join(finding.sentence for finding in report.findings)
    assert report.sound
    assert "opened by one person" in said
    assert "second signature missing" in said
    told = json.loads((package / "datapackage.json").read_text())["studyapp:record"]
    assert told["opened"] == [{"look": 1, "by": "Ada", "how": "opened by one person"}]
    assert told["signed"] == [{"look": 1, "how": "second signature missing"}]
    assert (report.events, report.head) == (told["events"], told["last_event"])
    assert package_check.check(package, told["last_event"]).sound
    assert not package_check.check(package, "0" * 64).sound


@pytest.mark.parametrize("word", ["opened by one person", "second signature missing"])
def test_what_a_package_says_of_itself_is_worked_out_again(package: Path, tmp_path: Path, word: str) -> None:
    """Two people cannot be written into the description."""
    file = package / "datapackage.json"
    file.write_text(file.read_text().replace(word, "by two people"))
    assert not package_check.check(package).sound
    with shut(other(tmp_path)) as there, pytest.raises(BadInput, match=r"datapackage\.json says of (opened|signed)"):
        packages.bring_in(there, package)


def test_an_import_is_marked_for_good_and_goes_on(package: Path, tmp_path: Path) -> None:
    """In list, page and report; signed here it is a package of two keepers, which a third store checks and takes."""
    with shut(other(tmp_path)) as there:
        study = packages.bring_in(there, package)
        zoe = accounts.first_leader(there, "Zoe", PHRASE)
        (kept,) = planning.studies(there, zoe)
        assert kept.came is not None
        assert "its events came along" in evidence.where_from(there, zoe, kept)[0]
        told = evidence.of_study(there, zoe, study)
        assert [one.pseudonym for one in told.links] != []
        assert "its events came along" in told.said[0]
        closing.sign(there, zoe, study, "decides")
        assert planning.study(there, zoe, study).state == "decided"
        assert check(there.url).sound
        packages.take_out(there, study, tmp_path / "again")
        assert package_check.check(tmp_path / "again").sound
        with shut(other(tmp_path, "third")) as third:
            assert packages.bring_in(third, tmp_path / "again") == study
            assert check(third.url).sound
            packages.take_out(third, study, tmp_path / "last")
        assert {one.name: one.read_bytes() for one in (tmp_path / "last").iterdir()} == {
            one.name: one.read_bytes() for one in (tmp_path / "again").iterdir()
        }


@pytest.mark.parametrize("kind", ["hours", "aroma"])
def test_a_package_of_the_first_format_keeps_importing(kind: str, tmp_path: Path) -> None:
    """As the version before this one wrote it; it brought no events, and the study says so for good."""
    with zipfile.ZipFile(HERE / f"package_1_{kind}.zip") as packed:
        packed.extractall(tmp_path / "out")
    report = package_check.check(tmp_path / "out")
    assert report.sound
    assert "without events" in report.findings[0].sentence
    with shut(other(tmp_path)) as there:
        study = packages.bring_in(there, tmp_path / "out")
        zoe = accounts.first_leader(there, "Zoe", PHRASE)
        said = evidence.of_study(there, zoe, study).said
        assert "without its events" in said[0]
        assert "both were given from the account of Ada" in said[-1]
        assert check(there.url).sound
        packages.take_out(there, study, tmp_path / "again")
        assert package_check.check(tmp_path / "again").sound


def test_a_package_of_the_second_format_keeps_importing(tmp_path: Path) -> None:
    """As the version before batches had records wrote it, with its events, which still prove every row."""
    with zipfile.ZipFile(HERE / "package_2_hours.zip") as packed:
        packed.extractall(tmp_path / "out")
    assert package_check.check(tmp_path / "out").sound
    with shut(other(tmp_path)) as there:
        study = packages.bring_in(there, tmp_path / "out")
        assert check(there.url).sound
        packages.take_out(there, study, tmp_path / "again")
        assert package_check.check(tmp_path / "again").sound


def test_events_of_earlier_keepers_are_held_by_the_chain(package: Path, tmp_path: Path) -> None:
    """Whoever edits them by hand is named."""
    with shut(other(tmp_path)) as there:
        packages.bring_in(there, package)
        with there.write() as tx:
            tx.exec_driver_sql("DROP TRIGGER origin_no_update")
            tx.exec_driver_sql("UPDATE origin SET at = '2026-01-01T00:00:00Z' WHERE kind = 'key seen'")
        assert any("origin of study" in finding.sentence for finding in check(there.url).findings)


def test_a_package_without_its_events_is_no_package_of_this_format(package: Path, tmp_path: Path) -> None:
    """Taken away one by one or all at once; a newer format asks for an update."""
    events = package / "event.csv"
    lines = events.read_bytes().split(b"\r\n")
    for kept in (lines[:20] + lines[21:], [*lines[:1], b""]):
        events.write_bytes(b"\r\n".join(kept))
        assert not package_check.check(package).sound
    events.unlink()
    assert "event.csv" in package_check.check(package).findings[0].sentence
    file = package / "datapackage.json"
    file.write_text(file.read_text().replace('"format": 3', '"format": 4'))
    assert "Update the app" in package_check.check(package).findings[0].sentence
    shutil.rmtree(package)
    assert "no such folder" in package_check.check(package).findings[0].sentence
