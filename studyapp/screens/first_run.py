"""First run: what the tool answers, and three ways in."""

from __future__ import annotations

import streamlit as st

from studyapp import session
from studyapp.components import look
from studyapp.words import _


def render() -> None:
    """The question, the walk through an invented study, or a study of one's own."""
    look.put(look.title(_("How long must the conche run?"), 1, "verdict"), look.lede(_promise()))
    invented = session.demo()
    look.put(
        look.box(
            "patina",
            _("See it once with an invented panel"),
            look.text(_("Made-up tasters, six pulls from 0 to 24 h. About four minutes.")),
            look.act(_("Walk through it"), "/demo/leader", main=True) if invented else look.quiet(_how_to_start()),
        ),
        look.steps(_path()),
    )
    with st.container(horizontal=True):
        if not invented and st.button(_("Plan my own study"), type="primary", key="own"):
            session.go("sign_in")
        if st.button(_("Bring scores I have"), key="bring"):
            session.go("bring")


def _promise() -> str:
    return _(
        "Take samples at set hours, let your own people taste them blind, and read one of four answers: stop at so "
        "many hours, conche longer, no hour fits, or cannot tell yet and what an answer would cost."
    )


def _how_to_start() -> str:
    return _("It keeps nothing. Start it beside this one with the command: studyapp run --demo")


def _path() -> tuple[tuple[str, str, str], ...]:
    return (
        (_("Read a sealed plan"), _("the question, the margins, what eight people can show"), ""),
        (_("Taste on your phone"), _("one code, a few lines to mark, a rest"), ""),
        (_("Watch the sitting"), _("who is where, and no score yet"), ""),
        (_("Open the key"), _("the verdict in a sentence, with its picture"), ""),
        (_("Change one thing"), _("a tighter margin or two people fewer: another answer"), ""),
    )
