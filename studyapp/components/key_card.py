"""The key in the kitchen: which box goes into which cup, and how much of each; hidden until it is asked for."""

from __future__ import annotations

from collections.abc import Sequence

import streamlit as st

from studyapp.components import look
from studyapp.findings import hours as as_hours
from studyapp.records import FillRow, Quantity, Sitting, Staff
from studyapp.services import preparing
from studyapp.store import Store
from studyapp.words import _


def closed() -> bool:
    """What opening the fill list means, and the button that opens it; True when it was tapped."""
    with st.container(key="card-key"):
        look.put(
            look.title(_("Fill list"), 2),
            look.text(_("The fill list tells which pull is in which cup. Keep it away from the tasting room.")),
            look.caution(
                _("Whoever opens it cannot taste in this study, and the record keeps who did and when."), _("Careful")
            ),
        )
        return st.button(_("Open the fill list"), key="open-fill")


def opened(store: Store, by: Staff, sitting: Sitting) -> None:
    """Quantities to set aside, then every cup of the sitting, tray by tray."""
    rows = preparing.fill_rows(store, by, sitting.id)
    amounts = preparing.quantities(store, by, sitting.study)
    with st.container(key="card-key"):
        look.put(look.title(_("How much to set aside"), 2), quantities(amounts), look.quiet(_spares()))
        look.put(look.title(_("Which box into which cup"), 2))
        trays = sorted({row.position for row in rows})
        names = [_("Warm-up tray") if tray == 0 else _("Tray {n}").format(n=tray) for tray in trays]
        for name, tray in zip(names, trays, strict=True):
            with st.expander(name, expanded=tray == trays[0]):
                look.put(fill_table([row for row in rows if row.position == tray]))


def _spares() -> str:
    return _("For all planned sittings together, with one spare piece for every ten.")


def quantities(amounts: Sequence[Quantity]) -> str:
    """Box, hours, pieces and grams."""
    body = [[one.letter, as_hours(one.hours), str(one.cups), f"{one.grams:g}"] for one in amounts]
    return look.table([_("box"), _("hours"), _("pieces"), _("grams")], body)


def fill_table(rows: Sequence[FillRow]) -> str:
    """Seat, code and the box its piece comes from."""
    body = [[str(row.seat), row.code, as_hours(row.hours), row.letter] for row in sorted(rows, key=lambda r: r.seat)]
    return look.table([_("seat"), _("code"), _("hours"), _("box")], body, "codes")
