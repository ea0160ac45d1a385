"""Decide: read the verdict, see why, and sign it; or, when it cannot be told yet, plan the next sitting."""

from __future__ import annotations

from functools import partial

import streamlit as st

from studyapp import findings, session
from studyapp.components import chooser, drawn, look, signing, verdict, what_if
from studyapp.errors import NothingToDecide
from studyapp.findings import versions
from studyapp.records import AromaStudy, Staff, Study
from studyapp.screens import aroma_decide, sealing
from studyapp.services import deciding, watching
from studyapp.words import _


def render() -> None:
    """The page of one opened study."""
    by, store = session.someone("leader"), session.store()
    study = chooser.study(
        store,
        by,
        session.study_id(),
        ("opened", "decided"),
        _("Decide"),
        _("No key is open yet. Open one from Studies."),
    )
    if study is None:
        return
    if isinstance(study, AromaStudy):
        aroma_decide.draw(by, study)
        return
    try:
        _weighed(by, study)
    except NothingToDecide as refused:
        _unweighed(by, study, str(refused))


def _weighed(by: Staff, study: Study) -> None:
    """The verdict, why, and what comes next."""
    store = session.store()
    with st.spinner(_("Working out the verdict…")):
        shown = deciding.shown(store, by, study.id)
        decision = shown.decision
        offers = deciding.offers(store, by, study.id) if decision.verdict == "cannot tell" else ()
        beside = deciding.description(store, by, study.id) if shown.corrected is None else None
    costs = verdict.costs(study.plan)
    finding = findings.hours_finding(decision, offers, study.plan.title, costs, beside)
    verdict.head(finding, look.crumb(_("Studies"), study.plan.title, session.href("studies")))
    verdict.corrected_since(versions.said_otherwise(shown))
    if decision.verdict == "cannot tell":
        verdict.price(finding)
        if not offers:
            sealing.another(by, study.id)
        planned = signing.next_sitting(store, by, study, offers, finding.offers)
        if planned is not None:
            session.go("prepare", study=study.id, sitting=planned)
    once = drawn.kept(deciding.moment(store, by, study.id), session.theme())
    verdict.pictures(decision, finding, session.theme(), once)
    verdict.changes(finding)
    signing.departures(watching.deviations(store, by, study.id), versions.departures(shown))
    signing.notes(watching.notes(store, by, study.id))
    verdict.numbers(decision, finding, partial(deciding.cross_check, store, by, study.id))
    if study.example:
        what_if.draw(store, by, study, decision)
    if signing.sign(store, by, study, f"/print/report/{study.id}", over=not offers):
        session.go("plan", study=study.id)
    verdict.caution(finding)


def _unweighed(by: Staff, study: Study, why: str) -> None:
    """A sealed pull has no score at all: why, what departed from the plan, and the next sitting if one is left."""
    store = session.store()
    look.put(look.crumb(_("Studies"), study.plan.title, session.href("studies")), look.title(_("Cannot tell yet.")))
    look.put(look.lede(why))
    signing.departures(watching.deviations(store, by, study.id))
    if study.look < study.plan.looks and st.button(_("Plan the next sitting"), type="primary", key="next-unweighed"):
        planned = deciding.plan_next_sitting(store, by, study.id)[0]
        session.go("prepare", study=study.id, sitting=planned.id)
