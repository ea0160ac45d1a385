"""Open the key: once, after the last serving, from two accounts, or by the only leader who says why."""

from __future__ import annotations

from typing import Any

import streamlit as st

from studyapp import registry, session
from studyapp.components import acts, chooser, look
from studyapp.records import Staff, Study
from studyapp.services import accounts, closing, preparing, watching
from studyapp.store import Store
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
    with st.container(key="narrow-open"), acts.refusals():
        _open(store, by, study.id)


def _open(store: Store, by: Staff, study: str) -> None:
    """Two accounts where two lead: one asks, another opens. The only leader opens alone and says why."""
    who, reason = closing.who_opens(store, by, study), ""
    if who.alone:
        told = _(
            "You are the only panel leader here, so you open it alone; verdict and report say so, with the reason."
        )
        look.put(look.caution(told, _("Opened by one person")))
        reason = st.text_input(_("Why nobody opens it with you"), max_chars=closing.LONGEST, key="opener")
    elif who.asked is None or who.mine:
        waits = _("You asked for the key. It opens when another panel leader presses the button here.")
        look.put(look.text(waits if who.mine else _two()))
        if not who.mine and st.button(_("Ask for the key"), type="primary", key="ask-key"):
            closing.ask_for_key(store, accounts.still(store, by), study)
            st.rerun()
        return
    else:
        look.put(look.text(_("{name} asked for the key. You open it together.").format(name=who.asked)))
    if st.button(_("Open the key"), type="primary", key="open-key"):
        closing.open_key(store, accounts.still(store, by), study, reason)
        session.go("decide", study=study)


def _two() -> str:
    return _(
        "Two panel leaders open a key: you ask for it, and another one opens it here from an account of their own."
    )


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
