"""The plan of a comparison on the screen: its four parts, kept as they are typed."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import streamlit as st

from studyapp import session
from studyapp.components import look, plan_people, plan_table
from studyapp.components.plan_problems import beside
from studyapp.components.plan_slips import Slips
from studyapp.components.plan_steps import Steps, keep
from studyapp.kinds.comparison import rule
from studyapp.kinds.comparison.pages import alike, claims, makes, steps
from studyapp.kinds.comparison.plan import ComparisonPlan, ComparisonStudy
from studyapp.kinds.comparison.rule import pieces_a_sitting
from studyapp.records import MINUTES_A_PIECE, Problem, Staff
from studyapp.services import unread
from studyapp.words import _, ngettext


def fields(by: Staff, study: ComparisonStudy) -> tuple[ComparisonPlan, Sequence[Problem]]:
    """The five steps of the plan; whatever was typed is kept at once."""
    store, key, plan = session.store(), study.id, study.plan
    slips = Slips(unread.texts(store, by, key))
    done = Steps(key, steps.of(plan), rule.problems(plan), steps.empty(plan), slips.places, session)
    with done.draw():
        plan = makes.draw(plan, key, done.shown, slips)
    with done.draw():
        plan = claims.draw(plan, key, done.shown)
    with done.draw():
        plan = alike.draw(plan, key, done.shown, slips)
    with done.draw():
        plan = _people(by, plan, key, done.shown)
    with done.draw():
        plan = _table(plan, key, done.shown)
    keep(store, by, study, plan, rule.problems(plan), slips, done)
    return plan, slips.problems


def _people(by: Staff, plan: ComparisonPlan, key: str, shown: tuple[Problem, ...]) -> ComparisonPlan:
    store = session.store()
    plan = replace(plan, assessors=plan_people.chosen(store, by, plan.assessors, key))
    beside(shown, "assessors")
    plan = replace(plan, assessors=(*plan.assessors, *plan_people.newcomer(store, by, key)))
    plan = _numbers(plan, key)
    beside(shown, "sittings", "replicates", "looks", "next_sittings", "alpha", "palate")
    look.put(look.quiet(_load(plan)))
    return plan


def _numbers(plan: ComparisonPlan, key: str) -> ComparisonPlan:
    def whole(label: str, value: int, most: int, name: str) -> int:
        return int(st.number_input(label, 1, most, value, 1, key=f"{name}-{key}"))

    left, right = st.columns(2)
    with left:
        sittings = whole(_("Sittings before the key is first opened"), plan.sittings, 12, "sittings")
        looks = whole(_("How often the key may be opened"), plan.looks, 4, "looks")
    with right:
        replicates = whole(
            _("Servings of each piece in a sitting, under codes of their own"), plan.replicates, 4, "each"
        )
        palate = whole(_("Scored pieces a person takes in a sitting, at most"), plan.palate, 20, "palate")
    return replace(plan, sittings=sittings, looks=looks, replicates=replicates, palate=palate)


def _load(plan: ComparisonPlan) -> str:
    pieces = pieces_a_sitting(plan)
    said = ngettext("{n} scored piece", "{n} scored pieces", pieces).format(n=pieces)
    minutes = round((pieces + plan.warm_up) * (MINUTES_A_PIECE + plan.rest_seconds / 60))
    return _("{pieces} a sitting, about {minutes} minutes a person; {grams} g eaten.").format(
        pieces=said, minutes=minutes, grams=f"{(pieces + plan.warm_up) * plan.piece_g:g}"
    )


def _table(plan: ComparisonPlan, key: str, shown: tuple[Problem, ...]) -> ComparisonPlan:
    plan = plan_table.piece_and_rest(plan, key, _("Rest between pieces, minutes"))
    warm_up = st.checkbox(_("Serve A first to all, not scored, as a warm-up"), plan.warm_up, key=f"warm-{key}")
    plan = replace(plan_table.routine(plan, key), warm_up=warm_up)
    beside(shown, "piece_g", "rest_seconds")
    look.put(look.title(_("What assessors read before they taste"), 2, "small"))
    contains, traces = plan_table.allergens(plan, key)
    beside(shown, "contains", "traces")
    look.put(look.caution(_caution(), _("Careful")))
    return replace(plan, contains=contains, traces=traces)


def _caution() -> str:
    return _(
        "These two texts hold for every make: name what is in any of them. They are all that stands between an "
        "assessor and an allergen; have a second person read them."
    )
