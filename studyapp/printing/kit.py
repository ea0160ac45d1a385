"""Paper for a sitting: labels and tray sheets with codes only, and apart from them the fill sheet with the key."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict, dataclass
from typing import Any

from studyapp.findings.numbers import decimal, hours
from studyapp.printing.press import shown_time, typeset
from studyapp.records import AromaPlan, BoxQuantity, FillRow, Plan, Quantity, Sitting, Tray
from studyapp.words import _, language, ngettext

_SPARES = 2
_FILL_ACROSS = 4
_TRAY_WIDTHS, _TOTAL_WIDTHS = (23, 25, 20, 18, 22, 0), (20, 28, 36, 30, 0)  # mm, 0 takes what is left


@dataclass(frozen=True, slots=True)
class LabelSheet:
    """Where the labels lie on an A4 sheet, mm: the size of one, rows and columns, first corner, gaps."""

    width: float = 38.1
    height: float = 21.2
    across: int = 5
    down: int = 13
    top: float = 10.7
    left: float = 4.7
    gap: float = 2.5
    row_gap: float = 0.0


A4_65 = LabelSheet()
# Common A4 sheets by the number of labels on them.
SHEETS = {
    65: A4_65,
    24: LabelSheet(width=64.0, height=33.9, across=3, down=8, top=12.9, left=6.5, gap=2.5),
    21: LabelSheet(width=63.5, height=38.1, across=3, down=7, top=15.1, left=7.2, gap=2.5),
}


def labels(trays: Sequence[Tray], sitting: Sitting, printed_at: str, sheet: LabelSheet = A4_65) -> bytes:
    """A label a cup, tray by tray: code with a line under it, tray, seat; nothing else. PDF."""
    return compose(["labels"], sitting, printed_at, labels=label_cells(trays), label=asdict(sheet))


def label_outlines(printed_at: str, sheet: LabelSheet = A4_65) -> bytes:
    """One page with the outline of every label, to hold against a sheet before printing on it. PDF."""
    return compose(["outlines"], None, printed_at, label=asdict(sheet))


def tray_sheets(trays: Sequence[Tray], sitting: Sitting, plan: Plan, printed_at: str) -> bytes:
    """A sheet a tray for whoever serves: seats and codes, checks to tick, columns to fill by hand. PDF."""
    return compose(["trays"], sitting, printed_at, **tray_content(trays, plan, sitting.label))


def fill_sheet(rows: Sequence[FillRow], quantities: Sequence[Quantity], sitting: Sitting, printed_at: str) -> bytes:
    """The key for the kitchen: which code holds which box, and how much of each pull to set aside. PDF."""
    return compose(["fill"], sitting, printed_at, **_key(rows, quantities))


def preparation_pdf(
    trays: Sequence[Tray],
    rows: Sequence[FillRow],
    quantities: Sequence[Quantity],
    sitting: Sitting,
    plan: Plan,
    printed_at: str,
    sheet: LabelSheet = A4_65,
) -> bytes:
    """Everything for one sitting in one PDF: labels, tray sheets, and last the fill sheet with the key."""
    return compose(
        ["labels", "trays", "fill"],
        sitting,
        printed_at,
        labels=label_cells(trays),
        label=asdict(sheet),
        **tray_content(trays, plan, sitting.label),
        **_key(rows, quantities),
    )


def compose(parts: list[str], sitting: Sitting | None, printed_at: str, **content: Any) -> bytes:
    """The parts named, in their order; `words` in `content` replace those of single servings."""
    name = sitting.label if sitting else ""
    data = {"parts": parts, "lang": language(), "title": _titles(parts, name), "sitting": name}
    words = _words(name, printed_at) | content.pop("words", {})
    return typeset("kit", data | {"words": words} | content, printed_at)


def _titles(parts: list[str], sitting: str) -> str:
    titles = {
        "labels": _("Labels, {sitting}"),
        "outlines": _("Test page for labels"),
        "trays": _("Tray sheets, {sitting}"),
        "fill": _("Fill sheet, {sitting}"),
    }
    title = titles[parts[0]] if len(parts) == 1 else _("Preparation, {sitting}")
    return title.format(sitting=sitting)


# ---- content -----------------------------------------------------------------------------------------------------
def tray_name(position: int) -> str:
    """ "tray 3", or the warm-up."""
    return _("warm-up") if position == 0 else _("tray {n}").format(n=position)


def label_cells(trays: Sequence[Tray]) -> list[dict[str, Any]]:
    """A label a cup: its code, tray and seat."""
    return [
        {"code": cup.code, "place": [tray_name(tray.position), _("seat {n}").format(n=cup.seat)]}
        for tray in sorted(trays, key=lambda tray: tray.position)
        for cup in sorted(tray.cups, key=lambda cup: cup.seat)
    ]


def tray_content(trays: Sequence[Tray], plan: Plan, sitting: str) -> dict[str, Any]:
    """A sheet a tray, with a line a seat and its code."""
    last = max((tray.position for tray in trays), default=0)
    pages = [_tray_page(tray, last, plan, sitting) for tray in sorted(trays, key=lambda tray: tray.position)]
    return {"trays": pages, "codes_each": 1, "tray_widths": _TRAY_WIDTHS}


def _tray_page(tray: Tray, last: int, plan: Plan, sitting: str) -> dict[str, Any]:
    title = _("Warm-up tray") if tray.position == 0 else _("Tray {n} of {m}").format(n=tray.position, m=last)
    cups = [
        {"seat": seat_name(cup.seat, cup.pseudonym), "codes": [cup.code]}
        for cup in sorted(tray.cups, key=lambda cup: cup.seat)
    ]
    return tray_page(title, sitting, plan, cups)


def seat_name(seat: int, pseudonym: str) -> str:
    """ "3  Wren"."""
    return _("{n}  {name}").format(n=seat, name=pseudonym)


def tray_page(title: str, sitting: str, plan: Plan | AromaPlan, cups: list[dict[str, Any]]) -> dict[str, Any]:
    """One tray sheet with its lines, and empty ones for spares."""
    return {
        "title": title,
        "foot": _("{sitting}, {paper}").format(sitting=sitting, paper=title),
        "facts": tray_facts(plan),
        "cups": [*cups, *({"seat": _("spare"), "codes": []} for _spare in range(_SPARES))],
    }


def tray_facts(plan: Plan | AromaPlan) -> list[tuple[str, str]]:
    """How every cup of a tray is served."""
    minutes = plan.rest_seconds / 60
    return [
        (_("serve at"), _("20 to 22 °C, all alike")),
        (_("piece"), _("{g} g, one mould").format(g=decimal(plan.piece_g))),
        (_("rest before"), _("{n} min").format(n=decimal(minutes, 0 if minutes.is_integer() else 1))),
        (_("out by"), "__________"),
    ]


def _key(rows: Sequence[FillRow], quantities: Sequence[Quantity]) -> dict[str, Any]:
    positions = sorted({row.position for row in rows})
    return {
        "fill_across": _FILL_ACROSS,
        "total_widths": _TOTAL_WIDTHS,
        "fill": [
            {
                "title": tray_name(position)[:1].upper() + tray_name(position)[1:],
                "cups": [
                    {"seat": _("seat {n}").format(n=row.seat), "cups": [(row.code, box_name(row.letter))]}
                    for row in sorted(rows, key=lambda row: row.seat)
                    if row.position == position
                ],
            }
            for position in positions
        ],
        "totals": [
            {
                "letter": quantity.letter,
                "holds": _("{h} h").format(h=hours(quantity.hours)),
                **amount(quantity),
            }
            for quantity in quantities
        ],
    }


def amount(quantity: Quantity | BoxQuantity) -> dict[str, str]:
    """Cups and grams in words."""
    return {
        "cups": ngettext("{n} cup", "{n} cups", quantity.cups).format(n=quantity.cups),
        "grams": _("{g} g").format(g=decimal(quantity.grams, 0)),
    }


def box_name(letter: str) -> str:
    """ "box C"."""
    return _("box {letter}").format(letter=letter)


def _words(sitting: str, printed_at: str) -> dict[str, Any]:
    printed = _("printed {time}").format(time=shown_time(printed_at))
    return {
        "page": _("page {n} of {m}"),
        "printed": printed,
        "label_foot": _("Labels, {sitting}, {printed}").format(sitting=sitting, printed=printed),
        "outline_foot": _("Test page: hold it against a sheet of labels. Print at 100 %, {printed}").format(
            printed=printed
        ),
        "codes_only": _("CODES ONLY"),
        "before": _("Before it leaves the kitchen"),
        "checks": tray_checks(),
        "columns": [_("seat"), _("code"), _("mass, g"), _("°C"), _("time out"), _("note")],
        "filled_by": _("filled by"),
        "checked_by": _("checked by"),
        "tray_caution": _(
            "This sheet goes with the tray and says nothing about what is in a cup. The fill sheet stays in the "
            "kitchen, away from everyone who tastes or serves. A tasting cannot show that an allergen is absent, and "
            "it clears nothing as food: your local food code and the people licensed to judge it decide that."
        ),
        "key": _("KEY: keep away from the tasting room"),
        "fill_title": _("Fill sheet"),
        "fill_foot": _("{sitting}, {paper}").format(sitting=sitting, paper=_("Fill sheet")),
        "fill_caution": _(
            "Whoever has read this sheet neither tastes nor serves in this study. Destroy it or lock it away when the "
            "trays are filled."
        ),
        "totals": _("Set aside before you begin, spares included"),
        "total_columns": [_("box"), _("pull"), _("cups"), _("mass"), _("set aside by")],
    }


def tray_checks() -> list[str]:
    """What is ticked before a tray leaves."""
    return [
        _("cleared as food by the person responsible"),
        _("allergen list shown to assessors"),
        _("no bloom, no broken piece, lids on"),
        _("labels read against this sheet by a second person"),
    ]
