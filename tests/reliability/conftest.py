"""Records played once for a module, each copied for whoever edits it by hand."""

from __future__ import annotations

import contextlib
import shutil
from pathlib import Path

import pytest

from studyapp.assets import icon
from studyapp.services import accounts, batches, closing, packages, panel, photos, planning, tasting, watching
from studyapp.services.checking import check
from studyapp.store import Store, open_store
from studyapp.store.engine import sqlite_module
from tests.kinds.aroma.aroma_kitchen import furnish_aroma
from tests.services.test_batches import DRAFT
from tests.stores import earlier


def pytest_generate_tests(metafunc: pytest.Metafunc) -> None:
    """A test with a `turn` is played once in every run, and in a search as often as its module says."""
    if "turn" in metafunc.fixturenames:
        searching = metafunc.config.getoption("--hypothesis-profile") == "search"
        metafunc.parametrize("turn", range(metafunc.module.TURNS if searching else 1))


@pytest.fixture(scope="module")
def played(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Path]:
    """Where each record is kept, once it was played."""
    return {"folder": tmp_path_factory.mktemp("records")}


def points_of(file: Path) -> Path:
    """The folder of points beside an edited record."""
    return file.with_suffix(".points")


def copied(store: Store, target: Path) -> Path:
    """A sound copy of an open store."""
    with contextlib.closing(sqlite_module().connect(str(target))) as copy, store.read() as tx:
        tx.connection.driver_connection.backup(copy)
    assert check(str(target)).sound
    return target


def _to_edit(played: dict[str, Path], name: str) -> Path:
    """Always in the same place, where a point was left while it was sound."""
    file = Path(shutil.copy(played[name], played["folder"] / f"edited_{name}.sqlite"))
    if f"{name} proven" not in played:
        assert check(str(file), points=points_of(file)).sound
        played[f"{name} proven"] = file
    return file


@pytest.fixture
def hours(played: dict[str, Path], request: pytest.FixtureRequest, tmp_path: Path) -> Path:
    """Agreed, sat out, left, noted, closed, opened, signed; a draft; a member who left; an erasure; a batch."""
    if "hours" not in played:
        workshop, hands = request.getfixturevalue("workshop"), request.getfixturevalue("hands")
        store, leader = workshop.store, workshop.leader
        batches.add(store, workshop.preparer, DRAFT)
        tasting.sit_out(store, hands[4].token)
        for hand in hands[:3]:
            hand.taste_all()
        hands[3].serving()
        tasting.send_note(store, hands[1].token, "number two was grainy")
        tasting.leave(store, hands[3].token, True)
        for _twice in range(2):
            photos.keep(store, workshop.preparer, workshop.study, 33.75, icon())
        photos.erase(store, leader, workshop.study, photos.of_study(store, leader, workshop.study)[0].id)
        watching.close_sitting(store, leader, workshop.sitting.id, "fire drill")
        closing.open_key(store, leader, workshop.study, "Ada")
        closing.sign(store, leader, workshop.study, "ran the test")
        planning.copy(store, leader, workshop.study)
        kite = panel.add_assessor(store, leader, "Kite", "Invented Name")
        panel.erase_person(store, leader, kite.id)
        gone = accounts.add_staff(store, leader, "Cleo", "preparer", workshop.passphrase)
        accounts.end_account(store, leader, gone.id)
        played["hours"] = copied(store, played["folder"] / "hours.sqlite")
    return _to_edit(played, "hours")


@pytest.fixture
def aroma(played: dict[str, Path], tmp_path: Path) -> Path:
    """Two sittings of sets, one of them tasted; somebody of the other has seen a set."""
    if "aroma" not in played:
        with contextlib.closing(open_store(str(tmp_path / "kitchen.sqlite"))) as store:
            kitchen = furnish_aroma(store)
            first, second = kitchen.sittings()
            for taster in kitchen.serve(first):
                taster.finish(lambda _level, number: number == 1)
            watching.close_sitting(store, kitchen.leader, first.id, "")
            kitchen.serve(second)[0].place()
            played["aroma"] = copied(store, played["folder"] / "aroma.sqlite")
    return _to_edit(played, "aroma")


@pytest.fixture
def imported(tmp_path: Path) -> tuple[Path, str]:
    """A signed study that was tasted elsewhere."""
    file, there = tmp_path / "here.sqlite", tmp_path / "there"
    there.mkdir()
    with earlier.opened("v0002_rule_1", there) as kept:
        packages.take_out(kept.store, kept.study("Hours, signed"), tmp_path / "tables")
        study = kept.study("Hours, signed")
        with contextlib.closing(open_store(str(file))) as store:
            packages.bring_in(store, tmp_path / "tables")
    assert check(str(file)).sound
    return file, study
