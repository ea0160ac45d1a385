"""The trays in the kitchen: how far each is, what is confirmed before they leave, and what a typed code says."""

from __future__ import annotations

from collections.abc import Sequence

import streamlit as st

from studyapp.components import acts, kitchen, look
from studyapp.components.moments import clock
from studyapp.records import SPARES, Check, Staff, Tray
from studyapp.services import trays
from studyapp.services.trays import CodeAnswer, Kitchen
from studyapp.store import Store
from studyapp.words import _, ngettext


def name(position: int, most: int | None = None) -> str:
    """What a tray is called, on this screen and on paper."""
    if position in (0, SPARES):
        return _("Spares") if position else _("Warm-up tray")
    if most is None:
        return _("Tray {n}").format(n=position)
    return _("Tray {n} of {m}").format(n=position, m=most)


def summary(here: Kitchen) -> str:
    """How many trays are out, and who is left out of the rest."""
    out = sum(tray.released_at is not None for tray in here.trays)
    said = _("{out} of {n} trays are out.").format(out=out, n=len(here.trays))
    if not here.absent:
        return said
    told = ngettext(
        "{names} does not taste and is left out of the others.",
        "{names} do not taste and are left out of the others.",
        len(here.absent),
    )
    return said + " " + told.format(names=", ".join(here.absent))


def board(store: Store, by: Staff, sitting: str, here: Kitchen, checks: Sequence[Check]) -> None:
    """Every tray with its second reading, what is confirmed for the sitting, and the button that lets them go."""
    lines, second = st.container(key="card-trays"), ""
    if by.role == "preparer" and any(tray.released_at is None for tray in here.trays):
        ticked, second = _confirmed(sitting, here, [check for check in checks if check.code != trays.READ])
        _release(store, by, sitting, here, ticked)
    with lines:
        for tray in here.trays:
            if _line(sitting, here, tray, by):
                with acts.refusals():
                    trays.note_reading(store, by, sitting, tray.position, second)
                    st.rerun()


def _line(sitting: str, here: Kitchen, tray: Tray, by: Staff) -> bool:
    """One tray; true when somebody says that its labels were read."""
    waits = tray.released_at is None and tray.position not in here.read and by.role == "preparer"
    with st.container(key=f"tray-line-{tray.position}", horizontal=True, vertical_alignment="center"):
        with st.container(width="stretch"):
            look.put(look.pair(look.strong(name(tray.position)), _state(here, tray)))
        return waits and st.button(_("Labels read"), key=f"read-{tray.position}-{sitting}")


def _state(here: Kitchen, tray: Tray) -> str:
    if tray.released_at:
        return look.chip("disc", _("out since {time}").format(time=clock(tray.released_at)), "quiet")
    read = here.read.get(tray.position)
    if read is not None:
        return look.chip("disc", _("read by {name}, {time}").format(name=read.second, time=clock(read.at)), "patina")
    done = len(tray.cups) - here.unread(tray.position)
    return look.chip("ring", _("{n} of {m} read").format(n=done, m=len(tray.cups)), "quiet")


def _confirmed(sitting: str, here: Kitchen, checks: Sequence[Check]) -> tuple[frozenset[str], str]:
    """The ticks and the second person, as the tray before left with."""
    with st.container(key="card-checks"):
        look.put(look.title(_("Before they leave the kitchen"), 2))
        look.put(look.quiet(_("Kept for this sitting; written down for each tray.")))
        boxes = {
            check.code: st.checkbox(check.ask, value=check.code in here.ticked, key=f"check-{check.code}-{sitting}")
            for check in checks
        }
        told = _("Second person, who reads the labels of each tray against its sheet")
        second = st.text_input(told, value=here.second, max_chars=80, key=f"second-{sitting}")
    return frozenset(code for code, ticked in boxes.items() if ticked), second


def _release(store: Store, by: Staff, sitting: str, here: Kitchen, ticked: frozenset[str]) -> None:
    ready = here.ready()
    if not ready:
        look.put(look.quiet(_("When a second person has read the labels of a tray, press Labels read beside it.")))
        return
    words = _("Release {trays}").format(trays=trays.names_of(ready))
    if st.button(words, type="primary", width="stretch", key=f"release-{sitting}"):
        with acts.refusals():
            trays.release_read(store, by, sitting, ticked)
            st.rerun()
    unread = sum(here.unread(position) for position in ready)
    if unread and here.cups_read:
        told = ngettext(
            "{n} cup was not read by its code. It can go; the record says so.",
            "{n} cups were not read by their codes. They can go; the record says so.",
            unread,
        )
        look.put(look.quiet(told.format(n=unread)))


# ---- the tray in hand ------------------------------------------------------------------------------------------------
def in_hand(sitting: str, here: Kitchen) -> Tray:
    """The next tray that nobody has read yet; any other can be looked at."""
    open_ = [n for n, tray in enumerate(here.trays) if tray.released_at is None and tray.position not in here.read]
    names = [name(tray.position) for tray in here.trays]
    start = open_[0] if open_ else 0
    key = f"hand-{sitting}-{start}"
    chosen = st.selectbox(_("Tray in hand"), range(len(names)), start, format_func=names.__getitem__, key=key)
    return here.trays[chosen]


def typed_code(sitting: str) -> str:
    """A field for a code that is typed, or scanned by a scanner that types; empty until Enter."""
    with st.form(f"code-{sitting}", clear_on_submit=True, border=False), st.container(key="code-check"):
        code = st.text_input(_("Type or scan a code, then Enter"), max_chars=8, key=f"code-field-{sitting}")
        return code if st.form_submit_button(_("Check this code")) else ""


def answer(found: CodeAnswer, letter: str = "") -> None:
    """What the code says; `letter` is the box of its cup where the key is open."""
    first, then = trays.said(found)
    if letter and found.says in ("right", "again", "spare"):
        then = _("Fill from box {letter}.").format(letter=letter) + " " + then
    tone: look.Tone = {
        "right": "patina",
        "again": "patina",
        "spare": "patina",
        "served": "brick",
        "other sitting": "brick",
    }.get(found.says, "copper")  # type: ignore[assignment]
    look.put(f'<div role="status">{look.box(tone, first, look.text(then))}</div>')


def cups(here: Kitchen, tray: Tray, letters: dict[str, str], putting_down: str) -> None:
    """The cups of the tray in hand, each with its box where the key is open."""
    look.put(look.title(name(tray.position), 2))
    if putting_down:
        look.put(look.quiet(putting_down))
    look.put(kitchen.cups(tray, letters, here.cups_read))
