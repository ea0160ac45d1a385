"""The tables of the kitchen: a tray's cups, the serving orders, what to set aside, which box fills which cup.

One cup a person on a tray, or a set of cups in the order of tasting: the tables follow how many there are.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence

from studyapp.components import look
from studyapp.printing.kit import places
from studyapp.records import FillRow, Quantity, Tray
from studyapp.words import _


def cups(tray: Tray, letters: Mapping[str, str] | None = None, read: Collection[str] = ()) -> str:
    """Seat, person and codes: a row a person, a column a cup from left to right.

    `letters` gives the box of each code where the key is open; `read` holds the codes that were read one by one.
    """
    rows, letters = places(tray), letters or {}
    each = max((len(codes) for codes in rows.values()), default=1)
    box, tick = ([_("box")] if letters else []), ([_("label")] if read else [])
    heads = [_("seat"), _("assessor"), *([_("code")] if each == 1 else _columns(each)), *box, *tick]
    body = [
        [
            str(seat),
            name,
            *codes,
            *([" ".join(letters.get(code, "") for code in codes)] if box else []),
            *([_("read") if set(codes) <= set(read) else ""] if tick else []),
        ]
        for (seat, name), codes in rows.items()
    ]
    return look.table(heads, body, "words hand" if each == 1 else "words sets")


def orders(trays: Sequence[Tray]) -> str:
    """The serving order of each person: a row a person, a column a tray with its codes, no sample."""
    scored = [tray for tray in trays if tray.position > 0]
    codes = {(tray.position, *place): " ".join(own) for tray in scored for place, own in places(tray).items()}
    heads = [_("assessor"), *(_("tray {n}").format(n=tray.position) for tray in scored)]
    seated = sorted({place for tray in scored for place in places(tray)})
    body = [[name, *(codes.get((tray.position, seat, name), "–") for tray in scored)] for seat, name in seated]
    return look.table(heads, body)


def quantities(amounts: Sequence[Quantity]) -> str:
    """Box, what it holds, pieces and grams."""
    body = [[one.letter, one.holds, str(one.cups), f"{one.grams:g}"] for one in amounts]
    return look.table([_("box"), _("holds"), _("pieces"), _("grams")], body)


def fill(rows: Sequence[FillRow], holds: Mapping[str, str]) -> str:
    """Seat, and each cup with its code and the box that its piece comes from; of one cup, also what the box holds."""
    rows = sorted(rows, key=lambda row: row.seat)
    each = max((len(row.cups) for row in rows), default=1)
    if each == 1:
        body = [
            [str(row.seat) if row.seat else _("spare"), code, holds[letter], letter]
            for row in rows
            for code, letter in row.cups
        ]
        return look.table([_("seat"), _("code"), _("holds"), _("box")], body, "codes")
    body = [
        [str(row.seat), *(_("{code} from {box}").format(code=code, box=box) for code, box in row.cups)] for row in rows
    ]
    return look.table([_("seat"), *_columns(each)], body, "words")


def _columns(cups: int) -> list[str]:
    return [_("cup {n}").format(n=number) for number in range(1, cups + 1)]
