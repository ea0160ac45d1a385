"""Labels, tray sheets and the key: where they lie on the paper, what they say, and what they must not say."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import pytest

from studyapp.printing import LabelSheet, fill_sheet, label_outlines, labels, preparation_pdf, tray_sheets
from studyapp.printing.kit import SHEETS
from tests.printing.paper_reading import MM, facts_of, flowing, flowing_pages, pages_of, picture_of, words_of
from tests.printing.sitting_of_six import (
    HOURS,
    KEY,
    KIT,
    LETTERS,
    PRINTED,
    ROWS,
    SECRETS,
    SITTING,
    TRAYS,
)

PAPERS: dict[str, Callable[[str], bytes]] = {
    "labels": lambda at: labels(KIT, at),
    "outlines": label_outlines,
    "trays": lambda at: tray_sheets(KIT, at),
    "fill": lambda at: fill_sheet(KIT, KEY, at),
    "preparation": lambda at: preparation_pdf(KIT, KEY, at),
}


@pytest.mark.parametrize("kind", PAPERS)
def test_the_same_data_give_the_same_bytes(kind: str) -> None:
    """The time is an argument; no other clock, font or number of the machine gets in."""
    assert PAPERS[kind](PRINTED) == PAPERS[kind](PRINTED)
    assert PAPERS[kind](PRINTED) != PAPERS[kind]("2026-11-24T08:41:00+01:00")


@pytest.mark.parametrize("kind", PAPERS)
def test_every_sheet_is_tagged_a4_with_a_title_and_numbered_pages(kind: str) -> None:
    """A reader aloud can use it, and nobody mixes up the pages."""
    pdf = PAPERS[kind](PRINTED)
    facts, pages = facts_of(pdf), pages_of(pdf)
    assert facts["Tagged"] == "yes"
    assert facts["Title"]
    assert facts["Page size"].endswith("(A4)")
    assert b"<pdfuaid:part>1</pdfuaid:part>" in pdf
    assert all(f"page {number} of {len(pages)}" in page for number, page in enumerate(pages, 1))
    assert all("2026-11-24 08:40" in page for page in pages)


def test_a_label_holds_a_code_a_tray_and_a_seat_and_nothing_else() -> None:
    """Fifty-six cups: each code once, in the order in which the trays are filled."""
    words = [word.text for page in (1,) for word in words_of(labels(KIT, PRINTED), page)]
    body = words[: words.index("Labels,")]
    cups = [cup for tray in TRAYS for cup in tray.cups]
    assert [word for word in body if word in {cup.code for cup in cups}] == [cup.code for cup in cups]
    numbers = {str(n) for n in range(1, 9)}
    assert {word for word in body if word not in numbers | {cup.code for cup in cups}} == {"tray", "warm-up", "seat"}


@pytest.mark.parametrize("sheet", SHEETS.values())
def test_a_sheet_of_labels_fits_on_a4(sheet: LabelSheet) -> None:
    """Rows and columns with their gaps stay on 210 x 297 mm, evenly enough for any feeder (within 1 mm)."""
    width = sheet.across * sheet.width + (sheet.across - 1) * sheet.gap
    height = sheet.down * sheet.height + (sheet.down - 1) * sheet.row_gap
    assert 2 * sheet.left + width == pytest.approx(210, abs=1.0)
    assert 2 * sheet.top + height == pytest.approx(297, abs=1.0)


@pytest.mark.parametrize("sheet", [*SHEETS.values(), LabelSheet(50.0, 25.0, 4, 11, 11.0, 2.0, 1.5, 0.5)])
def test_labels_lie_on_the_sheet_of_labels(sheet: LabelSheet) -> None:
    """Codes repeat at the pitch of the labels, to a tenth of a millimetre, and stay inside their label."""
    pdf = labels(KIT, PRINTED, sheet)
    codes = [cup.code for tray in TRAYS for cup in tray.cups][: sheet.across * sheet.down]
    at = {word.text: word for word in words_of(pdf, 1)}
    for number, code in enumerate(codes):
        column, row = number % sheet.across, number // sheet.across
        word, first = at[code], at[codes[0]]
        assert (word.left - first.left) / MM == pytest.approx(column * (sheet.width + sheet.gap), abs=0.1)
        assert (word.top - first.top) / MM == pytest.approx(row * (sheet.height + sheet.row_gap), abs=0.1)
        edge = sheet.left + column * (sheet.width + sheet.gap)
        assert edge < word.left / MM < word.right / MM < edge + sheet.width
        top = sheet.top + row * (sheet.height + sheet.row_gap)
        assert top < word.top / MM < word.bottom / MM < top + sheet.height


def test_a_line_under_a_code_tells_609_from_906() -> None:
    """On a turned cup the line is above the digits, so a code cannot be read upside down."""
    pdf = labels(KIT, PRINTED)
    picture = picture_of(pdf, 1, 10).convert("L")
    word = words_of(pdf, 1)[0]
    left, right = round(word.left / MM * 10) + 8, round(word.right / MM * 10) - 8
    rows = range(round((word.top + word.bottom) / 2 / MM * 10), round(word.bottom / MM * 10) + 12)
    full = [y for y in rows if all(picture.getpixel((x, y)) < 128 for x in range(left, right))]
    above = range(round(word.top / MM * 10) - 12, rows[0])
    assert full
    assert not [y for y in above if all(picture.getpixel((x, y)) < 128 for x in range(left, right))]


def test_the_test_page_draws_every_outline_and_no_code() -> None:
    """Held against a sheet of labels, its lines must meet the cuts: left edge of the first label at 4.7 mm."""
    pdf = label_outlines(PRINTED)
    picture = picture_of(pdf, 1, 10).convert("L")
    y = round((10.7 + 10.6) * 10)
    dark = [x for x in range(picture.width) if picture.getpixel((x, y)) < 140]
    edges = [x for x in dark if x - 1 not in dark]
    pitch, width = 38.1 + 2.5, 38.1
    expected = [edge for column in range(5) for edge in (4.7 + column * pitch, 4.7 + column * pitch + width)]
    assert [x / 10 for x in edges] == pytest.approx(expected, abs=0.2)
    assert not any(word.text.isdigit() and len(word.text) == 3 and word.text != "100" for word in words_of(pdf, 1))


@pytest.mark.parametrize("kind", ["labels", "outlines", "trays"])
def test_no_sheet_for_the_tasting_room_tells_a_sample(kind: str) -> None:
    """No hours, no box letter, no title, recipe, batch or machine, in the text or in the file."""
    pdf = PAPERS[kind](PRINTED)
    text = flowing(pdf)
    assert [secret for secret in SECRETS if secret in text] == []
    assert not set(LETTERS) & set(text.replace(",", " ").split())
    assert [secret for secret in SECRETS if secret.encode() in pdf or secret.encode("utf-16-be") in pdf] == []


def test_a_tray_sheet_has_seats_codes_checks_and_the_caution() -> None:
    """One page a tray, the warm-up first, codes only."""
    pages = flowing_pages(tray_sheets(KIT, PRINTED))
    assert len(pages) == len(TRAYS)
    assert "Warm-up tray" in pages[0]
    for tray, page in zip(TRAYS, pages, strict=True):
        assert all(cup.code in page and cup.pseudonym in page for cup in tray.cups)
        assert "CODES ONLY" in page
        assert "KEY" not in page
        assert "cleared as food by the person responsible" in page
        assert "labels read against this sheet by a second person" in page
        assert "A tasting cannot show that an allergen is absent" in page
        assert "filled by" in page
        assert "checked by" in page
        assert page.count("spare") == 2
    assert "Tray 3 of 6" in pages[3]
    assert "4.5 g" in pages[3]
    assert "4 min" in pages[3]


def test_the_key_stands_alone_and_complete() -> None:
    """Every code with its box, the totals with spares, and where the sheet must not go."""
    text = flowing(fill_sheet(KIT, KEY, PRINTED))
    assert "KEY: keep away from the tasting room" in text
    assert "Whoever has read this sheet neither tastes nor serves" in text
    assert all(f"{code} box {letter}" in text for row in ROWS for code, letter in row.cups)
    assert all(f"{letter} {hours:g} h 18 cups 81 g" in text for letter, hours in zip(LETTERS, HOURS, strict=True))


def test_the_preparation_keeps_the_key_off_every_other_page() -> None:
    """In the one PDF the key comes last, on pages of its own."""
    pages = flowing_pages(PAPERS["preparation"](PRINTED))
    secret = [number for number, page in enumerate(pages) if any(secret in page for secret in SECRETS)]
    keyed = [number for number, page in enumerate(pages) if "KEY: keep away" in page]
    assert len(pages) == 1 + len(TRAYS) + 1
    assert secret == keyed == [len(pages) - 1]


def test_a_large_sitting_spreads_over_pages_and_loses_no_code() -> None:
    """Thirty people and twelve trays: 390 labels on six sheets, and a key over several pages."""
    trays = tuple(
        replace(TRAYS[0], position=p, cups=tuple(replace(TRAYS[0].cups[0], seat=s) for s in range(1, 31)))
        for p in range(13)
    )
    assert len(pages_of(labels(replace(KIT, trays=trays), PRINTED))) == 6
    served = flowing_pages(tray_sheets(replace(KIT, trays=trays), PRINTED))
    assert len(served) > 13
    assert all("CODES ONLY" in page and ("Tray " in page or "Warm-up tray" in page) for page in served)
    rows = tuple(replace(ROWS[0], position=p, seat=s) for p in range(13) for s in range(1, 31))
    key = fill_sheet(KIT, replace(KEY, rows=rows), PRINTED)
    assert flowing(key).count(f"{ROWS[0].cups[0][0]} box") == 390
    assert len(pages_of(key)) > 1
    assert all("KEY: keep away from the tasting room" in page for page in flowing_pages(key))


HOSTILE = '#let x = 1 $5 <b> "quoted" \\n *bold* _it_ @ref // /* `raw` = a'


def test_a_name_like_markup_stays_text() -> None:
    """Data are never read as a template."""
    sitting = replace(SITTING, label=HOSTILE)
    cups = tuple(replace(cup, pseudonym="#panic(1)") for cup in TRAYS[1].cups)
    text = flowing(tray_sheets(replace(KIT, sitting=sitting, trays=[replace(TRAYS[1], cups=cups)]), PRINTED))
    assert HOSTILE.replace("  ", " ") in text
    assert "#panic(1)" in text


@pytest.mark.parametrize("label", ["試食 火曜日", "дегустация", "🍫", "Żółw, Ñandú, ß"])
def test_a_name_in_another_script_does_not_stop_the_press(label: str) -> None:
    """A sheet that lacks a letter is better than no sheet; ours covers Latin."""
    pdf = tray_sheets(replace(KIT, sitting=replace(SITTING, label=label)), PRINTED)
    assert len(pages_of(pdf)) == len(TRAYS)
    if label.isascii() or label.startswith("Ż"):
        assert label in flowing(pdf)
