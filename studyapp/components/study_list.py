"""The list of studies, sorted by what they ask of the leader now."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Literal

import streamlit as st

from studyapp.components import look, study_search
from studyapp.components.look import Mark
from studyapp.components.moments import day
from studyapp.records import Sitting, Study
from studyapp.words import _, ngettext

Group = Literal["now", "later", "closed"]
# More studies than these are lines to search, not cards.
FEW = 10


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
    """What a study asks for next; `said` is how far a draft is."""
    if study.state == "draft":
        return Step("now", "ring", "", _("draft"), said, _("Go on planning"), "plan")
    if study.state == "opened":
        line = _("Read the verdict, then sign it or plan the next sitting.")
        return Step("now", "disc", "patina", _("key open"), line, _("Read the verdict"), "decide")
    if study.state == "decided":
        return Step("closed", "diamond", "", _("decided"), _("Signed."), _("Read the verdict"), "decide")
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
    return Step("later", "half", "", _("sealed"), sealed, _("Open a sitting"), "watch")


# ---- drawing -----------------------------------------------------------------------------------------------------
def draw(
    listed: Mapping[str, tuple[Study[Any], Step]],
    kinds: Mapping[str, str],
    said: Callable[[Study[Any]], str],
    go: Callable[[str, str], None],
) -> None:
    """The groups. `listed` is by study, `kinds` names the questions, `said` reads what came out of a signed study, `go`
    is called with a page and a study when its button is tapped. Past a few, cards become lines with a search above."""
    names: dict[Group, str] = {"now": _("Needs you"), "later": _("Later"), "closed": _("Closed")}
    studies = [study for study, _step in listed.values()]
    many = len(studies) > FEW
    if many:
        groups = {key: here.group for key, (_study, here) in listed.items()}
        studies = study_search.found(studies, names, groups, kinds)
    for group, name in names.items():
        members = [listed[study.id] for study in studies if listed[study.id][1].group == group]
        if members:
            look.put(look.title(name, 2))
            for study, here in study_search.page_of(members, group):
                _line(study, here, said(study) or here.line, go, "row" if many else "card")


def _line(
    study: Study[Any], here: Step, says: str, go: Callable[[str, str], None], form: Literal["row", "card"]
) -> None:
    with st.container(key=f"{form}-study-{study.id}", horizontal=True, vertical_alignment="center"):
        marks = [_("invented")] if study.example else []
        marks += [_("brought in")] if study.came else []
        from_where = "".join(map(look.pill, marks))
        with st.container(width="stretch"):
            state = look.chip(here.mark, here.state, here.tone)
            heading = look.pair(look.title(study.plan.title, 3), from_where)
            look.put(heading, f'<p class="say quiet">{state} {look.plain(says)}</p>')
        if st.button(here.act, key=f"go-{study.id}"):
            go(here.page, study.id)
