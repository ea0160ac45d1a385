"""A study from the first idea to its seal: nothing can be scored before, nothing of the rule changes after."""

from __future__ import annotations

from datetime import datetime
from typing import TYPE_CHECKING, Any

from studyapp.errors import BadInput
from studyapp.records import AromaStudy, Habits, HoursStudy, Plan, SealSlip, Staff
from studyapp.services import drafts
from studyapp.services.access import any_study_or_refuse, require, study_or_refuse
from studyapp.services.dealing import lay_out, make_sittings
from studyapp.services.rules import problems, sentences
from studyapp.store import Store
from studyapp.store import studies as study_store
from studyapp.words import _

if TYPE_CHECKING:
    from analysis.stopping import Rule

__all__ = [
    "keep_plan",
    "new_study",
    "note_pull",
    "problems",
    "rule_of",
    "rule_sentences",
    "seal",
    "studies",
    "study",
]


def new_study(store: Store, by: Staff, title: str) -> str:
    """Start a draft; returns its id. The workshop works as in its newest study, until somebody says otherwise."""
    known = (each.plan.habits for each in studies(store, by) if isinstance(each, HoursStudy) and not each.example)
    return drafts.start(store, by, Plan(title, habits=next(known, Habits())))


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
    drafts.keep(store, by, study_id, plan, HOURS)


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


def rule_sentences(plan: Plan, version: int | None = None) -> tuple[str, ...]:
    """The rule as a person reads it; `version` is the one that a seal names, None the one that it would name today."""
    named = _rule_version() if version is None else version
    return (*sentences(plan), _("Version {n} of the stop rule.").format(n=named))


def _rule_version() -> int:
    from analysis.stopping import RULE_VERSION

    return RULE_VERSION


def seal(store: Store, by: Staff, study_id: str, typed_title: str) -> SealSlip:
    """Seal the rule; then make samples, seats, sittings, codes and orders of the first look. See `drafts.seal`."""
    return drafts.seal(store, by, study_id, typed_title, HOURS)


def _set_out(tx: Any, study_id: str, plan: Plan) -> None:
    lay_out(tx, study_id, plan)
    make_sittings(tx, study_id, plan, look=1)


HOURS = drafts.Kind(
    study_or_refuse, problems, rule_sentences, _set_out, named=lambda: {"rule_version": _rule_version()}
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
