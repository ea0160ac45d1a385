"""What a confirmation says: an hour that one batch chose, held against the longest pull of another."""

from __future__ import annotations

from typing import TYPE_CHECKING

from studyapp.findings.numbers import hours, of_studies
from studyapp.kinds.hours.findings.batches import of_all
from studyapp.kinds.hours.findings.failing import against_pulls
from studyapp.kinds.hours.plan import RECIPE
from studyapp.words import _

if TYPE_CHECKING:
    from analysis.stopping import Decision


def headline(decision: Decision) -> str:
    """The hour is confirmed in this batch, or it is not."""
    asked = hours(decision.confirms or 0.0)
    if decision.verdict == "confirmed" and decision.claim == RECIPE:
        return _("Confirmed: {h} h is enough for this recipe and machine, on average.").format(h=asked)
    if decision.verdict == "confirmed":
        return _("Confirmed: {h} h is enough in this batch too.").format(h=asked)
    return _("Not confirmed: {h} h does not fit this batch.").format(h=asked)


def held_against(decision: Decision) -> str:
    """What was confirmed: the hour against the batch's own longest pull."""
    if decision.claim == RECIPE:
        return of_all(decision, decision.confirms or 0.0)
    told = _("At {h} h every deciding attribute is within its margin of this batch's own {ref} h pull.")
    return told.format(h=hours(decision.confirms or 0.0), ref=hours(decision.reference_hours))


def risk(decision: Decision) -> str:
    """How often a wrong hour is confirmed."""
    told = _("Were {h} h truly too short for this batch, it would still be confirmed in at most {share} such studies.")
    return told.format(h=hours(decision.confirms or 0.0), share=of_studies(decision.alpha))


def why_not(decision: Decision) -> list[str]:
    """On what the hour is shown to fail, and what follows for other batches."""
    against = against_pulls(decision, only=decision.confirms)
    after = _(
        "So {h} h is taken back for new batches, which go to {ref} h again; what was said of the batches before stands."
    )
    return [*against, after.format(h=hours(decision.confirms or 0.0), ref=hours(decision.reference_hours))]
