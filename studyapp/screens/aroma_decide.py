"""Decide an aroma study: read the verdict of its kind, see why, and sign it."""

from __future__ import annotations

import streamlit as st

from studyapp import session
from studyapp.components import aroma_verdict, look, signing
from studyapp.findings import aroma
from studyapp.findings.aroma import AromaFinding
from studyapp.findings.aroma_plans import way_rows
from studyapp.records import AromaStudy, Staff
from studyapp.services import aroma_deciding, aroma_prospects, trials, watching
from studyapp.services.aroma_deciding import SequentialStanding, Verdict
from studyapp.words import _


def draw(by: Staff, study: AromaStudy) -> None:
    """The page of one opened aroma study."""
    store = session.store()
    with st.spinner(_("Working out the verdict…")):
        result = aroma_deciding.verdict(store, by, study.id)
        finding = _finding(study, result)
    aroma_verdict.head(finding, look.crumb(_("Studies"), study.plan.title, session.href("studies")))
    _pictures(study, result)
    aroma_verdict.changes(finding)
    signing.departures(watching.deviations(store, by, study.id))
    signing.notes(watching.notes(store, by, study.id))
    aroma_verdict.numbers(finding)
    aroma_verdict.caution(finding)
    if signing.sign(store, by, study, "", over=True, keep=aroma_deciding.sign):
        session.go("plan", study=study.id)


def _finding(study: AromaStudy, result: Verdict) -> AromaFinding:
    """The sentences of a result, by what it is."""
    from analysis.carry_over import Ladder
    from analysis.forced_choice import ChoiceResult

    plan = study.plan
    if isinstance(result, ChoiceResult):
        limit = trials.d_prime_of(result.method, result.pd_limit)
        return aroma.detectable_finding(plan, result, limit, trials.settling_people(result))
    if isinstance(result, Ladder):
        return aroma.ladder_of(plan, result)
    if isinstance(result, SequentialStanding):
        return aroma.sequential_finding(plan, result.plan, result.standing, result.trials, result.correct)
    return aroma.dose_finding(plan, result, *trials.threshold_checks(result))


def _pictures(study: AromaStudy, result: Verdict) -> None:
    """The picture of a result; after "cannot tell" the price of an answer stands above it."""
    from analysis.carry_over import Ladder
    from analysis.forced_choice import ChoiceResult

    plan, theme = study.plan, session.theme()
    if isinstance(result, ChoiceResult):
        if not (result.different or result.similar.similar):
            aroma_verdict.price(way_rows(plan, aroma_prospects.ways(plan, result)))
        aroma_verdict.one_test(result, theme)
    elif isinstance(result, Ladder):
        aroma_verdict.rungs(result, plan.aim, theme)
    elif isinstance(result, SequentialStanding):
        aroma_verdict.early(result.plan, result.path, theme)
    else:
        aroma_verdict.curve(result, plan.dose_unit, theme)
