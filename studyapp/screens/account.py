"""Account: who is signed in at this browser, and another passphrase."""

from __future__ import annotations

import streamlit as st

from studyapp import session
from studyapp.components import credentials, look, staff_list, ties_list
from studyapp.records import Staff
from studyapp.services import accounts
from studyapp.words import _


def render() -> None:
    """Whose account this is, where it is signed in, and the form for another passphrase."""
    by = session.someone()
    account = accounts.own(session.store(), by)
    said = _("You: {about}.").format(about=staff_list.about(account))
    look.put(look.title(by.name), look.lede(said))
    if by.first:
        told = _("Whoever gave you your passphrase knows it. Choose one of your own; the rest opens then.")
        look.put(look.box("copper", _("Welcome"), look.text(told)))
    if session.just_kept() == "passphrase":
        kept = _("Kept. The new passphrase holds from now on; every other browser of yours is signed out.")
        look.put(look.box("patina", "", look.text(kept)))
    with st.container(key="narrow-account"), st.container(key="card-account"):
        look.put(look.title(_("Change the passphrase"), 2))
        if session.demo():
            look.put(look.quiet(_("Nobody has a passphrase in the invented workshop, so there is none to change.")))
        else:
            credentials.change()
    if by.role == "leader" and not by.first:
        with st.container(key="narrow-tie"), st.container(key="card-tie"):
            ties_list.draw(session.store(), by, by)
    look.put(look.quiet(_who_helps(by)), look.link(_("What this cannot prevent"), "/limits"))


def _who_helps(by: Staff) -> str:
    """A leader who is alone has nobody who could help, and should know it before the passphrase is forgotten."""
    if by.role == "leader" and not by.first and accounts.leads_alone(session.store(), by):
        return _("You are the only panel leader: add a second one under Panel, who can help if you forget it.")
    return _("Forgotten? A panel leader gives you a first passphrase once more, under Panel.")
