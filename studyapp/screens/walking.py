"""The walk through the invented workshop, above each page of its one study."""

from __future__ import annotations

from typing import Any

import streamlit as st

from studyapp import session
from studyapp.components import acts, look, tour
from studyapp.records import Staff, Study
from studyapp.services import planning, preparing
from studyapp.words import _


def draw(page: str, by: Staff) -> None:
    """The step that this page is, when it shows the study of the walk."""
    store = session.store()
    study = tour.of(planning.studies(store, by))
    if study is None or page not in tour.STEPS or _shown(by) != study.id:
        return
    waits = study.state == "sealed" and any(one.state != "closed" for one in preparing.sittings(store, by, study.id))
    tour.strip(page, study, session.href, waits)
    if page == "watch" and waits:
        _rest(study)


def _shown(by: Staff) -> str | None:
    """The study that the address names, itself or by its sitting."""
    sitting = session.sitting_id()
    return preparing.sitting(session.store(), by, sitting).study if sitting else session.study_id()


def _rest(study: Study[Any]) -> None:
    """Nobody else comes to an invented sitting, so somebody must taste what is left."""
    with st.container(key="wash-rest-tastes"):
        look.put(look.text(_("The other seats are invented: let them taste, and the key can be opened.")))
        if st.button(_("Let the others taste"), key="others-taste"):
            import demo_panels

            with acts.refusals(), st.spinner(_("Eight invented people taste…")):
                demo_panels.taste_the_rest(session.store(), study.id)
                st.rerun()
