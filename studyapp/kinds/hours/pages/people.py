"""Third part of a plan: who tastes, how often, and how many looks are allowed."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import streamlit as st

from studyapp.components import look
from studyapp.components.plan_people import chosen, newcomer
from studyapp.components.plan_problems import beside
from studyapp.kinds.hours.pages import claim
from studyapp.kinds.hours.plan import HoursPlan
from studyapp.kinds.hours.rule import run_calendar
from studyapp.records import Problem, Staff
from studyapp.store import Store
from studyapp.words import _, ngettext


def draw(store: Store, by: Staff, plan: HoursPlan, key: str, problems: Sequence[Problem]) -> HoursPlan:
    """The plan with the people and numbers chosen here."""
    plan = replace(plan, assessors=chosen(store, by, plan.assessors, key))
    beside(problems, "assessors")
    plan = replace(plan, assessors=(*plan.assessors, *newcomer(store, by, key)))
    plan = _numbers(plan, key)
    beside(problems, "sittings", "replicates", "looks", "next_sittings", "alpha", "palate")
    look.put(look.quiet(_load(plan)))
    return plan


def _numbers(plan: HoursPlan, key: str) -> HoursPlan:
    def whole(label: str, value: int, most: int, name: str) -> int:
        return int(st.number_input(label, 1, most, value, 1, key=f"{name}-{key}"))

    left, right = st.columns(2)
    with left:
        sittings = whole(_("Sittings before the key is first opened"), plan.sittings, 10, "sittings")
    with right:
        replicates = whole(_("Servings of each pull in a sitting"), plan.replicates, 4, "replicates")
    left, right = st.columns(2)
    with left:
        looks = whole(_("How often the key may be opened"), plan.looks, 4, "looks")
    with right:
        later = whole(_("Sittings before each later opening"), plan.next_sittings, 10, "next") if looks > 1 else 1
    palate = int(
        st.number_input(
            _("Scored pieces for one person in a sitting, at most"), 3, 20, plan.palate, 1, key=f"palate-{key}"
        )
    )
    plan = replace(plan, sittings=sittings, looks=looks, replicates=replicates, next_sittings=later, palate=palate)
    return claim.served(plan, key)


def _load(plan: HoursPlan) -> str:
    """What a sitting asks of a person."""
    pieces = run_calendar.pieces_a_sitting(plan)
    if not pieces:
        return _("How long a sitting takes shows here once the pulls are written.")
    pieces_said = ngettext("{n} scored piece", "{n} scored pieces", pieces).format(n=pieces)
    return _("{pieces} a sitting, about {minutes} minutes a person; {grams} g eaten.").format(
        pieces=pieces_said,
        minutes=run_calendar.sitting_minutes(plan),
        grams=f"{(pieces + plan.warm_up) * plan.piece_g:g}",
    )
