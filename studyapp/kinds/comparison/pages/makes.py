"""First part of a comparison: the question, the makes, what the verdict will be about, and the control."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import streamlit as st

from studyapp.components import look
from studyapp.components.plan_problems import beside
from studyapp.components.plan_slips import Slips
from studyapp.kinds.comparison.pages.alike import numbers
from studyapp.kinds.comparison.plan import LETTERS, ComparisonPlan, Scope
from studyapp.kinds.comparison.rule import FEWEST_BATCHES, scope_told
from studyapp.records import Problem
from studyapp.words import _

# Hours to begin with: five pieces, which fit in a sitting.
USUAL_PULLS = ((4.0, 8.0, 24.0), (4.0, 24.0))


def draw(plan: ComparisonPlan, key: str, problems: Sequence[Problem], slips: Slips) -> ComparisonPlan:
    """The plan with what was typed here."""
    title = st.text_input(_("Name of the study"), plan.title, max_chars=120, key=f"title-{key}") or plan.title
    question = st.text_area(
        _("What shall this study decide?"),
        plan.question,
        key=f"question-{key}",
        placeholder=_("Is the chocolate as good when it is conched before it is milled?"),
    )
    beside(problems, "question")
    recipe = st.text_input(_("Recipe, the same for all makes"), plan.recipe, key=f"recipe-{key}")
    plan = replace(plan, title=title, question=question, recipe=recipe)
    plan = _makes(plan, key, problems)
    return _control(_scope(plan, key, problems), key, problems, slips)


def _makes(plan: ComparisonPlan, key: str, problems: Sequence[Problem]) -> ComparisonPlan:
    count = int(st.number_input(_("How many makes"), 2, 4, len(plan.makes), 1, key=f"makes-{key}"))
    labels = {0: _("A, the usual way, against which the others are held")}
    other = _("{letter}: route, machine or programme")
    typed = [
        st.text_input(
            labels.get(place, other.format(letter=LETTERS[place])),
            plan.makes[place] if place < len(plan.makes) else "",
            max_chars=120,
            key=f"make-{place}-{key}",
        )
        for place in range(count)
    ]
    beside(problems, "makes")
    return replace(plan, makes=tuple(words.strip() for words in typed))


def _scope(plan: ComparisonPlan, key: str, problems: Sequence[Problem]) -> ComparisonPlan:
    scopes: dict[Scope, str] = {
        "these batches": _("these batches, one of each"),
        "make": _("the ways of making, over several batches of each"),
    }
    scope = st.radio(
        _("The verdict is about"),
        list(scopes),
        list(scopes).index(plan.scope),
        format_func=scopes.__getitem__,
        key=f"scope-{key}",
    )
    batches = 1
    if scope == "make":
        least = max(plan.batches, FEWEST_BATCHES)
        batches = int(
            st.number_input(_("Batches of each make, one of each in a sitting"), 1, 9, least, 1, key=f"batches-{key}")
        )
    look.put(look.caution(scope_told(scope, batches)))
    beside(problems, "batches")
    return replace(plan, scope=scope, batches=batches)


def _control(plan: ComparisonPlan, key: str, problems: Sequence[Problem], slips: Slips) -> ComparisonPlan:
    plan = _time(plan, key, problems, slips)
    if plan.faster or plan.pulls:
        return plan
    control = st.text_input(
        _("Control: a piece known to differ, which the panel must find"),
        plan.control,
        max_chars=120,
        key=f"control-{key}",
        placeholder=_("A, after two hours in the conche"),
    )
    beside(problems, "control")
    return replace(plan, control=control.strip())


def _time(plan: ComparisonPlan, key: str, problems: Sequence[Problem], slips: Slips) -> ComparisonPlan:
    """Less time: as one sealed pair, which is proposed, or by how many hours at the least."""
    deciding = [line.name for line in plan.attributes if line.decides]
    possible = len(plan.makes) == 2 and plan.scope == "these batches" and deciding
    now = bool(plan.faster or plan.pulls)
    if not possible or not st.checkbox(_("Claim that B needs less time than A"), now, key=f"faster-{key}"):
        return replace(plan, faster="", pulls=())
    ways = {
        "pair": _("as one pair of times: B after few hours is as good as A after many"),
        "hours": _("by how many hours at the least, from several times of each"),
    }
    way = st.radio(_("How"), list(ways), int(bool(plan.pulls)), format_func=ways.__getitem__, key=f"faster-way-{key}")
    look.put(
        look.quiet(
            _(
                "By how many hours B is faster can hardly be said: where 4 to 9 h were truly saved, eight people who "
                "tasted twice showed any number in fewer than 10 of 100 studies. So one pair of times is proposed."
            )
        )
    )
    if way == "pair":
        return _pair(replace(plan, pulls=()), deciding, key, problems)
    return _pulls(replace(plan, faster=""), key, problems, slips)


def _pair(plan: ComparisonPlan, deciding: Sequence[str], key: str, problems: Sequence[Problem]) -> ComparisonPlan:
    """Two makes at two times."""
    chosen = deciding.index(plan.faster) if plan.faster in deciding else 0
    faster = st.selectbox(_("Attribute that more hours improve"), deciding, chosen, key=f"faster-line-{key}")
    left, right = st.columns(2)
    with left:
        short = st.number_input(_("Short time, h"), 0.0, 1000.0, plan.short_hours, 1.0, format="%g", key=f"short-{key}")
    with right:
        long_ = st.number_input(_("Long time, h"), 0.0, 1000.0, plan.long_hours, 1.0, format="%g", key=f"long-{key}")
    look.put(
        look.quiet(_("Tasted are A after the long time, B after the short, and A after the short as the control."))
    )
    beside(problems, "faster")
    return replace(plan, faster=str(faster), short_hours=short, long_hours=long_)


def _pulls(plan: ComparisonPlan, key: str, problems: Sequence[Problem], slips: Slips) -> ComparisonPlan:
    """The hours after which each make is tasted."""
    before = plan.pulls or USUAL_PULLS
    read = []
    for cell, letter, own in zip(st.columns(2), LETTERS, before, strict=False):
        label, shown = _("Hours of {letter}").format(letter=letter), " ".join(f"{h:g}" for h in own)
        with cell:
            read.append(slips.read(f"pulls {letter}", label, shown, _hours, own, f"pulls-{letter}-{key}"))
    look.put(
        look.quiet(
            _(
                "All are held against A after its longest time; A after its shortest is the control, which the panel "
                "must find. Every piece is tasted in every sitting."
            )
        )
    )
    beside(problems, "pulls")
    return replace(plan, pulls=tuple(read))


def _hours(typed: str) -> tuple[float, ...]:
    """Hours from a typed list; raises ValueError with the sentence to show."""
    try:
        return numbers(typed)
    except ValueError:
        raise ValueError(_("Fix the hours: write numbers with a blank between two, as 4 8 24.")) from None
