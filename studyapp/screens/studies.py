"""Studies: what needs me, what comes later, what is closed; and the start of a new one."""

from __future__ import annotations

from typing import Any

import streamlit as st

from studyapp import registry, session
from studyapp.components import acts, look, study_list, tour
from studyapp.records import Staff, Study
from studyapp.services import closing, planning, preparing
from studyapp.words import _


def render() -> None:
    """Every study with the one step it asks for."""
    by, store = session.someone("leader"), session.store()
    studies = planning.studies(store, by)
    look.put(look.title(_("Studies")))
    if not studies:
        look.put(
            look.lede(_("Nothing is planned yet. A study asks one question about one recipe; give it a name to begin."))
        )
    listed = {study.id: (study, _step(by, study)) for study in studies}
    walked = tour.of(studies) if session.demo() else None
    if walked is not None:
        tour.draw(walked, session.href)
    _start()
    study_list.draw(listed, _kinds(), lambda study: _came_out(by, study), lambda page, of: session.go(page, study=of))
    with st.container(horizontal=True):
        for kind in registry.KINDS:
            for name, page in registry.pages(kind).own_pages().items():
                if st.button(page.act, key=name):
                    session.go(name)


def _step(by: Staff, study: Study[Any]) -> study_list.Step:
    """The one step a study asks for."""
    if study.state == "draft":
        return study_list.step(study, (), registry.findings(study.kind).draft_line(study.plan))
    return study_list.step(study, preparing.sittings(session.store(), by, study.id) if study.state == "sealed" else ())


def _came_out(by: Staff, study: Study[Any]) -> str:
    """What a signed study says, in one line; nothing of any other."""
    if study.state != "decided":
        return ""
    return registry.findings(study.kind).kept_line(study.plan, _kept(by, study))


def _kinds() -> dict[str, str]:
    """The question of each kind."""
    return {kind: registry.pages(kind).asks() for kind in registry.KINDS}


def _kept(by: Staff, study: Study[Any]) -> dict[str, Any]:
    """The verdict that was signed, empty before."""
    if study.state != "decided":
        return {}
    return closing.kept_verdict(session.store(), by, study.id, study.look) or {}


def _start() -> None:
    """The question and the name of a new study, and the button that begins its plan."""
    with st.container(key="card-new"), st.form("new-study", border=False):
        kinds = _kinds()
        kind = st.radio(_("The question"), list(kinds), format_func=kinds.get, horizontal=True, key="new-kind")
        left, right = st.columns([4, 1], vertical_alignment="bottom")
        hint = _("Dark 72 %, lot 14")
        name = left.text_input(_("Name of a new study"), max_chars=120, placeholder=hint, key="new-name")
        begun = right.form_submit_button(_("Plan a study"), type="primary", width="stretch")
    if begun:
        with acts.refusals():
            study = planning.new_study(session.store(), session.someone(), kind, name)
            session.go("plan", study=study)
