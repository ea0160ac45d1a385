"""Which study a screen is about: the one in the address, or the one chosen here."""

from __future__ import annotations

from collections.abc import Collection
from typing import Any

import streamlit as st

from studyapp.components import look
from studyapp.records import Sitting, Staff, Study
from studyapp.services import evidence, planning, preparing
from studyapp.store import Store
from studyapp.words import _


def study(
    store: Store, by: Staff, wanted: str | None, states: Collection[str], heading: str, empty: str
) -> Study[Any] | None:
    """The wanted study if it is in one of `states`, else where it is; without one, a choice among those that fit."""
    if wanted is not None:
        found = planning.study(store, by, wanted)
        if found.state in states:
            return _marked(store, by, found)
        look.put(look.title(heading), look.lede(_elsewhere(found)))
        return None
    fitting = [one for one in planning.studies(store, by) if one.state in states]
    if not fitting:
        look.put(look.title(heading), look.lede(empty))
        return None
    names = [one.plan.title for one in fitting]
    chosen = st.selectbox(_("Study"), range(len(fitting)), format_func=names.__getitem__, key="which-study")
    return _marked(store, by, fitting[chosen])


def _marked(store: Store, by: Staff, found: Study[Any]) -> Study[Any]:
    """A study that was brought in says so on each of its pages."""
    for said in evidence.where_from(store, by, found):
        look.put(look.caution(said, _("Brought in")))
    return found


def _elsewhere(found: Study[Any]) -> str:
    """Why a study in the address is not shown here."""
    where = {
        "draft": _("{study} is still a draft. Go on from Studies."),
        "sealed": _("{study} is sealed and its key is closed. Go on from Studies."),
        "opened": _("The key of {study} is open. Read the verdict from Studies."),
        "decided": _("{study} is decided. Read the verdict from Studies."),
    }
    return where[found.state].format(study=found.plan.title)


def sitting(
    store: Store, by: Staff, study_id: str | None, wanted: str | None, heading: str, empty: str
) -> Sitting | None:
    """The wanted sitting, or a choice among those of the study in the address, or of all that are not closed."""
    listed = preparing.sittings(store, by, study_id)
    if not listed:
        look.put(look.title(heading), look.lede(empty))
        return None
    titles = {one.id: one.plan.title for one in planning.studies(store, by)} if study_id is None else {}
    names = [_sitting_name(one, titles.get(one.study)) for one in listed]
    running = [number for number, one in enumerate(listed) if one.state != "closed"]
    first = next((number for number, one in enumerate(listed) if one.id == wanted), running[0] if running else 0)
    if len(listed) == 1:
        return listed[0]
    chosen = st.selectbox(_("Sitting"), range(len(listed)), first, format_func=names.__getitem__, key="which-sitting")
    return listed[chosen]


def _sitting_name(one: Sitting, study_title: str | None) -> str:
    state = {"planned": _("planned"), "open": _("open"), "paused": _("paused"), "closed": _("closed")}[one.state]
    name = _("{label}, {state}").format(label=one.label, state=state)
    return f"{study_title}: {name}" if study_title else name
