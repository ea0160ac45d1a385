"""The kitchen of an aroma study: a set of cups a person on a tray, in the order of tasting."""

from __future__ import annotations

from collections.abc import Sequence

from studyapp.components import look
from studyapp.components.tray_card import Key, Kitchen, usual_checks
from studyapp.records import BoxQuantity, SetFill, Sitting, Staff, Tray
from studyapp.services import aroma_preparing
from studyapp.store import Store
from studyapp.words import _


def kitchen(plant: str) -> Kitchen:
    """What differs from other kinds of study; everybody is to know the plant."""
    named = _("Everybody who tastes has read that there is {plant} in it, and may decline").format(plant=plant)
    return Kitchen(
        cups=cups,
        putting_down=_("One set a person: put the cups down from left to right in this order."),
        checks={**usual_checks(), "botanical_named": named},
        release=aroma_preparing.release_tray,
        gives_away=_("The fill list tells which cup holds the plant. Keep it away from the tasting room."),
        key=_key,
        orders=None,
        paper_ballots=False,
    )


def by_seat(tray: Tray) -> dict[tuple[int, str], tuple[str, ...]]:
    """The codes of each person in the order of tasting."""
    found: dict[tuple[int, str], tuple[str, ...]] = {}
    for cup in tray.cups:
        found[cup.seat, cup.pseudonym] = (*found.get((cup.seat, cup.pseudonym), ()), cup.code)
    return dict(sorted(found.items()))


def cups(tray: Tray) -> str:
    """Seat, person and codes: a row a person, a column a cup from left to right."""
    rows = by_seat(tray)
    heads = [_("seat"), _("assessor"), *_columns(max((len(codes) for codes in rows.values()), default=0))]
    return look.table(heads, [[str(seat), name, *codes] for (seat, name), codes in rows.items()], "words sets")


def _key(store: Store, by: Staff, sitting: Sitting) -> Key:
    rows = aroma_preparing.fill_rows(store, by, sitting.id)
    amounts = aroma_preparing.quantities(store, by, sitting.study)
    trays = {row.position for row in rows}
    return Key(_quantities(amounts), {at: _fill([row for row in rows if row.position == at]) for at in trays})


def _quantities(amounts: Sequence[BoxQuantity]) -> str:
    """Box, what it holds, pieces and grams."""
    body = [[one.letter, one.sample, str(one.cups), f"{one.grams:g}"] for one in amounts]
    return look.table([_("box"), _("holds"), _("pieces"), _("grams")], body)


def _fill(rows: Sequence[SetFill]) -> str:
    """Seat, and each cup with its code and the box its piece comes from."""
    heads = [_("seat"), *_columns(max((len(row.cups) for row in rows), default=0))]
    body = [
        [str(row.seat), *(_("{code} from {box}").format(code=code, box=box) for code, box in row.cups)]
        for row in sorted(rows, key=lambda row: row.seat)
    ]
    return look.table(heads, body, "words")


def _columns(cups: int) -> list[str]:
    return [_("cup {n}").format(n=number) for number in range(1, cups + 1)]
