"""The end of a decision page: departures from the plan, notes of assessors, and signatures."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import streamlit as st

from studyapp.components import acts, look
from studyapp.components.moments import clock
from studyapp.records import Deviation, Staff, Study
from studyapp.services import accounts, closing
from studyapp.store import Store
from studyapp.words import _


def departures(noted: Sequence[Deviation], of_rule: Sequence[str] = ()) -> None:
    """What went otherwise than planned: `of_rule`, that the rule was corrected, then what was noted, in its order."""
    if not noted and not of_rule:
        look.put(look.quiet(_("No departure from the plan was noted.")))
        return
    lines = [look.row(look.plain(sentence)) for sentence in of_rule]
    lines += [
        look.row(look.plain(one.sentence), look.text(f"{clock(one.at)}, {_known(one.known)}", "small")) for one in noted
    ]
    look.put(look.title(_("Departures from the plan"), 2), look.rows(lines, "notes"))


def notes(sent: Sequence[tuple[str, str, str]]) -> None:
    """What assessors wrote when they had finished; readable only now."""
    if sent:
        lines = [look.row(look.plain(text), look.text(f"{name}, {clock(at)}", "small")) for at, name, text in sent]
        look.put(look.title(_("What assessors noted"), 2), look.rows(lines, "notes"))


def _known(known: str) -> str:
    return {
        "nothing served": _("before anything was served"),
        "no results seen": _("with no result seen"),
        "results not opened": _("with the key still closed"),
        "results seen": _("with the results known"),
    }.get(known, known)


# ---- signatures --------------------------------------------------------------------------------------------------
def sign(store: Store, by: Staff, study: Study[Any], *, over: bool) -> bool:
    """Who signed, and the buttons to sign and to print; while another look may follow there is nothing to sign.

    True when the sealed rule was asked for.
    """
    signed = closing.signatures(store, by, study.id)
    alone = closing.one_person_sentences(closing.opened_keys(store, by, study.id), signed)
    for sentence in alone:
        look.put(look.caution(sentence, _("One person")))
    if signed:
        lines = [look.row(look.strong(one.name), look.plain(f"{one.role}, {clock(one.at)}")) for one in signed]
        look.put(look.title(_("Signed"), 2), look.rows(lines))
    with st.container(horizontal=True, key="verdict-acts"):
        waits = over and len(signed) < closing.SIGNATURES and all(one.by != by.id for one in signed)
        if waits and st.button(_("Sign the decision"), type="primary", key="sign"):
            st.dialog(_("Sign the decision"))(_sign)(store, by, study)
        st.link_button(_("Print the report"), f"/print/report/{study.id}")
        st.link_button(_("Print the key"), f"/print/key/{study.id}")
        to_rule = st.button(_("Read the sealed rule"), key="to-rule")
    look.put(look.link(_("What this cannot prevent"), "/limits"))
    return to_rule


def _sign(store: Store, by: Staff, study: Study[Any]) -> None:
    told = _("Two people sign, each from an account of their own: one who ran the test, and one who decides.")
    look.put(look.text(told), look.text(_("You sign as {name}.").format(name=by.name)))
    roles = {"ran": _("ran the test"), "decides": _("decides")}
    role = st.radio(_("You sign as the one who"), list(roles), format_func=roles.get, index=None, key="sign-role")
    if st.button(_("Sign"), type="primary", key="sign-now"):
        if role is None:
            look.put(look.chip("triangle", _("Choose what you sign as first."), "copper"))
            return
        with acts.refusals():
            closing.sign(store, accounts.still(store, by), study.id, roles[role])
            st.rerun()
