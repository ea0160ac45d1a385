"""A study of any kind from its first idea to its seal: nothing is tasted before, nothing of the rule changes after."""

from __future__ import annotations

import json
import secrets
from collections.abc import Mapping, Sequence
from dataclasses import asdict, replace
from typing import Any

from studyapp import registry
from studyapp.errors import BadInput, NotAllowed
from studyapp.records import Problem, SealSlip, Staff, Study, StudyPlan
from studyapp.services import batches, names, unread
from studyapp.services.access import new_id, require, study_or_refuse
from studyapp.store import Store, events, people
from studyapp.store import studies as study_store
from studyapp.words import _

LONGEST_TITLE = 120


# ---- kept studies ----------------------------------------------------------------------------------------------------
def study(store: Store, by: Staff, study_id: str) -> Study[Any]:
    """One study, of any kind."""
    require(by, "leader", "preparer")
    with store.read() as tx:
        return study_or_refuse(tx, study_id)


def studies(store: Store, by: Staff) -> tuple[Study[Any], ...]:
    """Every study of any kind, newest first."""
    require(by, "leader", "preparer")
    with store.read() as tx:
        return tuple(registry.study_of(kept) for kept in study_store.all_studies(tx))


# ---- drafts ----------------------------------------------------------------------------------------------------------
def new_study(store: Store, by: Staff, kind: str, title: str) -> str:
    """Keep a new draft of a kind; returns its id."""
    require(by, "leader")
    with store.read() as tx:
        newest = study_store.newest_of(tx, kind)
    known = registry.study_of(newest).plan if newest else None
    return start(store, by, kind, registry.plan(kind).new(title, known))


def start(store: Store, by: Staff, kind: str, plan: StudyPlan, *, example: bool = False) -> str:
    """Keep a new draft with a plan of its kind; returns its id. An `example` is invented and says so everywhere."""
    require(by, "leader")
    plan = replace(plan, title=title_or_refuse(plan.title))
    id_ = new_id()
    with store.write() as tx:
        at = study_store.add(tx, id_, kind, document_of(plan), by.id, example)
        events.append(tx, "draft", {**_drafted(by, plan, example, at), "kind": kind}, id_)
    return id_


def _drafted(by: Staff, plan: StudyPlan, example: bool, at: str) -> dict[str, Any]:
    """What the record tells of a new draft."""
    return {"by": by.id, "example": example, "at": at, "sha256": seal_of(plan)}


def title_or_refuse(title: str) -> str:
    """The name of a study without blanks around it; BadInput for none or a very long one."""
    title = names.clean(title)
    if not title or len(title) > LONGEST_TITLE:
        raise BadInput(_("Fix the name of the study: write 1 to {n} letters.").format(n=LONGEST_TITLE))
    return title


def keep_plan(store: Store, by: Staff, study_id: str, plan: StudyPlan) -> None:
    """Keep the plan of a draft as it stands, finished or not."""
    require(by, "leader")
    plan = replace(plan, title=title_or_refuse(plan.title))
    with store.write() as tx:
        kept = study_or_refuse(tx, study_id)
        _refuse_other_kind(kept, plan)
        if kept.state != "draft":
            raise NotAllowed(
                _("Not done: the rule was sealed on {day}. Note a departure instead.").format(day=_day(kept))
            )
        if kept.plan != plan:
            study_store.keep_plan(tx, study_id, document_of(plan))
            events.append(tx, "draft kept", {"by": by.id, "sha256": seal_of(plan)}, study_id)


def _refuse_other_kind(kept: Study[Any], plan: StudyPlan) -> None:
    if not isinstance(plan, registry.plan(kept.kind).Plan):
        raise NotAllowed(_("Not done: this plan belongs to another kind of study."))


def copy(store: Store, by: Staff, study_id: str, changed: StudyPlan | None = None, what: str = "") -> str:
    """A new draft with the plan of another study, but without its day: it is for another run of the conche. `changed`
    is what the plan becomes, and `what` is changed stands in its name."""
    require(by, "leader")
    with store.write() as tx:
        kept = study_or_refuse(tx, study_id)
        id_ = new_id()
        plan = replace(registry.plan(kept.kind).again(changed or kept.plan), title=_again(kept.plan.title, what))
        _refuse_other_kind(kept, plan)
        at = study_store.add(tx, id_, kept.kind, document_of(plan), by.id)
        events.append(tx, "draft", {**_drafted(by, plan, False, at), "kind": kept.kind, "from": study_id}, id_)
    return id_


def _again(title: str, what: str) -> str:
    """The name of a copy; a long one loses its end, as a draft is kept under a name of so many letters at most."""
    named = _("{title}: {what}").format(title="{title}", what=what) if what else _("{title}, again")
    room = LONGEST_TITLE - len(named.format(title=""))
    return named.format(title=title if len(title) <= room else title[: room - 1].rstrip() + "…")


# ---- the seal --------------------------------------------------------------------------------------------------------
def document_of(plan: StudyPlan, named: Mapping[str, int] | None = None) -> dict[str, Any]:
    """A plan as plain JSON values, with what a seal names beside it, such as the version of the rule."""
    return {**json.loads(json.dumps(asdict(plan))), **(named or {})}


def seal_of(plan: StudyPlan, **named: int) -> str:
    """SHA-256 of the plan, and of what a seal names beside it, as canonical JSON (RFC 8785): one hash for 24 and 24.0,
    on every machine."""
    return events.digest(document_of(plan, named))


def seal(store: Store, by: Staff, study_id: str, typed_title: str) -> SealSlip:
    """Seal the rule by hash and time, then set out what is tasted under it.

    Raises:
        BadInput: the typed title is another, or something in the plan is still to mend.
        NotAllowed: it was sealed before.
    """
    require(by, "leader")
    with store.write() as tx:
        kept = study_or_refuse(tx, study_id)
        rule, plan = registry.rule(kept.kind), kept.plan
        _refuse_seal(kept, typed_title, rule.problems(plan))
        _refuse_unknown_assessors(tx, plan)
        document = document_of(plan, rule.named())
        seal_, seed = events.digest(document), secrets.token_hex(16)
        told = {"seal": seal_, "by": by.id, "kind": kept.kind, "seed": events.salted(study_id, seed)}
        event = events.append(tx, "sealed", told, study_id)
        study_store.seal(tx, study_id, document, seal_, event.at, by.id, seed)
        batches.join_named(tx, by, kept)
        registry.setting_out(kept.kind).set_out(tx, study_id, plan)
        unread.forget(tx, study_id)
        count, head = events.head(tx)
        return SealSlip(seal_, event.at, by.name, head, count, rule.sentences(plan))


def slip(store: Store, by: Staff, study_id: str) -> SealSlip:
    """The slip of a sealed study, with the seal of the record as it stands now.

    Raises:
        NotAllowed: it is not sealed, or the member is no leader.
    """
    require(by, "leader")
    with store.read() as tx:
        kept = study_or_refuse(tx, study_id)
        if kept.seal is None:
            raise NotAllowed(_("Not done: this plan is not sealed, so there is no slip."))
        count, head = events.head(tx)
        sentences = registry.rule(kept.kind).sentences(kept.plan, kept.named)
        return SealSlip(kept.seal, kept.sealed_at or "", kept.sealed_by or "", head, count, sentences)


def _refuse_seal(kept: Study[Any], typed_title: str, problems: Sequence[Problem]) -> None:
    if kept.state != "draft":
        raise NotAllowed(_("Not done: the rule was sealed on {day}.").format(day=_day(kept)))
    if names.spelled(typed_title) != names.spelled(kept.plan.title):
        raise BadInput(_("Not sealed: type the name of the study as it stands, {title}.").format(title=kept.plan.title))
    blocking = [problem for problem in problems if problem.blocks]
    if blocking:
        raise BadInput(_("Not sealed: {first}").format(first=blocking[0].sentence))


def _refuse_unknown_assessors(tx: Any, plan: StudyPlan) -> None:
    """Raise BadInput unless everybody in the plan is kept and tastes."""
    known = {assessor.id: assessor for assessor in people.assessors(tx)}
    for id_ in plan.assessors:
        if id_ not in known:
            raise BadInput(_("Not sealed: one of the assessors is no longer kept. Choose the assessors again."))
        if not known[id_].may_taste:
            raise BadInput(
                _("Not sealed: {name} does not taste for now. Choose somebody else.").format(name=known[id_].pseudonym)
            )


def _day(study: Study[Any]) -> str:
    """The day of the seal."""
    return (study.sealed_at or "")[:10]
