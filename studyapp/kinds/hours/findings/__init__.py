"""Every sentence about a verdict on conching hours, built here and nowhere else, so that screen, command and paper say
the same."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any

from studyapp.kinds.hours.findings.failing import standing
from studyapp.kinds.hours.findings.headlines import stop_within
from studyapp.kinds.hours.findings.offers import Costs, OfferRow, costs, offer_rows
from studyapp.kinds.hours.findings.pulls import attribute_alt, enough, pull_says, shown
from studyapp.kinds.hours.findings.verdict import HoursFinding, hours_finding
from studyapp.kinds.hours.findings.warnings import warning_sentence
from studyapp.kinds.hours.plan import HoursPlan
from studyapp.words import _

__all__ = [
    "Costs",
    "HoursFinding",
    "OfferRow",
    "attribute_alt",
    "costs",
    "draft_line",
    "enough",
    "hours_finding",
    "kept_line",
    "offer_rows",
    "pull_says",
    "shown",
    "standing",
    "stop_within",
    "warning_sentence",
]


def draft_line(plan: HoursPlan) -> str:
    """How far a draft is, in one line."""
    pulls, lines = len(plan.pulls), len(plan.attributes)
    if not pulls and not lines:
        return _("Nothing planned yet but the name.")
    return _("{pulls} pulls, {lines} attributes, {people} assessors so far.").format(
        pulls=pulls, lines=lines, people=len(plan.assessors)
    )


def kept_line(plan: HoursPlan, document: Mapping[str, Any]) -> str:
    """A signed verdict in one line, from the document that was signed."""
    if not document:
        return ""
    if document["verdict"] == "stop":
        hour, latest, reference = (_hour(document, key) for key in ("hours", "latest_hours", "reference_hours"))
        return stop_within(hour, latest, math.inf if reference is None else reference)
    return {
        "conche longer": _("Conche longer."),
        "no hour fits": _("No hour served fits."),
        "confirmed": _("Confirmed."),
        "not confirmed": _("Not confirmed."),
        "cannot tell": _("Cannot tell."),
    }[str(document["verdict"])]


def _hour(document: Mapping[str, Any], key: str) -> float | None:
    value = document.get(key)
    return float(value) if isinstance(value, int | float) else None
