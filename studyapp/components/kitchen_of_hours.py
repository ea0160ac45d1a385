"""The kitchen of a study of conching hours: one cup a person on a tray, each from the box of one pull."""

from __future__ import annotations

from collections.abc import Sequence

from studyapp.components import look
from studyapp.components.tray_card import Key, Kitchen, usual_checks
from studyapp.findings import hours as as_hours
from studyapp.records import FillRow, Quantity, Sitting, Staff, Tray
from studyapp.services import preparing
from studyapp.store import Store
from studyapp.words import _


def kitchen() -> Kitchen:
    """What differs from other kinds of study."""
    return Kitchen(
        cups=cups,
        putting_down="",
        checks=usual_checks(),
        release=preparing.release_tray,
        gives_away=_("The fill list tells which pull is in which cup. Keep it away from the tasting room."),
        key=_key,
        orders=orders,
        paper_ballots=True,
    )


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


def _key(store: Store, by: Staff, sitting: Sitting) -> Key:
    rows = preparing.fill_rows(store, by, sitting.id)
    amounts = preparing.quantities(store, by, sitting.study)
    trays = {row.position for row in rows}
    return Key(_quantities(amounts), {at: _fill([row for row in rows if row.position == at]) for at in trays})


def _quantities(amounts: Sequence[Quantity]) -> str:
    """Box, hours, pieces and grams."""
    body = [[one.letter, as_hours(one.hours), str(one.cups), f"{one.grams:g}"] for one in amounts]
    return look.table([_("box"), _("hours"), _("pieces"), _("grams")], body)


def _fill(rows: Sequence[FillRow]) -> str:
    """Seat, code and the box its piece comes from."""
    body = [[str(row.seat), row.code, as_hours(row.hours), row.letter] for row in sorted(rows, key=lambda r: r.seat)]
    return look.table([_("seat"), _("code"), _("hours"), _("box")], body, "codes")
