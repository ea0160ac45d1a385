"""Decide an aroma study: read the verdict of its kind, see why, and sign it."""

from __future__ import annotations

import streamlit as st

from studyapp import session
from studyapp.components import drawn, look, signing
from studyapp.components.drawn import Once
from studyapp.kinds.aroma import deciding
from studyapp.kinds.aroma.deciding import SequentialStanding, Verdict
from studyapp.kinds.aroma.findings import told as aroma_pages
from studyapp.kinds.aroma.pages import verdict
from studyapp.kinds.aroma.plan import AromaStudy
from studyapp.records import Staff
from studyapp.services import planning, watching
from studyapp.words import _


def decide(by: Staff, study: AromaStudy) -> None:
    """The page of one opened aroma study."""
    store = session.store()
    with st.spinner(_("Working out the verdict…")):
        told = aroma_pages.told(store, by, study)
    verdict.head(told.finding, look.crumb(_("Studies"), study.plan.title, session.href("studies")))
    if told.ways:
        verdict.price(told.ways)
        if st.button(_("Plan a new study like this"), key="copy"):
            session.go("plan", study=planning.copy(store, by, study.id))
    _pictures(study, told.result, drawn.kept(deciding.moment(store, by, study.id), session.theme()))
    verdict.changes(told.finding)
    signing.departures(watching.deviations(store, by, study.id))
    signing.notes(watching.notes(store, by, study.id))
    verdict.numbers(told.finding)
    verdict.caution(told.finding)
    if signing.sign(store, by, study, over=True):
        session.go("plan", study=study.id)


def _pictures(study: AromaStudy, result: Verdict, once: Once) -> None:
    """The picture of a result, by what it is."""
    from analysis.choice import ChoiceResult, Ladder

    plan, theme = study.plan, session.theme()
    if isinstance(result, ChoiceResult):
        verdict.one_test(result, theme, once)
    elif isinstance(result, Ladder):
        verdict.rungs(result, plan.aim, theme, once)
    elif isinstance(result, SequentialStanding):
        verdict.early(result, theme, once)
    else:
        verdict.curve(result, plan.dose_unit, theme, once)
