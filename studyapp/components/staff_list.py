"""The people who run studies: where they are signed in, and how an account begins, ends and comes back."""

from __future__ import annotations

from collections.abc import Sequence

import streamlit as st

from studyapp.components import acts, credentials, look, panel_list, ties_list
from studyapp.components.moments import clock, day
from studyapp.records import Account, Assessor, Staff
from studyapp.services import accounts
from studyapp.store import Store
from studyapp.words import _, ngettext


def draw(store: Store, by: Staff, assessors: Sequence[Assessor]) -> None:
    """Who leads and who prepares, a button for somebody new, and the accounts that ended."""
    everybody = accounts.everybody(store, by)
    with st.container(key="card-staff"):
        look.put(look.title(_("Who runs studies"), 2))
        for account in everybody:
            if account.ended_at is None:
                _line(store, by, account)
        if st.button(_("Add a preparer or leader"), width="stretch", key="staff-add"):
            st.dialog(_("Add a preparer or leader"), on_dismiss="rerun")(credentials.add)(assessors)
        ended = [account for account in everybody if account.ended_at is not None]
        if ended:
            look.put(look.title(_("Ended accounts"), 3))
        for account in ended:
            _line(store, by, account)


def _line(store: Store, by: Staff, account: Account) -> None:
    member = account.member
    pieces = (look.strong(member.name), look.text(about(account), "small"))
    if member.id == by.id:
        look.put(look.pair(pieces[0], look.chip("dot", _("you"), "patina")), pieces[1])
    elif panel_list.row(member.id, *pieces):
        st.dialog(member.name, on_dismiss="rerun")(_member)(store, by, account)


def about(account: Account) -> str:
    """The role of a member and where they are signed in now, or when their account ended."""
    role = credentials.roles()[account.member.role]
    if account.ended_at is not None:
        return _("{role}, ended {day}").format(role=role, day=day(account.ended_at))
    if not account.browsers:
        return _("{role}, signed in nowhere").format(role=role)
    said = ngettext(
        "{role}, signed in since {time}", "{role}, signed in at {n} browsers, last {time}", account.browsers
    )
    return said.format(role=role, n=account.browsers, time=clock(account.latest))


def _member(store: Store, by: Staff, account: Account) -> None:
    """What can be done for one account; it ends only after a tick, and nothing of it is deleted."""
    member, ended = account.member, account.ended_at is not None
    look.put(look.title(_("Bring the account back") if ended else _("Forgot the passphrase?"), 2, "small"))
    credentials.renew(member, ended)
    if ended:
        return
    ties_list.draw(store, by, member)
    told = _("{name} can sign in no more and is signed out everywhere at once. What {name} did stays in the record.")
    look.put(look.box("brick", _("End the account"), look.text(told.format(name=member.name))))
    sure = st.checkbox(_("{name} shall be signed out now").format(name=member.name), key=f"sure-{member.id}")
    if st.button(_("End the account"), key=f"end-{member.id}"):
        if not sure:
            look.put(look.text(_("Tick the box above first."), "problem copper"))
            return
        with acts.refusals():
            accounts.end_account(store, by, member.id)
            st.rerun()
