"""The people who taste, alphabetically, and what can be done for each."""

from __future__ import annotations

from collections.abc import Sequence

import streamlit as st

from studyapp.components import acts, look
from studyapp.records import Assessor, Staff
from studyapp.services import accounts, panel
from studyapp.store import Store
from studyapp.words import _


def draw(store: Store, by: Staff, assessors: Sequence[Assessor]) -> None:
    """One row a person, with a button that opens it."""
    with st.container(key="card-panel"):
        for assessor in sorted(assessors, key=lambda one: one.pseudonym.casefold()):
            state = look.chip("disc", _("tastes")) if assessor.may_taste else look.chip("ring", _("not for now"))
            if row(assessor.id, look.pair(look.strong(assessor.pseudonym), state)):
                st.dialog(assessor.pseudonym)(_person)(store, by, assessor)


def row(id_: str, *pieces: str) -> bool:
    """One person's line, with a button at its end; true when it was tapped."""
    with st.container(key=f"person-{id_}", horizontal=True, vertical_alignment="center"):
        with st.container(width="stretch"):
            look.put(*pieces)
        return st.button(_("Open"), key=f"open-{id_}")


def _person(store: Store, by: Staff, assessor: Assessor) -> None:
    look.put(look.text(_("The record shows {name} and nothing else.").format(name=assessor.pseudonym)))
    word = _("Does not taste for now") if assessor.may_taste else _("Tastes again")
    if st.button(word, key=f"may-{assessor.id}", width="stretch"):
        with acts.refusals():
            panel.set_may_taste(store, accounts.still(store, by), assessor.id, not assessor.may_taste)
            st.rerun()
    look.put(
        look.box(
            "brick",
            _("Erase the person"),
            look.text(_("Real name, contact and notes are erased for good. Marks stay under the pseudonym.")),
        )
    )
    sure = st.checkbox(_("I know that this cannot be undone"), key=f"sure-{assessor.id}")
    if st.button(_("Erase name and contact"), key=f"erase-{assessor.id}"):
        if not sure:
            look.put(look.text(_("Tick the box above first."), "problem copper"))
            return
        with acts.refusals():
            panel.erase_person(store, accounts.still(store, by), assessor.id)
            st.rerun()


def add(store: Store, by: Staff) -> None:
    """A new pseudonym; the real name is kept apart and may stay empty."""
    with st.container(key="card-add"), st.form("add-assessor", border=False, clear_on_submit=True):
        look.put(look.title(_("Add somebody"), 2))
        pseudonym = st.text_input(_("Pseudonym, for example the name of a bird"), max_chars=40, key="add-pseudonym")
        name = st.text_input(_("Real name (may stay empty)"), max_chars=80, key="add-name")
        contact = st.text_input(_("Contact (may stay empty)"), max_chars=120, key="add-contact")
        look.put(look.quiet(_about_data()))
        if st.form_submit_button(_("Add to the panel"), type="primary"):
            with acts.refusals():
                panel.add_assessor(store, by, pseudonym, name, contact)
                st.rerun()


def nobody_prepares(store: Store, by: Staff) -> None:
    """A caution while there is no preparer: the leader must not fill cups, and no tray can leave."""
    if not any(one.member.role == "preparer" for one in accounts.everybody(store, by) if one.ended_at is None):
        sentence = _(
            "Nobody prepares yet. Add a preparer under Panel: that person alone sees which pull is in which cup, fills "
            "the cups and lets the trays go."
        )
        look.put(look.caution(sentence, _("Careful")))


def _about_data() -> str:
    return _(
        "Name and contact are kept apart from every mark and can be erased at any time. Ask before you keep them; "
        "your local rules on personal data apply."
    )
