"""Records of batches: what was made, planned and real; what its machine wrote. Who tastes a study writes none of it."""

from __future__ import annotations

import json
from dataclasses import asdict, replace
from typing import Any

from studyapp import batches
from studyapp.batches import Batch, Draft, Log
from studyapp.errors import BadInput, NotAllowed, NotFound
from studyapp.records import Staff, Study
from studyapp.services import names
from studyapp.services.access import new_id, require, study_or_refuse
from studyapp.store import Store, events, people, studies
from studyapp.store import batches as kept_batches
from studyapp.store import pulls as pull_notes
from studyapp.words import _


# ---- read ------------------------------------------------------------------------------------------------------------
def everywhere(store: Store, by: Staff) -> tuple[Batch, ...]:
    """Every batch, the first one first."""
    require(by, "leader", "preparer")
    with store.read() as tx:
        return kept_batches.everywhere(tx)


def of_study(store: Store, by: Staff, study_id: str) -> tuple[Batch, ...]:
    """The batches of a study."""
    require(by, "leader", "preparer")
    with store.read() as tx:
        return kept_batches.of_study(tx, study_id)


def batch(store: Store, by: Staff, batch_id: str) -> Batch:
    """One batch. Raises NotFound."""
    require(by, "leader", "preparer")
    with store.read() as tx:
        return batch_or_refuse(tx, batch_id)


def log(store: Store, by: Staff, batch_id: str) -> Log | None:
    """What was brought last of a batch's machine."""
    require(by, "leader", "preparer")
    with store.read() as tx:
        return kept_batches.log(tx, batch_id)


def pulls_of(store: Store, by: Staff, found: Batch) -> tuple[tuple[float, str], ...]:
    """The pulls of a batch in the order of hours, each "taken", "lost" or "planned": planned in its study, and read."""
    require(by, "leader", "preparer")
    with store.read() as tx:
        told = {one.hours: "taken" for one in readings_of(tx, found.id)}
        if found.study is not None:
            plan = study_or_refuse(tx, found.study).plan
            planned = dict.fromkeys(plan.hours_of_pulls, "planned")
            noted = {
                hours: "lost" if one.kind == "lost" else "taken"
                for one in pull_notes.in_force(tx, found.study)
                if one.kind in ("taken", "lost", "replaced")
                and (hours := plan.hours_in(found.draft.label, one.hours)) is not None
            }
            told = planned | told | noted
        return tuple(sorted(told.items()))


def readings_of(tx: Any, batch_id: str) -> tuple[Any, ...]:
    """Everything that was read of a batch and stands."""
    return (*kept_batches.readings(tx, batch_id), *kept_batches.curves(tx, batch_id))


def batch_or_refuse(tx: Any, batch_id: str) -> Batch:
    """The batch, or NotFound."""
    found = kept_batches.get(tx, batch_id)
    if found is None:
        raise NotFound(_("Not done: this batch is not kept here. Open it from the list of batches."))
    return found


# ---- write -----------------------------------------------------------------------------------------------------------
def add(store: Store, by: Staff, draft: Draft, study_id: str | None = None) -> str:
    """Keep a new batch, in a study or in none yet; returns its id.

    Raises:
        BadInput: something in the record is to mend.
        NotAllowed: somebody who tastes the study.
    """
    require(by, "leader", "preparer")
    draft, id_ = _cleaned(draft), new_id()
    with store.write() as tx:
        _refuse_name(tx, draft.label, None)
        study = _study_or_none(tx, by, study_id)
        kept_batches.add(tx, id_, draft, study_id, by.id)
        _fill_contents(tx, by, study, draft)
    return id_


def keep(store: Store, by: Staff, batch_id: str, draft: Draft) -> None:
    """Let the record of a batch say something else; what it said before stays in the record of the store.

    Raises as `add`; NotFound.
    """
    require(by, "leader", "preparer")
    draft = _cleaned(draft)
    with store.write() as tx:
        found = batch_or_refuse(tx, batch_id)
        study = _study_or_none(tx, by, found.study)
        _refuse_name(tx, draft.label, batch_id)
        if study is not None and study.seal and draft.label != (named := found.draft.label) in study.plan.named_batches:
            raise NotAllowed(
                _("Not done: the sealed rule names the batch {name}, so it keeps its name.").format(name=named)
            )
        told = found.draft.made
        if (draft.made.contains, draft.made.traces) != (told.contains, told.traces):
            draft = replace(draft, made=replace(draft.made, confirmed=""))
        if draft != found.draft:
            kept_batches.keep(tx, batch_id, draft, found.study, by.id)
            _fill_contents(tx, by, study, draft)


def join(store: Store, by: Staff, batch_id: str, study_id: str) -> None:
    """Give a batch to a study, for good. Raises NotAllowed where it has one, or the key of the study is open."""
    require(by, "leader")
    with store.write() as tx:
        found = batch_or_refuse(tx, batch_id)
        study = writing_in(tx, by, study_id)
        if found.study is not None:
            raise NotAllowed(_("Not done: {batch} belongs to a study already.").format(batch=found.draft.label))
        if study.state not in ("draft", "sealed"):
            raise NotAllowed(_("Not done: the key of this study is open, so its batches stand."))
        kept_batches.join(tx, found, study_id, by.id)
        _fill_contents(tx, by, study, found.draft)


def join_named(tx: Any, by: Staff, study: Study[Any]) -> None:
    """Give a study the batches that its plan names, as it is sealed; one that nobody has written yet begins its record.

    Raises:
        BadInput: one of them belongs to another study, or this study has a batch that its plan does not name.
    """
    wanted = study.plan.named_batches
    known = {one.draft.label: one for one in kept_batches.everywhere(tx)}
    for one in known.values():
        if wanted and one.study == study.id and one.draft.label not in wanted:
            told = _("Not sealed: the batch {name} belongs to this study, and the plan does not name it.")
            raise BadInput(told.format(name=one.draft.label))
    for name in wanted:
        there = known.get(name)
        if there is None:
            _refuse_name(tx, name, None)
            draft = Draft(name, recipe=study.plan.recipe, machine=getattr(study.plan, "machine", ""))
            kept_batches.add(tx, new_id(), draft, study.id, by.id)
        elif there.study is None:
            kept_batches.join(tx, there, study.id, by.id)
        elif there.study != study.id:
            raise BadInput(_("Not sealed: the batch {name} belongs to another study.").format(name=name))


def confirm_contents(store: Store, by: Staff, batch_id: str) -> None:
    """The preparer has compared what the batch contains with the bags. Raises BadInput where nothing is written."""
    require(by, "preparer")
    with store.write() as tx:
        found = batch_or_refuse(tx, batch_id)
        _study_or_none(tx, by, found.study)
        if not found.draft.made.contains:
            raise BadInput(_("Fix what is in it: write every ingredient first, allergens named."))
        told = _("{name}, {day}").format(name=by.name, day=events.now()[:10])
        made = replace(found.draft.made, confirmed=told)
        kept_batches.keep(tx, batch_id, replace(found.draft, made=made), found.study, by.id)


def bring_log(store: Store, by: Staff, batch_id: str, brought: Log) -> None:
    """Keep what a machine wrote; it is shown in place of what was brought before."""
    require(by, "leader", "preparer")
    with store.write() as tx:
        found = batch_or_refuse(tx, batch_id)
        _study_or_none(tx, by, found.study)
        kept_batches.add_log(tx, found, brought, by.id)


def like(found: Batch) -> Draft:
    """The record of the next batch made in the same way: all that was planned, nothing that happened."""
    phases = tuple(
        replace(one, real_from_hours=None, real_to_hours=None, real_temperature_c=None, real_speed_rpm=None)
        for one in found.draft.phases
    )
    made = replace(found.draft.made, confirmed="", happened=(), ladder=batches.Ladder())
    label = _("{batch}, next").format(batch=found.draft.label)
    return replace(found.draft, label=label, started_at=None, made=made, phases=phases)


# ---- what is in it ---------------------------------------------------------------------------------------------------
def _fill_contents(tx: Any, by: Staff, study: Study[Any] | None, draft: Draft) -> None:
    """A draft that names no ingredients gets those of its batch; its page and trays then say them."""
    if study is None or study.state != "draft" or study.plan.contains or not draft.made.contains:
        return
    plan = replace(study.plan, contains=draft.made.contains, traces=draft.made.traces or study.plan.traces)
    document = json.loads(json.dumps(asdict(plan)))
    studies.keep_plan(tx, study.id, document)
    events.append(tx, "draft kept", {"by": by.id, "sha256": events.digest(document)}, study.id)


def contents_differ(study: Study[Any], found: Batch) -> bool:
    """Whether who tastes reads something else than the record of the batch says is in it."""
    made = found.draft.made
    told = [(study.plan.contains, made.contains), (study.plan.traces, made.traces)]
    return any(one and names.alike(one) != names.alike(other) for other, one in told)


# ---- checks ----------------------------------------------------------------------------------------------------------
def _cleaned(draft: Draft) -> Draft:
    cleaned: dict[str, Any] = {
        name: names.clean(getattr(draft, name)) for name in ("label", "recipe", "machine", "lot")
    }
    draft = replace(draft, **cleaned)
    batches.refuse_draft(draft)
    return draft


def _refuse_name(tx: Any, label: str, but: str | None) -> None:
    """Two batches of one name would be taken for each other. Raises BadInput."""
    for id_, other in kept_batches.labels(tx):
        if id_ != but and names.alike(other) == names.alike(label):
            raise BadInput(_("Fix the name of the batch: another one is called {name}.").format(name=label))


def _study_or_none(tx: Any, by: Staff, study_id: str | None) -> Study[Any] | None:
    return None if study_id is None else writing_in(tx, by, study_id)


def writing_in(tx: Any, by: Staff, study_id: str) -> Study[Any]:
    """The study, once this member may write about its batches. Raises NotAllowed for who tastes it."""
    study = study_or_refuse(tx, study_id)
    tasting = {one.person for one in people.assessors(tx) if one.id in study.plan.assessors}
    if by.person and by.person in tasting:
        raise NotAllowed(_("Not done: you taste in this study, so somebody else writes about its batch."))
    return study
