"""Panel: the people who taste, and the people who run studies."""

from __future__ import annotations

import streamlit as st

from studyapp import session
from studyapp.components import look, panel_list, staff_list
from studyapp.services import panel
from studyapp.words import _, ngettext


def render() -> None:
    """Rows a person, a form for a new one, and the staff."""
    by, store = session.someone("leader"), session.store()
    assessors = panel.assessors(store, by)
    tasting = sum(assessor.may_taste for assessor in assessors)
    look.put(look.title(_("Panel")))
    said = ngettext("{n} person can taste.", "{n} people can taste.", tasting).format(n=tasting)
    look.put(
        look.lede(said if assessors else _("Nobody is on the panel yet. Eight to twelve people make an answer likely."))
    )
    left, right = st.columns([3, 2], gap="medium")
    with left:
        if assessors:
            panel_list.draw(store, by, assessors)
    with right:
        panel_list.add(store, by)
        staff_list.draw(store, by, assessors)
