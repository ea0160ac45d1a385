"""Join cards and paper ballots, measured on the printed page."""

from __future__ import annotations

from dataclasses import replace

import pytest
import segno

from studyapp.printing import ballots_pdf, join_cards_pdf
from studyapp.records import Attribute, JoinLink
from tests.printing.paper_reading import MM, facts_of, flowing, flowing_pages, pages_of, picture_of, words_of
from tests.printing.sitting_of_six import LETTERS, NAMES, PLAN, PRINTED, SECRETS, SHEET, SITTING, TRAYS

LINKS = tuple(JoinLink(name, f"K7RX{seat}PQ2") for seat, name in enumerate(NAMES))
ADDRESS = "http://192.168.1.20:8501"


def test_a_card_gives_the_name_the_square_and_the_address_to_type() -> None:
    """One card a person; a trailing slash of the address does no harm."""
    pdf = join_cards_pdf(LINKS, ADDRESS + "/", PRINTED, SITTING.label)
    text = "".join(" ".join(flowing_pages(pdf)).split())
    assert all(f"{ADDRESS}/join/{link.code}" in text for link in LINKS)
    assert all(name in text for name in NAMES)
    assert facts_of(pdf)["Tagged"] == "yes"
    assert pdf == join_cards_pdf(LINKS, ADDRESS, PRINTED, SITTING.label)


def test_the_square_on_paper_is_the_code_of_the_link() -> None:
    """Every module of the first card is dark or light as segno's matrix of the address says (ISO/IEC 18004 encoder)."""
    pdf = join_cards_pdf(LINKS[:1], ADDRESS, PRINTED)
    picture = picture_of(pdf, 1, 20).convert("L")
    matrix = [list(row) for row in segno.make(f"{ADDRESS}/join/{LINKS[0].code}", error="m", micro=False).matrix]
    left, top, side = 12 + 4, 12 + 4, 36
    module = side / (len(matrix) + 8)
    read = [
        [
            int(
                picture.getpixel((round((left + (x + 4.5) * module) * 20), round((top + (y + 4.5) * module) * 20)))
                < 128
            )
            for x in range(len(matrix))
        ]
        for y in range(len(matrix))
    ]
    assert read == matrix


def test_every_line_of_a_ballot_is_exactly_100_mm() -> None:
    """The millimetres are the mark, so the line is measured on the page, between the inner edges of its end strokes."""
    pdf = ballots_pdf(TRAYS[:2], SITTING, PLAN, PRINTED)
    picture = picture_of(pdf, 2, 20).convert("L")
    words = {word.text: word for word in words_of(pdf, 2)}
    for name in ("Acidity", "Off-notes"):
        start = round(words[name].bottom / MM * 20)
        rows = range(start, start + 20 * 14)
        darkest = max(rows, key=lambda y: sum(picture.getpixel((x, y)) < 128 for x in range(picture.width)))
        dark = [x for x in range(picture.width) if picture.getpixel((x, darkest)) < 128]
        stroke = 0.9 / MM  # half of each end stroke lies outside
        assert (dark[-1] - dark[0] + 1) / 20 - stroke == pytest.approx(100.0, abs=0.1)


def test_a_ballot_has_its_servings_after_what_is_in_it() -> None:
    """First contents, traces and the right to stop; then each code in order, whole, without the warm-up; two lines a
    serving leave room for three on a page. Every page says of which sitting, day and study it is, and not its name."""
    pdf = ballots_pdf(TRAYS, SITTING, PLAN, PRINTED, SHEET)
    pages = flowing_pages(pdf)
    assert len(pages) == len(NAMES) * 3
    assert all("Tuesday, sitting 1, 2026-11-24, study 7C1E: paper ballot" in page for page in pages)
    assert "Contains cocoa, cane sugar." in pages[0]
    assert "Made where milk, hazelnut are handled" in pages[0]
    assert "Saying no has no effect on your work" in pages[0]
    assert "Print at 100 %" in pages[1]
    for number, tray in enumerate(TRAYS[1:], 1):
        page = pages[1 + (number > 3)]
        assert f"Heron: serving {number} of 6, cup" in page
        assert tray.cups[0].code in page
        assert page.count("very strong") == 3 * 2
        assert page.count("I cannot judge this one, because") == 3
    assert TRAYS[0].cups[0].code not in " ".join(pages)


def test_no_ballot_or_card_tells_a_sample() -> None:
    """Assessors hold these papers: no hours, letter, title, recipe, batch or machine."""
    cards = join_cards_pdf(LINKS, ADDRESS, PRINTED, SHEET.blind(SITTING.label))
    for pdf in (ballots_pdf(TRAYS, SITTING, PLAN, PRINTED, SHEET), cards):
        text = flowing(pdf)
        assert [secret for secret in SECRETS if secret in text] == []
        assert not set(LETTERS) & set(text.split())
        assert [secret for secret in SECRETS if secret.encode() in pdf] == []


def test_contents_nobody_wrote_down_are_asked_for() -> None:
    """An empty list of ingredients must not read as if there were none."""
    pages = flowing_pages(ballots_pdf(TRAYS, SITTING, replace(PLAN, contains="", traces=""), PRINTED))
    assert "Ask the preparer for the list of ingredients before you taste." in pages[0]
    assert "Contains" not in pages[0]


def test_twelve_attributes_and_markup_in_their_names_still_make_a_ballot() -> None:
    """As many lines as a plan may have, two pages a serving at most, and names are never read as a template."""
    hostile = '#let x = 1 $5 <b> "quoted" *bold* _it_ @ref'
    lines = tuple(Attribute(f"line {n} {hostile}", hostile) for n in range(12))
    pdf = ballots_pdf(TRAYS[:2], SITTING, replace(PLAN, attributes=lines), PRINTED)
    text = flowing(pdf)
    assert text.count(hostile) == 2 * 12 * len(NAMES)
    assert len(pages_of(pdf)) <= 3 * len(NAMES)
