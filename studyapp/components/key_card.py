"""The key in the kitchen: which box goes into which cup, and how much of each; hidden until it is asked for."""

from __future__ import annotations

import streamlit as st

from studyapp.components import look, tray_card
from studyapp.components.tray_card import Kitchen
from studyapp.records import Sitting, Staff
from studyapp.store import Store
from studyapp.words import _


def closed(kitchen: Kitchen) -> bool:
    """What opening the fill list means, and the button that opens it; True when it was tapped."""
    with st.container(key="card-key"):
        look.put(
            look.title(_("Fill list"), 2),
            look.text(kitchen.gives_away),
            look.caution(
                _("Whoever opens it cannot taste in this study, and the record keeps who did and when."), _("Careful")
            ),
        )
        return st.button(_("Open the fill list"), key="open-fill")


def opened(store: Store, by: Staff, sitting: Sitting, kitchen: Kitchen) -> None:
    """Quantities to set aside, then every cup of the sitting, tray by tray."""
    key = kitchen.key(store, by, sitting)
    with st.container(key="card-key"):
        look.put(look.title(_("How much to set aside"), 2), key.quantities)
        look.put(look.quiet(_("For all planned sittings together, with one spare piece for every ten.")))
        look.put(look.title(_("Which box into which cup"), 2))
        first = min(key.fill)
        for position, table in sorted(key.fill.items()):
            with st.expander(tray_card.name(position), expanded=position == first):
                look.put(table)
