"""The key of sets in the kitchen: which box goes into which cup, and how much of each box to set aside."""

from __future__ import annotations

from collections.abc import Sequence

import streamlit as st

from studyapp.components import look
from studyapp.records import BoxQuantity, SetFill, Sitting, Staff
from studyapp.services import aroma_preparing
from studyapp.store import Store
from studyapp.words import _


def closed() -> bool:
    """What opening the fill list means, and the button that opens it; True when it was tapped."""
    with st.container(key="card-key"):
        look.put(
            look.title(_("Fill list"), 2),
            look.text(_("The fill list tells which cup holds the plant. Keep it away from the tasting room.")),
            look.caution(
                _("Whoever opens it cannot taste in this study, and the record keeps who did and when."), _("Careful")
            ),
        )
        return st.button(_("Open the fill list"), key="open-fill")


def opened(store: Store, by: Staff, sitting: Sitting) -> None:
    """Quantities to set aside, then every set of the sitting, tray by tray."""
    rows = aroma_preparing.fill_rows(store, by, sitting.id)
    amounts = aroma_preparing.quantities(store, by, sitting.study)
    with st.container(key="card-key"):
        look.put(look.title(_("How much to set aside"), 2), quantities(amounts))
        look.put(look.quiet(_("For all planned sittings together, with one spare piece for every ten.")))
        look.put(look.title(_("Which box into which cup"), 2))
        trays = sorted({row.position for row in rows})
        for tray in trays:
            with st.expander(_("Tray {n}").format(n=tray), expanded=tray == trays[0]):
                look.put(fill_table([row for row in rows if row.position == tray]))


def quantities(amounts: Sequence[BoxQuantity]) -> str:
    """Box, what it holds, pieces and grams."""
    body = [[one.letter, one.sample, str(one.cups), f"{one.grams:g}"] for one in amounts]
    return look.table([_("box"), _("holds"), _("pieces"), _("grams")], body)


def fill_table(rows: Sequence[SetFill]) -> str:
    """Seat, and each cup with its code and the box its piece comes from."""
    most = max((len(row.cups) for row in rows), default=0)
    heads = [_("seat"), *(_("cup {n}").format(n=number) for number in range(1, most + 1))]
    body = [
        [str(row.seat), *(_("{code} from {box}").format(code=code, box=box) for code, box in row.cups)]
        for row in sorted(rows, key=lambda row: row.seat)
    ]
    return look.table(heads, body, "words")
