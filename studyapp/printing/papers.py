"""Papers by their address: who asks, what for, and the bytes with a file name.

The services decide who may see what; a paper is only the services' answer on a sheet.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from datetime import UTC, datetime
from functools import partial
from typing import TYPE_CHECKING

from studyapp.errors import NotFound
from studyapp.printing import kit, sets, slips
from studyapp.records import AromaPlan, AromaStudy, HoursStudy, Plan, Sitting, Staff
from studyapp.services import aroma_planning, aroma_preparing, planning, preparing, watching
from studyapp.services.access import require, sitting_or_refuse
from studyapp.services.pull_calendar import MINUTES_A_PIECE
from studyapp.words import _

if TYPE_CHECKING:
    from studyapp.printing.report import ReportRecord
    from studyapp.store import Store


def paper(store: Store, by: Staff, kind: str, of: str) -> tuple[str, bytes]:
    """One paper as (file name, PDF).

    Args:
        kind: "labels", "outlines", "trays", "ballots" (leader or preparer), "fill", "preparation" (preparer), all of a
            sitting; "report" (leader) of a study. Labels and outlines for another sheet than 65 to a page carry their
            number: "labels-24", "outlines-21".
        of: the id of the sitting or the study; "outlines" needs none, any text will do.

    Raises:
        NotAllowed: the role or the state of the study forbids it.
        NotFound: there is no such paper, sitting or study.
    """
    maker = _PAPERS.get(kind)
    if maker is None:
        raise NotFound(_("Not done: there is no paper named {kind}.").format(kind=kind))
    return f"{kind}.pdf", maker(store, by, of)


def printed_now() -> str:
    """The clock of this machine, with its offset."""
    return datetime.now(UTC).astimezone().isoformat(timespec="seconds")


def _sitting(store: Store, by: Staff, sitting_id: str) -> tuple[Sitting, Plan | AromaPlan]:
    require(by, "leader", "preparer")
    with store.read() as tx:
        sitting = sitting_or_refuse(tx, sitting_id)
    return sitting, planning.study(store, by, sitting.study).plan


def _outlines(store: Store, by: Staff, of: str, sheet: kit.LabelSheet = kit.A4_65) -> bytes:
    require(by, "leader", "preparer")
    return kit.label_outlines(printed_now(), sheet)


def _labels(store: Store, by: Staff, of: str, sheet: kit.LabelSheet = kit.A4_65) -> bytes:
    sitting, plan = _sitting(store, by, of)
    draw = sets.labels if isinstance(plan, AromaPlan) else kit.labels
    return draw(preparing.trays(store, by, of), sitting, printed_now(), sheet)


def _trays(store: Store, by: Staff, of: str) -> bytes:
    sitting, plan = _sitting(store, by, of)
    trays = preparing.trays(store, by, of)
    if isinstance(plan, AromaPlan):
        return sets.tray_sheets(trays, sitting, plan, printed_now())
    return kit.tray_sheets(trays, sitting, plan, printed_now())


def _ballots(store: Store, by: Staff, of: str) -> bytes:
    sitting, plan = _sitting(store, by, of)
    if isinstance(plan, AromaPlan):
        raise NotFound(_("Not done: sets are answered on a phone; there is no paper for them."))
    return slips.ballots_pdf(preparing.trays(store, by, of), sitting, plan, printed_now())


def _fill(store: Store, by: Staff, of: str) -> bytes:
    sitting, plan = _sitting(store, by, of)
    if isinstance(plan, AromaPlan):
        filled = aroma_preparing.fill_rows(store, by, of)
        return sets.fill_sheet(filled, aroma_preparing.quantities(store, by, sitting.study), sitting, printed_now())
    rows = preparing.fill_rows(store, by, of)
    return kit.fill_sheet(rows, preparing.quantities(store, by, sitting.study), sitting, printed_now())


def _preparation(store: Store, by: Staff, of: str) -> bytes:
    sitting, plan = _sitting(store, by, of)
    trays, at = preparing.trays(store, by, of), printed_now()
    if isinstance(plan, AromaPlan):
        filled = aroma_preparing.fill_rows(store, by, of)
        amounts = aroma_preparing.quantities(store, by, sitting.study)
        return sets.preparation_pdf(trays, filled, amounts, sitting, plan, at)
    rows = preparing.fill_rows(store, by, of)
    return kit.preparation_pdf(trays, rows, preparing.quantities(store, by, sitting.study), sitting, plan, at)


def _report(store: Store, by: Staff, of: str) -> bytes:
    from studyapp.findings import Costs, hours_finding, versions
    from studyapp.printing.report import report_pdf
    from studyapp.services import deciding

    study = planning.study(store, by, of)
    if isinstance(study, AromaStudy):
        return _aroma_report(store, by, study)
    shown = deciding.shown(store, by, of)
    offers = deciding.offers(store, by, of) if shown.decision.verdict == "cannot tell" else ()
    beside = deciding.description(store, by, of) if shown.corrected is None else None
    plan = study.plan
    costs = Costs(plan.piece_g, plan.rest_seconds / 60 + MINUTES_A_PIECE, plan.warm_up)
    finding = hours_finding(shown.decision, offers, plan.title, costs, beside)
    record = replace(
        report_record(store, by, of),
        rule_version=shown.rule_version,
        corrected=versions.said_otherwise(shown),
        rule_departures=versions.departures(shown),
    )
    return report_pdf(shown.decision, finding, printed_now(), record)


def _aroma_report(store: Store, by: Staff, study: AromaStudy) -> bytes:
    from studyapp.findings import aroma_pages
    from studyapp.printing.aroma_report import aroma_report_pdf

    told = aroma_pages.told(store, by, study)
    record = report_record(store, by, study.id)
    return aroma_report_pdf(study.plan, told.result, told.finding, printed_now(), record, told.ways)


def report_record(store: Store, by: Staff, study_id: str) -> ReportRecord:
    """What the store knows around a decision, with times in the clock of this machine."""
    from studyapp.printing.report import ReportRecord
    from studyapp.services import deciding
    from studyapp.store import events

    study = planning.study(store, by, study_id)
    opened = deciding.openings(store, by, study_id)
    with store.read() as tx:
        count, head = events.head(tx)
    return ReportRecord(
        plan=study.plan if isinstance(study.plan, Plan) else None,
        rule=_rule(study),
        seal=study.seal,
        sealed_at=_local(study.sealed_at),
        opened_at=_local(opened[-1][2]) if opened else None,
        opened_by=opened[-1][1] if opened else None,
        deviations=tuple(replace(one, at=_local(one.at) or "") for one in watching.deviations(store, by, study_id)),
        signatures=tuple(replace(one, at=_local(one.at) or "") for one in deciding.signatures(store, by, study_id)),
        head=head,
        events=count,
    )


def _rule(study: HoursStudy | AromaStudy) -> tuple[str, ...]:
    if isinstance(study, AromaStudy):
        return aroma_planning.rule_sentences(study.plan)
    return planning.rule_sentences(study.plan, study.rule_version)


def _local(kept: str | None) -> str | None:
    if not kept:
        return None
    return datetime.fromisoformat(kept.replace("Z", "+00:00")).astimezone().isoformat(timespec="seconds")


_PAPERS: dict[str, Callable[[Store, Staff, str], bytes]] = {
    "labels": _labels,
    "outlines": _outlines,
    "trays": _trays,
    "ballots": _ballots,
    "fill": _fill,
    "preparation": _preparation,
    "report": _report,
    **{f"labels-{number}": partial(_labels, sheet=sheet) for number, sheet in kit.SHEETS.items()},
    **{f"outlines-{number}": partial(_outlines, sheet=sheet) for number, sheet in kit.SHEETS.items()},
}
