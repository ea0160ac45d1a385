"""Prepare: print the papers, fill the right cups, and let the right tray go."""

from __future__ import annotations

import streamlit as st

from studyapp import session
from studyapp.components import chooser, key_card, kitchen_of_hours, kitchen_of_sets, look, tray_card
from studyapp.components.tray_card import Kitchen
from studyapp.records import AromaStudy, HoursStudy, Sitting, Staff
from studyapp.services import planning, preparing
from studyapp.words import _


def render() -> None:
    """The kitchen's page of one sitting."""
    by, store = session.someone(), session.store()
    top, heading = st.container(), _("Prepare")
    sitting = chooser.sitting(store, by, session.study_id(), session.sitting_id(), heading, _("No sealed study yet."))
    if sitting is None:
        return
    study = planning.study(store, by, sitting.study)
    kitchen = _kitchen(study)
    with top:
        name = _("{study}, {label}").format(study=study.plan.title, label=sitting.label)
        look.put(look.title(heading), look.lede(name))
    left, right = st.columns([3, 2], gap="medium")
    with left:
        trays = preparing.trays(store, by, sitting.id)
        tray_card.draw(store, by, tray_card.choose(trays), trays, kitchen)
        if kitchen.orders is not None:
            with st.expander(_("Serving order of each person, codes only")):
                look.put(kitchen.orders(trays))
    with right:
        _papers(by, sitting, kitchen)
        if by.role == "preparer":
            _key(by, sitting, kitchen)


def _kitchen(study: HoursStudy | AromaStudy) -> Kitchen:
    if isinstance(study, AromaStudy):
        return kitchen_of_sets.kitchen(study.plan.botanical.name)
    return kitchen_of_hours.kitchen()


def _papers(by: Staff, sitting: Sitting, kitchen: Kitchen) -> None:
    with st.container(key="card-papers"):
        look.put(look.title(_("Papers"), 2), look.quiet(_("Print at 100 %. Labels and tray sheets carry codes only.")))
        st.link_button(_("Print the labels"), f"/print/labels/{sitting.id}", width="stretch")
        st.link_button(_("Print label outlines, to try the sheet"), f"/print/outlines/{sitting.id}", width="stretch")
        st.link_button(_("Print the tray sheets"), f"/print/trays/{sitting.id}", width="stretch")
        if kitchen.paper_ballots:
            st.link_button(_("Print paper ballots"), f"/print/ballots/{sitting.id}", width="stretch")
        if by.role == "preparer" and session.kept(f"fill-{sitting.id}", False):
            st.link_button(_("Print the fill list (key)"), f"/print/fill/{sitting.id}", width="stretch")
            st.link_button(_("Print all of these at once (key)"), f"/print/preparation/{sitting.id}", width="stretch")


def _key(by: Staff, sitting: Sitting, kitchen: Kitchen) -> None:
    if session.kept(f"fill-{sitting.id}", False):
        key_card.opened(session.store(), by, sitting, kitchen)
    elif key_card.closed(kitchen):
        session.keep(f"fill-{sitting.id}", True)
        st.rerun()
