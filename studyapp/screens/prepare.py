"""Prepare: print the papers, fill the right cups, and let the right tray go."""

from __future__ import annotations

from typing import Any

import streamlit as st

from studyapp import registry, session
from studyapp.components import chooser, key_card, kitchen, look, tray_card
from studyapp.records import CupsPlan, Sitting, Staff, Study
from studyapp.screens import batch
from studyapp.services import planning, preparing, trays
from studyapp.words import _


def render() -> None:
    """The kitchen's page of one sitting."""
    by, store = session.someone(), session.store()
    heading, empty = _("Prepare"), _("No sealed study yet.")
    sitting = chooser.sitting(store, by, session.study_id(), session.sitting_id(), heading, empty)
    if sitting is None:
        return
    session.look_at(sitting=sitting.id)
    study = planning.study(store, by, sitting.study)
    words = registry.pages(study.kind).kitchen(study.plan)
    name = _("{study}, {label}").format(study=study.plan.title, label=sitting.label)
    st.set_page_config(page_title=_("{sitting}: prepare").format(sitting=name))
    here = trays.kitchen(store, by, sitting.id)
    look.put(look.title(heading), look.lede(f"{name}. {tray_card.summary(here)}"))
    left, right = st.columns([1, 1], gap="medium")
    with left:
        tray_card.board(store, by, sitting.id, here, preparing.checks(study))
        _papers(by, sitting, ballots=_one_by_one(study) or not study.plan.longest_wait)
    with right:
        _in_hand(by, sitting, here, words.putting_down)
        if _one_by_one(study):
            with st.expander(_("Serving order of each person, codes only")):
                look.put(kitchen.orders(here.trays))
        if by.role == "preparer":
            _key(by, sitting, words.gives_away)
        _own_pages(by, study)
        batch.elsewhere(by, study)
    chooser.others(store, by, preparing.sittings(store, by), but=sitting.id)


def _own_pages(by: Staff, study: Study[Any]) -> None:
    """The ways to pages that this kind has for who prepares."""
    for name, page in registry.pages(study.kind).own_pages().items():
        if "preparer" in page.roles and st.button(page.act, key=name, width="stretch"):
            session.go(name, study=study.id)


def _in_hand(by: Staff, sitting: Sitting, here: trays.Kitchen, putting_down: str) -> None:
    """The cups of one tray beside a field for their codes."""
    store, asked = session.store(), f"code-answer-{sitting.id}"
    letters = {}
    if by.role == "preparer" and session.kept(f"fill-{sitting.id}", False):
        rows = (*preparing.fill_rows(store, by, sitting.id), *preparing.spare_rows(store, by, sitting.id))
        letters = {code: box for row in rows for code, box in row.cups}
    with st.container(key="card-tray"):
        tray = tray_card.in_hand(sitting.id, here)
        code = tray_card.typed_code(sitting.id) if by.role == "preparer" else ""
        if code:
            session.keep(asked, trays.check_code(store, by, sitting.id, tray.position, code))
            here = trays.kitchen(store, by, sitting.id)
        found = session.kept(asked, None)
        if found is not None:
            tray_card.answer(found, letters.get(found.code, ""))
        tray_card.cups(here, tray, letters, putting_down)


def _one_by_one(study: Study[Any]) -> bool:
    """Cups that come one by one have an order to read, and ballots on paper for when the network is down."""
    return isinstance(study.plan, CupsPlan)


def _papers(by: Staff, sitting: Sitting, *, ballots: bool) -> None:
    with st.container(key="card-papers"):
        look.put(look.title(_("Papers"), 2), look.quiet(_("Print at 100 %. Labels and tray sheets carry codes only.")))
        st.link_button(_("Print the labels"), f"/print/labels/{sitting.id}", width="stretch")
        st.link_button(_("Print label outlines, to try the sheet"), f"/print/outlines/{sitting.id}", width="stretch")
        st.link_button(_("Print the tray sheets"), f"/print/trays/{sitting.id}", width="stretch")
        if ballots:
            st.link_button(_("Print paper ballots"), f"/print/ballots/{sitting.id}", width="stretch")
        if sitting.state in ("open", "paused") and st.button(_("Type paper ballots"), key="papers", width="stretch"):
            session.go("papers", sitting=sitting.id)
        if by.role == "preparer" and session.kept(f"fill-{sitting.id}", False):
            st.link_button(_("Print the fill list (key)"), f"/print/fill/{sitting.id}", width="stretch")
            st.link_button(_("Print all of these at once (key)"), f"/print/preparation/{sitting.id}", width="stretch")


def _key(by: Staff, sitting: Sitting, gives_away: str) -> None:
    if session.kept(f"fill-{sitting.id}", False):
        key_card.opened(session.store(), by, sitting)
    elif key_card.closed(gives_away):
        session.keep(f"fill-{sitting.id}", True)
        st.rerun()
