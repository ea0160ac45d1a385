"""A kind of study is one folder and one line: this one runs from draft to signed verdict, and nothing else knows it."""

from __future__ import annotations

import inspect
import subprocess
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from studyapp import registry
from studyapp.printing.papers import paper
from studyapp.services import closing, joining, packages, panel, planning, preparing, tasting, watching
from studyapp.services.checking import check
from studyapp.store import open_store
from tests.conftest import CHECKS, Hand, another_leader
from tests.printing.paper_reading import flowing

ROOT = Path(registry.__file__).parents[1]
PARTS = ("plan", "rule", "setting_out", "deciding", "findings", "report", "pages", "commands")
SMOOTH = {24.0: 3.0, 28.0: 7.0, 32.0: 4.0}


@pytest.fixture(autouse=True)
def moulds(monkeypatch: pytest.MonkeyPatch) -> None:
    """The one line of the registry."""
    monkeypatch.setitem(registry.KINDS, "moulds", "tests.kinds.moulds")


def test_from_the_list_of_studies_to_two_signatures(
    screen: Callable[..., Any],
    said: Callable[[Any], str],
    workshop: Any,
    tmp_path: Path,
) -> None:
    """Every step through the screens and services that all kinds share."""
    store, leader, preparer = workshop.store, workshop.leader, workshop.preparer
    app = screen("studies")
    app.radio(key="new-kind").set_value("moulds")
    app.text_input(key="new-name").set_value("Moulds of spring")
    app.button(key="FormSubmitter:new-study-Plan a study").click().run()
    study = next(one.id for one in planning.studies(store, leader) if one.kind == "moulds")
    assert "0 temperatures so far." in said(screen("studies"))

    app = screen("plan", study=study)
    app.button(key=f"seal-{study}").click().run()
    assert "Fix the degrees." in said(app)
    app.text_input(key=f"degrees-{study}").set_value("24 28 32").run()
    names = {one.pseudonym: one.id for one in panel.assessors(store, leader)}
    people = next(field for field in app.multiselect if field.label == "Assessors")
    people.set_value([names[name] for name in ("Heron", "Lark", "Wren")]).run()
    app.button(key=f"seal-{study}").click().run()
    assert "A wet mould spoils a piece." in said(app)
    planning.seal(store, leader, study, "Moulds of spring")  # as the button of the dialog does
    kept = planning.study(store, leader, study)
    assert kept.state == "sealed"
    assert kept.named == {"mould_version": 1}
    assert "Of 3 temperatures the smoothest wins." in said(screen("plan", study=study))

    (sitting,) = preparing.sittings(store, leader, study)
    assert "The moulds were dry" in [box.label for box in screen("prepare", who="Ben", study=study).checkbox]
    for tray in preparing.trays(store, preparer, sitting.id):
        preparing.release_tray(store, preparer, sitting.id, tray.position, CHECKS | {"dry_mould"}, "Cleo")
    assert "28 °C" in flowing(paper(store, preparer, "fill", sitting.id)[1])
    assert "moulds dry" in flowing(paper(store, preparer, "trays", sitting.id)[1])
    watching.open_sitting(store, leader, sitting.id)
    letters = {letter: float(holds.split()[0]) for letter, holds in preparing.boxes(store, preparer, study).items()}
    rows = preparing.fill_rows(store, preparer, sitting.id)
    degrees = {code: letters[letter] for row in rows for code, letter in row.cups}
    for link in joining.issue_links(store, leader, sitting.id):
        hand = Hand(store, joining.join(store, link.code, "10.0.0.7", None))
        assert hand.taste_all(lambda place, _line: SMOOTH[degrees[place.code or ""]]) == 3
    assert "Marks stay hidden." in said(screen("watch", study=study))
    watching.close_sitting(store, leader, sitting.id)

    app = screen("open_key", study=study)
    assert "Opening tells the temperatures." in said(app)
    app.text_input(key="opener").set_value("Nobody else leads here.")
    app.button(key="open-key").click().run()
    assert "Smoothest at 28 °C." in said(app)
    for signer in (leader, another_leader(store, leader)):
        closing.sign(store, signer, study, "decides")
    assert planning.study(store, leader, study).state == "decided"
    assert closing.kept_verdict(store, leader, study, 1) == {"winner": "28", "means": {"24": 3, "28": 7, "32": 4}}
    assert "Smoothest at 28 °C." in said(screen("studies"))
    assert "Smoothest at 28 °C." in flowing(paper(store, leader, "report", study)[1])

    assert check(store.url).sound
    packages.take_out(store, study, tmp_path / "taken")
    other = open_store(str(tmp_path / "other.sqlite"))
    assert packages.bring_in(other, tmp_path / "taken") == study
    assert check(other.url).sound
    other.close()


def test_its_draft_is_copied_and_its_place_on_a_phone_is_that_of_cups(workshop: Any) -> None:
    """What a workshop does alike is taken from its newest study of the kind."""
    first = planning.new_study(workshop.store, workshop.leader, "moulds", "First")
    plan = registry.plan("moulds").new("First")
    planning.keep_plan(workshop.store, workshop.leader, first, type(plan)("First", degrees=(24.0, 28.0)))  # type: ignore[call-arg]
    second = planning.new_study(workshop.store, workshop.leader, "moulds", "Second")
    copy = planning.copy(workshop.store, workshop.leader, first)
    for id_ in (second, copy):
        assert planning.study(workshop.store, workshop.leader, id_).plan.degrees == (24.0, 28.0)
    assert tasting.MINUTES_A_PIECE > 0


def test_no_other_file_of_the_app_knows_it() -> None:
    """Counted over every file that is kept: its folder and this test."""
    listed = subprocess.run(["git", "grep", "-l", "moulds"], cwd=ROOT, capture_output=True, text=True, check=False)
    knowing = {
        name for name in listed.stdout.split() if name.endswith(".py") and name.startswith(("studyapp", "analysis"))
    }
    if listed.returncode > 1:  # not a checkout: read the files themselves
        files = [*ROOT.glob("studyapp/**/*.py"), *ROOT.glob("analysis/**/*.py")]
        knowing = {str(file) for file in files if "mould_version" in file.read_text()}
    assert knowing == set()


@pytest.mark.parametrize("kind", [*registry.KINDS, "moulds"])
@pytest.mark.parametrize("part", PARTS)
def test_every_kind_has_every_part_whole(kind: str, part: str) -> None:
    """Each function of a part takes the arguments that the registry says it takes."""
    own = getattr(registry, part)(kind)
    protocol = {"setting_out": "SettingOutPart"}.get(part, f"{part.capitalize()}Part")
    wanted = inspect.getmembers(getattr(registry, protocol), inspect.isfunction)
    for name, asked in wanted:
        if not name.startswith("_"):
            given = list(inspect.signature(getattr(own, name)).parameters)
            assert len(given) == len(inspect.signature(asked).parameters) - 1, f"{part}.{name}"
