"""Reading a PDF back with poppler, a reader that has nothing to do with the typesetter."""

from __future__ import annotations

import re
import shutil
import subprocess
from dataclasses import dataclass
from io import BytesIO

import pytest
from PIL import Image

MM = 72 / 25.4  # pt


@dataclass(frozen=True, slots=True)
class Word:
    """One word on a page and its box, pt from the top left corner."""

    text: str
    left: float
    top: float
    right: float
    bottom: float


def _run(program: str, pdf: bytes, *options: str) -> bytes:
    if shutil.which(program) is None:
        pytest.skip(f"{program} of poppler-utils is not installed")
    return subprocess.run([program, *options], input=pdf, capture_output=True, check=True).stdout


def pages_of(pdf: bytes) -> list[str]:
    """The text of every page, as a reader sees it."""
    return _run("pdftotext", pdf, "-layout", "-", "-").decode().split("\f")[:-1]


def flowing(pdf: bytes) -> str:
    """All text with single spaces, so that a broken line does not hide a sentence."""
    return " ".join(" ".join(pages_of(pdf)).split())


def flowing_pages(pdf: bytes) -> list[str]:
    """The text of every page in reading order, with single spaces."""
    return [" ".join(page.split()) for page in _run("pdftotext", pdf, "-", "-").decode().split("\f")[:-1]]


def words_of(pdf: bytes, page: int) -> list[Word]:
    """The words of one page (1 is the first) with their boxes."""
    markup = _run("pdftotext", pdf, "-bbox", "-f", str(page), "-l", str(page), "-", "-").decode()
    found = re.findall(r'<word xMin="([\d.]+)" yMin="([\d.]+)" xMax="([\d.]+)" yMax="([\d.]+)">(.*?)</word>', markup)
    return [Word(text, float(x0), float(y0), float(x1), float(y1)) for x0, y0, x1, y1, text in found]


def facts_of(pdf: bytes) -> dict[str, str]:
    """Title, page size, number of pages, and whether the document is tagged."""
    lines = _run("pdfinfo", pdf, "-").decode().splitlines()
    return {key.strip(): value.strip() for key, _colon, value in (line.partition(":") for line in lines)}


def picture_of(pdf: bytes, page: int, dots_per_mm: int) -> Image.Image:
    """One page in grey, `dots_per_mm` dots a millimetre."""
    resolution = f"{dots_per_mm * 25.4:g}"
    drawn = _run("pdftoppm", pdf, "-r", resolution, "-f", str(page), "-l", str(page), "-png", "-singlefile", "-")
    return Image.open(BytesIO(drawn)).convert("RGB")
