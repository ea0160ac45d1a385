"""Third part of an aroma plan: who tastes, what they read before, and what lies on the table."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import streamlit as st

from studyapp.components import look, plan_people, plan_table
from studyapp.components.plan_problems import beside
from studyapp.kinds.aroma.findings.plans import load
from studyapp.kinds.aroma.plan import AromaPlan
from studyapp.records import Problem, Staff
from studyapp.store import Store
from studyapp.words import _


def draw(store: Store, by: Staff, plan: AromaPlan, key: str, problems: Sequence[Problem]) -> AromaPlan:
    """The plan with what was chosen here."""
    plan = replace(plan, assessors=plan_people.chosen(store, by, plan.assessors, key))
    beside(problems, "assessors")
    plan = replace(plan, assessors=(*plan.assessors, *plan_people.newcomer(store, by, key)))
    plan = _told(plan, key)
    beside(problems, "contains", "traces", "safe_food_by")
    look.put(look.caution(_caution(), _("Careful")))
    plan = _serving(plan, key)
    beside(problems, "piece_g", "rest_seconds", "sittings", "most_g_a_day")
    look.put(look.quiet(load(plan)))
    return plan


def _told(plan: AromaPlan, key: str) -> AromaPlan:
    contains, traces = plan_table.allergens(plan, key)
    cleared = st.text_input(_("Cleared as food by, name"), plan.safe_food_by, max_chars=80, key=f"cleared-{key}")
    return replace(plan, contains=contains, traces=traces, safe_food_by=cleared)


def _caution() -> str:
    return _(
        "Everybody reads the plant and these texts before the first piece; have a second person check them. A tasting "
        "shows nothing about allergens, residues or permitted doses: follow your local food code and the people "
        "licensed to judge."
    )


def _serving(plan: AromaPlan, key: str) -> AromaPlan:
    rest = _("Rest between pieces and sets, minutes") if plan.longest_wait else _("Rest between sets, minutes")
    plan = plan_table.piece_and_rest(plan, key, rest)
    asked = _("Most grams of one person in a day, where there is a limit")
    most = st.number_input(asked, 0.0, 1000.0, plan.most_g_a_day, 1.0, format="%.0f", key=f"most-{key}")
    return plan_table.routine(replace(plan, most_g_a_day=most or None), key)
