"""The walk through the invented workshop: five steps, each a link to the page that shows it."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any

from studyapp.components import look
from studyapp.records import Study
from studyapp.words import _


def draw(studies: Sequence[Study[Any]], verdict_of: Callable[[Study[Any]], str], href: Callable[..., str]) -> None:
    """The steps, as far as the workshop has a study for them; the verdict shown is a stop, the most usual one."""
    sealed = next((study for study in studies if study.example and study.state == "sealed"), None)
    decided = next((study for study in studies if study.example and verdict_of(study) == "stop"), None)
    if sealed is None or decided is None:
        return
    look.put(look.title(_("Walk through it"), 2), look.steps(_steps(sealed.id, decided.id, href)))


def _steps(sealed: str, decided: str, href: Callable[..., str]) -> tuple[tuple[str, str, str], ...]:
    plan, watch, verdict = href("plan", study=sealed), href("watch", study=sealed), href("decide", study=decided)
    return (
        (_("Read a sealed plan"), _("what eight people agreed to before they tasted"), plan),
        (_("Taste a serving"), _("as an assessor sees it; the band above leads back"), "/demo/assessor"),
        (_("Watch the sitting"), _("who is where, and no score yet"), watch),
        (_("Read a verdict"), _("one sentence, its picture, what would change it"), verdict),
        (_("Change one thing"), _("below a verdict: a tighter margin, fewer people"), verdict),
    )
