"""Open the key: once, after the last serving, by a named person."""

from __future__ import annotations

import streamlit as st

from studyapp import session
from studyapp.components import acts, aroma_key, chooser, look
from studyapp.records import AromaStudy, HoursStudy
from studyapp.services import aroma_deciding, deciding, preparing, watching
from studyapp.words import _


def render() -> None:
    """What becomes visible, what can no longer be done, and who opens."""
    by, store = session.someone("leader"), session.store()
    empty = _("No study waits for its key. A key opens after the last serving of a sealed study.")
    study = chooser.study(store, by, session.study_id(), ("sealed",), _("Open the key"), empty)
    if study is None:
        return
    look.put(look.crumb(_("Studies"), study.plan.title, session.href("studies")), look.title(_("Open the key")))
    open_now = [one for one in preparing.sittings(store, by, study.id) if one.state != "closed"]
    left = sum(one.of - one.saved for one in (watching.progress(store, by, sitting.id) for sitting in open_now))
    look.put(
        look.lede(_lede(study)),
        look.title(_("What changes"), 2),
        look.bullets(aroma_key.changes(study.plan) if isinstance(study, AromaStudy) else _changes()),
    )
    if isinstance(study, AromaStudy):
        left = aroma_key.still_wanted(store, by, study, left)
    if left:
        told = _("{n} servings are still open. Close them as missing first, with a reason.").format(n=left)
        if isinstance(study, AromaStudy):
            told = aroma_key.still_open(left)
        look.put(look.box("copper", _("Careful"), look.text(told)))
        if st.button(_("Go to the sitting"), key="to-watch"):
            session.go("watch", study=study.id)
    with st.container(key="narrow-open"):
        name = st.text_input(_("Name of the person who opens the key"), max_chars=80, key="opener")
        if st.button(_("Open the key"), type="primary", key="open-key"):
            opening = aroma_deciding.open_key if isinstance(study, AromaStudy) else deciding.open_key
            with acts.refusals():
                opening(store, by, study.id, name)
                session.go("decide", study=study.id)


def _lede(study: HoursStudy | AromaStudy) -> str:
    if isinstance(study, AromaStudy):
        return _("Opening joins the codes to the cups, and the verdict is worked out from the sealed rule.")
    return _("Opening joins the codes to the hours, and the verdict is worked out from the sealed rule.")


def _changes() -> tuple[str, ...]:
    return (
        _("You see the scores by hour and the verdict; so does the report."),
        _("No more scores can be given in this look, and missing ones stay missing."),
        _("The rule cannot change. It was sealed before the first score."),
        _("The opening, its time and the name below go into the record. A key opens once a look."),
    )
