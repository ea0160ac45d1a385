"""First part of an aroma plan: what shall be decided, asked in plain words, and the test that fits."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import get_args

import streamlit as st

from studyapp.components import acts, look
from studyapp.components.plan_problems import beside
from studyapp.kinds.aroma import rule
from studyapp.kinds.aroma.findings.plans import aim_name, chance_table
from studyapp.kinds.aroma.pages import control
from studyapp.kinds.aroma.plan import PROPOSED_SECONDS, AromaAim, AromaPlan
from studyapp.kinds.aroma.rule import proposal as aroma_planning
from studyapp.kinds.aroma.rule.proposal import Proposal
from studyapp.methods import METHODS
from studyapp.methods import proposal as proposed
from studyapp.records import Problem
from studyapp.words import _


def draw(plan: AromaPlan, key: str, problems: Sequence[Problem]) -> AromaPlan:
    """The plan with what was typed here."""
    title = st.text_input(_("Name of the study"), plan.title, max_chars=120, key=f"title-{key}") or plan.title
    plan = _asked(replace(plan, title=title), _aim(plan, key))
    plan = replace(
        plan,
        question=st.text_area(
            _("What shall this study decide?"), plan.question, key=f"question-{key}", placeholder=aim_name(plan.aim)
        ),
    )
    beside(problems, "question")
    return _named(plan, key, problems)


def _aim(plan: AromaPlan, key: str) -> AromaAim:
    aims = list(get_args(AromaAim))
    chosen: AromaAim = st.radio(
        _("What do you want to know?"), aims, aims.index(plan.aim), format_func=aim_name, key=f"aim-{key}"
    )
    return chosen


def _asked(plan: AromaPlan, aim: AromaAim) -> AromaPlan:
    """The plan with its aim; seconds are no batches, so they come with their question and go with it."""
    if aim == plan.aim or "aftertaste" not in (aim, plan.aim):
        return replace(plan, aim=aim)
    return replace(plan, aim=aim, batches=PROPOSED_SECONDS if aim == "aftertaste" else ())


def _named(plan: AromaPlan, key: str, problems: Sequence[Problem]) -> AromaPlan:
    words = {True: _("Yes, it has a name, such as mint or smoke"), False: _("No, it is only somehow different")}
    nameable = st.radio(
        _("Can the taste be named?"),
        list(words),
        0 if plan.nameable else 1,
        format_func=words.get,
        key=f"nameable-{key}",
    )
    look.put(look.quiet(_("If it can, name it: what is asked for by name is found with far fewer cups.")))
    note = plan.note
    if nameable:
        note = st.text_input(
            _("The taste, as assessors are asked for it"),
            plan.note,
            max_chars=40,
            key=f"note-{key}",
            placeholder=_("mint"),
        )
        beside(problems, "note")
    return replace(plan, nameable=nameable, note=note)


# ---- the test ----------------------------------------------------------------------------------------------------
def proposal(plan: AromaPlan, key: str) -> Proposal | None:
    """The test that fits what was said; given back when it is taken over."""
    stays = {False: _("It clears within minutes"), True: _("It stays in the mouth")}
    lingers = st.radio(
        _("How long does the taste stay?"),
        list(stays),
        1 if plan.sets_a_sitting == 1 else 0,
        format_func=stays.get,
        key=f"lingers-{key}",
    )
    if not plan.assessors:
        look.put(look.quiet(_("The test is proposed once you have said who tastes.")))
        return None
    with acts.refusals():
        found = aroma_planning.propose(
            plan.nameable, lingers, len(plan.assessors), plan.pd_limit, plan.aim, len(rule.levels(plan))
        )
        look.put(look.text(METHODS[found.method].title(), "strong"), look.bullets(found.sentences))
        if plan.aim != "dose":
            look.put(look.table(*chance_table(plan.pd_limit, found.chances)))
        if st.button(_("Use this test"), key=f"use-{key}"):
            return found
    return None


def taken(plan: AromaPlan, found: Proposal) -> AromaPlan:
    """The plan with a proposal taken over."""
    return replace(plan, method=found.method, trials_each=found.trials_each, sets_a_sitting=found.sets_a_sitting)


def by_hand(plan: AromaPlan, key: str, problems: Sequence[Problem]) -> AromaPlan:
    """The same by hand: test, counts, limit and risk, and whether it may end early."""
    plan = replace(plan, method=_test(plan, key))
    left, right = st.columns(2)
    with left:
        each = _whole(_("Sets of one person at each dose, batch or time"), plan.trials_each, 10, f"each-{key}")
        limit = _share(_("Limit: share that may truly notice, %"), plan.pd_limit, 95.0, f"pd-{key}")
    with right:
        sets = _whole(_("Sets in one sitting"), plan.sets_a_sitting, 6, f"sets-{key}")
        alpha = _share(_("Risk of a wrong claim, %"), plan.alpha, 25.0, f"alpha-{key}")
    plan = _noticed(plan, key, problems)
    beside(problems, "method", "trials_each", "sets_a_sitting", "pd_limit", "alpha")
    plan = replace(plan, trials_each=each, sets_a_sitting=sets, pd_limit=limit, alpha=alpha)
    plan = replace(
        plan,
        retaste=st.checkbox(_("Going back to a cup within a set is allowed"), plan.retaste, key=f"retaste-{key}"),
    )
    early = plan.aim == "detectable"
    plan = _early(plan, key, problems) if early else replace(plan, sequential=False, cap=None)
    return control.draw(plan, key, problems)


def _test(plan: AromaPlan, key: str) -> str:
    """The test; one that asks for a taste by name stands in the list only where the plan names it, and after pieces
    that are eaten one by one only what can be asked of them."""
    fitting = [name for name, method in METHODS.items() if plan.nameable or not method.names_taste]
    usual, asked = proposed(named=False, lingers=plan.sets_a_sitting == 1)[0].name, "named" if plan.nameable else "any"
    if plan.aim == "aftertaste":
        fitting, asked = [name for name, method in METHODS.items() if method.ask_after], "after"
        usual = fitting[0]
    return st.selectbox(
        _("Test"),
        fitting,
        fitting.index(plan.method if plan.method in fitting else usual),
        format_func=lambda name: METHODS[name].title(),
        key=f"method-{asked}-{key}",
    )


def _noticed(plan: AromaPlan, key: str, problems: Sequence[Problem]) -> AromaPlan:
    if plan.aim == "detectable":
        return plan
    share = _share(_("Tell from where, or up to where, so many notice, %"), plan.share, 95.0, f"share-{key}")
    beside(problems, "share")
    return replace(plan, share=share)


def _early(plan: AromaPlan, key: str, problems: Sequence[Problem]) -> AromaPlan:
    early = st.checkbox(
        _("Decide after each complete round, and stop as soon as it is clear"), plan.sequential, key=f"early-{key}"
    )
    if not early:
        return replace(plan, sequential=False, cap=None)
    cap = _whole(_("Answers at most, all people together"), plan.cap or 36, 2000, f"cap-{key}")
    beta = _share(_("Risk of a wrong “close enough”, %"), plan.beta, 25.0, f"beta-{key}")
    beside(problems, "sequential", "cap", "beta")
    return replace(plan, sequential=True, cap=cap, beta=beta)


def _whole(label: str, value: int, most: int, key: str) -> int:
    return int(st.number_input(label, 1, most, min(max(value, 1), most), 1, key=key))


def _share(label: str, value: float, most: float, key: str) -> float:
    shown = min(max(100 * value, 1.0), most)
    return round(float(st.number_input(label, 1.0, most, round(shown, 1), 1.0, format="%.1f", key=key)) / 100, 6)
