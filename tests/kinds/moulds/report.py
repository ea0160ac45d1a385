"""On paper."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

from studyapp.errors import NotFound
from studyapp.printing.press import typeset
from studyapp.printing.record import foot, notes, page_words, record_of, sealed
from studyapp.records import Staff, Study
from studyapp.store import Store
from tests.kinds.moulds import deciding, findings


def report(store: Store, by: Staff, study: Study[Any], printed_at: str) -> bytes:
    """The frame that all reports share, around one sentence."""
    record, said = record_of(store, by, study), findings.kept_line(study.plan, deciding.document(store, by, study.id))
    page = {
        "document_title": said, "crumb": study.plan.title, "headline": said, "lede": "", "facts": [], "offers": [],
        "offer_columns": [], "caution": "", "charts_first": 1, "charts_across": 1, "charts": [], "beside": [],
        "rule": list(record.rule), "sealed": sealed(record), "tables": [], "record": [], "foot_left": study.plan.title,
        "foot_middle": foot(record, printed_at), "lang": "en", **notes((), (), record),
        "words": page_words() | {"changes": "", "numbers_intro": "", "beside": "", "more_charts": "", "columns": []},
    }  # fmt: skip
    return typeset("report", page, printed_at)


def calendar(store: Store, by: Staff, study: Study[Any]) -> bytes:
    """None."""
    raise NotFound("There is no calendar.")


def papers() -> Mapping[str, Callable[[Store, Staff, Study[Any], str], bytes]]:
    """None of its own."""
    return {}
