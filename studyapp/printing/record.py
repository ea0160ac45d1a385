"""What the store knows around a decision, and how a report of any kind of study prints it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from typing import Any

from studyapp import registry
from studyapp.findings.numbers import decimal
from studyapp.printing.press import shown_time
from studyapp.records import Deviation, Signature, Staff, Study, StudyPlan
from studyapp.services import closing, watching
from studyapp.store import Store, events
from studyapp.words import _, ngettext

_FIRST_FEW = 3


@dataclass(frozen=True, slots=True)
class ReportRecord:
    """What the store knows around a decision; all empty for scores that came in a file.

    `rule` holds the sealed rule as sentences, `head` and `events` the chain of the record when printed. `rule_version`
    is that of the stop rule behind the verdict, None where nothing was sealed; `corrected` is the sentence beside a
    verdict that the corrected rule would not give, `rule_departures` says that another version decided than was sealed.
    """

    plan: Any = None
    rule: tuple[str, ...] = ()
    seal: str | None = None
    sealed_at: str | None = None
    opened_at: str | None = None
    opened_by: str | None = None
    deviations: tuple[Deviation, ...] = ()
    signatures: tuple[Signature, ...] = ()
    head: str | None = None
    events: int = 0
    rule_version: int | None = None
    corrected: str = ""
    rule_departures: tuple[str, ...] = ()


NOTHING_KEPT = ReportRecord()


def notes(changes: Sequence[str], warnings: Sequence[str], record: ReportRecord) -> dict[str, Any]:
    """What a decision rests on, what departed, what to be careful about, and who signed; of any kind of study."""
    return {
        "corrected": record.corrected,
        "changes": list(changes) or [_("Nothing is listed.")],
        "departures": _few(_departures(record)),
        "all_departures": _departures(record),
        "warnings": _few(list(warnings)),
        "all_warnings": list(warnings),
        "signatures": _signatures(record.signatures),
    }


def _departures(record: ReportRecord) -> list[str]:
    noted = [*record.rule_departures, *_noted(record.deviations)]
    return noted or [_("Nothing was noted.")]


def _noted(deviations: Sequence[Deviation]) -> list[str]:
    known = {
        "nothing served": _("nothing was served yet"),
        "no results seen": _("no result was seen yet"),
        "results not opened": _("results were not opened yet"),
        "results seen": _("results had been seen"),
    }
    return [
        _("{time}: {sentence} ({known})").format(
            time=shown_time(deviation.at), sentence=deviation.sentence, known=known[deviation.known]
        )
        for deviation in deviations
    ]


def _few(sentences: list[str]) -> list[str]:
    """The first few, and where the rest stands, so that page 1 stays one page."""
    more = len(sentences) - _FIRST_FEW
    if more <= 0:
        return sentences
    last = ngettext(
        "{n} more stands with the record on the last page.", "{n} more stand with the record on the last page.", more
    )
    return [*sentences[:_FIRST_FEW], last.format(n=more)]


def _signatures(signed: Sequence[Signature]) -> list[dict[str, str]]:
    lines = [{"label": signature.role, "name": signature.name, "at": shown_time(signature.at)} for signature in signed]
    for label in (_("ran the test"), _("decides")):
        if all(line["label"] != label for line in lines):
            lines.append({"label": label, "name": "", "at": ""})
    return lines


def sealed(record: ReportRecord) -> list[str]:
    """When the rule was sealed, and its hash."""
    if record.seal is None:
        return [_("This rule came in a file and was not sealed here: nothing shows that it was written first.")]
    return [_("Sealed {time}. SHA-256 of the rule: {seal}").format(time=shown_time(record.sealed_at), seal=record.seal)]


def served(plan: StudyPlan) -> str:
    """Piece, rest, and what is done with it."""
    minutes = plan.rest_seconds / 60
    return _("pieces of {g} g, {n} min of rest between them, {swallow}").format(
        g=decimal(plan.piece_g), n=decimal(minutes, 0 if minutes.is_integer() else 1), swallow=plan.swallow
    )


def chain(record: ReportRecord) -> tuple[tuple[str, str], tuple[str, str]]:
    """Who opened the key, and where the chain of the record stood."""
    return (_("Key opened"), _opened(record)), (_("Record"), _head(record))


def _opened(record: ReportRecord) -> str:
    if record.opened_at is None:
        return ""
    return _("{time}, by {name}").format(time=shown_time(record.opened_at), name=record.opened_by or "–")


def _head(record: ReportRecord) -> str:
    if record.head is None:
        return ""
    return ngettext("{n} event, head {head}", "{n} events, head {head}", record.events).format(
        n=record.events, head=record.head
    )


def foot(record: ReportRecord, printed_at: str) -> str:
    """The last line of every page."""
    printed = shown_time(printed_at)
    if record.seal is None:
        return _("rule not sealed here; printed {printed}").format(printed=printed)
    return _("rule sealed {sealed}, SHA-256 {seal}; key opened {opened}; printed {printed}").format(
        sealed=shown_time(record.sealed_at),
        seal=f"{record.seal[:4]}…{record.seal[-4:]}",
        opened=shown_time(record.opened_at),
        printed=printed,
    )


def page_words() -> dict[str, Any]:
    """The headings of a report of any kind of study."""
    return {
        "page": _("page {n} of {m}"),
        "price": _("What an answer would cost"),
        "departures": _("What departed from the plan"),
        "careful": _("Careful"),
        "rule": _("The rule"),
        "numbers": _("The numbers"),
        "record": _("The record"),
    }


def record_of(store: Store, by: Staff, study: Study[Any]) -> ReportRecord:
    """The record of a kept study, with times in the clock of this machine."""
    opened = closing.openings(store, by, study.id)
    with store.read() as tx:
        count, head = events.head(tx)
    return ReportRecord(
        plan=study.plan,
        rule=registry.rule(study.kind).sentences(study.plan, study.named),
        seal=study.seal,
        sealed_at=_local(study.sealed_at),
        opened_at=_local(opened[-1][2]) if opened else None,
        opened_by=opened[-1][1] if opened else None,
        deviations=tuple(replace(one, at=_local(one.at) or "") for one in watching.deviations(store, by, study.id)),
        signatures=tuple(replace(one, at=_local(one.at) or "") for one in closing.signatures(store, by, study.id)),
        head=head,
        events=count,
    )


def _local(kept: str | None) -> str | None:
    if not kept:
        return None
    return datetime.fromisoformat(kept.replace("Z", "+00:00")).astimezone().isoformat(timespec="seconds")
