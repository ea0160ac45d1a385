"""Which assessor an account is, and the choice of another."""

from __future__ import annotations

import streamlit as st

from studyapp.components import acts, look
from studyapp.records import Staff
from studyapp.services import accounts, panel, ties
from studyapp.store import Store
from studyapp.words import _


def draw(store: Store, by: Staff, member: Staff) -> None:
    """The assessor a member is, so that nobody who has seen a key tastes, at whichever browser."""
    names = {"": _("does not taste"), **{one.id: one.pseudonym for one in panel.assessors(store, by)}}
    before = ties.tastes_as(store, by, member.id)
    look.put(look.title(_("Tastes as"), 2, "small"))
    chosen = st.selectbox(
        _("So that nobody who has seen a key tastes, at whichever browser"),
        list(names),
        index=list(names).index(before),
        format_func=names.__getitem__,
        key=f"tie-{member.id}",
    )
    if chosen != before and st.button(_("Keep this"), key=f"keep-tie-{member.id}"):
        with acts.refusals():
            ties.tie(store, accounts.still(store, by), member.id, chosen)
            st.rerun()
