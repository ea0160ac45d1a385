"""One tray in the kitchen: its cups, the checks before it leaves, and its release; the same for every kind of study."""

from __future__ import annotations

from collections.abc import Sequence

import streamlit as st

from studyapp.components import acts, kitchen, look
from studyapp.components.moments import clock
from studyapp.records import Check, Staff, Tray
from studyapp.services import preparing
from studyapp.store import Store
from studyapp.words import _


def name(position: int, most: int | None = None) -> str:
    """What a tray is called, on this screen and on paper."""
    if position == 0:
        return _("Warm-up tray")
    if most is None:
        return _("Tray {n}").format(n=position)
    return _("Tray {n} of {m}").format(n=position, m=most)


def choose(trays: Sequence[Tray]) -> Tray:
    """The next tray to release first; any other can be looked at."""
    waiting = [number for number, tray in enumerate(trays) if tray.released_at is None]
    out, most = len(trays) - len(waiting), max(tray.position for tray in trays)
    look.put(look.quiet(_("{out} of {n} trays are out.").format(out=out, n=len(trays))))
    names = [name(tray.position, most) for tray in trays]
    start = waiting[0] if waiting else 0
    key = f"tray-{trays[0].sitting}-{out}"
    return trays[st.selectbox(_("Tray"), range(len(trays)), start, format_func=names.__getitem__, key=key)]


def draw(
    store: Store, by: Staff, tray: Tray, trays: Sequence[Tray], checks: Sequence[Check], putting_down: str = ""
) -> None:
    """The tray with its cups, and either when it left or how it may leave."""
    with st.container(key="card-tray"):
        look.put(look.title(name(tray.position, max(one.position for one in trays)), 2))
        if putting_down:
            look.put(look.quiet(putting_down))
        look.put(kitchen.cups(tray))
        if tray.released_at:
            look.put(look.chip("disc", _("out since {time}").format(time=clock(tray.released_at)), "patina"))
        elif by.role == "preparer":
            _release(store, by, tray, checks)
        else:
            look.put(look.quiet(_("The preparer releases this tray.")))


def _release(store: Store, by: Staff, tray: Tray, checks: Sequence[Check]) -> None:
    look.put(look.title(_("Before it leaves the kitchen"), 3))
    place = f"{tray.sitting}-{tray.position}"
    ticked = frozenset(check.code for check in checks if st.checkbox(check.ask, key=f"check-{check.code}-{place}"))
    second = st.text_input(_("Second person, who read the labels"), max_chars=80, key=f"second-{place}")
    if st.button(_release_label(tray), type="primary", key=f"release-{place}"):
        with acts.refusals():
            preparing.release_tray(store, by, tray.sitting, tray.position, ticked, second)
            st.rerun()


def _release_label(tray: Tray) -> str:
    return _("Release the warm-up tray") if tray.position == 0 else _("Release tray {n}").format(n=tray.position)
