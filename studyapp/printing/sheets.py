"""One page of a record on paper: a sentence, a picture, tables and lists; the record of a batch is such a page."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any

from studyapp.batches import Batch, Ladder, Log, quantities
from studyapp.findings import batches as findings
from studyapp.findings import butter, decimal
from studyapp.findings.instruments import read_with, summary
from studyapp.pictures import paper
from studyapp.pictures.butter import worth
from studyapp.pictures.lanes import PullState, lanes
from studyapp.pictures.marks import Picture
from studyapp.pictures.theme import PAPER
from studyapp.printing.press import shown_time, typeset
from studyapp.services.readings import Read
from studyapp.words import _, language

List = tuple[str, Sequence[tuple[str, str]]]
Grid = tuple[str, Sequence[str], Sequence[Sequence[str]]]


@dataclass(frozen=True, slots=True)
class Sheet:
    """What stands on the page, from the top: tables are (name, heads, rows), lists (name, (label, value) ...)."""

    crumb: str
    title: str
    lede: str
    picture: Picture | None = None
    alt: str = ""
    tables: Sequence[Grid] = ()
    lists: Sequence[List] = ()
    caution: str = ""
    foot: str = ""
    flipped: bool = field(default=False)


def typeset_sheet(sheet: Sheet, printed_at: str) -> bytes:
    """The page as a PDF."""
    told: dict[str, Any] = {
        "lang": language(),
        "crumb": sheet.crumb,
        "title": sheet.title,
        "lede": sheet.lede,
        "svg": paper.svgs([sheet.picture], paper.WHOLE)[0] if sheet.picture else "",
        "alt": sheet.alt,
        "tables": [{"name": name, "heads": list(heads), "rows": rows} for name, heads, rows in sheet.tables if rows],
        "lists": [{"name": name, "rows": list(rows)} for name, rows in sheet.lists if rows],
        "caution": sheet.caution,
        "flipped": sheet.flipped,
        "foot_left": sheet.foot,
        "foot_middle": _("printed {time}").format(time=shown_time(printed_at)),
        "words": {"page": _("page {n} of {m}")},
    }
    return typeset("sheet", told, printed_at)


def batch_pdf(
    found: Batch, log: Log | None, pulls: Sequence[PullState], read: Read, day: str, printed_at: str
) -> bytes:
    """The record of a batch."""
    lost = [hour for hour, state in pulls if state == "lost"]
    drawn = bool(found.draft.phases or log or pulls)
    made = found.draft.made
    contents = [(_("Contains"), made.contains), (_("Traces of"), made.traces), (_("Compared by"), made.confirmed)]
    sheet = Sheet(
        ", ".join(part for part in (found.draft.recipe, found.draft.machine) if part),
        found.draft.label,
        findings.sentence(found, log, lost, day),
        lanes(found, log, pulls, PAPER) if drawn else None,
        findings.lanes_say(found, log, lost),
        [_phases(found, log), _readings(read)],
        [
            (_("Recipe"), list(findings.recipe_lines(found))),
            (_("Mill"), list(findings.mill_lines(found))),
            (_("What is in it"), [line for line in contents if line[1]]),
        ],
        _("A record of what was made. It clears nothing for allergens, hygiene or labels."),
    )
    return typeset_sheet(sheet, printed_at)


def butter_pdf(found: Batch, ladder: Ladder, printed_at: str) -> bytes:
    """What the hours of a batch are worth in cocoa butter, with the picture that counts."""
    told = butter.worths(butter.table(ladder))
    name = butter.counts(told) or next(iter(told))
    mass = None if found.draft.mass_g is None else found.draft.mass_g / 1000
    sheet = Sheet(
        found.draft.label,
        butter.headline(told, ladder.conched_h),
        butter.lede(ladder, told),
        worth(name, ladder, told[name], PAPER),
        butter.picture_says(name, ladder, told[name]),
        (),
        [
            (_("Read"), [(butter.heading(one), butter.portions_say(ladder)) for one in told]),
            (_("In money"), list(butter.money_lines(ladder, told, mass))),
            (_("When this does not hold"), [(str(n), one) for n, one in enumerate(butter.does_not_hold(ladder), 1)]),
        ],
        " ".join(butter.says(butter.heading(one), of) for one, of in told.items()),
    )
    return typeset_sheet(sheet, printed_at)


def _phases(found: Batch, log: Log | None) -> Grid:
    heads = [_("phase"), _("planned"), _("real"), _("°C planned"), _("°C real"), _("turns a min"), _("also")]
    rows = [
        [
            row.phase.name,
            *("–" if span is None else findings.length(span) for span in (row.planned_h, row.real_h)),
            *(
                "–" if value is None else decimal(value, 0)
                for value in (row.phase.temperature_c, row.temperature_c, row.speed_rpm)
            ),
            findings.also(row.phase),
        ]
        for row in findings.rows(found, log)
    ]
    return _("Programme, phase by phase"), heads, rows


def _readings(read: Read) -> Grid:
    hours = read.hours
    heads = [_("what"), *(_("{h} h").format(h=f"{hour:g}") for hour in hours), _("read with")]
    rows = [
        [
            f"{quantities()[name]}, {unit}".rstrip(", "),
            *(told.get(hour, "–") for hour in hours),
            read_with(read, name),
        ]
        for (name, unit), told in summary(read).items()
    ]
    return _("Read at the pulls"), heads, rows
