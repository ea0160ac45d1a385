"""Open the key: once, after the last serving, by a named person."""

from __future__ import annotations

from typing import Any

import streamlit as st

from studyapp import registry, session
from studyapp.components import acts, chooser, look
from studyapp.records import Staff, Study
from studyapp.services import closing, preparing, watching
from studyapp.words import _


def render() -> None:
    """What becomes visible, what can no longer be done, and who opens."""
    by, store = session.someone("leader"), session.store()
    empty = _("No study waits for its key. A key opens after the last serving of a sealed study.")
    study = chooser.study(store, by, session.study_id(), ("sealed",), _("Open the key"), empty)
    if study is None:
        return
    kind = registry.pages(study.kind)
    opening = kind.opening(study.plan)
    look.put(
        look.crumb(_("Studies"), study.plan.title, session.href("studies")),
        look.title(_("Open the key")),
        look.lede(opening.lede),
        look.title(_("What changes"), 2),
        look.bullets(opening.changes),
    )
    still_open = outstanding(by, study)
    if still_open:
        look.put(look.box("copper", _("Careful"), *(look.text(sentence) for sentence in still_open)))
        if st.button(_("Go to the sitting"), key="to-watch"):
            session.go("watch", study=study.id)
    with st.container(key="narrow-open"):
        name = st.text_input(_("Name of the person who opens the key"), max_chars=80, key="opener")
        if st.button(_("Open the key"), type="primary", key="open-key"):
            with acts.refusals():
                closing.open_key(store, by, study.id, name)
                session.go("decide", study=study.id)


def outstanding(by: Staff, study: Study[Any]) -> tuple[str, ...]:
    """What is still to be tasted before the key may open, and what opening early would cost; empty when it may."""
    store = session.store()
    seen = [watching.progress(store, by, one.id) for one in preparing.sittings(store, by, study.id)]
    open_now = [one for one in seen if one.sitting.state != "closed"]
    left = sum(one.of - one.saved for one in open_now)
    still_open = registry.pages(study.kind).still_open(by, study, left)
    if not still_open:
        return ()
    told = _(
        "Outstanding: {sittings}. Opening early leaves {n} of {all} planned tastings out for good and uses up this "
        "opening of the key, so an answer is less likely."
    )
    names = ", ".join(one.sitting.label for one in open_now)
    return still_open, told.format(sittings=names, n=left, all=sum(one.of for one in seen))
