"""A study of either kind from its first idea to its seal: nothing is tasted before, nothing changes after."""

from __future__ import annotations

import secrets
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any, Generic, TypeVar

from studyapp.errors import BadInput, NotAllowed
from studyapp.records import AromaPlan, AromaStudy, HoursStudy, Plan, Problem, SealSlip, Staff
from studyapp.services.access import any_study_or_refuse, new_id, require
from studyapp.store import Store, events, people
from studyapp.store import studies as study_store
from studyapp.words import _

P = TypeVar("P", Plan, AromaPlan)
LONGEST_TITLE = 120


@dataclass(frozen=True, slots=True)
class Kind(Generic[P]):
    """What differs between kinds of study: how one is read within a transaction (refusing the other kind), what is to
    mend in a plan, its rule in words, what a seal sets on the table, what the record notes of it beside, and what the
    sealed document names beside the plan."""

    fetch: Callable[[Any, str], HoursStudy | AromaStudy]
    problems: Callable[[P], Sequence[Problem]]
    sentences: Callable[[P], tuple[str, ...]]
    set_out: Callable[[Any, str, P], None]
    noted: Mapping[str, str] = field(default_factory=dict)
    named: Callable[[], Mapping[str, int]] = dict


def start(store: Store, by: Staff, plan: Plan | AromaPlan) -> str:
    """Keep a new draft; returns its id."""
    require(by, "leader")
    plan = replace(plan, title=title_or_refuse(plan.title))
    id_ = new_id()
    with store.write() as tx:
        study_store.add(tx, id_, plan, by.id)
        events.append(tx, "draft", {"by": by.id}, id_)
    return id_


def title_or_refuse(title: str) -> str:
    """The name of a study without blanks around it; BadInput for none or a very long one."""
    title = title.strip()
    if not title or len(title) > LONGEST_TITLE:
        raise BadInput(_("Fix the name of the study: write 1 to {n} letters.").format(n=LONGEST_TITLE))
    return title


def keep(store: Store, by: Staff, study_id: str, plan: P, kind: Kind[P]) -> None:
    """Keep the plan of a draft as it stands, finished or not."""
    require(by, "leader")
    plan = replace(plan, title=title_or_refuse(plan.title))
    with store.write() as tx:
        kept = kind.fetch(tx, study_id)
        if kept.state != "draft":
            raise NotAllowed(
                _("Not done: the rule was sealed on {day}. Note a deviation instead.").format(day=_day(kept))
            )
        if kept.plan != plan:
            study_store.keep_plan(tx, study_id, plan)
            events.append(tx, "draft kept", {"by": by.id, "sha256": seal_of(plan)}, study_id)


def copy(store: Store, by: Staff, study_id: str) -> str:
    """A new draft with the plan of another study, but without its day: it is for another run of the conche."""
    require(by, "leader")
    with store.write() as tx:
        kept = any_study_or_refuse(tx, study_id)
        id_ = new_id()
        plan = replace(kept.plan, title=_again(kept.plan.title))
        if isinstance(plan, Plan):
            plan = replace(plan, starts_at=None)
        study_store.add(tx, id_, plan, by.id)
        events.append(tx, "draft", {"by": by.id, "from": study_id}, id_)
    return id_


def _again(title: str) -> str:
    """The name of a copy; a long one loses its end, as a draft is kept under a name of so many letters at most."""
    named = _("{title}, again")
    room = LONGEST_TITLE - len(named.format(title=""))
    return named.format(title=title if len(title) <= room else title[: room - 1].rstrip() + "…")


# ---- the seal --------------------------------------------------------------------------------------------------------
def seal(store: Store, by: Staff, study_id: str, typed_title: str, kind: Kind[P]) -> SealSlip:
    """Seal the rule by hash and time, then set out what is tasted under it.

    Raises:
        BadInput: the typed title is another, or something in the plan is still to mend.
        NotAllowed: it was sealed before.
    """
    require(by, "leader")
    with store.write() as tx:
        kept = kind.fetch(tx, study_id)
        plan: Any = kept.plan
        _refuse_seal(kept, typed_title, kind.problems(plan))
        _refuse_unknown_assessors(tx, plan)
        document = study_store.sealed_document(plan, kind.named())
        seal_ = events.digest(document)
        event = events.append(tx, "sealed", {"seal": seal_, "by": by.id, **kind.noted}, study_id)
        study_store.seal(tx, study_id, document, seal_, event.at, by.id, secrets.token_hex(16))
        kind.set_out(tx, study_id, plan)
        count, head = events.head(tx)
        return SealSlip(seal_, event.at, by.name, head, count, kind.sentences(plan))


def seal_of(plan: Plan | AromaPlan, **named: int) -> str:
    """SHA-256 of the plan, and of what a seal names beside it, as canonical JSON (RFC 8785): one hash for 24 and 24.0,
    on every machine."""
    return events.digest(study_store.sealed_document(plan, named))


def _refuse_seal(kept: HoursStudy | AromaStudy, typed_title: str, problems: Sequence[Problem]) -> None:
    if kept.state != "draft":
        raise NotAllowed(_("Not done: the rule was sealed on {day}.").format(day=_day(kept)))
    if typed_title.strip() != kept.plan.title:
        raise BadInput(_("Not sealed: type the name of the study as it stands, {title}.").format(title=kept.plan.title))
    blocking = [problem for problem in problems if problem.blocks]
    if blocking:
        raise BadInput(_("Not sealed: {first}").format(first=blocking[0].sentence))


def _refuse_unknown_assessors(tx: Any, plan: Plan | AromaPlan) -> None:
    """Raise BadInput unless everybody in the plan is kept and tastes."""
    known = {assessor.id: assessor for assessor in people.assessors(tx)}
    for id_ in plan.assessors:
        if id_ not in known:
            raise BadInput(_("Not sealed: one of the assessors is no longer kept. Choose the assessors again."))
        if not known[id_].may_taste:
            raise BadInput(
                _("Not sealed: {name} does not taste for now. Choose somebody else.").format(name=known[id_].pseudonym)
            )


def _day(study: HoursStudy | AromaStudy) -> str:
    """The day of the seal."""
    return (study.sealed_at or "")[:10]
