"""The slip of a seal, to be kept on paper: whoever rewrote the record would have to find it too."""

from __future__ import annotations

from typing import Any

from studyapp.printing.press import shown_time, typeset
from studyapp.printing.sheet import mark_of
from studyapp.records import SealSlip, Study
from studyapp.words import _, language


def seal_slip(study: Study[Any], slip: SealSlip, printed_at: str) -> bytes:
    """Name, mark, who sealed and when, both hashes, and the rule in sentences. PDF."""
    mark = mark_of(slip.seal)
    rows = [
        (_("Study"), study.plan.title),
        (_("Sealed"), _("by {name}, {time}").format(name=slip.by, time=shown_time(slip.at))),
        (_("Rule, SHA-256"), slip.seal),
        (_("Seal of the record after {n} entries").format(n=slip.events), slip.head),
    ]
    words = {
        "page": _("page {n} of {m}"),
        "printed": _("printed {time}").format(time=shown_time(printed_at)),
        "rule": _("The rule"),
        "keep": _(
            "Keep this away from the machine. Sheets that who tastes may see bear the mark alone: the name of a study "
            "may tell what is asked."
        ),
    }
    data = {
        "title": _("Slip of the seal"),
        "lang": language(),
        "study": study.plan.title,
        "mark": _("study {mark}").format(mark=mark),
        "rows": rows,
        "words": words,
        "rule": list(slip.sentences),
    }
    return typeset("slip", data, printed_at)
