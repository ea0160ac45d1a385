"""The list of studies, sorted by what they ask of the leader now."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from typing import Any, Literal

import streamlit as st

from studyapp.components import look
from studyapp.components.look import Mark
from studyapp.components.moments import day
from studyapp.records import Sitting, Study
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


def step(study: Study[Any], sittings: Sequence[Sitting], said: str = "") -> Step:
    """What a study asks for next; `said` is how far a draft is, or the verdict of a decided one."""
    if study.state == "draft":
        return Step("now", "ring", "", _("draft"), said, _("Go on planning"), "plan")
    if study.state == "opened":
        line = _("Read the verdict, then sign it or plan the next sitting.")
        return Step("now", "disc", "patina", _("key open"), line, _("Read the verdict"), "decide")
    if study.state == "decided":
        return Step("closed", "diamond", "", _("decided"), said or _("Signed."), _("Read the verdict"), "decide")
    return _sealed_step(study, sittings)


def _sealed_step(study: Study[Any], sittings: Sequence[Sitting]) -> Step:
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


# ---- drawing -----------------------------------------------------------------------------------------------------
def draw(listed: Iterable[tuple[Study[Any], Step]], go: Callable[[str, str], None]) -> None:
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


def _rest(group: str, members: list[tuple[Study[Any], Step]], go: Callable[[str, str], None]) -> None:
    older = members[FIRST_SHOWN:]
    if not older:
        return
    names = {study.id: study.plan.title for study, _here in older}
    chosen = st.selectbox(_("Older ones"), list(names), format_func=names.__getitem__, index=None, key=f"older-{group}")
    for study, here in older:
        if study.id == chosen:
            _line(study, here, go)


def _line(study: Study[Any], here: Step, go: Callable[[str, str], None]) -> None:
    with st.container(key=f"card-study-{study.id}", horizontal=True, vertical_alignment="center"):
        marks = [_("invented")] if study.example else []
        marks += [_("brought in")] if study.came else []
        from_where = "".join(look.chip("square", mark, "quiet") for mark in marks)
        with st.container(width="stretch"):
            state = look.chip(here.mark, here.state, here.tone)
            heading = look.pair(look.title(study.plan.title, 3), from_where)
            look.put(heading, f'<p class="say quiet">{state} {look.plain(here.line)}</p>')
        if st.button(here.act, key=f"go-{study.id}"):
            go(here.page, study.id)
