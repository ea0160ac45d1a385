"""Which study or sitting a screen is about: the one in the address, or the one chosen here."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Sequence
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
    """The sitting in the address, whatever happens elsewhere; without one, the only one that can be meant, or a list.

    Who gets a sitting puts it into the address, so that nothing but a hand ever turns the page to another.
    """
    if wanted is not None:
        return preparing.sitting(store, by, wanted)
    listed = preparing.sittings(store, by, study_id)
    if not listed:
        look.put(look.title(heading), look.lede(empty))
        return None
    meant = _meant(listed, of_one_study=study_id is not None)
    if meant is None:
        look.put(look.title(heading), look.lede(_("Which sitting? The page then stays on it.")))
        others(store, by, listed)
    return meant


def _meant(listed: Sequence[Sitting], *, of_one_study: bool) -> Sitting | None:
    """Within a study the sittings follow each other; among several studies nobody guesses."""
    running = [one for one in listed if one.state in ("open", "paused")]
    if of_one_study:
        return next((one for one in (*running, *listed) if one.state != "closed"), listed[-1])
    fitting = running or listed
    return fitting[0] if len(fitting) == 1 else None


def others(store: Store, by: Staff, listed: Iterable[Sitting], but: str = "") -> None:
    """A link a sitting: its study, its name and its state."""
    titles = {one.id: one.plan.title for one in planning.studies(store, by)}
    lines = [
        look.row(look.linked(f"{titles[one.study]}, {one.label}", f"?sitting={one.id}"), look.plain(state(one)))
        for one in listed
        if one.id != but
    ]
    if lines:
        look.put(look.title(_("Other sittings"), 2) if but else "", look.rows(lines))


def state(one: Sitting) -> str:
    """The state of a sitting as a word."""
    return {"planned": _("planned"), "open": _("open"), "paused": _("paused"), "closed": _("closed")}[one.state]
