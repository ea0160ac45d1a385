"""Watch: open a sitting, hand out its links, see who is where, and close it. No score is shown, to nobody."""

from __future__ import annotations

from typing import Any

import streamlit as st

from studyapp import registry, session
from studyapp.components import chooser, look, panel_list, sitting_acts, sitting_rows
from studyapp.records import Progress, Sitting, Staff, Study
from studyapp.screens import handing_out
from studyapp.services import planning, preparing, watching
from studyapp.words import _


def render() -> None:
    """The page of one sitting; its address names it, and nothing that happens elsewhere turns it to another."""
    by, store = session.someone("leader"), session.store()
    empty = _("No sealed study waits for a sitting.")
    sitting = chooser.sitting(store, by, session.study_id(), session.sitting_id(), _("Watch"), empty)
    if sitting is None:
        return
    session.look_at(sitting=sitting.id)
    study = planning.study(store, by, sitting.study)
    _head(study, sitting)
    if sitting.state == "planned":
        panel_list.nobody_prepares(store, by)
        sitting_acts.begin(store, by, sitting)
    else:
        _live(by, sitting)
    kind, over = registry.pages(study.kind), sitting.state == "closed"
    if study.state == "sealed" and kind.reached_its_end(by, study, over) and st.button(_("Open the key"), key="to-key"):
        session.go("open_key", study=study.id)
    if sitting.state != "closed":
        handing_out.fresh(sitting)
        handing_out.links(by, sitting)
    if st.button(_("Read the sealed rule"), key="to-rule"):
        session.go("plan", study=study.id)
    look.put(look.quiet(kind.hidden(study.plan)))
    chooser.others(store, by, preparing.sittings(store, by, study.id), but=sitting.id)


def _head(study: Study[Any], sitting: Sitting) -> None:
    names = {"sitting": sitting.label, "study": study.plan.title}
    st.set_page_config(page_title=_("{sitting}, {study}: watch").format(**names))
    heading = look.pair(look.title(sitting.label), look.quiet(_("This page stays on this sitting.")))
    look.put(look.crumb(_("Studies"), study.plan.title, session.href("studies")), heading)


def _live(by: Staff, sitting: Sitting) -> None:
    left, right = st.columns([2, 1], gap="medium")
    with left:
        _refreshed(sitting)
    with right, st.container(key="card-room"):
        look.put(look.title(_("Trays and room"), 2))
        _refreshed_trays(sitting)
        sitting_acts.run(session.store(), by, sitting)


@st.fragment(run_every=5)
def _refreshed(sitting: Sitting) -> None:
    """Drawn every five seconds; the store is read again only when something was written."""
    progress = _progress(sitting)
    look.put(look.lede(sitting_rows.summary(progress)))
    with st.container(key="card-seats"):
        look.put(sitting_rows.rows(progress))


@st.fragment(run_every=5)
def _refreshed_trays(sitting: Sitting) -> None:
    look.put(sitting_rows.trays(_progress(sitting)))


def _progress(sitting: Sitting) -> Progress:
    store = session.store()
    moved = watching.change_counter(store)
    seen, progress = session.kept("progress", (None, None))
    if progress is None or seen != (sitting.id, moved):
        progress = watching.progress(store, session.someone(), sitting.id)
        session.keep("progress", ((sitting.id, moved), progress))
    return progress
