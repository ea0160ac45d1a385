"""Photos of pulls: one from the phone's own picker, what is kept of each, and the way to erase it."""

from __future__ import annotations

from functools import partial
from html import escape

import streamlit as st

from studyapp.components import acts, look
from studyapp.components.moments import clock
from studyapp.kinds.hours.plan import HoursStudy
from studyapp.kinds.hours.setting_out.pulls import Pulls, pull_told
from studyapp.records import Staff
from studyapp.services import photos
from studyapp.store import Store
from studyapp.store.photos import Photo
from studyapp.words import _


def card(store: Store, by: Staff, study: HoursStudy, kept: Pulls) -> None:
    """Nothing before a pull is taken; the newest pull is the one that is meant."""
    taken = [life.level for life in kept.lives if life.taken]
    if not taken:
        return
    every = photos.of_study(store, by, study.id)
    with st.expander(_("Photos of the pulls")):
        _bring(store, by, study, taken, len(every))
        for one in every:
            _one(store, by, study, one)


def _bring(store: Store, by: Staff, study: HoursStudy, taken: list[float], count: int) -> None:
    hours = st.selectbox(_("Pull"), taken, len(taken) - 1, format_func=partial(pull_told, study.plan), key="photo-h")
    # its key moves on with each photo that is kept, so that none is brought twice
    brought = st.file_uploader(_("Photo, JPEG or PNG, at most 2 MB"), ["jpg", "jpeg", "png"], key=f"photo-{count}")
    look.put(look.quiet(_("Nobody who tastes sees it. It can be erased; its hash stays in the record.")))
    if brought is not None and hours is not None:
        with acts.refusals():
            photos.keep(store, by, study.id, hours, brought.getvalue())
            st.rerun()


def _one(store: Store, by: Staff, study: HoursStudy, one: Photo) -> None:
    told = {"pull": pull_told(study.plan, one.hours), "who": one.by, "day": one.at[:10], "time": clock(one.at)}
    said = _("{pull}, by {who}, {day} {time}").format(**told)
    if one.erased_at:
        look.put(look.quiet(_("{photo}: erased.").format(photo=said)))
        return
    look.put(f'<img class="photo" src="/photo/{escape(one.id)}" alt="{escape(said)}">', look.quiet(said))
    if st.button(_("Erase this photo"), key=f"erase-{one.id}"):
        with acts.refusals():
            photos.erase(store, by, study.id, one.id)
            st.rerun()
