"""The report of an aroma study: page 1 decides alone, the numbers and the record follow, and a picture says itself."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from scipy.stats import binomtest

from analysis.choice import carry_over, forced_choice, sequential, threshold
from studyapp.errors import NotAllowed
from studyapp.kinds.aroma.deciding import SequentialStanding, prospects
from studyapp.kinds.aroma.findings import verdicts
from studyapp.kinds.aroma.findings.plans import way_rows
from studyapp.kinds.aroma.findings.told import still_open, verdict_finding
from studyapp.kinds.aroma.plan import AromaPlan
from studyapp.kinds.aroma.report import aroma_report_pdf
from studyapp.printing.papers import paper
from studyapp.printing.record import ReportRecord
from studyapp.records import Deviation, Signature
from studyapp.services import closing, planning, watching
from tests.furnished import furnished
from tests.kinds.aroma.aroma_kitchen import PLAN, Kitchen, furnish_aroma
from tests.printing.paper_reading import facts_of, flowing, flowing_pages, pages_of, picture_of

PRINTED = "2026-11-24T12:10:00+01:00"
SEAL = "7c1e" + "ab" * 28 + "a904"
RECORD = ReportRecord(
    rule=("Found from 18 right of 36.",),
    seal=SEAL,
    sealed_at="2026-11-17T16:05:00+01:00",
    opened_at="2026-11-24T11:41:00+01:00",
    opened_by="Maren",
    deviations=(Deviation("2026-11-24T10:51:00+01:00", "Maren", "Tray 1 left late.", "no results seen"),),
    signatures=(Signature("Maren Voss", "ran the test", "2026-11-24T12:00:00+01:00"),),
    head="f0" * 32,
    events=118,
)
BATCHES = replace(PLAN, aim="carry over", batches=(1, 2, 3), reference="plain, before", method="three-alternative")
DOSES = replace(PLAN, aim="dose", doses=(5.0, 10.0, 15.0, 20.0, 30.0), trials_each=4)
EARLY = sequential.judge(sequential.plan("triangle", 0.05, 0.05, 0.5, 36, 6), [[1, 1, 1, 1, 1, 0], [1, 1, 1, 1, 1, 0]])


def triangles(right: int) -> forced_choice.ChoiceResult:
    """Six people, six triangles each; so many of the 36 right."""
    return forced_choice.judge_panel("triangle", (6,) * 6, (min(6, right), *_rest(right - min(6, right))), 0.05, 0.5)


def _rest(right: int) -> list[int]:
    return [max(0, min(6, right - 6 * seat)) for seat in range(5)]


def ladder_of(right: dict[int, int], pd_limit: float = 0.5) -> carry_over.Ladder:
    """Twelve people, four sets each a batch; so many of the 48 right."""
    rows = [(f"a{n % 12}", level, int(n < count)) for level, count in right.items() for n in range(48)]
    who, level, correct = zip(*rows, strict=True)
    return carry_over.ladder(who, level, correct, "three-alternative", pd_limit, 0.05)


def fit_of(right: tuple[int, ...]) -> threshold.ThresholdFit:
    """Eight people, four triangles a dose; `right` of the first person's four at each dose, the others close to it."""
    rows = [
        (f"a{person}", dose, int(n < min(4, max(0, count + (person % 3) - 1))))
        for person in range(8)
        for dose, count in zip(DOSES.doses, right, strict=True)
        for n in range(4)
    ]
    who, dose, correct = zip(*rows, strict=True)
    return threshold.fit(threshold.dose_answers(who, dose, correct), "triangle", 0.05)


KINDS: dict[str, tuple[AromaPlan, Any]] = {
    "detectable": (PLAN, triangles(21)),
    "cannot tell": (PLAN, triangles(15)),
    "close enough": (PLAN, triangles(10)),
    "fewer than guessing": (PLAN, triangles(4)),
    "one answer each": (PLAN, forced_choice.judge_totals("triangle", 36, 21, 0.05, 0.3)),
    "all right": (PLAN, triangles(36)),
    "ladder": (BATCHES, ladder_of({1: 44, 2: 28, 3: 16})),
    "ladder open": (BATCHES, ladder_of({1: 44, 2: 18, 3: 18}, 0.2)),
    "days": (replace(BATCHES, aim="linger", batches=(1, 7)), ladder_of({1: 44, 7: 15})),
    "dose": (DOSES, fit_of((1, 1, 3, 4, 4))),
    "dose outside": (DOSES, fit_of((1, 1, 2, 1, 2))),
    "early": (
        replace(PLAN, sequential=True, cap=36),
        SequentialStanding(EARLY, 2, 16, 11),
    ),
}


def report(kind: str, plan: AromaPlan | None = None, record: ReportRecord = RECORD) -> bytes:
    """The report of one kind of result."""
    of_kind, result = KINDS[kind]
    plan = replace(plan or of_kind, assessors=("a",) * 6)
    open_ = still_open(result)
    ways = way_rows(plan, prospects.ways(plan, open_)) if open_ else ()
    return aroma_report_pdf(plan, result, verdict_finding(plan, result), PRINTED, record, ways)


def tight(text: str) -> str:
    """Without white space and hyphens, which a broken line loses."""
    return "".join(text.split()).replace("-", "")


@pytest.mark.parametrize("kind", KINDS)
def test_the_first_page_decides_alone(kind: str) -> None:
    """Verdict, reason, facts, picture, what it rests on, departures, signatures and the caution stand on page 1."""
    plan, result = KINDS[kind]
    finding = verdict_finding(plan, result)
    pdf = report(kind)
    page = flowing_pages(pdf)[0]
    assert finding.headline in page
    assert tight(finding.lede) in tight(page)
    assert all(fact.value in page and fact.label in page for fact in finding.facts[:3])
    assert "Tray 1 left late." in page
    assert "Maren Voss" in page
    assert "decides" in page
    assert "clears nothing for allergens" in page
    assert "does not show that Mentha spicata is permitted" in page
    assert "local code" in page
    assert facts_of(pdf)["Tagged"] == "yes"
    assert "clears nothing for allergens" in flowing_pages(pdf)[-1]


def test_the_numbers_hold_marks_both_scopes_limits_and_power() -> None:
    """36 triangles, 5 %: 18 by the standard table (ISO 4120:2004 annex A); limits of one answer each by scipy."""
    text = flowing_pages(report("detectable"))[1]
    assert "Found from 18 right of 36." in text
    for piece in ("21 of 36", "18 or more", "people like them", "these assessors", "Truly noticing (pd)", "Size (d')"):
        assert piece in text
    limits = binomtest(21, 36).proportion_ci(0.90, "exact")
    low, high = ((end - 1 / 3) / (2 / 3) for end in limits)
    said = f"at least {low:.0%}, at most {high:.0%}; 95 % one-sided each".replace("%;", " %;").replace("%,", " %,")
    assert said in flowing_pages(report("one answer each"))[1]
    assert "an identical pair passes in" in text
    assert "Each limit is one-sided" in text


def test_a_ladder_has_a_table_for_every_batch() -> None:
    """pd and d' with limits for each, not for the last only."""
    text = " ".join(flowing_pages(report("ladder"))[1:])
    assert text.count("Truly noticing (pd)") == text.count("Size (d')") == 3
    for batch in (1, 2, 3):
        assert f"batch +{batch}" in text


def test_cannot_tell_prints_the_price_of_an_answer() -> None:
    """Ways, what each asks of a person, and how often each gives an answer."""
    page = flowing_pages(report("cannot tell"))[0]
    assert "What an answer would cost" in page
    assert "sets each" in page
    assert "What an answer would cost" not in flowing_pages(report("detectable"))[0]


def test_the_record_names_plant_blank_seal_and_who_opened_the_key() -> None:
    """Another person can compare them with the bag and with the store."""
    pdf = report("detectable")
    last, text = flowing_pages(pdf)[-1], flowing(pdf)
    for piece in ("Mentha spicata", "leaf", "Garden & Daughter", "L7", PLAN.blank, "by Maren", SEAL, "Ida"):
        assert piece in last
    assert "118 events, head " + "f0" * 32 in text
    pages = pages_of(pdf)
    assert all(f"page {number} of {len(pages)}" in page for number, page in enumerate(pages, 1))


def test_every_picture_speaks_and_prints_black() -> None:
    """One sentence as alternative text in the tagged file; no pixel has a colour."""
    for kind, (_plan, result) in KINDS.items():
        if isinstance(result, forced_choice.ChoiceResult):
            pdf = report(kind)
            assert verdicts.ruler_says(result).encode() in pdf
            assert verdicts.noticing_says(result).encode() in pdf
    for kind in ("detectable", "ladder", "dose", "early"):
        colours = {colour for _count, colour in picture_of(report(kind), 1, 3).getcolors(maxcolors=1 << 24) or []}
        assert len(colours) > 3
        assert all(max(colour) - min(colour) <= 2 for colour in colours)


@pytest.mark.parametrize("kind", KINDS)
def test_the_same_result_gives_the_same_bytes(kind: str) -> None:
    """Nothing but the arguments gets in."""
    assert report(kind) == report(kind)


def test_names_like_markup_stay_text() -> None:
    """Title, plant and supplier are data."""
    hostile = '#let x = 1 $5 <b>&amp; "quoted" *bold*'
    plant = replace(PLAN.botanical, name=hostile, supplier=hostile)
    text = flowing(report("detectable", replace(PLAN, title=hostile, botanical=plant, question=hostile)))
    assert text.count(hostile) >= 5


# ---- from the store ----------------------------------------------------------------------------------------------
@pytest.fixture
def kitchen(tmp_path: Path) -> Iterator[Kitchen]:
    """A sealed triangle study of six people."""
    store, made = furnished(tmp_path / "studies.sqlite", furnish_aroma, PLAN, 6)
    yield made
    store.close()


def test_the_report_comes_from_the_store_once_the_key_is_open(kitchen: Kitchen) -> None:
    """Nobody reads a verdict from the printer first; then seal, departure and signature are on it."""
    store, leader, study = kitchen.store, kitchen.leader, kitchen.study
    with pytest.raises(NotAllowed):
        paper(store, leader, "report", study)
    kitchen.taste_all(lambda _name, _level, number: number == 1)
    with pytest.raises(NotAllowed):
        paper(store, leader, "report", study)
    watching.note_deviation(store, leader, study, "Tray 2 left 6 min late.")
    closing.open_key(store, leader, study, "Nobody else leads here.")
    closing.sign(store, leader, study, "ran the test")
    with pytest.raises(NotAllowed):
        paper(store, kitchen.preparer, "report", study)
    pages = flowing_pages(paper(store, leader, "report", study)[1])
    assert "Tray 2 left 6 min late." in pages[0]
    assert "Second signature missing." in pages[0]
    assert "Ada (panel leader) saw the key" in pages[-1]
    assert "link of Heron" in pages[-1]
    assert "Called a guess" in pages[1]
    assert str(planning.study(store, leader, study).seal) in pages[-1]
    assert "by Ada" in pages[-1]
