"""Which study a screen is about: the one in the address, or the one chosen here."""

from __future__ import annotations

from collections.abc import Collection

import streamlit as st

from studyapp.components import look
from studyapp.records import Staff, Study, StudyState
from studyapp.services import planning
from studyapp.store import Store
from studyapp.words import _


def study(store: Store, by: Staff, wanted: str | None, states: Collection[StudyState], empty: str) -> Study | None:
    """The wanted study if it is in one of `states`; else a choice among those that are, or the sentence `empty`."""
    if wanted is not None:
        found = planning.study(store, by, wanted)
        if found.state in states:
            return found
    fitting = [one for one in planning.studies(store, by) if one.state in states]
    if not fitting:
        look.put(look.lede(empty))
        return None
    names = [one.plan.title for one in fitting]
    chosen = st.selectbox(_("Study"), range(len(fitting)), format_func=names.__getitem__, key="which-study")
    return fitting[chosen]
