"""Papers of the hours book: the process card beside the machine, whether it is worth it, and the book itself."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from studyapp.batches import Batch
from studyapp.errors import NotAllowed
from studyapp.findings import batches as of_batches
from studyapp.findings import hours as as_hours
from studyapp.findings import of_studies, units
from studyapp.findings.days import day_of
from studyapp.findings.numbers import listed, opening
from studyapp.kinds.hours.deciding import book as books
from studyapp.kinds.hours.deciding.book import MOST_BATCHES, Book, Entry
from studyapp.kinds.hours.findings import book as findings
from studyapp.kinds.hours.findings.instruments import wanted
from studyapp.kinds.hours.pictures.book import batches_down, saved_against_spent
from studyapp.kinds.hours.plan import HoursStudy
from studyapp.pictures.theme import PAPER
from studyapp.printing.press import shown_time, typeset
from studyapp.printing.sheets import Sheet, typeset_sheet
from studyapp.records import Staff
from studyapp.services import closing
from studyapp.store import Store
from studyapp.words import _, language

_CAUTION = 4  # letters of a seal in each of its two groups


def worth(store: Store, by: Staff, study: HoursStudy, printed_at: str) -> bytes:
    """The page to put before the owner."""
    found = books.book_of(store, by, study.id)
    typed = books.prices(store, by, found)
    told = books.worth(found, typed)
    sheet = Sheet(
        findings.name(found),
        findings.worth_headline(told, MOST_BATCHES),
        findings.worth_lede(told, found, typed.batches_a_year) if told else "",
        saved_against_spent(told, typed.batches_a_year, PAPER) if told else None,
        findings.worth_says(told, typed.batches_a_year) if told else "",
        (),
        [
            (_("Saved, a batch"), list(findings.lines_of(told.saved))),
            (_("Spent on knowing"), list(findings.lines_of(told.spent))),
        ]
        if told
        else [],
        findings.what_can_go_wrong(found),
    )
    return typeset_sheet(sheet, printed_at)


def book(store: Store, by: Staff, study: HoursStudy, printed_at: str) -> bytes:
    """The book of a recipe and machine."""
    found = books.book_of(store, by, study.id)
    sheet = Sheet(
        findings.name(found),
        findings.headline(found),
        findings.lede(found),
        batches_down(found, PAPER),
        findings.picture_says(found),
        (),
        [
            (_("What may be said, and of what"), [(words, hour) for _sign, words, hour in findings.said_of(found)]),
            (_("What ends an entry"), [(str(n), words) for n, words in enumerate(findings.ends_when(found), 1)]),
        ],
        findings.how_to_confirm(found),
    )
    return typeset_sheet(sheet, printed_at)


# ---- the process card ------------------------------------------------------------------------------------------------
def card(store: Store, by: Staff, study: HoursStudy, printed_at: str) -> bytes:
    """The process card of the hour in use. Raises NotAllowed where none is."""
    found = books.book_of(store, by, study.id)
    if found.in_use is None or found.chosen_by is None:
        raise NotAllowed(_("Not printed: no shorter hour is in use, so there is nothing to put beside the machine."))
    number = books.note_card(store, by, study.id, found.in_use)
    entry = found.chosen_by
    signatures = [(one.role, one.name) for one in closing.signatures(store, by, entry.study.id)]
    chose = found.course.origin.decision if found.course is not None else entry.decision
    good = found.longest if chose.latest_hours is None else chose.latest_hours
    ticks = sorted(entry.decision.passes)
    data: dict[str, Any] = {
        "lang": language(),
        "crumb": _("Process card, print {n}").format(n=number),
        "title": findings.name(found),
        "until": day_of(found.ends_on),
        "hour": findings.h(found.in_use),
        "zero": _("after hour zero: {what}").format(what=entry.study.plan.hour_zero or _("as it was sealed")),
        "chosen": found.in_use,
        "good": good,
        "good_words": _("as good, up to {hour}").format(hour=findings.h(good)),
        "first": ticks[0],
        "last": ticks[-1],
        "hours": [{"at": hour, "words": as_hours(hour)} for hour in ticks],
        "rows": [[name, words] for name, words in _rows(found, entry) if words],
        "signatures": signatures[-2:] or [(_("ran the test"), ""), (_("decides"), "")],
        "caution": _(
            "Taste and flow only: clears nothing for allergens, hygiene or labels. The machine is hot and turns."
        ),
        "foot_left": _("Seal {seal}").format(seal=(entry.study.seal or "")[: 2 * _CAUTION].upper()),
        "foot_middle": _("printed {time}").format(time=shown_time(printed_at)),
        "words": {
            "page": _("page {n} of {m}"),
            "until": _("valid until"),
            "stop": _("Stop the conche at"),
            "here": _("stop here"),
        },
    }
    return typeset("card", data, printed_at)


def _rows(found: Book, entry: Entry) -> Iterator[tuple[str, str]]:
    decision = entry.decision
    written = _written(found)
    yield _("Recipe"), _recipe(written) or entry.study.plan.recipe
    lots = listed(list(dict.fromkeys(lot for one in found.bearing for lot in one.lots)))
    other = _("Any other lot: {longest}, until one batch is confirmed.").format(longest=findings.h(found.longest))
    yield _("Cocoa lots"), f"{lots}. {other}" if lots else other
    yield _("Programme"), _programme(written)
    yield _("Before you stop"), "; ".join(dict.fromkeys(f"{one.gate.quantity} {wanted(one)}" for one in decision.gates))
    yield _("Never below"), findings.never_below(entry)
    margins = [f"{name} {units(one.rule.margin)}" for name, one in decision.attributes.items()]
    yield _("Margins"), _("{margins} on the 0 to 10 scale").format(margins=", ".join(margins))
    evidence = _("{claim}: {batches}; {n} sittings, {m} people; stops too early in at most {risk} such studies")
    yield (
        _("Evidence"),
        evidence.format(
            claim=findings.widest_claim(found),
            batches=listed([label for one in found.bearing for label in one.labels]),
            n=sum(one.sittings for one in found.bearing),
            m=len(entry.study.plan.assessors),
            risk=of_studies(decision.alpha),
        ),
    )
    yield _("Ends when"), opening("; ".join(findings.ends_when(found)))


def _written(found: Book) -> Batch | None:
    """The last batch that bears the hour and whose making somebody wrote down."""
    known = [one for entry in found.bearing for one in entry.batches if one.draft.made.parts or one.draft.phases]
    return known[-1] if known else None


def _recipe(batch: Batch | None) -> str:
    return ", ".join(f"{name} {value}" for name, value in of_batches.recipe_lines(batch)) if batch else ""


def _programme(batch: Batch | None) -> str:
    told = []
    for one in batch.draft.phases if batch else ():
        span = (
            None if one.from_hours is None or one.to_hours is None else of_batches.length(one.to_hours - one.from_hours)
        )
        degrees = None if one.temperature_c is None else _("at {n} °C").format(n=as_hours(one.temperature_c))
        told.append(" ".join(part for part in (one.name, span, degrees, one.air) if part))
    return "; ".join(told)
