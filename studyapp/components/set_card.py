"""One tray of sets in the kitchen: each person's cups in the order of tasting, the checks, and the release."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import streamlit as st

from studyapp.components import acts, look, tray_card
from studyapp.components.moments import clock
from studyapp.records import Staff, Tray
from studyapp.services import aroma_preparing
from studyapp.store import Store
from studyapp.words import _


def checks(plant: str) -> Mapping[str, str]:
    """What is confirmed before a tray of sets leaves: the usual, and that everybody knows the plant."""
    named = _("Everybody who tastes has read that there is {plant} in it, and may decline").format(plant=plant)
    return {**tray_card.checks(), "botanical_named": named}


def by_seat(tray: Tray) -> dict[tuple[int, str], tuple[str, ...]]:
    """The codes of each person in the order of tasting."""
    found: dict[tuple[int, str], tuple[str, ...]] = {}
    for cup in tray.cups:
        found[cup.seat, cup.pseudonym] = (*found.get((cup.seat, cup.pseudonym), ()), cup.code)
    return dict(sorted(found.items()))


def cups(tray: Tray) -> str:
    """Seat, person and codes: a row a person, a column a cup from left to right."""
    rows = by_seat(tray)
    most = max((len(codes) for codes in rows.values()), default=0)
    heads = [_("seat"), _("assessor"), *(_("cup {n}").format(n=number) for number in range(1, most + 1))]
    return look.table(heads, [[str(seat), name, *codes] for (seat, name), codes in rows.items()], "words sets")


def draw(store: Store, by: Staff, tray: Tray, trays: Sequence[Tray], plant: str) -> None:
    """The tray with its sets, and either when it left or how it may leave."""
    with st.container(key="card-tray"):
        look.put(
            look.title(tray_card.name(tray, trays), 2),
            look.quiet(_("One set a person: put the cups down from left to right in this order.")),
            cups(tray),
        )
        if tray.released_at:
            look.put(look.chip("disc", _("out since {time}").format(time=clock(tray.released_at)), "patina"))
        elif by.role == "preparer":
            _release(store, by, tray, plant)
        else:
            look.put(look.quiet(_("The preparer releases this tray.")))


def _release(store: Store, by: Staff, tray: Tray, plant: str) -> None:
    look.put(look.title(_("Before it leaves the kitchen"), 3))
    place = f"{tray.sitting}-{tray.position}"
    ticked = frozenset(code for code, words in checks(plant).items() if st.checkbox(words, key=f"check-{code}-{place}"))
    second = st.text_input(_("Second person, who read the labels"), max_chars=80, key=f"second-{place}")
    if st.button(_("Release tray {n}").format(n=tray.position), type="primary", key=f"release-{place}"):
        with acts.refusals():
            aroma_preparing.release_tray(store, by, tray.sitting, tray.position, ticked, second)
            st.rerun()
