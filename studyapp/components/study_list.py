"""The list of studies, sorted by what they ask of the leader now."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

import streamlit as st

from studyapp.components import look
from studyapp.components.look import Mark
from studyapp.components.moments import day
from studyapp.findings import stop_within
from studyapp.records import AromaPlan, Sitting, Study
from studyapp.words import _, ngettext

Group = Literal["now", "later", "closed"]
FIRST_SHOWN = 20


@dataclass(frozen=True, slots=True)
class Step:
    """Where a study stands: its group, its state as shape and word, one line, and the page that goes on."""

    group: Group
    mark: Mark
    tone: str
    state: str
    line: str
    act: str
    page: str


def step(study: Study, sittings: Sequence[Sitting], verdict: str = "") -> Step:
    """What a study asks for next; a decided one says its `verdict`."""
    if study.state == "draft":
        return Step("now", "ring", "", _("draft"), _draft_line(study), _("Go on planning"), "plan")
    if study.state == "opened":
        line = _("Read the verdict, then sign it or plan the next sitting.")
        return Step("now", "disc", "patina", _("key open"), line, _("Read the verdict"), "decide")
    if study.state == "decided":
        return Step("closed", "diamond", "", _("decided"), verdict or _("Signed."), _("Read the verdict"), "decide")
    return _sealed_step(study, sittings)


def _sealed_step(study: Study, sittings: Sequence[Sitting]) -> Step:
    closed = sum(sitting.state == "closed" for sitting in sittings)
    line = ngettext("{done} of {n} sitting closed.", "{done} of {n} sittings closed.", len(sittings)).format(
        done=closed, n=len(sittings)
    )
    if sittings and closed == len(sittings):
        return Step("now", "triangle", "copper", _("all tasted"), line, _("Open the key"), "open_key")
    if any(sitting.state in ("open", "paused") for sitting in sittings):
        return Step("now", "dot", "patina", _("tasting now"), line, _("Watch the sitting"), "watch")
    sealed = _("Since {day}. {line}").format(day=day(study.sealed_at or study.created_at), line=line)
    return Step("later", "square", "", _("sealed"), sealed, _("Open a sitting"), "watch")


def _draft_line(study: Study) -> str:
    if isinstance(study.plan, AromaPlan):
        return _aroma_draft_line(study.plan)
    pulls, lines = len(study.plan.pulls), len(study.plan.attributes)
    if not pulls and not lines:
        return _("Nothing planned yet but the name.")
    return _("{pulls} pulls, {lines} attributes, {people} assessors so far.").format(
        pulls=pulls, lines=lines, people=len(study.plan.assessors)
    )


def _aroma_draft_line(plan: AromaPlan) -> str:
    if not plan.assessors and not plan.botanical.name:
        return _("Nothing planned yet but the name.")
    said = _("Aroma of {plant}, {people} assessors so far.")
    return said.format(plant=plan.botanical.name or _("a plant still to name"), people=len(plan.assessors))


def verdict_line(document: Mapping[str, object]) -> str:
    """A kept verdict in one line, from the document that was signed."""
    if not document:
        return ""
    if document["verdict"] == "stop":
        hour, latest, reference = (_hour(document, key) for key in ("hours", "latest_hours", "reference_hours"))
        return stop_within(hour, latest, math.inf if reference is None else reference)
    return {
        "conche longer": _("Conche longer."),
        "no hour fits": _("No hour served fits."),
        "cannot tell": _("Cannot tell."),
    }[str(document["verdict"])]


def _hour(document: Mapping[str, object], key: str) -> float | None:
    value = document.get(key)
    return float(value) if isinstance(value, int | float) else None


# ---- drawing -----------------------------------------------------------------------------------------------------
def draw(listed: Iterable[tuple[Study, Step]], go: Callable[[str, str], None]) -> None:
    """The three groups; `go` is called with a page and a study id when its button is tapped."""
    names = {"now": _("Needs you"), "later": _("Later"), "closed": _("Closed")}
    everything = list(listed)
    for group, name in names.items():
        members = [pair for pair in everything if pair[1].group == group]
        if members:
            look.put(look.title(name, 2))
            for study, here in members[:FIRST_SHOWN]:
                _line(study, here, go)
            _rest(group, members, go)


def _rest(group: str, members: list[tuple[Study, Step]], go: Callable[[str, str], None]) -> None:
    older = members[FIRST_SHOWN:]
    if not older:
        return
    names = {study.id: study.plan.title for study, _here in older}
    chosen = st.selectbox(_("Older ones"), list(names), format_func=names.get, index=None, key=f"older-{group}")
    for study, here in older:
        if study.id == chosen:
            _line(study, here, go)


def _line(study: Study, here: Step, go: Callable[[str, str], None]) -> None:
    with st.container(key=f"card-study-{study.id}", horizontal=True, vertical_alignment="center"):
        invented = look.chip("square", _("invented"), "quiet") if study.example else ""
        with st.container(width="stretch"):
            state = look.chip(here.mark, here.state, here.tone)
            heading = look.pair(look.title(study.plan.title, 3), invented)
            look.put(heading, f'<p class="say quiet">{state} {look.plain(here.line)}</p>')
        if st.button(here.act, key=f"go-{study.id}"):
            go(here.page, study.id)
