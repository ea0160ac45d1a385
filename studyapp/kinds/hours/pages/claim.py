"""What the verdict shall be about, and of which batches: chosen before anything is tasted, and sealed."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import streamlit as st

from studyapp.components import look
from studyapp.kinds.hours.plan import EACH, RECIPE, THIS, Claim, HoursPlan
from studyapp.kinds.hours.rule.batches import MOST_BATCHES, claims, costs
from studyapp.services.names import spelled
from studyapp.words import _

ORDER: tuple[Claim, ...] = (THIS, EACH, RECIPE)


def claim(plan: HoursPlan, key: str) -> HoursPlan:
    """The claim, each with what it costs in chance and servings."""
    named = claims()
    chosen = st.radio(
        _("What shall the verdict be about?"),
        ORDER,
        ORDER.index(plan.claim),
        format_func=named.__getitem__,
        key=f"claim-{key}",
    )
    told = _("{claim}: {costs}")
    look.put(*(look.quiet(told.format(claim=named[one], costs=costs(one))) for one in ORDER))
    if chosen == THIS:
        return replace(plan, claim=THIS, batches=(), added=0, batches_a_sitting=1)
    return replace(plan, claim=chosen or plan.claim, batch="", starts_at=None)


def names(plan: HoursPlan, key: str, known: Sequence[str]) -> tuple[str, ...]:
    """The batches in the order in which they join: chosen from those that have a record, or named before they are
    made."""
    options = list(dict.fromkeys((*plan.batches, *known)))
    chosen = st.multiselect(
        _("Batches"),
        options,
        list(plan.batches),
        key=f"batches-{key}",
        accept_new_options=True,
        max_selections=MOST_BATCHES,
        placeholder=_("Choose a batch, or write its name"),
        help=_("The seal gives these batches to the study. One that has no record yet gets one, to be filled later."),
    )
    return tuple(spelled(name) for name in chosen)


def served(plan: HoursPlan, key: str) -> HoursPlan:
    """How many batches a sitting serves, and how many join later."""
    if not plan.several:
        return plan
    left, right = st.columns(2)
    with left:
        each = int(st.number_input(_("Batches in a sitting"), 1, 2, plan.batches_a_sitting, 1, key=f"each-{key}"))
    added = 0
    if plan.looks > 1:
        with right:
            label = _("Batches that join with each later opening")
            added = int(st.number_input(label, 0, MOST_BATCHES, plan.added, 1, key=f"added-{key}"))
    return replace(plan, batches_a_sitting=each, added=added)
