"""Paper for a sitting: labels and tray sheets with codes only, and apart from them the fill sheet with the key.

One cup a person on a tray, or a set of cups in the order of tasting: the sheets follow how many there are.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass
from typing import Any

from studyapp.findings.numbers import decimal
from studyapp.printing.press import shown_time, typeset
from studyapp.printing.sheet import NO_SHEET, Sheet
from studyapp.records import SPARES, Check, FillRow, Quantity, Sitting, StudyPlan, Tray
from studyapp.words import _, language, ngettext

_SPARES = 2
# Widths in mm, 0 takes what is left.
_ONE_CUP, _TOTALS = (23, 25, 20, 18, 22, 0), (16, 80, 22, 20, 0)
_SEAT, _CODE, _TIME = 26, 17, 20


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


@dataclass(frozen=True, slots=True)
class Kit:
    """What the sheets of a sitting are made of, without its key; `checks` are confirmed before a tray leaves, `spares`
    are codes."""

    sitting: Sitting
    plan: StudyPlan
    trays: Sequence[Tray]
    checks: Sequence[Check]
    sheet: Sheet = NO_SHEET
    spares: Sequence[str] = ()

    @property
    def blind(self) -> str:
        """What stands on a sheet that who tastes may see."""
        return self.sheet.blind(self.sitting.label)

    @property
    def named(self) -> str:
        """What stands on a sheet that stays in the kitchen."""
        return self.sheet.named(self.sitting.label)


@dataclass(frozen=True, slots=True)
class Key:
    """What goes into which cup, and how much of each box to set aside."""

    rows: Sequence[FillRow]
    quantities: Sequence[Quantity]


def labels(kit: Kit, printed_at: str, sheet: LabelSheet = A4_65) -> bytes:
    """A label a cup, tray by tray: code with a line under it, tray, seat, place in its set; nothing else. PDF."""
    return _compose(["labels"], kit, printed_at, **_label_content(kit, sheet))


def label_outlines(printed_at: str, sheet: LabelSheet = A4_65) -> bytes:
    """One page with the outline of every label, to hold against a sheet before printing on it. PDF."""
    return _compose(["outlines"], None, printed_at, label=asdict(sheet))


def tray_sheets(kit: Kit, printed_at: str) -> bytes:
    """A sheet a tray for whoever serves: seats and codes, checks to tick, columns to fill by hand. PDF."""
    return _compose(["trays"], kit, printed_at, **_tray_content(kit))


def fill_sheet(kit: Kit, key: Key, printed_at: str) -> bytes:
    """The key for the kitchen: which code holds which box, and how much of each to set aside. PDF."""
    return _compose(["fill"], kit, printed_at, **_key_content(key))


def preparation_pdf(kit: Kit, key: Key, printed_at: str, sheet: LabelSheet = A4_65) -> bytes:
    """Everything for one sitting in one PDF: labels, tray sheets, and last the fill sheet with the key."""
    content = _label_content(kit, sheet) | _tray_content(kit) | _key_content(key)
    return _compose(["labels", "trays", "fill"], kit, printed_at, **content)


def _compose(parts: list[str], kit: Kit | None, printed_at: str, **content: Any) -> bytes:
    """The parts named, in their order."""
    sitting = kit.sitting.label if kit else ""
    words = _words(kit.blind if kit else "", kit.named if kit else "", printed_at) | content.pop("words", {})
    data = {"parts": parts, "lang": language(), "title": _titles(parts, sitting), "sitting": sitting, "words": words}
    return typeset("kit", data | content, printed_at)


def opened_key(
    study: str, rows: Sequence[tuple[str, Sequence[FillRow]]], holds: Mapping[str, str], printed_at: str
) -> bytes:
    """What every cup of a study held, by (sitting, its rows), once its key is open. PDF."""
    content = _key_content(Key((), [Quantity(letter, held, 0, 0.0) for letter, held in holds.items()]))
    content["totals"] = [{**one, "cups": "", "grams": ""} for one in content["totals"]]
    every = [(sitting, _key_content(Key(own, ()))) for sitting, own in rows]
    content["fill_across"] = min((own["fill_across"] for _sitting, own in every), default=4)
    named = _("{sitting}, {paper}")
    content["fill"] = [
        {**part, "title": named.format(sitting=sitting, paper=part["title"])}
        for sitting, own in every
        for part in own["fill"]
    ]
    foot = {"fill_title": _("Key"), "fill_foot": _("{sitting}, {paper}").format(sitting=study, paper=_("Key"))}
    columns = [_("box"), _("holds"), "", "", ""]
    foot |= {
        "totals": _("What was in which box"),
        "fill_caution": _("Read after the key was opened. Who may still taste in this study does not read it."),
    }
    return _compose(["fill"], None, printed_at, words={**foot, "total_columns": columns}, **content)


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
def places(tray: Tray) -> dict[tuple[int, str], tuple[str, ...]]:
    """Codes in the order of tasting, by (seat, pseudonym), in the order of the seats."""
    found: dict[tuple[int, str], tuple[str, ...]] = {}
    for cup in sorted(tray.cups, key=lambda cup: cup.seat):
        found[cup.seat, cup.pseudonym] = (*found.get((cup.seat, cup.pseudonym), ()), cup.code)
    return found


def _cups_each(trays: Sequence[Tray]) -> int:
    return max((len(codes) for tray in trays for codes in places(tray).values()), default=1)


def _cup_names(count: int) -> list[str]:
    return [_("cup {n}").format(n=number) for number in range(1, count + 1)]


def tray_name(position: int) -> str:
    """ "tray 3", or the warm-up."""
    if position in (0, SPARES):
        return _("spares") if position else _("warm-up")
    return _("tray {n}").format(n=position)


def _label_content(kit: Kit, sheet: LabelSheet) -> dict[str, Any]:
    """A label a cup: its code, tray and seat, and which cup of a set it is."""
    names = _cup_names(_cups_each(kit.trays)) if _cups_each(kit.trays) > 1 else [""]
    cells = [
        {"code": code, "place": [word for word in (tray_name(tray.position), _seat(seat), name) if word]}
        for tray in sorted(kit.trays, key=lambda tray: tray.position)
        for (seat, _pseudonym), codes in places(tray).items()
        for code, name in zip(codes, names, strict=False)
    ]
    spares = [{"code": code, "place": [_("spare")]} for code in kit.spares]
    return {"labels": [*cells, *spares], "label": asdict(sheet)}


def _seat(number: int) -> str:
    return _("seat {n}").format(n=number) if number else _("spare")


def _tray_content(kit: Kit) -> dict[str, Any]:
    """A sheet a tray, with a line a seat and its codes, and empty lines for spares."""
    last, each = max((tray.position for tray in kit.trays), default=0), _cups_each(kit.trays)
    trays = sorted(kit.trays, key=lambda tray: tray.position)
    several = {"columns": [_("seat"), *_cup_names(each), _("time out"), _("note")]}
    one = {"columns": [_("seat"), _("code"), _("mass, g"), _("°C"), _("time out"), _("note")]}
    return {
        "trays": [_tray_page(tray, last, kit) for tray in trays],
        "codes_each": each,
        "tray_widths": _ONE_CUP if each == 1 else [_SEAT, *[_CODE] * each, _TIME, 0],
        "words": {**(one if each == 1 else several), "checks": [check.paper for check in kit.checks]},
    }


def _tray_page(tray: Tray, last: int, kit: Kit) -> dict[str, Any]:
    title = _("Warm-up tray") if tray.position == 0 else _("Tray {n} of {m}").format(n=tray.position, m=last)
    cups = [
        {"seat": _("{n}  {name}").format(n=seat, name=name), "codes": codes}
        for (seat, name), codes in places(tray).items()
    ]
    return {
        "title": title,
        "foot": _("{sitting}, {paper}").format(sitting=kit.blind, paper=title),
        "facts": _tray_facts(kit.plan),
        "cups": [*cups, *({"seat": _("spare"), "codes": []} for _spare in range(_SPARES))],
    }


def _tray_facts(plan: StudyPlan) -> list[tuple[str, str]]:
    """How every cup of a tray is served."""
    minutes = plan.rest_seconds / 60
    return [
        (_("serve at"), _("20 to 22 °C, all alike")),
        (_("piece"), _("{g} g, one mould").format(g=decimal(plan.piece_g))),
        (_("rest before"), _("{n} min").format(n=decimal(minutes, 0 if minutes.is_integer() else 1))),
        (_("out by"), "__________"),
    ]


def _key_content(key: Key) -> dict[str, Any]:
    each = max((len(row.cups) for row in key.rows), default=1)
    return {
        "fill_across": {1: 4, 2: 2, 3: 2}.get(each, 1),
        "total_widths": _TOTALS,
        "fill": [
            {
                "title": tray_name(position)[:1].upper() + tray_name(position)[1:],
                "cups": [
                    {"seat": _seat(row.seat), "cups": [(code, box_name(letter)) for code, letter in row.cups]}
                    for row in sorted(key.rows, key=lambda row: row.seat)
                    if row.position == position
                ],
            }
            for position in sorted({row.position for row in key.rows})
        ],
        "totals": [{"letter": one.letter, "holds": one.holds, **_amount(one)} for one in key.quantities],
    }


def _amount(quantity: Quantity) -> dict[str, str]:
    """Cups and grams in words."""
    return {
        "cups": ngettext("{n} cup", "{n} cups", quantity.cups).format(n=quantity.cups),
        "grams": _("{g} g").format(g=decimal(quantity.grams, 0)),
    }


def box_name(letter: str) -> str:
    """ "box C"."""
    return _("box {letter}").format(letter=letter)


def _words(sitting: str, named: str, printed_at: str) -> dict[str, Any]:
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
        "filled_by": _("filled by"),
        "checked_by": _("checked by"),
        "tray_caution": _(
            "This sheet goes with the tray and says nothing about what is in a cup. The fill sheet stays in the "
            "kitchen, away from everyone who tastes or serves. A tasting cannot show that an allergen is absent, and "
            "it clears nothing as food: your local food code and the people licensed to judge it decide that."
        ),
        "key": _("KEY: keep away from the tasting room"),
        "fill_title": _("Fill sheet"),
        "fill_foot": _("{sitting}, {paper}").format(sitting=named, paper=_("Fill sheet")),
        "fill_caution": _(
            "Whoever has read this sheet neither tastes nor serves in this study. Destroy it or lock it away when the "
            "trays are filled."
        ),
        "totals": _("Set aside before you begin, spares included"),
        "total_columns": [_("box"), _("holds"), _("cups"), _("mass"), _("set aside by")],
    }
