"""Watch: open a sitting, hand out its links, see who is where, and close it. No score is shown, to nobody."""

from __future__ import annotations

from functools import partial
from typing import Any

import streamlit as st

from studyapp import registry, session
from studyapp.components import acts, chooser, look, needs, panel_list, sitting_acts, sitting_rows
from studyapp.records import Sitting, Staff, Study
from studyapp.screens import handing_out, open_key
from studyapp.services import calling, planning, preparing, watching
from studyapp.store import clock
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
        sitting_acts.begin(store, by, sitting, registry.rule(study.kind).sitting_at(study.plan, sitting.number))
    else:
        _live(by, sitting)
    kind, over = registry.pages(study.kind), sitting.state == "closed"
    if study.state == "sealed" and kind.reached_its_end(by, study, over):
        _key(by, study)
    if sitting.state != "closed":
        handing_out.fresh(sitting)
        handing_out.links(by, sitting)
    if st.button(_("Read the sealed rule"), key="to-rule"):
        session.go("plan", study=study.id)
    look.put(look.quiet(kind.hidden(study.plan)))
    chooser.others(store, by, preparing.sittings(store, by, study.id), but=sitting.id)


def _key(by: Staff, study: Study[Any]) -> None:
    """The way to the key; while something is outstanding it says what opening early would cost."""
    still_open = open_key.outstanding(by, study)
    if still_open:
        look.put(look.box("copper", _("Not yet"), *(look.text(sentence) for sentence in still_open)))
    elif st.button(_("Open the key"), key="to-key"):
        session.go("open_key", study=study.id)


def _head(study: Study[Any], sitting: Sitting) -> None:
    names = {"sitting": sitting.label, "study": study.plan.title}
    st.set_page_config(page_title=_("{sitting}, {study}: watch").format(**names))
    stays = look.quiet(_("This page stays on this sitting."))
    look.put(look.crumb(_("Studies"), study.plan.title, session.href("studies")), look.title(sitting.label), stays)


def _live(by: Staff, sitting: Sitting) -> None:
    left, right = st.columns([2, 1], gap="medium")
    with left:
        _refreshed(sitting)
    with right, st.container(key="card-room"):
        look.put(look.title(_("Trays and room"), 2))
        _refreshed_trays(sitting)
        sitting_acts.run(session.store(), by, sitting)


@st.fragment(run_every=3)
def _refreshed(sitting: Sitting) -> None:
    """Drawn every three seconds. A button here notes by number what was done, so a press means what it was made on
    even when the page has just been drawn anew, and twice is once."""
    by, store = session.someone("leader"), session.store()
    progress = watching.progress(store, by, sitting.id)
    if progress.sitting.state != sitting.state:
        st.rerun(scope="app")
    look.put(look.lede(sitting_rows.summary(progress)))
    if sitting.state != "closed":
        needs.draw(needs.needs(calling.open_calls(store, by, sitting.id), progress), partial(_act, sitting))
    with st.container(key="card-seats"):
        look.put(sitting_rows.rows(progress))


def _act(sitting: Sitting, how: str, need: needs.Need) -> None:
    with acts.refusals():
        if how == "link":
            handing_out.for_one(sitting, str(need.of))
        else:
            calling.answer(session.store(), session.someone("leader"), sitting.id, int(need.of), how)
            st.rerun()


@st.fragment(run_every=5)
def _refreshed_trays(sitting: Sitting) -> None:
    progress = watching.progress(session.store(), session.someone(), sitting.id)
    look.put(look.quiet(_("live, {time}").format(time=clock.now().astimezone().strftime("%H:%M:%S"))))
    look.put(sitting_rows.trays(progress))
