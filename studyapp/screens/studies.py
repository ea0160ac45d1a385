"""Studies: what needs me, what comes later, what is closed; and the start of a new one."""

from __future__ import annotations

import streamlit as st

from studyapp import session
from studyapp.components import acts, look, study_list
from studyapp.services import planning, preparing
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
    listed = []
    for study in studies:
        sittings = preparing.sittings(store, by, study.id) if study.state == "sealed" else ()
        listed.append((study, study_list.step(study, sittings)))
    _start()
    study_list.draw(listed, lambda page, study: session.go(page, study=study))
    if st.button(_("Bring scores I have"), key="bring"):
        session.go("bring")


def _start() -> None:
    """The name of a new study, and the button that begins its plan."""
    with st.container(key="card-new"), st.form("new-study", border=False):
        left, right = st.columns([4, 1], vertical_alignment="bottom")
        hint = _("Dark 72 %, lot 14")
        name = left.text_input(_("Name of a new study"), max_chars=120, placeholder=hint, key="new-name")
        begun = right.form_submit_button(_("Plan a study"), type="primary", width="stretch")
    if begun:
        with acts.refusals():
            study = planning.new_study(session.store(), session.someone(), name)
            session.go("plan", study=study)
