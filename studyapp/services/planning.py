"""A study from the first idea to its seal: nothing can be scored before, nothing of the rule changes after."""

from __future__ import annotations

import secrets
from dataclasses import replace
from datetime import datetime
from typing import TYPE_CHECKING, Any

from studyapp.errors import BadInput, NotAllowed
from studyapp.records import AromaPlan, AromaStudy, HoursStudy, Plan, SealSlip, Staff
from studyapp.services.access import any_study_or_refuse, new_id, require, study_or_refuse
from studyapp.services.dealing import lay_out, make_sittings
from studyapp.services.rules import problems, sentences
from studyapp.store import Store, events, people
from studyapp.store import studies as study_store
from studyapp.words import _

if TYPE_CHECKING:
    from analysis.stopping import Rule

__all__ = [
    "copy_study",
    "keep_plan",
    "new_study",
    "note_pull",
    "problems",
    "rule_of",
    "rule_sentences",
    "seal",
    "seal_of",
    "studies",
    "study",
]


def new_study(store: Store, by: Staff, title: str) -> str:
    """Start a draft; returns its id."""
    require(by, "leader")
    title = title_or_refuse(title)
    id_ = new_id()
    with store.write() as tx:
        study_store.add(tx, id_, Plan(title), by.id)
        events.append(tx, "draft", {"by": by.id}, id_)
    return id_


def title_or_refuse(title: str) -> str:
    """The name of a study without blanks around it; BadInput for none or a very long one."""
    title = title.strip()
    if not title or len(title) > 120:
        raise BadInput(_("Fix the name of the study: write 1 to 120 letters."))
    return title


def study(store: Store, by: Staff, study_id: str) -> HoursStudy | AromaStudy:
    """One study, of either kind."""
    require(by, "leader", "preparer")
    with store.read() as tx:
        return any_study_or_refuse(tx, study_id)


def studies(store: Store, by: Staff) -> tuple[HoursStudy | AromaStudy, ...]:
    """Every study of either kind, newest first."""
    require(by, "leader", "preparer")
    with store.read() as tx:
        return study_store.all_studies(tx)


def keep_plan(store: Store, by: Staff, study_id: str, plan: Plan) -> None:
    """Keep the plan of a draft as it stands, finished or not."""
    require(by, "leader")
    plan = replace(plan, title=title_or_refuse(plan.title))
    with store.write() as tx:
        kept = study_or_refuse(tx, study_id)
        if kept.state != "draft":
            raise NotAllowed(
                _("Not done: the rule was sealed on {day}. Note a deviation instead.").format(
                    day=(kept.sealed_at or "")[:10]
                )
            )
        if kept.plan != plan:
            study_store.keep_plan(tx, study_id, plan)
            events.append(tx, "draft kept", {"by": by.id, "sha256": seal_of(plan)}, study_id)


def copy_study(store: Store, by: Staff, study_id: str) -> str:
    """A new draft with the plan of another study."""
    require(by, "leader")
    with store.write() as tx:
        kept = any_study_or_refuse(tx, study_id)
        id_ = new_id()
        study_store.add(tx, id_, replace(kept.plan, title=_("{title}, again").format(title=kept.plan.title)), by.id)
        events.append(tx, "draft", {"by": by.id, "from": study_id}, id_)
    return id_


def rule_of(plan: Plan, look: int) -> Rule:
    """The sealed rule as the statistics read it. From two sittings on, disagreement between sittings counts."""
    from analysis.stopping import AttributeRule, Rule

    served = plan.sittings + (look - 1) * plan.next_sittings
    deciding = {
        line.name: AttributeRule(line.wanted, float(line.margin or 0), line.limit)
        for line in plan.attributes
        if line.decides
    }
    return Rule(deciding, plan.alpha, plan.looks, look, ("sitting:hours",) if served >= 2 else (), plan.control)


def rule_sentences(plan: Plan) -> tuple[str, ...]:
    """The rule as a person reads it before sealing."""
    return sentences(plan)


# ---- the seal ------------------------------------------------------------------------------------------------------
def seal(store: Store, by: Staff, study_id: str, typed_title: str) -> SealSlip:
    """Seal the rule by hash and time; then make samples, seats, sittings, codes and orders of the first look.

    Raises:
        BadInput: the typed title is another, or something in the plan is still to mend.
        NotAllowed: it was sealed before.
    """
    require(by, "leader")
    with store.write() as tx:
        kept = study_or_refuse(tx, study_id)
        if kept.state != "draft":
            raise NotAllowed(_("Not done: the rule was sealed on {day}.").format(day=(kept.sealed_at or "")[:10]))
        if typed_title.strip() != kept.plan.title:
            raise BadInput(
                _("Not sealed: type the name of the study as it stands, {title}.").format(title=kept.plan.title)
            )
        plan = kept.plan
        blocking = [problem for problem in problems(plan) if problem.blocks]
        if blocking:
            raise BadInput(_("Not sealed: {first}").format(first=blocking[0].sentence))
        refuse_unknown_assessors(tx, plan)
        seal_ = seal_of(plan)
        event = events.append(tx, "sealed", {"seal": seal_, "by": by.id}, study_id)
        study_store.seal(tx, study_id, seal_, event.at, by.id, secrets.token_hex(16))
        lay_out(tx, study_id, plan)
        make_sittings(tx, study_id, plan, look=1)
        count, head = events.head(tx)
        return SealSlip(seal_, event.at, by.name, head, count, rule_sentences(plan))


def seal_of(plan: Plan | AromaPlan) -> str:
    """SHA-256 of the plan as canonical JSON (RFC 8785): one hash for 24 and 24.0, on every machine."""
    return events.digest(study_store.plan_document(plan))


def refuse_unknown_assessors(tx: Any, plan: Plan | AromaPlan) -> None:
    """Raise BadInput unless everybody in the plan is kept and tastes."""
    known = {assessor.id: assessor for assessor in people.assessors(tx)}
    for id_ in plan.assessors:
        if id_ not in known:
            raise BadInput(_("Not sealed: one of the assessors is no longer kept. Choose the assessors again."))
        if not known[id_].may_taste:
            raise BadInput(
                _("Not sealed: {name} does not taste for now. Choose somebody else.").format(name=known[id_].pseudonym)
            )


def note_pull(
    store: Store, by: Staff, study_id: str, hours: float, actual_at: str, mass_g: float | None = None
) -> None:
    """Keep when a pull was really taken, and its mass in grams."""
    require(by, "leader", "preparer")
    with store.write() as tx:
        kept = study_or_refuse(tx, study_id)
        if hours not in {pull.hours for pull in kept.plan.pulls}:
            raise BadInput(_("Fix the pull: {h} h is not one of the planned pulls.").format(h=f"{hours:g}"))
        if mass_g is not None and not 0 < mass_g < 1e6:
            raise BadInput(_("Fix the mass: write grams above 0."))
        _check_time(actual_at)
        study_store.add_pull_note(tx, study_id, hours, actual_at, mass_g, by.id)


def _check_time(text: str) -> None:
    try:
        datetime.fromisoformat(text)
    except (ValueError, TypeError) as error:
        raise BadInput(_("Fix the time of the pull: write it as 2026-11-24 10:41.")) from error
