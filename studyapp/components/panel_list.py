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
            with st.container(key=f"person-{assessor.id}", horizontal=True, vertical_alignment="center"):
                with st.container(width="stretch"):
                    state = (
                        look.chip("disc", _("tastes")) if assessor.may_taste else look.chip("ring", _("not for now"))
                    )
                    look.put(look.pair(look.strong(assessor.pseudonym), state))
                if st.button(_("Open"), key=f"open-{assessor.id}"):
                    st.dialog(assessor.pseudonym)(_person)(store, by, assessor)


def _person(store: Store, by: Staff, assessor: Assessor) -> None:
    look.put(look.text(_("The record shows {name} and nothing else.").format(name=assessor.pseudonym)))
    word = _("Does not taste for now") if assessor.may_taste else _("Tastes again")
    if st.button(word, key=f"may-{assessor.id}", width="stretch"):
        with acts.refusals():
            panel.set_may_taste(store, by, assessor.id, not assessor.may_taste)
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
            panel.erase_person(store, by, assessor.id)
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
    if not any(one.role == "preparer" for one in accounts.staff_list(store, by)):
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


# ---- people who run studies ----------------------------------------------------------------------------------------
def staff(store: Store, by: Staff) -> None:
    """Who leads and who prepares; a preparer has an account of their own, because the key is theirs alone."""
    roles = {"leader": _("panel leader"), "preparer": _("preparer")}
    lines = [look.row(look.strong(one.name), look.plain(roles[one.role])) for one in accounts.staff_list(store, by)]
    with st.container(key="card-staff"):
        look.put(look.title(_("Who runs studies"), 2), look.rows(lines))
        with st.form("add-staff", border=False, clear_on_submit=True):
            name = st.text_input(_("Name"), max_chars=80, key="staff-name")
            role = st.radio(_("Role"), ["preparer", "leader"], format_func=roles.get, horizontal=True, key="staff-role")
            secret = st.text_input(_("First passphrase, at least 10 letters"), type="password", key="staff-secret")
            tastes = st.selectbox(
                _("Tastes as (so that nobody who holds a key tastes)"),
                [None, *panel.assessors(store, by)],
                format_func=lambda one: one.pseudonym if one else _("does not taste"),
                key="staff-tastes",
            )
            if st.form_submit_button(_("Add this person")):
                with acts.refusals():
                    accounts.add_staff(store, by, name, role, secret, tastes.person if tastes else None)
                    st.rerun()
