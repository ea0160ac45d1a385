"""The links of a sitting on its page: make them, print them, give one person another, or make all anew."""

from __future__ import annotations

import streamlit as st

from studyapp import session
from studyapp.components import acts, join_cards, look
from studyapp.records import Sitting, Staff
from studyapp.services import joining
from studyapp.words import _


def links(by: Staff, sitting: Sitting) -> None:
    """What can be done, and a card a person for as long as this server knows the codes."""
    store = session.store()
    look.put(look.title(_("Links for phones"), 2))
    look.put(look.quiet(_("Each link is for one person and this sitting, and answers on one phone at a time.")))
    if joining.thrown_out(store, by, sitting.id) is None:
        if st.button(_("Make the links"), key="make-links"):
            _make(sitting)
        return
    made = joining.readable_links(store, by, sitting.id)
    with st.container(horizontal=True, key="link-acts"):
        if made:
            st.link_button(_("Print the join cards"), f"/print/cards/{sitting.id}")
        with st.popover(_("A new link for one person")):
            look.put(look.text(_("The card they had ends now. Their phone says so when the new one is opened.")))
            for name in joining.names(store, by, sitting.id):
                if st.button(name, key=f"link-for-{name}", width="stretch"):
                    for_one(sitting, name)
        if st.button(_("Make all links anew"), key="anew"):
            st.dialog(_("Make all links anew"))(_anew)(sitting)
    if not made:
        look.put(look.quiet(_("These links were made before this server started, so their codes cannot be shown.")))
    join_cards.draw(made, session.address())


def for_one(sitting: Sitting, name: str) -> None:
    """A new link for one person, shown above everything until the page is left."""
    with acts.refusals():
        link = joining.issue_link(session.store(), session.someone("leader"), sitting.id, name)
        session.keep(f"fresh-link-{sitting.id}", link)
        st.rerun(scope="app")


def fresh(sitting: Sitting) -> None:
    """The link that was just made for one person."""
    link = session.kept(f"fresh-link-{sitting.id}", None)
    if link is None:
        return
    told = _(
        "Works until the sitting closes. A phone that had this seat then says that the tasting went on to another "
        "phone; the serving goes on with the marks it has. Nobody else is touched."
    )
    with st.container(key="card-fresh-link"):
        look.put(look.title(_("A new link for {name}").format(name=link.pseudonym), 2))
        look.put(join_cards.card(link, session.address()), look.quiet(told))
        if st.button(_("Put this card away"), key="fresh-away"):
            session.forget(f"fresh-link-{sitting.id}")
            st.rerun()


def _make(sitting: Sitting) -> None:
    with acts.refusals():
        joining.issue_links(session.store(), session.someone("leader"), sitting.id)
        session.forget(f"fresh-link-{sitting.id}")
        st.rerun()


def _anew(sitting: Sitting) -> None:
    by = session.someone("leader")  # a tap in a dialog does not draw its page again
    look.put(look.text(join_cards.ends(joining.thrown_out(session.store(), by, sitting.id) or ())))
    if st.button(_("End these links, make all anew"), type="primary", key="anew-now"):
        _make(sitting)
    if st.button(_("Keep them"), key="anew-not"):
        st.rerun()
