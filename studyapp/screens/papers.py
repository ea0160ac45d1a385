"""Paper ballots: each is typed by two people, who do not see what the other typed; what differs is settled by hand."""

from __future__ import annotations

import streamlit as st

from studyapp import session
from studyapp.components import acts, chooser, look, paper_ballot
from studyapp.records import Sitting, Staff
from studyapp.services import paper_entry, planning
from studyapp.services.paper_entry import PaperBallot
from studyapp.words import _


def render() -> None:
    """The ballots of one sitting, and the one in hand."""
    by, store = session.someone("leader", "preparer"), session.store()
    heading, empty = _("Paper ballots"), _("No sealed study yet.")
    sitting = chooser.sitting(store, by, session.study_id(), session.sitting_id(), heading, empty)
    if sitting is None:
        return
    session.look_at(sitting=sitting.id)
    study = planning.study(store, by, sitting.study)
    look.put(
        look.crumb(study.plan.title, sitting.label, session.href("prepare", sitting=sitting.id)),
        look.title(heading),
        look.lede(_("Two people type each ballot, each from an account of their own.")),
    )
    listed = paper_entry.ballots(store, by, sitting.id)
    with st.container(key="card-ballots"):
        look.put(look.rows(look.row(look.strong(one.pseudonym), paper_ballot.state(one)) for one in listed))
    open_ = [one for one in listed if one.items]
    if sitting.state not in ("open", "paused"):
        look.put(look.quiet(_("Ballots are typed while their sitting is open, before it is closed.")))
    elif open_:
        names = [one.pseudonym for one in open_]
        chosen = st.selectbox(_("Whose ballot?"), names, index=None, key="whose")
        if chosen is not None:
            _in_hand(by, sitting, open_[names.index(chosen)])


def _in_hand(by: Staff, sitting: Sitting, ballot: PaperBallot) -> None:
    """What this account can do with a ballot: type it, settle what differs, or keep one entry with a reason."""
    store, who = session.store(), ballot.assessor
    if ballot.state == "differs":
        chosen, reason = paper_ballot.settled(ballot, paper_entry.differences(store, by, sitting.id, who))
        if chosen is not None:
            with acts.refusals():
                paper_entry.settle(store, by, sitting.id, who, chosen, reason)
                st.rerun()
    if ballot.mine or ballot.state == "open" or ballot.state == "once":
        _type(by, sitting, ballot)
    if ballot.state == "once":
        with st.expander(_("Nobody else can type it")):
            why = paper_ballot.alone(ballot)
            if why is not None:
                with acts.refusals():
                    paper_entry.keep_alone(store, by, sitting.id, who, why)
                    st.rerun()


def _type(by: Staff, sitting: Sitting, ballot: PaperBallot) -> None:
    if ballot.mine:
        look.put(look.quiet(_("You have typed this ballot. Typing it again replaces your entry.")))
    typed = paper_ballot.fields(ballot)
    if typed is not None:
        with acts.refusals():
            paper_entry.enter(session.store(), by, sitting.id, ballot.assessor, typed)
            st.rerun()
