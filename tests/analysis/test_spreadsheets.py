"""Workbooks made to do harm: each is refused by measure, before a parser lays it out."""

from __future__ import annotations

import io
import zipfile
from collections.abc import Callable

import pytest
import xlsxwriter

from analysis.files.spreadsheets import SpreadsheetError, xlsx_rows

CELLS = [["assessor", "hours"], ["Heron", 8.0]]
SHEET = "xl/worksheets/sheet1.xml"


def _workbook(fill: Callable[[xlsxwriter.workbook.Worksheet], object] | None = None) -> bytes:
    buffer = io.BytesIO()
    book = xlsxwriter.Workbook(buffer)
    page = book.add_worksheet()
    for number, row in enumerate(CELLS):
        page.write_row(number, 0, row)
    if fill:
        fill(page)
    book.close()
    return buffer.getvalue()


def _changed(changes: dict[str, bytes | None], content: bytes | None = None) -> bytes:
    """A sound workbook with members replaced, added or (None) left out."""
    with zipfile.ZipFile(io.BytesIO(content or _workbook())) as sound:
        members: dict[str, bytes | None] = {name: sound.read(name) for name in sound.namelist()}
    members |= changes
    buffer = io.BytesIO()
    with zipfile.ZipFile(buffer, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, member in members.items():
            if member is not None:
                archive.writestr(name, member)
    return buffer.getvalue()


def _sheet(rows: str) -> dict[str, bytes | None]:
    space = 'xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main"'
    return {SHEET: f"<worksheet {space}><sheetData>{rows}</sheetData></worksheet>".encode()}


def _said(content: bytes) -> str:
    with pytest.raises(SpreadsheetError) as caught:
        xlsx_rows(content)
    return str(caught.value)


def test_a_sound_workbook_is_read_from_its_first_cell() -> None:
    """Blank rows and columns at the top keep their place."""
    assert xlsx_rows(_workbook()) == CELLS
    assert xlsx_rows(_workbook(lambda page: page.write("D4", "x")))[3] == ["", "", "", "x"]


def test_a_picture_beside_the_table_does_no_harm() -> None:
    """Members that hold no cells are never unpacked."""
    assert xlsx_rows(_changed({"xl/media/image1.png": _noise(100_000)})) == CELLS


def test_too_many_parts_are_refused() -> None:
    """Fifty is the most."""
    assert "parts and at most 50 are read" in _said(_changed({f"xl/media/{k}.png": b"x" for k in range(50)}))


def test_a_bomb_is_refused_by_its_directory() -> None:
    """Sixty megabytes of zeros pack to sixty kilobytes; twenty to twenty, at a ratio of a thousand."""
    assert "more than 50 MB" in _said(_changed({"xl/media/a.bin": bytes(60 * 2**20)}))
    assert "more than 100 times its size" in _said(_changed({"xl/media/a.bin": bytes(20 * 2**20)}))


def test_a_directory_that_lies_about_sizes_is_refused() -> None:
    """What unpacks is compared with what was declared, within the declared size."""
    content = _changed({SHEET: b"<worksheet>" + b" " * 3_000_000 + b"</worksheet>", "pad.bin": bytes(range(256)) * 400})
    size = (3_000_000 + len(b"<worksheet></worksheet>")).to_bytes(4, "little")
    assert content.count(size) >= 2
    assert "the workbook is damaged" in _said(content.replace(size, (5000).to_bytes(4, "little")))


@pytest.mark.parametrize("name", ["../outside.xml", "/etc/outside.xml", "xl\\..\\..\\outside.xml", "XL/WORKBOOK.XML"])
def test_names_that_lead_outside_or_stand_twice_are_refused(name: str) -> None:
    """Nothing is ever written to disk, and still."""
    assert "unsafe names" in _said(_changed({name: b"x"}))


def test_links_are_refused() -> None:
    """A member may be marked as a symbolic link."""
    buffer = io.BytesIO(_workbook())
    with zipfile.ZipFile(buffer, "a") as archive:
        link = zipfile.ZipInfo("xl/link.xml")
        link.external_attr = 0o120777 << 16
        archive.writestr(link, "/etc/hosts")
    assert "links" in _said(buffer.getvalue())


def test_a_formula_is_refused_by_its_cell() -> None:
    """Its stored result may be older than what it is computed from."""
    said = _said(_workbook(lambda page: page.write_formula("C7", "=A1+1", None, 5)))
    assert said == "cell C7 holds a formula, whose stored result may be out of date; paste values instead"


def test_a_cell_far_outside_is_refused_before_the_rectangle_is_laid_out() -> None:
    """A1 to XFD1048576 would be seventeen thousand million cells."""
    assert "reaches over 1048576 rows and 16384 columns" in _said(_workbook(lambda page: page.write("XFD1048576", 1)))


@pytest.mark.parametrize(
    "rows",
    [
        "<row r='1'><c r='A1'><v>1</v></c></row>",
        "<row><c><v>1</v></c></row>",
        '<row r="1"><c r="A1"/><c t="n"/></row>',
        '<row r="1"><c x=\' r="A1"\'/></row>',
        '<row r="1"><c r="ABCD1"/></row>',
        '<row r="99999999"><c r="A1"/></row>',
    ],
)
def test_cells_whose_place_cannot_be_told_by_plain_reading_are_refused(rows: str) -> None:
    """The measure must see the same rectangle as the parser."""
    assert "cells without addresses" in _said(_changed(_sheet(rows)))


def test_a_long_text_used_in_very_many_cells_is_refused() -> None:
    """Each cell would get its own copy: 30,000 letters times 20,000 cells."""
    cells = "".join(f'<row r="{k}"><c r="A{k}" t="s"><v>0</v></c></row>' for k in range(1, 20_001))
    text = b'<sst count="1" uniqueCount="1"><si><t>' + bytes(65 + k % 26 for k in range(30_000)) + b"</t></si></sst>"
    padding = {"xl/media/noise.bin": _noise(60_000)}
    assert "long texts are repeated" in _said(_changed({**_sheet(cells), "xl/sharedStrings.xml": text, **padding}))


def _noise(size: int) -> bytes:
    """Bytes that do not pack, so that the ratio of the archive stays ordinary."""
    import random

    return random.Random(1).randbytes(size)


def test_entities_are_not_expanded() -> None:
    """A document type is refused where the workbook is described, and never expanded in its texts."""
    bomb = b'<!DOCTYPE w [<!ENTITY a "aaaaaaaaaa"><!ENTITY b "&a;&a;&a;&a;">]>'
    with zipfile.ZipFile(io.BytesIO(_workbook())) as sound:
        book = sound.read("xl/workbook.xml")
    assert "unusual XML" in _said(_changed({"xl/workbook.xml": book.replace(b"<workbook", bomb + b"<workbook", 1)}))
    texts = bomb + b'<sst count="2"><si><t>&b;</t></si><si><t>hours</t></si><si><t>Heron</t></si></sst>'
    try:
        first = xlsx_rows(_changed({"xl/sharedStrings.xml": texts}))[0][0]
    except SpreadsheetError:
        first = ""
    assert "aaaa" not in str(first)


@pytest.mark.parametrize("missing", ["xl/workbook.xml", SHEET, "xl/_rels/workbook.xml.rels"])
def test_a_workbook_without_its_parts_is_refused(missing: str) -> None:
    """With a sentence, not with an error of the parser."""
    assert any(word in _said(_changed({missing: None})) for word in ("no XLSX workbook", "damaged"))


def test_a_locked_workbook_is_refused() -> None:
    """Bit 0 of a member's flags says that it is encrypted (PKWARE APPNOTE 4.4.4)."""
    content = bytearray(_workbook())
    at = content.find(b"PK\x01\x02")
    content[at + 8] |= 1
    assert "password" in _said(bytes(content))
