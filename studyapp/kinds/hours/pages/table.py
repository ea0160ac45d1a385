"""Fourth part of a plan: what lies on the table, and what assessors must know before they eat it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import streamlit as st

from studyapp.components import look
from studyapp.components.plan_problems import beside
from studyapp.components.plan_table import allergens, piece_and_rest, routine
from studyapp.kinds.hours.plan import HoursPlan
from studyapp.records import Problem
from studyapp.words import _


def draw(plan: HoursPlan, key: str, problems: Sequence[Problem]) -> HoursPlan:
    """The plan with what was typed here."""
    plan = _serving(plan, key)
    beside(problems, "piece_g", "rest_seconds")
    look.put(look.title(_("What assessors read before they taste"), 2, "small"))
    contains, traces = allergens(plan, key)
    beside(problems, "contains", "traces")
    look.put(look.caution(_caution(), _("Careful")))
    return replace(plan, contains=contains, traces=traces)


def _serving(plan: HoursPlan, key: str) -> HoursPlan:
    plan = piece_and_rest(plan, key, _("Rest between pieces, minutes"))
    warm_up = st.checkbox(_("Serve an unscored warm-up piece first"), plan.warm_up, key=f"warm-{key}")
    return replace(routine(plan, key), warm_up=warm_up)


def _caution() -> str:
    return _(
        "These two texts are all that stands between an assessor and an allergen; have a second person read them. "
        "A tasting shows nothing about allergens or hygiene: follow your local food code and the people licensed to "
        "judge."
    )
