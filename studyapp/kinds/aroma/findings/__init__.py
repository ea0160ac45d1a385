"""Every sentence about a study of an infused aroma, built here and nowhere else."""

from __future__ import annotations

from studyapp.kinds.aroma.findings.verdicts import kept_line
from studyapp.kinds.aroma.plan import AromaPlan
from studyapp.words import _

__all__ = ["draft_line", "kept_line"]


def draft_line(plan: AromaPlan) -> str:
    """How far a draft is, in one line."""
    if not plan.assessors and not plan.botanical.name:
        return _("Nothing planned yet but the name.")
    said = _("Aroma of {plant}, {people} assessors so far.")
    return said.format(plant=plan.botanical.name or _("a plant still to name"), people=len(plan.assessors))
