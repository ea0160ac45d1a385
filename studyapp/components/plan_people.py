"""Third part of a plan: who tastes, how often, and how many looks are allowed."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import streamlit as st

from studyapp.components import acts, look
from studyapp.components.plan_problems import beside
from studyapp.records import Plan, Problem, Staff
from studyapp.services import panel, pull_calendar
from studyapp.store import Store
from studyapp.words import _, ngettext


def draw(store: Store, by: Staff, plan: Plan, key: str, problems: Sequence[Problem]) -> Plan:
    """The plan with the people and numbers chosen here."""
    with st.container(key="card-people"):
        look.put(look.title(_("3. Who tastes, and how often"), 2))
        plan = replace(plan, assessors=chosen(store, by, plan.assessors, key))
        beside(problems, "assessors")
        plan = replace(plan, assessors=(*plan.assessors, *newcomer(store, by, key)))
        plan = _numbers(plan, key)
        beside(problems, "sittings", "replicates", "looks", "next_sittings", "alpha", "palate")
        look.put(look.quiet(_load(plan)))
    return plan


def chosen(store: Store, by: Staff, named: Sequence[str], key: str) -> tuple[str, ...]:
    """The assessors of a plan, chosen from the panel; `named` are those of before."""
    panel_ = panel.assessors(store, by)
    names = {one.id: one.pseudonym for one in panel_ if one.may_taste or one.id in named}
    picked = st.multiselect(
        _("Assessors"),
        list(names),
        [id_ for id_ in named if id_ in names],
        format_func=names.get,
        placeholder=_("Choose from the panel"),
        key=f"assessors-{key}-{len(names)}",
    )
    return tuple(picked)


def newcomer(store: Store, by: Staff, key: str) -> tuple[str, ...]:
    """Somebody who is not on the panel yet: the assessor just added, to taste in this study, or nobody."""
    with st.popover(_("Add somebody to the panel")):
        look.put(look.quiet(_("They taste in this study too. The record and the screens show the pseudonym alone.")))
        name = st.text_input(
            _("Pseudonym"), max_chars=40, key=f"newcomer-{key}-{len(panel.assessors(store, by))}"
        )  # empty for the next one
        if st.button(_("Add to the panel"), key=f"newcomer-add-{key}"):
            with acts.refusals():
                return (panel.add_assessor(store, by, name).id,)
    return ()


def _numbers(plan: Plan, key: str) -> Plan:
    def whole(label: str, value: int, most: int, name: str) -> int:
        return int(st.number_input(label, 1, most, value, 1, key=f"{name}-{key}"))

    left, right = st.columns(2)
    with left:
        sittings = whole(_("Sittings before the first look"), plan.sittings, 10, "sittings")
    with right:
        replicates = whole(_("Servings of each pull in a sitting"), plan.replicates, 4, "replicates")
    left, right = st.columns(2)
    with left:
        looks = whole(_("Looks allowed"), plan.looks, 4, "looks")
    with right:
        later = whole(_("Sittings before each later look"), plan.next_sittings, 10, "next") if looks > 1 else 1
    palate = int(
        st.number_input(
            _("Scored pieces a palate takes in a sitting, at most"), 3, 20, plan.palate, 1, key=f"palate-{key}"
        )
    )
    return replace(plan, sittings=sittings, looks=looks, replicates=replicates, next_sittings=later, palate=palate)


def _load(plan: Plan) -> str:
    """What a sitting asks of a person."""
    pieces = pull_calendar.pieces_a_sitting(plan)
    if not pieces:
        return _("How long a sitting takes shows here once the pulls are written.")
    pieces_said = ngettext("{n} scored piece", "{n} scored pieces", pieces).format(n=pieces)
    return _("{pieces} a sitting, about {minutes} minutes a person; {grams} g eaten.").format(
        pieces=pieces_said,
        minutes=pull_calendar.sitting_minutes(plan),
        grams=f"{(pieces + plan.warm_up) * plan.piece_g:g}",
    )
