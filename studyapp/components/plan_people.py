"""Who tastes, chosen from the panel or added to it; the same on the plan of every kind of study."""

from __future__ import annotations

from collections.abc import Sequence

import streamlit as st

from studyapp.components import acts, look
from studyapp.records import Staff
from studyapp.services import panel
from studyapp.store import Store
from studyapp.words import _


def chosen(store: Store, by: Staff, named: Sequence[str], key: str) -> tuple[str, ...]:
    """The assessors of a plan, chosen from the panel; `named` are those of before."""
    panel_ = panel.assessors(store, by)
    names = {one.id: one.pseudonym for one in panel_ if one.may_taste or one.id in named}
    picked = st.multiselect(
        _("Assessors"),
        list(names),
        [id_ for id_ in named if id_ in names],
        format_func=names.__getitem__,
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
