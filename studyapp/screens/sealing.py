"""The seal on the page of a plan, and the way on from a sealed one: the same for every kind of study."""

from __future__ import annotations

from collections.abc import Callable, Sequence

import streamlit as st

from studyapp import session
from studyapp.components import plan_seal
from studyapp.records import Problem, SealSlip, Staff
from studyapp.services import planning
from studyapp.words import _


def offer(study_id: str, problems: Sequence[Problem], ask: Callable[[], SealSlip | None]) -> None:
    """The card that seals. The first tap shows what is still to mend; once nothing is, `ask` draws the last look at the
    rule and gives the slip when it is sealed."""
    blocking = [problem for problem in problems if problem.blocks]
    tried = session.kept(f"tried-{study_id}", False)
    tapped = plan_seal.card(study_id, blocking if tried else (), ready=not blocking)
    if tapped and not blocking:
        st.dialog(_("Seal the rule"))(_asked)(study_id, ask)
    elif tapped and not tried:
        session.keep(f"tried-{study_id}", True)
        session.forget(f"step-{study_id}")  # the page then opens the first step that keeps it from being sealed
        st.rerun()


def _asked(study_id: str, ask: Callable[[], SealSlip | None]) -> None:
    session.someone("leader")  # a tap in a dialog does not draw its page again
    slip = ask()
    if slip is not None:
        session.keep(f"slip-{study_id}", slip)
        st.rerun()


def fresh_slip(study_id: str) -> None:
    """What to print and keep, to whoever has just sealed."""
    slip = session.kept(f"slip-{study_id}", None)
    if slip is not None:
        plan_seal.slip(slip)


def way_on(by: Staff, study_id: str) -> None:
    """To the sittings, or to a new draft of the same plan."""
    with st.container(horizontal=True):
        if st.button(_("Go to the sittings"), type="primary", key="to-watch"):
            session.go("watch", study=study_id)
        another(by, study_id)


def another(by: Staff, study_id: str) -> None:
    """To a new draft of the same plan: a question that is asked again gets a seal of its own."""
    if st.button(_("Plan another like it"), key="copy"):
        session.go("plan", study=planning.copy(session.store(), by, study_id))
