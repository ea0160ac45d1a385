"""What the store knows around a decision, and how a report of any kind of study prints it."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from operator import itemgetter
from typing import Any

from studyapp import registry
from studyapp.findings.numbers import decimal
from studyapp.printing.press import shown_time
from studyapp.records import Deviation, Signature, Staff, Study, StudyPlan
from studyapp.services import closing, evidence, watching
from studyapp.services.evidence import Evidence, LinkUse
from studyapp.store import Store, events
from studyapp.words import _, ngettext

_FIRST_FEW = 3


@dataclass(frozen=True, slots=True)
class ReportRecord:
    """What the store knows around a decision; all empty for scores that came in a file.

    `rule` holds the sealed rule as sentences, `head` and `events` the chain of the record when printed, `last`
    the hash of the last event of this study, which its package carries. `rule_version`
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
    last: str | None = None
    rule_version: int | None = None
    corrected: str = ""
    rule_departures: tuple[str, ...] = ()
    evidence: Evidence | None = None


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
        "one_person": list(record.evidence.said) if record.evidence else [],
        "blinding": sorted(_blinding(record.evidence), key=itemgetter(0)) if record.evidence else [],
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


# ---- who saw what --------------------------------------------------------------------------------------------------
def _blinding(told: Evidence) -> Iterator[list[str]]:
    """Lines of time and sentence: who saw the key, who opened and signed, which links."""
    for at, name, role in told.seen:
        yield [_moment(at), _("{name} ({role}) saw the key").format(name=name, role=_role(role))]
    for key in told.opened:
        said = _("opening {look} of the key, by one person: {name}") if key.alone else _opened_by_two()
        yield [_moment(key.at), said.format(look=key.look, name=key.name)]
    for one in told.signed:
        name = one.name if one.account == one.name else _("{name}, from the account of {account}")
        said = _("signed as the one who {role}: {name}")
        yield [_moment(one.at), said.format(role=one.role, name=name.format(name=one.name, account=one.account))]
    for at, name, sitting in told.issued:
        yield [_moment(at), _("{name} made the links of {sitting}").format(name=name, sitting=sitting)]
    for link in told.links:
        yield [_moment(link.at), _link(link)]


def _opened_by_two() -> str:
    return _("opening {look} of the key, from two accounts: {name}")


def _role(role: str) -> str:
    return {"leader": _("panel leader"), "preparer": _("preparer")}.get(role, role)


def _link(link: LinkUse) -> str:
    """Whose link, which sitting, which device."""
    device = _("a device the record does not tell") if link.device is None else _("device {n}").format(n=link.device)
    parts = [
        _("link of {name}, {sitting}").format(name=link.pseudonym, sitting=link.sitting),
        f"{device} ({link.system})" if link.system else device,
        _("where {name} was signed in").format(name=link.account) if link.account else "",
        _("refused") if link.refused else "",
    ]
    return ", ".join(part for part in parts if part)


def _moment(kept: str) -> str:
    return shown_time(_local(kept))


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


def chain(record: ReportRecord) -> tuple[tuple[str, str], ...]:
    """Who opened the key, where the chain of the record stood, and the last event of this study."""
    return (_("Key opened"), _opened(record)), (_("Record"), _head(record)), (_("Last event"), record.last or "")


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
        "departures": _("Departures from the plan"),
        "careful": _("Careful"),
        "rule": _("The rule"),
        "numbers": _("The numbers"),
        "record": _("The record"),
        "blinding": _("Who saw what, and when"),
    }


def record_of(store: Store, by: Staff, study: Study[Any]) -> ReportRecord:
    """The record of a kept study, with times in the clock of this machine."""
    opened = closing.opened_keys(store, by, study.id)
    with store.read() as tx:
        (count, head), last = events.head(tx), events.head_of(tx, study.id)
    return ReportRecord(
        plan=study.plan,
        rule=registry.rule(study.kind).sentences(study.plan, study.named),
        seal=study.seal,
        sealed_at=_local(study.sealed_at),
        opened_at=_local(opened[-1].at) if opened else None,
        opened_by=opened[-1].name if opened else None,
        deviations=tuple(replace(one, at=_local(one.at) or "") for one in watching.deviations(store, by, study.id)),
        signatures=tuple(replace(one, at=_local(one.at) or "") for one in closing.signatures(store, by, study.id)),
        head=head,
        events=count,
        last=last or None,
        evidence=evidence.of_study(store, by, study.id),
    )


def _local(kept: str | None) -> str | None:
    if not kept:
        return None
    return datetime.fromisoformat(kept.replace("Z", "+00:00")).astimezone().isoformat(timespec="seconds")
