"""The verdict on conching hours: read it, see why, and sign it; or plan the next sitting when it cannot be told."""

from __future__ import annotations

from dataclasses import replace
from functools import partial

import streamlit as st

from analysis.stopping import Decision
from studyapp import session
from studyapp.components import acts, drawn, look, refined, signing
from studyapp.components import ways as component
from studyapp.errors import NothingToDecide
from studyapp.kinds.hours import deciding
from studyapp.kinds.hours.deciding import book, ways
from studyapp.kinds.hours.deciding.ways import Way, Ways
from studyapp.kinds.hours.files import exported
from studyapp.kinds.hours.findings import costs, hours_finding, versions
from studyapp.kinds.hours.findings.missing import no_price
from studyapp.kinds.hours.findings.offers import how_rough, none_left
from studyapp.kinds.hours.findings.pull_life import pull_departures
from studyapp.kinds.hours.findings.ways import nothing_helps, way_lines
from studyapp.kinds.hours.findings.ways import what as way_what
from studyapp.kinds.hours.pages import pulls, verdict, what_if
from studyapp.kinds.hours.plan import HoursStudy
from studyapp.kinds.hours.setting_out.pulls import by_batch
from studyapp.records import Staff
from studyapp.services import planning, watching
from studyapp.words import _, language


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
    taken = by_batch(store, by, study.id)
    pulls.warn_late(taken)
    if decision.verdict == "cannot tell":
        _ways(by, study, decision)
        if decision.batches is not None and not offers and study.look < study.plan.looks:
            _next_sitting(by, study)
    once = drawn.kept(deciding.moment(store, by, study.id), session.theme())
    verdict.pictures(decision, finding, session.theme(), once)
    verdict.batches(decision)
    verdict.changes(finding)
    of_rule = (*versions.departures(shown), *pull_departures(*taken))
    signing.departures(watching.deviations(store, by, study.id), of_rule)
    signing.notes(watching.notes(store, by, study.id))
    verdict.numbers(decision, finding, partial(deciding.cross_check, store, by, study.id))
    _files(by, study)
    if study.example:
        what_if.draw(store, by, study, decision)
    known = study.state == "decided" and decision.hours is not None
    if known and st.button(_("Confirm in the next batch"), key="confirm"):
        with acts.refusals():
            session.go("plan", study=book.confirm(store, by, study.id))
    if signing.sign(store, by, study, over=not offers):
        session.go("plan", study=study.id)
    verdict.caution(finding)


def _files(by: Staff, study: HoursStudy) -> None:
    """Scores, readings and rule to take along."""
    found = deciding.files(session.store(), by, study.id)
    with st.expander(_("Take out as files")):
        extra = f" --readings {exported.READINGS}" if exported.READINGS in found else ""
        look.put(look.quiet(_("The command gives the same verdict on them:")))
        st.code(f"studyapp decide {exported.SCORES} --rule {exported.RULE}{extra}", language=None)
        for name, text in found.items():
            kind = "text/csv" if name.endswith(".csv") else "application/toml"
            st.download_button(name, text, name, kind, key=f"file-{name}", on_click="ignore")


def _unweighed(by: Staff, study: HoursStudy, why: str) -> None:
    """A sealed pull has no score at all: why, what departed from the plan, and the next sitting if one is left."""
    store = session.store()
    look.put(look.crumb(_("Studies"), study.plan.title, session.href("studies")), look.title(_("Cannot tell yet.")))
    look.put(look.lede(why))
    signing.departures(watching.deviations(store, by, study.id))
    if study.look < study.plan.looks:
        _next_sitting(by, study)


def _next_sitting(by: Staff, study: HoursStudy) -> None:
    """The way on where no list of ways offers one."""
    if st.button(_("Plan the next sitting"), type="primary", key="next-unweighed"):
        planned = deciding.plan_next_sitting(session.store(), by, study.id)[0]
        session.go("prepare", study=study.id, sitting=planned.id)


def _ways(by: Staff, study: HoursStudy, decision: Decision) -> None:
    """Ways to an answer, as they are worked out; nothing where more scores do not help."""
    store = session.store()
    if no_price(decision):
        verdict.no_way(no_price(decision))
        return
    question = (deciding.moment(store, by, study.id).rests_on, language())
    work = session.refined(f"ways-{study.id}", question, lambda: ways.searching(store, by, study.id))
    refined.draw(work, lambda found: _listed(study, decision, found))


def _listed(study: HoursStudy, decision: Decision, found: Ways) -> None:
    """The ways found so far; one press goes on with the study, or makes a draft of a new one."""

    def taken(number: int) -> None:
        with acts.refusals():
            _take(study, found.found[number])

    ready = len(found.found)
    waiting = "" if ready == found.of else _("Trying {n} plans, 2,000 times each: {ready} done")
    lines = way_lines(found.found, study.plan, decision, not waiting)
    look.put(look.title(_("Ways to an answer"), 2), look.quiet(how_rough()))
    if not lines and not waiting:
        verdict.no_way(none_left())
        return
    nothing = "" if waiting else nothing_helps(found.found, study.plan, decision)
    if nothing:
        look.put(look.box("copper", "", look.text(nothing)))
    component.draw(lines, taken, waiting.format(n=found.of, ready=ready), ready / max(found.of, 1))
    component.below()


def _take(study: HoursStudy, way: Way) -> None:
    by, store = session.someone("leader"), session.store()
    if way.plan is not None:
        changed = replace(way.plan, title=study.plan.title)
        session.go("plan", study=planning.copy(store, by, study.id, changed, _inside(way_what(way, study.plan))))
    pulls = way.offer.pulls if way.offer.name == "open pulls" else None
    session.go("prepare", study=study.id, sitting=deciding.plan_next_sitting(store, by, study.id, pulls)[0].id)


def _inside(words: str) -> str:
    """Words as they stand within a name."""
    return words[:1].lower() + words[1:]
