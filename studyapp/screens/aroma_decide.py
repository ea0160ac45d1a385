"""Decide an aroma study: read the verdict of its kind, see why, and sign it."""

from __future__ import annotations

import streamlit as st

from studyapp import session
from studyapp.components import aroma_verdict, drawn, look, signing
from studyapp.components.drawn import Once
from studyapp.findings import aroma_pages
from studyapp.records import AromaStudy, Staff
from studyapp.services import aroma_deciding, drafts, watching
from studyapp.services.aroma_deciding import SequentialStanding, Verdict
from studyapp.words import _


def draw(by: Staff, study: AromaStudy) -> None:
    """The page of one opened aroma study."""
    store = session.store()
    with st.spinner(_("Working out the verdict…")):
        told = aroma_pages.told(store, by, study)
    aroma_verdict.head(told.finding, look.crumb(_("Studies"), study.plan.title, session.href("studies")))
    if told.ways:
        aroma_verdict.price(told.ways)
        if st.button(_("Plan a new study like this"), key="copy"):
            session.go("plan", study=drafts.copy(store, by, study.id))
    _pictures(study, told.result, drawn.kept(aroma_deciding.moment(store, by, study.id), session.theme()))
    aroma_verdict.changes(told.finding)
    signing.departures(watching.deviations(store, by, study.id))
    signing.notes(watching.notes(store, by, study.id))
    aroma_verdict.numbers(told.finding)
    aroma_verdict.caution(told.finding)
    if signing.sign(store, by, study, f"/print/report/{study.id}", over=True, keep=aroma_deciding.sign):
        session.go("plan", study=study.id)


def _pictures(study: AromaStudy, result: Verdict, once: Once) -> None:
    """The picture of a result, by what it is."""
    from analysis.choice import ChoiceResult, Ladder

    plan, theme = study.plan, session.theme()
    if isinstance(result, ChoiceResult):
        aroma_verdict.one_test(result, theme, once)
    elif isinstance(result, Ladder):
        aroma_verdict.rungs(result, plan.aim, theme, once)
    elif isinstance(result, SequentialStanding):
        aroma_verdict.early(result.plan, result.path, theme, once)
    else:
        aroma_verdict.curve(result, plan.dose_unit, theme, once)
