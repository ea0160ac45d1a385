"""Prepare a sitting of sets: print the papers, fill the right cups, and let the right tray go."""

from __future__ import annotations

import streamlit as st

from studyapp import session
from studyapp.components import look, set_card, set_key, tray_card
from studyapp.records import AromaStudy, Sitting, Staff, Tray
from studyapp.services import preparing
from studyapp.words import _


def draw(by: Staff, study: AromaStudy, sitting: Sitting) -> None:
    """The kitchen's page of one sitting of sets."""
    trays = preparing.trays(session.store(), by, sitting.id)
    left, right = st.columns([3, 2], gap="medium")
    with left:
        _tray(by, study, trays)
    with right:
        _papers(by, sitting)
        if by.role == "preparer":
            _key(by, sitting)


def _tray(by: Staff, study: AromaStudy, trays: tuple[Tray, ...]) -> None:
    """The next tray to release first; any other can be looked at."""
    waiting = [number for number, tray in enumerate(trays) if tray.released_at is None]
    out = len(trays) - len(waiting)
    look.put(look.quiet(_("{out} of {n} trays are out.").format(out=out, n=len(trays))))
    names = [tray_card.name(tray, trays) for tray in trays]
    start = waiting[0] if waiting else 0
    chosen = st.selectbox(
        _("Tray"), range(len(trays)), start, format_func=names.__getitem__, key=f"tray-{trays[0].sitting}-{out}"
    )
    set_card.draw(session.store(), by, trays[chosen], trays, study.plan.botanical.name)


def _papers(by: Staff, sitting: Sitting) -> None:
    with st.container(key="card-papers"):
        look.put(look.title(_("Papers"), 2), look.quiet(_("Print at 100 %. Labels and tray sheets carry codes only.")))
        st.link_button(_("Print the labels"), f"/print/labels/{sitting.id}", width="stretch")
        st.link_button(_("Print label outlines, to try the sheet"), f"/print/outlines/{sitting.id}", width="stretch")
        st.link_button(_("Print the tray sheets"), f"/print/trays/{sitting.id}", width="stretch")
        if by.role == "preparer" and session.kept(f"fill-{sitting.id}", False):
            st.link_button(_("Print the fill list (key)"), f"/print/fill/{sitting.id}", width="stretch")
            st.link_button(_("Print all of these at once (key)"), f"/print/preparation/{sitting.id}", width="stretch")


def _key(by: Staff, sitting: Sitting) -> None:
    if session.kept(f"fill-{sitting.id}", False):
        set_key.opened(session.store(), by, sitting)
    elif set_key.closed():
        session.keep(f"fill-{sitting.id}", True)
        st.rerun()
