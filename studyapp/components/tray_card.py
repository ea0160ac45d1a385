"""One tray in the kitchen: its cups in serving order, the checks before it leaves, and its release."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import streamlit as st

from studyapp.components import acts, look
from studyapp.components.moments import clock
from studyapp.records import Staff, Tray
from studyapp.services import preparing
from studyapp.store import Store
from studyapp.words import _


def checks() -> Mapping[str, str]:
    """What is confirmed before a tray leaves, by its code in the record."""
    return {
        "safe_food": _("Cleared as food by the person responsible; a tasting cannot show that an allergen is absent"),
        "allergens_shown": _("The allergen list has been shown to everybody who tastes"),
        "sound_pieces": _("No bloom, no broken piece, lids on"),
        "labels_read": _("Labels read against the tray sheet by a second person"),
    }


def name(tray: Tray, trays: Sequence[Tray]) -> str:
    """What a tray is called on this screen and on paper."""
    if tray.position == 0:
        return _("Warm-up tray")
    return _("Tray {n} of {m}").format(n=tray.position, m=max(one.position for one in trays))


def cups(tray: Tray) -> str:
    """Seat, person and code, in the order of the seats."""
    body = [[str(cup.seat), cup.pseudonym, cup.code] for cup in sorted(tray.cups, key=lambda cup: cup.seat)]
    return look.table([_("seat"), _("assessor"), _("code")], body, "words codes")


def orders(trays: Sequence[Tray]) -> str:
    """The serving order of each person: a row a person, a code a tray, no sample."""
    scored = [tray for tray in trays if tray.position > 0]
    seats = sorted({(cup.seat, cup.pseudonym) for tray in scored for cup in tray.cups})
    codes = {(tray.position, cup.seat): cup.code for tray in scored for cup in tray.cups}
    heads = [_("assessor"), *(_("tray {n}").format(n=tray.position) for tray in scored)]
    return look.table(
        heads, [[name, *(codes.get((tray.position, seat), "–") for tray in scored)] for seat, name in seats]
    )


def draw(store: Store, by: Staff, tray: Tray, trays: Sequence[Tray]) -> None:
    """The tray with its cups, and either when it left or how it may leave."""
    with st.container(key="card-tray"):
        look.put(look.title(name(tray, trays), 2), cups(tray))
        if tray.released_at:
            look.put(look.chip("disc", _("out since {time}").format(time=clock(tray.released_at)), "patina"))
        elif by.role == "preparer":
            _release(store, by, tray, trays)
        else:
            look.put(look.quiet(_("The preparer releases this tray.")))


def _release(store: Store, by: Staff, tray: Tray, trays: Sequence[Tray]) -> None:
    look.put(look.title(_("Before it leaves the kitchen"), 3))
    place = f"{tray.sitting}-{tray.position}"
    ticked = frozenset(code for code, words in checks().items() if st.checkbox(words, key=f"check-{code}-{place}"))
    second = st.text_input(_("Second person, who read the labels"), max_chars=80, key=f"second-{place}")
    label = _("Release {tray}").format(tray=_short(tray))
    if st.button(label, type="primary", key=f"release-{place}"):
        with acts.refusals():
            preparing.release_tray(store, by, tray.sitting, tray.position, ticked, second)
            st.rerun()


def _short(tray: Tray) -> str:
    return _("the warm-up tray") if tray.position == 0 else _("tray {n}").format(n=tray.position)
