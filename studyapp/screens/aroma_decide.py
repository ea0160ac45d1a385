"""Decide an aroma study: read the verdict of its kind, see why, and sign it."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import streamlit as st

from studyapp import session
from studyapp.components import aroma_verdict, look, signing
from studyapp.findings import aroma
from studyapp.findings.aroma import AromaFinding
from studyapp.findings.aroma_plans import way_rows
from studyapp.records import AromaStudy, Staff
from studyapp.services import aroma_deciding, aroma_prospects, planning, trials, watching
from studyapp.services.aroma_deciding import SequentialStanding, Verdict
from studyapp.words import _

if TYPE_CHECKING:
    from analysis.forced_choice import ChoiceResult


def draw(by: Staff, study: AromaStudy) -> None:
    """The page of one opened aroma study."""
    store = session.store()
    with st.spinner(_("Working out the verdict…")):
        result = aroma_deciding.verdict(store, by, study.id)
        finding = _with_guesses(by, study, _finding(study, result))
    aroma_verdict.head(finding, look.crumb(_("Studies"), study.plan.title, session.href("studies")))
    if _ways(study, result) and st.button(_("Plan a new study like this"), key="copy"):
        session.go("plan", study=planning.copy_study(store, by, study.id))
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


def _with_guesses(by: Staff, study: AromaStudy, finding: AromaFinding) -> AromaFinding:
    """The numbers with how many answers were called a guess, and how those fared; the verdict counts them all."""
    kept = aroma_deciding.answers(session.store(), by, study.id)
    guessed = kept[kept["guess"].astype(bool)]
    fact = aroma.guesses(len(guessed), int(guessed["correct"].sum()))
    return replace(finding, numbers=(*finding.numbers, fact))


def _ways(study: AromaStudy, result: Verdict) -> bool:
    """After "cannot tell" what an answer would cost; True when there is something to plan."""
    open_ = _still_open(result)
    if open_ is None:
        return False
    aroma_verdict.price(way_rows(study.plan, aroma_prospects.ways(study.plan, open_)))
    return True


def _still_open(result: Verdict) -> ChoiceResult | None:
    """The one test that says neither: that of the study, or the last rung that was neither found nor gone."""
    from analysis.carry_over import Ladder
    from analysis.forced_choice import ChoiceResult

    tests = [result] if isinstance(result, ChoiceResult) else []
    if isinstance(result, Ladder) and result.clean_from_all_tasted is None:
        tests = [result.rungs[-1].result]
    return next((test for test in tests if not (test.different or test.similar.similar)), None)


def _pictures(study: AromaStudy, result: Verdict) -> None:
    """The picture of a result, by what it is."""
    from analysis.carry_over import Ladder
    from analysis.forced_choice import ChoiceResult

    plan, theme = study.plan, session.theme()
    if isinstance(result, ChoiceResult):
        aroma_verdict.one_test(result, theme)
    elif isinstance(result, Ladder):
        aroma_verdict.rungs(result, plan.aim, theme)
    elif isinstance(result, SequentialStanding):
        aroma_verdict.early(result.plan, result.path, theme)
    else:
        aroma_verdict.curve(result, plan.dose_unit, theme)
