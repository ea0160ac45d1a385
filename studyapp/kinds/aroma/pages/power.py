"""What an aroma plan can show, beside its fields: in words, then its marks as they would be sealed."""

from __future__ import annotations

from collections.abc import Sequence

import streamlit as st

from studyapp.components import look
from studyapp.kinds.aroma.deciding import prospects
from studyapp.kinds.aroma.findings import plans
from studyapp.kinds.aroma.plan import AromaPlan
from studyapp.records import Problem
from studyapp.words import _

_NEEDED = {"assessors", "method", "trials_each", "alpha", "beta", "pd_limit", "doses", "batches", "cap", "sequential"}


def can_be_tried(plan: AromaPlan, problems: Sequence[Problem]) -> bool:
    """Whether the parts that the chances rest on are there."""
    return bool(plan.assessors) and not any(problem.blocks and problem.where in _NEEDED for problem in problems)


def draw(plan: AromaPlan, problems: Sequence[Problem]) -> None:
    """Three sentences and the marks; or what is still missing for them.

    The first sentence is a box of its own: on a phone it stays in sight below the fields that move it.
    """
    heading = look.title(_("What this plan can show"), 2)
    found = prospects.prospect(plan) if can_be_tried(plan, problems) else None
    if found is None:
        look.put(heading, look.text(_("Comes once you have said who tastes and which test is used.")))
        return
    marks = plans.marks(plan, found)
    rows = [
        look.pair(look.strong(fact.label), look.plain(fact.value)) + look.text(fact.note, "small") for fact in marks
    ]
    if marks:
        rows.append(look.table(*plans.chance_table(plan.pd_limit, prospects.chances(found))))
    first, *more = (look.text(sentence) for sentence in plans.can_show(plan, found))
    with st.container(gap=None):
        look.put(heading)
        with st.container(key="wash-glance"):
            look.put(first)
        with st.container(key="wash-last"):
            look.put(*more, *([look.title(_("The marks, sealed with the rule"), 3), *rows] if rows else []))
