"""Change one thing in an invented study, and read how the answer moves."""

from __future__ import annotations

import streamlit as st

from analysis.stopping import Decision
from studyapp.components import acts, look
from studyapp.kinds.hours.deciding import what_if
from studyapp.kinds.hours.findings import hours_finding
from studyapp.kinds.hours.plan import HoursStudy
from studyapp.records import Staff
from studyapp.store import Store
from studyapp.words import _


def draw(store: Store, by: Staff, study: HoursStudy, decision: Decision) -> None:
    """Two fields, and the verdict they would have given."""
    with st.container(key="card-what-if"):
        look.put(
            look.title(_("Change one thing"), 2),
            look.quiet(_("For invented studies only: in your own, margins are sealed before anybody tastes.")),
        )
        names = list(decision.attributes)
        start = names.index(decision.binding) if decision.binding in names else 0
        first, second, third = st.columns(3)
        name = first.selectbox(_("Attribute"), names, start, key="what-if-attribute")
        margin = second.number_input(
            _("Its margin"), 0.1, 10.0, decision.attributes[name].rule.margin, 0.1, format="%.1f", key=f"what-if-{name}"
        )
        people = third.number_input(
            _("Assessors"), what_if.FEWEST, len(study.plan.assessors), len(study.plan.assessors), key="what-if-people"
        )
        if margin != decision.attributes[name].rule.margin or people != len(study.plan.assessors):
            with acts.refusals():
                changed = what_if.what_if(store, by, study.id, {name: margin}, int(people))
                _answer(changed)


def _answer(changed: Decision) -> None:
    finding = hours_finding(changed)
    look.put(look.title(finding.headline, 3), look.text(finding.lede))
