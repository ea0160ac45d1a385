"""Papers by their address: each role gets what it may hold, from a real store."""

from __future__ import annotations

from typing import Any

import pytest

from studyapp.errors import NotAllowed, NotFound
from studyapp.kinds.hours import deciding
from studyapp.printing.papers import paper
from studyapp.services import closing, joining, planning, preparing, watching
from studyapp.store import events
from tests.printing.paper_reading import flowing, flowing_pages, pages_of

FOR_THE_ROOM = ("labels", "trays", "ballots", "outlines")


@pytest.mark.parametrize("kind", FOR_THE_ROOM)
@pytest.mark.parametrize("role", ["leader", "preparer"])
def test_papers_with_codes_only_are_for_both_and_tell_no_sample(workshop: Any, kind: str, role: str) -> None:
    """Title, recipe, batch, machine, hours and masses are planted words; none may be on paper for the room."""
    name, pdf = paper(workshop.store, getattr(workshop, role), kind, workshop.sitting.id)
    assert name == f"{kind}.pdf"
    assert pdf.startswith(b"%PDF-")
    names = [workshop.plan.title.split()[0], workshop.plan.recipe, workshop.plan.batch, workshop.plan.machine]
    numbers = [f"{number:g}" for pull in workshop.plan.pulls for number in (pull.hours, pull.mass_g)]
    text = flowing(pdf)
    assert [word for word in (*names, *numbers) if word in text] == []
    assert [name for name in names if name.encode() in pdf] == []


def test_join_cards_are_the_leaders_and_hold_every_link_that_this_server_made(workshop: Any) -> None:
    """Links made by another process are known by their hash alone: then there is nothing to print."""
    store, of, address = workshop.store, workshop.sitting.id, "http://192.168.1.20:8501"
    with pytest.raises(NotFound, match="Make the links"):
        paper(store, workshop.leader, "cards", of, address)
    links = joining.issue_links(store, workshop.leader, of)
    _name, pdf = paper(store, workshop.leader, "cards", of, address)
    text = "".join(flowing(pdf).split())
    text = "".join(" ".join(flowing_pages(pdf)).split())
    assert all(f"{address}/join/{link.code}" in text for link in links)
    with pytest.raises(NotAllowed):
        paper(store, workshop.preparer, "cards", of, address)


def test_labels_and_tray_sheets_hold_every_cup_of_the_sitting(workshop: Any) -> None:
    """Each code of the store is on both, and on one page a tray."""
    trays = preparing.trays(workshop.store, workshop.preparer, workshop.sitting.id)
    codes = {cup.code for tray in trays for cup in tray.cups}
    for kind in ("labels", "trays"):
        _name, pdf = paper(workshop.store, workshop.preparer, kind, workshop.sitting.id)
        assert codes <= set(flowing(pdf).split())
    assert len(pages_of(pdf)) == len(trays)


@pytest.mark.parametrize("number", [24, 21, 65])
def test_labels_for_another_sheet_carry_its_number(workshop: Any, number: int) -> None:
    """The address names the sheet; every code is there, on as many pages as the sheet asks for."""
    _name, pdf = paper(workshop.store, workshop.preparer, f"labels-{number}", workshop.sitting.id)
    trays = preparing.trays(workshop.store, workshop.preparer, workshop.sitting.id)
    codes = {cup.code for tray in trays for cup in tray.cups}
    codes |= set(preparing.spare_codes(workshop.store, workshop.preparer, workshop.sitting.id))
    assert codes <= set(flowing(pdf).split())
    assert len(pages_of(pdf)) == -(-len(codes) // number)
    _name, outlines = paper(workshop.store, workshop.preparer, f"outlines-{number}", "any")
    assert len(pages_of(outlines)) == 1


@pytest.mark.parametrize("kind", ["fill", "preparation"])
def test_the_key_is_printed_for_the_preparer_alone(workshop: Any, kind: str) -> None:
    """A leader who prints the key would hold it; the service refuses."""
    with pytest.raises(NotAllowed):
        paper(workshop.store, workshop.leader, kind, workshop.sitting.id)
    _name, pdf = paper(workshop.store, workshop.preparer, kind, workshop.sitting.id)
    rows = preparing.fill_rows(workshop.store, workshop.preparer, workshop.sitting.id)
    text = flowing(pdf)
    assert all(f"{code} box {letter}" in text for row in rows for code, letter in row.cups)
    assert "KEY: keep away from the tasting room" in text


def test_the_slip_of_a_seal_is_printed_for_the_leader(workshop: Any) -> None:
    """The name with its mark, both hashes as the store holds them, the rule; no slip without a seal."""
    _name, pdf = paper(workshop.store, workshop.leader, "slip", workshop.study)
    study, text = planning.study(workshop.store, workshop.leader, workshop.study), flowing(pdf)
    with workshop.store.read() as tx:
        _count, head = events.head(tx)
    assert study.seal is not None
    whole = "".join(text.split())
    assert [said for said in (study.seal, head, f"study{study.seal[:4].upper()}", "byAda") if said not in whole] == []
    assert study.plan.title in text
    draft = planning.copy(workshop.store, workshop.leader, workshop.study)
    for by, of in ((workshop.preparer, workshop.study), (workshop.leader, draft)):
        with pytest.raises(NotAllowed):
            paper(workshop.store, by, "slip", of)


def test_the_key_is_printed_for_the_leader_once_it_is_open(workshop: Any, hands: list[Any]) -> None:
    """Every code with its box, and what each box held; before that nobody but the preparer gets it."""
    with pytest.raises(NotAllowed, match="not open yet"):
        paper(workshop.store, workshop.leader, "key", workshop.study)
    for hand in hands:
        hand.taste_all()
    closing.open_key(workshop.store, workshop.leader, workshop.study, "Nobody else leads here.")
    text = flowing(paper(workshop.store, workshop.leader, "key", workshop.study)[1])
    rows = preparing.fill_rows(workshop.store, workshop.preparer, workshop.sitting.id)
    assert all(f"{code} box {letter}" in text for row in rows for code, letter in row.cups)
    assert all(f"{pull.hours:g} h" in text for pull in workshop.plan.pulls)
    with pytest.raises(NotAllowed):
        paper(workshop.store, workshop.preparer, "key", workshop.study)


def test_what_is_not_there_is_said_to_be_missing(workshop: Any) -> None:
    """An unknown paper, sitting or study is no crash."""
    with pytest.raises(NotFound, match="no paper named poster"):
        paper(workshop.store, workshop.leader, "poster", workshop.sitting.id)
    for kind in ("labels", "trays", "ballots"):
        with pytest.raises(NotFound):
            paper(workshop.store, workshop.leader, kind, "nowhere")


def test_no_report_before_the_key_is_open(workshop: Any) -> None:
    """Nobody reads a verdict from the printer either."""
    with pytest.raises(NotAllowed):
        paper(workshop.store, workshop.leader, "report", workshop.study)
    with pytest.raises(NotAllowed):
        paper(workshop.store, workshop.preparer, "report", workshop.study)


def test_the_report_of_a_study_carries_its_record(workshop: Any, hands: list[Any]) -> None:
    """Verdict on page 1; seal, who opened the key, departures and signatures on the last."""
    for number, hand in enumerate(hands):
        hand.taste_all(lambda here, line, n=number: 3.0 + (int(here.code) * 7 + n * 3 + len(line)) % 40 / 10)
    watching.note_deviation(workshop.store, workshop.leader, workshop.study, "Tray 2 left 6 min late.")
    closing.open_key(workshop.store, workshop.leader, workshop.study, "Nobody else leads here.")
    closing.sign(workshop.store, workshop.leader, workshop.study, "ran the test")
    _name, pdf = paper(workshop.store, workshop.leader, "report", workshop.study)
    pages = flowing_pages(pdf)
    study = planning.study(workshop.store, workshop.leader, workshop.study)
    verdict = deciding.decision(workshop.store, workshop.leader, workshop.study).verdict
    assert verdict == "cannot tell"  # scores follow the codes, so they say nothing about the hours
    assert "Cannot tell" in pages[0] or "Stay at" in pages[0]
    assert "Tray 2 left 6 min late." in pages[0]
    assert "Second signature missing." in pages[0]
    assert "The key was opened by one person, Ada." in pages[0]
    assert "The key was opened by one person: Nobody else leads here." in pages[-1]
    assert "Ada (panel leader) saw the key" in pages[-1]
    assert "signed as the one who ran the test: Ada" in pages[-1]
    assert "link of Heron, Tasting 1, a device the record does not tell" in pages[-1]
    assert str(study.seal) in pages[-1]
    assert "by Ada" in pages[-1]
    assert "events, head" in pages[-1]
    assert "With one assessor less" in pages[1]  # these are the fewest
    assert "Two habits on Acidity" in pages[1]
