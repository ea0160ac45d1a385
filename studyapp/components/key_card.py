"""The key in the kitchen: which box goes into which cup, and how much of each; hidden until it is asked for."""

from __future__ import annotations

import streamlit as st

from studyapp.components import kitchen, look, tray_card
from studyapp.records import Sitting, Staff
from studyapp.services import preparing
from studyapp.store import Store
from studyapp.words import _


def closed(gives_away: str) -> bool:
    """What opening the fill list means, and the button that opens it; True when it was tapped."""
    with st.container(key="card-key"):
        look.put(
            look.title(_("Fill list"), 2),
            look.text(gives_away),
            look.caution(
                _("Whoever opens it cannot taste in this study, and the record keeps who did and when."), _("Careful")
            ),
        )
        return st.button(_("Open the fill list"), key="open-fill")


def opened(store: Store, by: Staff, sitting: Sitting) -> None:
    """Quantities to set aside, then every cup of the sitting, tray by tray."""
    rows = (*preparing.fill_rows(store, by, sitting.id), *preparing.spare_rows(store, by, sitting.id))
    holds = preparing.boxes(store, by, sitting.study)
    amounts = kitchen.quantities(preparing.quantities(store, by, sitting.study))
    positions = sorted({row.position for row in rows})
    with st.container(key="card-key"):
        look.put(look.title(_("How much to set aside"), 2), amounts)
        look.put(look.quiet(_("For all planned sittings together, with one spare piece for every ten.")))
        look.put(look.title(_("Which box into which cup"), 2))
        for position in positions:
            with st.expander(tray_card.name(position), expanded=position == positions[0]):
                look.put(kitchen.fill([row for row in rows if row.position == position], holds))
