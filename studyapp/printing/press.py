"""The typesetter: a template and data in, a PDF out. Nothing else in the project knows Typst.

Data travel as one JSON text through `sys.inputs`, so that a title such as "#let" or "$5 <b>" stays text. System fonts
are ignored and the time is an argument, so that the same data give the same bytes on every machine.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from datetime import datetime
from importlib.resources import files
from pathlib import Path
from typing import Any

from studyapp.assets import font_folder
from studyapp.words import _

_TEMPLATES = Path(str(files("studyapp.printing").joinpath("templates")))


def typeset(template: str, data: Mapping[str, Any], printed_at: str) -> bytes:
    """A tagged PDF (PDF/UA-1) of a template, for example "labels".

    Args:
        template: file name in `templates`, without its ending.
        data: whatever the template reads; plain values only.
        printed_at: ISO 8601 time; the document carries it, and no other clock is read.

    A text that no font of ours can draw (another script, a picture letter) would be refused by PDF/UA; such a page is
    set with the fonts of the machine instead, and as a last resort without the standard: a sheet that lacks a letter is
    better than no sheet.
    """
    text = json.dumps(dict(data), ensure_ascii=False)
    failure: Exception | None = None
    for own_fonts, tagged in ((True, True), (False, True), (True, False)):
        try:
            return _compiled(template, text, _seconds(printed_at), own_fonts, tagged)
        except RuntimeError as refused:
            failure = refused
    raise RuntimeError(f"the typesetter refused {template}.typ") from failure


def _compiled(template: str, text: str, timestamp: int, own_fonts: bool, tagged: bool) -> bytes:
    import typst

    return typst.compile(
        str(_TEMPLATES / f"{template}.typ"),
        format="pdf",
        font_paths=[str(font_folder())],
        ignore_system_fonts=own_fonts,
        sys_inputs={"data": text},
        pdf_standards="ua-1" if tagged else None,
        timestamp=timestamp,
    )


def _seconds(printed_at: str) -> int:
    return int(datetime.fromisoformat(printed_at.replace("Z", "+00:00")).timestamp())


def shown_time(iso: str | None) -> str:
    """A time as printed: its own wall clock, "UTC" behind it when it is kept in UTC."""
    if not iso:
        return "–"
    moment = datetime.fromisoformat(iso.replace("Z", "+00:00"))
    shown = f"{moment:%Y-%m-%d %H:%M}"
    return _("{time} UTC").format(time=shown) if iso.endswith("Z") else shown
