"""Papers by their address: who asks, what for, and the bytes with a file name.

The services decide who may see what; a paper is only the services' answer on a sheet.
"""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, datetime
from functools import partial
from typing import TYPE_CHECKING

from studyapp import registry
from studyapp.errors import NotAllowed, NotFound
from studyapp.findings import butter
from studyapp.printing import kit, sheets, slips
from studyapp.printing.seal_slip import seal_slip
from studyapp.printing.sheet import sheet_of
from studyapp.records import CupsPlan, SetsPlan, Staff
from studyapp.services import batches, closing, joining, planning, preparing, readings
from studyapp.services.access import require, sitting_or_refuse
from studyapp.words import _

if TYPE_CHECKING:
    from studyapp.store import Store


def paper(store: Store, by: Staff, kind: str, of: str, address: str = "") -> tuple[str, bytes]:
    """One paper as (file name, PDF).

    Args:
        kind: "labels", "outlines", "trays", "ballots" (leader or preparer), "fill", "preparation" (preparer), "cards"
            for joining (leader), all of a sitting; "slip" (leader) of a sealed study, "key" and "report" (leader) of
            an opened one; "batch" and "butter" of a batch. Labels and outlines for another sheet than 65 to a page
            carry their number: "labels-24", "outlines-21".
        of: the id of the sitting or the study; "outlines" needs none, any text will do.
        address: where phones reach the server; printed on cards alone.

    Raises:
        NotAllowed: the role or the state of the study forbids it.
        NotFound: there is no such paper, sitting or study.
    """
    maker = partial(_cards, address=address) if kind == "cards" else _PAPERS.get(kind) or _own(store, by, kind, of)
    if maker is None:
        raise NotFound(_("Not done: there is no paper named {kind}.").format(kind=kind))
    return f"{kind}.pdf", maker(store, by, of)


def _own(store: Store, by: Staff, kind: str, of: str) -> Callable[[Store, Staff, str], bytes] | None:
    """A paper that only the kind of this study has; none where there is no such paper or study."""
    try:
        study = planning.study(store, by, of)
    except NotFound:
        return None
    own = registry.report(study.kind).papers().get(kind)
    if own is None:
        return None
    return lambda store, by, _of: own(store, by, study, printed_now())


def printed_now() -> str:
    """The clock of this machine, with its offset."""
    return datetime.now(UTC).astimezone().isoformat(timespec="seconds")


def _slip(store: Store, by: Staff, of: str) -> bytes:
    study = planning.study(store, by, of)
    return seal_slip(study, planning.slip(store, by, of), printed_now())


def _opened_key(store: Store, by: Staff, of: str) -> bytes:
    """What every cup of an opened study held, for its leader."""
    study = planning.study(store, by, of)
    rows, holds = closing.read_key(store, by, of)
    return kit.opened_key(study.plan.title, rows, holds, printed_now())


def _outlines(store: Store, by: Staff, of: str, sheet: kit.LabelSheet = kit.A4_65) -> bytes:
    require(by, "leader", "preparer")
    return kit.label_outlines(printed_now(), sheet)


def _kit(store: Store, by: Staff, of: str) -> kit.Kit:
    """What the sheets of a sitting are made of, without its key."""
    require(by, "leader", "preparer")
    with store.read() as tx:
        sitting = sitting_or_refuse(tx, of)
    study = planning.study(store, by, sitting.study)
    checks, spares = preparing.checks(study), preparing.spare_codes(store, by, of)
    return kit.Kit(sitting, study.plan, preparing.trays(store, by, of), checks, sheet_of(study, sitting), spares)


def _labels(store: Store, by: Staff, of: str, sheet: kit.LabelSheet = kit.A4_65) -> bytes:
    return kit.labels(_kit(store, by, of), printed_now(), sheet)


def _trays(store: Store, by: Staff, of: str) -> bytes:
    return kit.tray_sheets(_kit(store, by, of), printed_now())


def _ballots(store: Store, by: Staff, of: str) -> bytes:
    kit_ = _kit(store, by, of)
    if not isinstance(kit_.plan, CupsPlan | SetsPlan) or (isinstance(kit_.plan, SetsPlan) and kit_.plan.longest_wait):
        raise NotFound(
            _("Not done: pieces that are noticed at their second need the phone; there is no paper for them.")
        )
    return slips.ballots_pdf(kit_.trays, kit_.sitting, kit_.plan, printed_now(), kit_.sheet)


def _fill(store: Store, by: Staff, of: str) -> bytes:
    kit_ = _kit(store, by, of)
    return kit.fill_sheet(kit_, _key(store, by, kit_), printed_now())


def _preparation(store: Store, by: Staff, of: str) -> bytes:
    kit_ = _kit(store, by, of)
    return kit.preparation_pdf(kit_, _key(store, by, kit_), printed_now())


def _key(store: Store, by: Staff, kit_: kit.Kit) -> kit.Key:
    rows = (*preparing.fill_rows(store, by, kit_.sitting.id), *preparing.spare_rows(store, by, kit_.sitting.id))
    return kit.Key(rows, preparing.quantities(store, by, kit_.sitting.study))


def _report(store: Store, by: Staff, of: str) -> bytes:
    study = planning.study(store, by, of)
    if by.role == "leader":
        closing.note_reader(store, by, of)
    return registry.report(study.kind).report(store, by, study, printed_now())


def _batch(store: Store, by: Staff, of: str) -> bytes:
    found = batches.batch(store, by, of)
    pulls, read = batches.pulls_of(store, by, found), readings.read(store, by, of)
    day = (found.zero or "")[:10]
    return sheets.batch_pdf(found, batches.log(store, by, of), pulls, read, day, printed_now())


def _butter(store: Store, by: Staff, of: str) -> bytes:
    found = batches.batch(store, by, of)
    ladder = butter.with_kept(found.draft.made.ladder, readings.read(store, by, of))
    if not ladder.rungs or butter.unread(ladder):
        raise NotAllowed(_("Not printed: no ladder of butter was read with this batch."))
    return sheets.butter_pdf(found, ladder, printed_now())


def _cards(store: Store, by: Staff, of: str, address: str) -> bytes:
    links = joining.readable_links(store, by, of)
    if not links:
        raise NotFound(_("Not done: no link of this sitting can be printed. Make the links on its page first."))
    with store.read() as tx:
        sitting = sitting_or_refuse(tx, of)
    sheet = sheet_of(planning.study(store, by, sitting.study), sitting)
    return slips.join_cards_pdf(links, address, printed_now(), sheet.blind(sitting.label))


_PAPERS: dict[str, Callable[[Store, Staff, str], bytes]] = {
    "labels": _labels,
    "outlines": _outlines,
    "trays": _trays,
    "ballots": _ballots,
    "fill": _fill,
    "preparation": _preparation,
    "report": _report,
    "slip": _slip,
    "key": _opened_key,
    "batch": _batch,
    "butter": _butter,
    **{f"labels-{number}": partial(_labels, sheet=sheet) for number, sheet in kit.SHEETS.items()},
    **{f"outlines-{number}": partial(_outlines, sheet=sheet) for number, sheet in kit.SHEETS.items()},
}
