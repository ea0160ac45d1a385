"""The walk through the invented workshop: one study from its seal to its verdict, and the next step on each page."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any, NamedTuple

from studyapp import registry
from studyapp.components import look
from studyapp.records import Study
from studyapp.words import _

STEPS = ("plan", "prepare", "taste", "watch", "open_key", "decide")


class Told(NamedTuple):
    """A step of the walk: what it is called, and what to look at there."""

    name: str
    note: str


def of(studies: Sequence[Study[Any]]) -> Study[Any] | None:
    """The study of the walk, out of all studies, newest first: the newest invented one of the first kind that is
    sealed. None where nothing is invented."""
    first = next(iter(registry.KINDS))
    return next((one for one in studies if one.example and one.kind == first and one.state != "draft"), None)


def told() -> dict[str, Told]:
    """Every step in words, by its page."""
    return {
        "plan": Told(_("Read a sealed plan"), _("what eight people agreed to before they tasted")),
        "prepare": Told(_("See the trays"), _("codes only; the fill list stays in the kitchen")),
        "taste": Told(_("Taste a serving"), _("as an assessor sees it, on a phone")),
        "watch": Told(_("Watch the sitting"), _("what you marked is there, and no score")),
        "open_key": Told(_("Open the key"), _("once, and the record says who")),
        "decide": Told(_("Read the verdict"), _("and change one thing below it")),
    }


def draw(study: Study[Any], href: Callable[..., str]) -> None:
    """All steps with their links."""
    lines = [(one.name, one.note, _address(page, study, href)) for page, one in told().items()]
    look.put(look.title(_("Walk through it"), 2), look.steps(lines))


def strip(page: str, study: Study[Any], href: Callable[..., str], taste_first: bool) -> None:
    """On one of its pages: which step this is, what to see there, and the way on as far as there is one. `taste_first`:
    somebody still tastes, so the key waits."""
    number, here = STEPS.index(page) + 1, told()[page]
    named = _("Walk through it, {n} of {all}").format(n=number, all=len(STEPS))
    after = STEPS[number] if number < len(STEPS) else ""
    way = ""
    where = _address(after, study, href) if after and not (after == "open_key" and taste_first) else ""
    if where:
        way = look.linked(_("Next: {step}").format(step=told()[after].name), where)
    seen = look.plain(_("{step}: {note}").format(step=here.name, note=here.note))
    inside = f"{look.strong(named)} <span>{seen}</span>{way}"
    look.put(f'<nav class="invented walk" aria-label="{look.plain(named)}">{inside}</nav>')


def _address(page: str, study: Study[Any], href: Callable[..., str]) -> str:
    """Where a step is; nothing while the study is not there yet, or is past it."""
    if page == "taste":
        return "/demo/assessor" if study.state == "sealed" else ""
    if page in ("open_key", "decide") and (study.state == "sealed") != (page == "open_key"):
        return ""
    return href(page, study=study.id)
