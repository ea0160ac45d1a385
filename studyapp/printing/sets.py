"""Paper for a sitting of sets: the sheets of `kit`, with the cups of a set in the order of tasting."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict
from typing import Any

from studyapp.printing import kit
from studyapp.records import AromaPlan, BoxQuantity, SetFill, Sitting, Tray
from studyapp.words import _

_TOTAL_WIDTHS = (16, 80, 22, 20, 0)
_SEAT, _CODE, _TIME = 26, 17, 20


def labels(trays: Sequence[Tray], sitting: Sitting, printed_at: str, sheet: kit.LabelSheet = kit.A4_65) -> bytes:
    """A label a cup, tray by tray and set by set: code, tray, seat and place in the set. PDF."""
    return kit.compose(["labels"], sitting, printed_at, labels=_label_cells(trays), label=asdict(sheet))


def tray_sheets(trays: Sequence[Tray], sitting: Sitting, plan: AromaPlan, printed_at: str) -> bytes:
    """A sheet a tray for whoever serves: each seat with the codes of its set from left to right. PDF."""
    return kit.compose(["trays"], sitting, printed_at, words=_words(trays), **_tray_content(trays, plan, sitting.label))


def fill_sheet(rows: Sequence[SetFill], quantities: Sequence[BoxQuantity], sitting: Sitting, printed_at: str) -> bytes:
    """The key for the kitchen: which box goes into which cup of a set, and how much of each to set aside. PDF."""
    return kit.compose(["fill"], sitting, printed_at, words=_key_words(), **_key(rows, quantities))


def preparation_pdf(
    trays: Sequence[Tray],
    rows: Sequence[SetFill],
    quantities: Sequence[BoxQuantity],
    sitting: Sitting,
    plan: AromaPlan,
    printed_at: str,
    sheet: kit.LabelSheet = kit.A4_65,
) -> bytes:
    """Everything for one sitting in one PDF: labels, tray sheets, and last the fill sheet with the key."""
    return kit.compose(
        ["labels", "trays", "fill"],
        sitting,
        printed_at,
        labels=_label_cells(trays),
        label=asdict(sheet),
        words=_words(trays) | _key_words(),
        **_tray_content(trays, plan, sitting.label),
        **_key(rows, quantities),
    )


# ---- content -----------------------------------------------------------------------------------------------------
def _sets(tray: Tray) -> dict[tuple[int, str], list[str]]:
    """Codes in the order of tasting, by (seat, pseudonym), by seat."""
    found: dict[tuple[int, str], list[str]] = {}
    for cup in sorted(tray.cups, key=lambda cup: cup.seat):
        found.setdefault((cup.seat, cup.pseudonym), []).append(cup.code)
    return found


def _cups_each(trays: Sequence[Tray]) -> int:
    return max((len(codes) for tray in trays for codes in _sets(tray).values()), default=0)


def _label_cells(trays: Sequence[Tray]) -> list[dict[str, Any]]:
    return [
        {
            "code": code,
            "place": [kit.tray_name(tray.position), _("seat {n}").format(n=seat), _("cup {n}").format(n=number)],
        }
        for tray in sorted(trays, key=lambda tray: tray.position)
        for (seat, _name), codes in _sets(tray).items()
        for number, code in enumerate(codes, start=1)
    ]


def _tray_content(trays: Sequence[Tray], plan: AromaPlan, sitting: str) -> dict[str, Any]:
    last = max((tray.position for tray in trays), default=0)
    each = _cups_each(trays)
    pages = [
        kit.tray_page(
            _("Tray {n} of {m}").format(n=tray.position, m=last),
            sitting,
            plan,
            [{"seat": kit.seat_name(seat, name), "codes": codes} for (seat, name), codes in _sets(tray).items()],
        )
        for tray in sorted(trays, key=lambda tray: tray.position)
    ]
    return {"trays": pages, "codes_each": each, "tray_widths": [_SEAT, *[_CODE] * each, _TIME, 0]}


def _words(trays: Sequence[Tray]) -> dict[str, Any]:
    cups = [_("cup {n}").format(n=number) for number in range(1, _cups_each(trays) + 1)]
    named = _("botanical, its part and its lot named to assessors")
    return {"columns": [_("seat"), *cups, _("time out"), _("note")], "checks": [*kit.tray_checks(), named]}


def _key_words() -> dict[str, Any]:
    return {"total_columns": [_("box"), _("holds"), _("cups"), _("mass"), _("set aside by")]}


def _key(rows: Sequence[SetFill], quantities: Sequence[BoxQuantity]) -> dict[str, Any]:
    positions = sorted({row.position for row in rows})
    across = 2 if max((len(row.cups) for row in rows), default=0) <= 3 else 1
    return {
        "fill_across": across,
        "total_widths": _TOTAL_WIDTHS,
        "fill": [
            {
                "title": kit.tray_name(position)[:1].upper() + kit.tray_name(position)[1:],
                "cups": [
                    {
                        "seat": _("seat {n}").format(n=row.seat),
                        "cups": [(code, kit.box_name(letter)) for code, letter in row.cups],
                    }
                    for row in sorted(rows, key=lambda row: row.seat)
                    if row.position == position
                ],
            }
            for position in positions
        ],
        "totals": [{"letter": one.letter, "holds": one.sample, **kit.amount(one)} for one in quantities],
    }
