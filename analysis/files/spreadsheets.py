"""Rows of an XLSX workbook from a stranger: what could blow up is measured before any parser sees it.

A workbook is a ZIP archive of XML. Its directory is read first (members, sizes, ratio), the few members that hold
numbers and texts are unpacked under a cap and packed anew, so that the parser meets no other size than the one
measured. The parser lays a sheet out as a full rectangle and repeats a shared text in every cell that uses it, so
the rectangle and the texts are measured as well. Formulas are refused: a stored result may be older than its inputs.
"""

from __future__ import annotations

import io
import re
import stat
import zipfile
import zlib
from typing import cast
from xml.etree import ElementTree

MOST_MEMBERS = 50
MOST_UNPACKED = 50 * 2**20
MOST_RATIO = 100
MOST_CELLS = 2_000_000
MOST_TEXT = 100 * 2**20

_NEEDED = re.compile(
    r"\[content_types\]\.xml|_rels/\.rels|xl/workbook\.xml|xl/_rels/workbook\.xml\.rels|xl/styles\.xml"
    r"|xl/sharedstrings\.xml|xl/worksheets/[^/]+\.xml",
    re.IGNORECASE,
)
_OTHER = rb'(?:\s+(?!r=)[\w:.-]+="[^"<]*")*'
_ADDRESSED = re.compile(rb"<(?:[\w.-]+:)?(?:c|row)" + _OTHER + rb'\s+r="([A-Z]{0,3})(\d{1,7})"' + _OTHER + rb"\s*/?>")
_CELL_OR_ROW = re.compile(rb"<(?:[\w.-]+:)?(?:c|row)(?=[\s/>])")
_FORMULA = re.compile(rb"<(?:[\w.-]+:)?f[\s/>]")
_CELL_NAME = re.compile(rb'<(?:[\w.-]+:)?c\s[^<>]*?\br="([A-Z]{1,3}\d{1,7})"')
_INDEX = re.compile(rb"<(?:[\w.-]+:)?v(?:\s[^<>]*)?>[\s+]*(\d{1,9})\s*<")
_RELATION = "{http://schemas.openxmlformats.org/officeDocument/2006/relationships}id"


class SpreadsheetError(ValueError):
    """What is wrong with a workbook and what to do, without its file name."""


def xlsx_rows(content: bytes) -> list[list[object]]:
    """All rows of the sheet that holds the scores, from cell A1 on, as numbers, texts, dates or "".

    It is the only sheet with cells, or the one named "scores". Raises SpreadsheetError.
    """
    from python_calamine import CalamineError, CalamineWorkbook

    members = _members(content)
    name = _sheet(members)
    packed = io.BytesIO(_repacked(members))
    del members
    try:
        with CalamineWorkbook.from_filelike(packed) as workbook:
            rows = workbook.get_sheet_by_name(name).to_python(skip_empty_area=False)
    except (CalamineError, OSError, ValueError, KeyError) as problem:
        raise SpreadsheetError(
            "the workbook is damaged; open it, save it again as XLSX, or save it as CSV"
        ) from problem
    return cast(list[list[object]], rows)


def _members(content: bytes) -> dict[str, bytes]:
    """The members that hold the cells, unpacked, by lower-case name."""
    try:
        with zipfile.ZipFile(io.BytesIO(content)) as archive:
            _check_directory(archive.infolist())
            kept = [entry for entry in archive.infolist() if _NEEDED.fullmatch(entry.filename)]
            members = {entry.filename.lower(): archive.read(entry) for entry in kept}
    except (
        zipfile.BadZipFile,
        zlib.error,
        NotImplementedError,
        RuntimeError,
        OSError,
        EOFError,
        ValueError,
    ) as problem:
        if isinstance(problem, SpreadsheetError):
            raise
        raise SpreadsheetError(
            "the workbook is damaged; open it, save it again as XLSX, or save it as CSV"
        ) from problem
    if "xl/workbook.xml" not in members:
        raise SpreadsheetError("this is no XLSX workbook; save the scores as XLSX or as CSV")
    return members


def _check_directory(entries: list[zipfile.ZipInfo]) -> None:
    """Refuse an archive by what its directory declares, before a byte is unpacked."""
    unpacked = sum(entry.file_size for entry in entries)
    packed = sum(entry.compress_size for entry in entries)
    if len(entries) > MOST_MEMBERS:
        raise SpreadsheetError(
            f"the workbook has {len(entries)} parts and at most {MOST_MEMBERS} are read; keep only the scores"
        )
    if unpacked > MOST_UNPACKED:
        raise SpreadsheetError("the workbook unpacks to more than 50 MB; keep only the scores, or save them as CSV")
    if unpacked > MOST_RATIO * max(packed, 1):
        raise SpreadsheetError(f"the workbook unpacks to more than {MOST_RATIO} times its size; save the scores as CSV")
    names = {entry.filename.lower() for entry in entries}
    if len(names) < len(entries) or any(map(_unsafe, entries)):
        raise SpreadsheetError("the workbook holds links or parts with unsafe names; save the scores as CSV")
    if any(entry.flag_bits & 1 for entry in entries):
        raise SpreadsheetError("the workbook is locked with a password; save it without one")


def _unsafe(entry: zipfile.ZipInfo) -> bool:
    """A link, or a name that leads out of the archive."""
    outside = entry.filename.startswith(("/", "\\")) or ".." in re.split(r"[/\\]", entry.filename)
    return outside or stat.S_ISLNK(entry.external_attr >> 16)


def _repacked(members: dict[str, bytes]) -> bytes:
    packed = io.BytesIO()
    with zipfile.ZipFile(packed, "w", zipfile.ZIP_STORED) as archive:
        for name, content in members.items():
            archive.writestr(name, content)
    return packed.getvalue()


def _sheet(members: dict[str, bytes]) -> str:
    """The name of the sheet with the scores, measured and free of formulas."""
    sheets = _sheets(members)
    for path, content in members.items():
        if path.startswith("xl/worksheets/"):
            _check_rectangle(content, members.get("xl/sharedstrings.xml", b""))
    filled = [name for name, content in sheets.items() if _CELL_NAME.search(content)]
    named = [name for name in filled if name.strip().casefold() == "scores"]
    if not filled:
        raise SpreadsheetError("no sheet holds anything; write a header row and one row a score")
    if len(filled) > 1 and len(named) != 1:
        raise SpreadsheetError(f'{len(filled)} sheets hold cells; name the one to read "scores"')
    chosen = (named or filled)[0]
    _refuse_formulas(sheets[chosen])
    return chosen


def _sheets(members: dict[str, bytes]) -> dict[str, bytes]:
    """Sheet names in workbook order with their XML, by way of the workbook's relations."""
    book = _tree(members["xl/workbook.xml"])
    relations = {
        relation.get("Id"): (relation.get("Target") or "").lower()
        for relation in _tree(members.get("xl/_rels/workbook.xml.rels", b"<none/>"))
    }
    sheets = {}
    for sheet in book.iter():
        if sheet.tag.rpartition("}")[2] == "sheet":
            target = relations.get(sheet.get(_RELATION), "")
            path = target.lstrip("/") if target.startswith("/") else f"xl/{target.removeprefix('./')}"
            if path in members:
                sheets[sheet.get("name", "")] = members[path]
    if not sheets or len(sheets) < sum(name.startswith("xl/worksheets/") for name in members):
        raise SpreadsheetError("the workbook's list of sheets is damaged; save it again as XLSX, or save it as CSV")
    return sheets


def _tree(content: bytes) -> ElementTree.Element:
    """A small XML part; document types, and with them entities, are refused."""
    if b"<!" in content or len(content) > 2**20:
        raise SpreadsheetError("the workbook holds unusual XML; save it again as XLSX, or save it as CSV")
    try:
        return ElementTree.fromstring(content)
    except (ElementTree.ParseError, ValueError, LookupError) as problem:
        raise SpreadsheetError("the workbook is damaged; save it again as XLSX, or save it as CSV") from problem


def _check_rectangle(sheet: bytes, texts: bytes) -> None:
    """Refuse a sheet whose cells carry no plain address, or whose rectangle or texts are too large to lay out."""
    addressed, letters, numbers = 0, set(), set()
    for tag in _ADDRESSED.finditer(sheet):
        addressed += 1
        letters.add(tag[1])
        numbers.add(tag[2])
    if addressed != sum(1 for _tag in _CELL_OR_ROW.finditer(sheet)):
        raise SpreadsheetError("cells without addresses were found; open the workbook, save it again as XLSX")
    rows = max(map(int, numbers), default=0)
    columns = max(map(_column_number, letters), default=0)
    if rows * columns > MOST_CELLS:
        raise SpreadsheetError(
            f"the sheet reaches over {rows} rows and {columns} columns; delete what stands far outside the table"
        )
    if _text_size(sheet, texts, addressed) > MOST_TEXT:
        raise SpreadsheetError("long texts are repeated in very many cells; shorten them, or save the scores as CSV")


def _text_size(sheet: bytes, texts: bytes, cells: int) -> int:
    """Bytes of text once every cell holds its own copy; a bound where the bound is small enough."""
    sizes = [len(text) for text in re.split(rb"<(?:[\w.-]+:)?si(?=[\s/>])", texts)[1:]]
    bound = max(sizes, default=0) * cells
    if bound <= MOST_TEXT:
        return bound
    return sum(sizes[int(index)] for index in _INDEX.findall(sheet) if int(index) < len(sizes))


def _column_number(letters: bytes) -> int:
    """1 for A, 27 for AA; 0 for no letters."""
    number = 0
    for letter in letters:
        number = number * 26 + letter - 64
    return number


def _refuse_formulas(sheet: bytes) -> None:
    formula = _FORMULA.search(sheet)
    if formula:
        names = _CELL_NAME.findall(sheet, 0, formula.start())
        where = f"cell {names[-1].decode()}" if names else "a cell"
        raise SpreadsheetError(f"{where} holds a formula, whose stored result may be out of date; paste values instead")
