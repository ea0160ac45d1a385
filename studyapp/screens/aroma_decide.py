"""Decide an aroma study: read the verdict of its kind, see why, and sign it."""

from __future__ import annotations

import streamlit as st

from studyapp import session
from studyapp.components import aroma_verdict, look, signing
from studyapp.findings.aroma_pages import still_open, verdict_finding, with_guesses
from studyapp.findings.aroma_plans import way_rows
from studyapp.records import AromaStudy, Staff
from studyapp.services import aroma_deciding, aroma_prospects, drafts, watching
from studyapp.services.aroma_deciding import SequentialStanding, Verdict
from studyapp.words import _


def draw(by: Staff, study: AromaStudy) -> None:
    """The page of one opened aroma study."""
    store = session.store()
    with st.spinner(_("Working out the verdict…")):
        result = aroma_deciding.verdict(store, by, study.id)
        finding = with_guesses(verdict_finding(study.plan, result), aroma_deciding.answers(store, by, study.id))
    aroma_verdict.head(finding, look.crumb(_("Studies"), study.plan.title, session.href("studies")))
    if _ways(study, result) and st.button(_("Plan a new study like this"), key="copy"):
        session.go("plan", study=drafts.copy(store, by, study.id))
    _pictures(study, result)
    aroma_verdict.changes(finding)
    signing.departures(watching.deviations(store, by, study.id))
    signing.notes(watching.notes(store, by, study.id))
    aroma_verdict.numbers(finding)
    aroma_verdict.caution(finding)
    if signing.sign(store, by, study, f"/print/report/{study.id}", over=True, keep=aroma_deciding.sign):
        session.go("plan", study=study.id)


def _ways(study: AromaStudy, result: Verdict) -> bool:
    """After "cannot tell" what an answer would cost; True when there is something to plan."""
    open_ = still_open(result)
    if open_ is None:
        return False
    aroma_verdict.price(way_rows(study.plan, aroma_prospects.ways(study.plan, open_)))
    return True


def _pictures(study: AromaStudy, result: Verdict) -> None:
    """The picture of a result, by what it is."""
    from analysis.choice import ChoiceResult, Ladder

    plan, theme = study.plan, session.theme()
    if isinstance(result, ChoiceResult):
        aroma_verdict.one_test(result, theme)
    elif isinstance(result, Ladder):
        aroma_verdict.rungs(result, plan.aim, theme)
    elif isinstance(result, SequentialStanding):
        aroma_verdict.early(result.plan, result.path, theme)
    else:
        aroma_verdict.curve(result, plan.dose_unit, theme)
