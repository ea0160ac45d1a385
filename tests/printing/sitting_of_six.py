"""One invented sitting: eight seats, a warm-up and six trays, and its key."""

from __future__ import annotations

from studyapp.kinds.hours.plan import HoursPlan, Pull
from studyapp.printing.kit import Key, Kit
from studyapp.printing.sheet import Sheet
from studyapp.records import Attribute, FillRow, Quantity, Sitting, Study, Tray, TrayCup
from studyapp.services.preparing import checks

PRINTED = "2026-11-24T08:40:00+01:00"
NAMES = ("Heron", "Lark", "Wren", "Plover", "Finch", "Swift", "Dunlin", "Siskin")
HOURS = (17.25, 33.75, 41.5, 52.25, 61.5, 70.75)
LETTERS = "QVWXYZ"  # letters that stand alone nowhere else on a sheet


def _code(position: int, seat: int) -> str:
    return str(101 + (position * len(NAMES) + seat) * 13)


SITTING = Sitting("s1", "study", 1, "Tuesday, sitting 1", "planned")
TRAYS = tuple(
    Tray("s1", p, tuple(TrayCup(seat, name, _code(p, seat)) for seat, name in enumerate(NAMES, 1))) for p in range(7)
)
ROWS = tuple(
    FillRow(
        tray.position,
        cup.seat,
        ((cup.code, LETTERS[(cup.seat + tray.position) % 6]),),
    )
    for tray in TRAYS
    for cup in tray.cups
)
QUANTITIES = tuple(Quantity(letter, f"{hours:g} h", 18, 81.0) for letter, hours in zip(LETTERS, HOURS, strict=True))
PLAN = HoursPlan(
    "Quittentorte study",
    question="When is Zirbelnuss done?",
    recipe="Zirbelnuss 72",
    batch="Pfauenfeder 9",
    machine="Drehmaschine",
    pulls=tuple(Pull(hours) for hours in HOURS),
    attributes=(
        Attribute("acidity", "sharp, like lemon or vinegar"),
        Attribute("off-notes", "smoke, ham, mould, anything that should not be there"),
    ),
    contains="cocoa, cane sugar",
    traces="milk, hazelnut",
)
SECRETS = (
    "Quittentorte",
    "Zirbelnuss",
    "Pfauenfeder",
    "Drehmaschine",
    *(f"{hours:g}" for hours in HOURS),
    *(f"box {letter}" for letter in LETTERS),
)
SHEET = Sheet(PLAN.title, "7C1E", "2026-11-24")
KIT = Kit(SITTING, PLAN, TRAYS, checks(Study("study", "hours", PLAN, "sealed", PRINTED)), SHEET)
KEY = Key(ROWS, QUANTITIES)
