"""The report: page 1 decides alone, pictures show what the numbers say, and nothing depends on colour."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest

from analysis.stopping import Decision
from analysis.stopping import Warning as StopWarning
from studyapp.kinds.hours.findings import Costs, attribute_alt, hours_finding
from studyapp.kinds.hours.plan import HoursPlan
from studyapp.kinds.hours.report import report_pdf
from studyapp.printing.record import ReportRecord
from studyapp.records import Deviation, Signature
from tests.kinds.hours.decisions import ACIDITY, BITTERNESS, OFFERS, attribute, decision, every_kind
from tests.printing.paper_reading import facts_of, flowing, flowing_pages, pages_of, picture_of

PRINTED = "2026-11-24T12:10:00+01:00"
KINDS = every_kind()
COSTS = Costs(grams=4.5, minutes=6.0)
SEAL = "7c1e" + "ab" * 28 + "a904"
RECORD = ReportRecord(
    plan=HoursPlan("Dark 72 %, lot 14", question="How short?", recipe="Dark 72 %", batch="lot 14", machine="conche 1"),
    rule=("Acidity decides: wanted lower, margin 1.0.",),
    seal=SEAL,
    sealed_at="2026-11-17T16:05:00+01:00",
    opened_at="2026-11-24T11:41:00+01:00",
    opened_by="Maren",
    deviations=tuple(
        Deviation(f"2026-11-24T10:5{n}:00+01:00", "Maren", f"Tray {n} left {n} min late.", "no results seen")
        for n in range(1, 7)
    ),
    signatures=(Signature("Maren Voss", "ran the test", "2026-11-24T12:00:00+01:00"),),
    head="f0" * 32,
    events=118,
)


def report(decided: Decision, record: ReportRecord = RECORD, offers: Any = ()) -> bytes:
    """The report of a decision."""
    finding = hours_finding(decided, offers, "Dark 72 %, lot 14", COSTS)
    return report_pdf(decided, finding, PRINTED, record)


def tight(text: str) -> str:
    """Without white space and hyphens, since pdftotext joins a word that was broken at its hyphen."""
    return "".join(text.split()).replace("-", "")


def many(count: int) -> Decision:
    """A decision with so many attributes, warnings and long names."""
    names = ("acidity", "bitterness", "astringency", "off-notes", "cacao flavour", "dried fruit", "roast", "nutty")
    results = [attribute(name, ACIDITY if n == 0 else BITTERNESS) for n, name in enumerate(names[:count])]
    values = {"attribute": "off-notes", "count": 1, "assessors": 8, "hours": 12.0, "reference": 24.0}
    warnings = (StopWarning("order not recorded"), *(StopWarning("someone still notices", values) for _n in range(5)))
    return decision(*results, warnings=warnings)


@pytest.mark.parametrize("kind", KINDS)
def test_every_verdict_has_a_report_whose_first_page_decides(kind: str) -> None:
    """Headline, reason, facts, two signatures and the caution stand on page 1."""
    decided = KINDS[kind]
    offers = OFFERS if decided.verdict == "cannot tell" else ()
    finding = hours_finding(decided, offers, costs=COSTS)
    pdf = report(decided, offers=offers)
    page = flowing_pages(pdf)[0]
    assert finding.headline in page
    assert tight(finding.lede) in tight(page)
    assert all(fact.value in page and fact.label in page for fact in finding.facts)
    assert "ran the test" in page
    assert "decides" in page
    assert finding.caution in page
    assert facts_of(pdf)["Tagged"] == "yes"


@pytest.mark.parametrize("count", [1, 3, 5, 6])
def test_up_to_six_attributes_stay_on_the_first_page(count: int) -> None:
    """With six departures and six warnings as well, page 1 keeps the charts, signatures and caution together."""
    pages = flowing_pages(report(many(count)))
    assert "It clears nothing for allergens" in pages[0]
    assert pages[0].count("conching, hours") == count
    assert "stand with the record on the last page" in pages[0]
    assert "Tray 6 left 6 min late." not in pages[0]
    assert "Tray 6 left 6 min late." in pages[-1]


def test_more_than_six_attributes_go_on_to_a_page_of_pictures() -> None:
    """The binding one stays first; none is lost."""
    pages = flowing_pages(report(many(8)))
    assert pages[0].count("conching, hours") == 6
    assert pages[1].count("conching, hours") == 2
    assert "Acidity" in pages[0]


def test_the_seal_the_key_and_the_head_of_the_record_are_printed() -> None:
    """Another person can compare them with the store."""
    pdf = report(decision())
    pages, text = pages_of(pdf), flowing(pdf)
    foot = "rule sealed 2026-11-17 16:05, SHA-256 7c1e…a904; key opened 2026-11-24 11:41; printed 2026-11-24 12:10"
    assert all(foot in " ".join(page.split()) for page in pages)
    assert all(f"page {number} of {len(pages)}" in page for number, page in enumerate(pages, 1))
    assert SEAL in text
    assert "118 events, head " + "f0" * 32 in text
    assert "Maren Voss" in text
    assert "Acidity decides: wanted lower, margin 1.0." in text


def test_a_rule_from_a_file_is_said_not_to_be_sealed() -> None:
    """Scores that came in a file have no seal, and the report must not look as if they had."""
    pdf = report(decision(), ReportRecord())
    assert "was not sealed here: nothing shows that it was written first" in flowing(pdf)
    assert all("rule not sealed here" in " ".join(page.split()) for page in pages_of(pdf))
    assert "SHA-256" not in flowing(pdf)


def test_cannot_tell_prints_the_price_of_an_answer() -> None:
    """The table of ways stands above the pictures, with servings, grams, minutes and cases."""
    page = flowing_pages(report(KINDS["reference meets limits"], offers=OFFERS))[0]
    assert "What an answer would cost" in page
    for piece in ("1 more sitting with all pulls", "6 servings", "27 g", "36 min", "at least about 6 of 10 (± 2 %)"):
        assert piece in page


def test_the_numbers_are_in_a_table_of_every_pull() -> None:
    """Two decimals, both errors, and p-values nowhere else."""
    pages = [" ".join(page.split()) for page in pages_of(report(decision()))]
    assert "12 3.90 0.40 −0.12 0.92 0.300 35.0 0.310 7.0 within" in pages[1]
    assert "0 6.60 3.10 2.58 3.62 0.300 35.0 0.310 7.0 fails its margin" in pages[1]
    assert "p 0.0001" in pages[1]
    assert " p 0." not in pages[0]


def test_every_picture_speaks() -> None:
    """Each chart carries its one sentence as alternative text in the tagged file."""
    decided = decision()
    pdf = report(decided)
    assert all(attribute_alt(result).encode() in pdf for result in decided.attributes.values())


def test_the_report_is_black_on_white() -> None:
    """No pixel of page 1 has a colour, and no fill is darker than text on it can bear."""
    picture = picture_of(report(many(5)), 1, 4)
    colours = {colour for _count, colour in picture.getcolors(maxcolors=1 << 24) or []}
    assert len(colours) > 3
    assert all(max(colour) - min(colour) <= 2 for colour in colours)


def test_the_same_decision_gives_the_same_bytes() -> None:
    """Nothing but the arguments gets in."""
    assert report(decision()) == report(decision())


def test_names_like_markup_stay_text_in_the_report() -> None:
    """Titles, attribute names and departures are data, in the pictures as well."""
    hostile = '#let x = 1 $5 <b>&amp; "quoted" *bold*'
    decided = decision(attribute(hostile, ACIDITY))
    noted = (replace(RECORD.deviations[0], sentence=hostile),)
    finding = hours_finding(decided, title=hostile)
    text = flowing(report_pdf(decided, finding, PRINTED, replace(RECORD, deviations=noted)))
    assert text.count(hostile) >= 4


def test_a_limit_far_away_is_said_to_lie_off_the_picture() -> None:
    """A limit that is met must not vanish because it is far away; one that decides has a picture of its own."""
    near, far = attribute("acidity", ACIDITY, limit=5.0), attribute("smoke", BITTERNESS, limit=9.5)
    missed = attribute("mould", BITTERNESS, limit=0.5)
    page = flowing_pages(report(decision(near, far, missed, verdict="no hour fits", hours=None)))[0]
    assert "limit 5.0" in page
    assert "wanted less, limit 9.5 off the picture" in page
    assert page.count("limit 9.5") == 1
    assert page.count("limit 0.5") == 1
    assert "its limit decides" in page
    assert "mean, 0 to 10 scale" in page
