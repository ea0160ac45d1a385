"""The verdict on conching hours: read it, see why, and sign it; or plan the next sitting when it cannot be told."""

from __future__ import annotations

from collections.abc import Sequence
from functools import partial

import streamlit as st

from analysis.planning import Offer
from studyapp import session
from studyapp.components import drawn, look, signing
from studyapp.errors import NothingToDecide
from studyapp.kinds.hours import deciding
from studyapp.kinds.hours.findings import OfferRow, costs, hours_finding, versions
from studyapp.kinds.hours.findings.pull_life import pull_departures
from studyapp.kinds.hours.pages import pulls, verdict, what_if
from studyapp.kinds.hours.plan import HoursStudy
from studyapp.kinds.hours.setting_out.pulls import pulls_of
from studyapp.records import Staff
from studyapp.services import planning, watching
from studyapp.store import Store
from studyapp.words import _


def decide(by: Staff, study: HoursStudy) -> None:
    """The page of one opened study."""
    try:
        _weighed(by, study)
    except NothingToDecide as refused:
        _unweighed(by, study, str(refused))


def _weighed(by: Staff, study: HoursStudy) -> None:
    """The verdict, why, and what comes next."""
    store = session.store()
    with st.spinner(_("Working out the verdict…")):
        shown = deciding.shown(store, by, study.id)
        decision = shown.decision
        offers = deciding.offers(store, by, study.id) if decision.verdict == "cannot tell" else ()
        beside = deciding.description(store, by, study.id) if shown.corrected is None else None
    finding = hours_finding(decision, offers, study.plan.title, costs(study.plan), beside)
    verdict.head(finding, look.crumb(_("Studies"), study.plan.title, session.href("studies")))
    verdict.corrected_since(versions.said_otherwise(shown))
    taken = pulls_of(store, by, study.id)
    pulls.warn_late(taken)
    if decision.verdict == "cannot tell":
        verdict.price(decision, finding)
        if not offers:
            _another(by, study.id)
        planned = _next_sitting(store, by, study, offers, finding.offers)
        if planned is not None:
            session.go("prepare", study=study.id, sitting=planned)
    once = drawn.kept(deciding.moment(store, by, study.id), session.theme())
    verdict.pictures(decision, finding, session.theme(), once)
    verdict.changes(finding)
    of_rule = (*versions.departures(shown), *pull_departures(taken))
    signing.departures(watching.deviations(store, by, study.id), of_rule)
    signing.notes(watching.notes(store, by, study.id))
    verdict.numbers(decision, finding, partial(deciding.cross_check, store, by, study.id))
    if study.example:
        what_if.draw(store, by, study, decision)
    if signing.sign(store, by, study, over=not offers):
        session.go("plan", study=study.id)
    verdict.caution(finding)


def _unweighed(by: Staff, study: HoursStudy, why: str) -> None:
    """A sealed pull has no score at all: why, what departed from the plan, and the next sitting if one is left."""
    store = session.store()
    look.put(look.crumb(_("Studies"), study.plan.title, session.href("studies")), look.title(_("Cannot tell yet.")))
    look.put(look.lede(why))
    signing.departures(watching.deviations(store, by, study.id))
    if study.look < study.plan.looks and st.button(_("Plan the next sitting"), type="primary", key="next-unweighed"):
        planned = deciding.plan_next_sitting(store, by, study.id)[0]
        session.go("prepare", study=study.id, sitting=planned.id)


def _another(by: Staff, study_id: str) -> None:
    """To a new draft of the same plan: a question that is asked again gets a seal of its own."""
    if st.button(_("Plan another like it"), key="copy"):
        session.go("plan", study=planning.copy(session.store(), by, study_id))


def _next_sitting(
    store: Store, by: Staff, study: HoursStudy, offers: Sequence[Offer], rows: Sequence[OfferRow]
) -> str | None:
    """Choose what the next look rests on; the id of the new sitting once it is planned."""
    if not offers:
        return None
    chosen = st.radio(
        _("Next sitting"),
        [number for number, offer in enumerate(offers) if offer.looks == 1],
        format_func=lambda number: rows[number].what,
        key="next-offer",
    )
    if not st.button(_("Plan the next sitting"), type="primary", key="next-sitting"):
        return None
    offer = offers[chosen]
    pulls = offer.pulls if offer.name == "open pulls" else None
    return deciding.plan_next_sitting(store, by, study.id, pulls)[0].id
