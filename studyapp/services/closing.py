"""After the last piece: open the key once, and sign the verdict by two people; the same for every kind of study."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from studyapp import registry
from studyapp.errors import BadInput, NotAllowed
from studyapp.records import Signature, Staff, Study
from studyapp.services import names
from studyapp.services.access import require, study_or_refuse
from studyapp.store import Store, people, sittings, studies
from studyapp.words import _

LONGEST_NAME = 80
SIGNATURES = 2  # who ran the test, and who decides


# ---- the key ---------------------------------------------------------------------------------------------------------
def open_key(store: Store, by: Staff, study_id: str, typed_name: str) -> None:
    """Open the key of the present look, once, by name.

    Raises:
        NotAllowed: not sealed, opened before, or something is still to be tasted.
        BadInput: the name is missing.
    """
    require(by, "leader")
    name = names.clean(typed_name)
    if not name:
        raise BadInput(_("Not opened: write the name of the person who opens the key."))
    with store.write() as tx:
        study = study_or_refuse(tx, study_id)
        _refuse_unopenable(study)
        registry.deciding(study.kind).close_up(tx, by, study)
        studies.add_opening(tx, study_id, study.look, by.id, name)
        studies.note_key_view(tx, study_id, by.id)
        for sitting in sittings.of_study(tx, study_id):
            people.end_tokens_of_sitting(tx, sitting.id)
        studies.set_state(tx, study_id, "opened")


def _refuse_unopenable(study: Study[Any]) -> None:
    """The key opens once a look, and only under a sealed rule."""
    if study.state == "draft":
        raise NotAllowed(_("Not done: the rule is not sealed yet."))
    if study.state in ("opened", "decided"):
        raise NotAllowed(_("Not done: the key was opened before."))


def openings(store: Store, by: Staff, study_id: str) -> tuple[tuple[int, str, str], ...]:
    """(look, name, time) of every opening of the key."""
    require(by, "leader", "preparer")
    with store.read() as tx:
        return tuple(studies.openings(tx, study_id))


def opened_look(tx: Any, study: Study[Any]) -> int:
    """The last look whose key is open. Raises NotAllowed before any is."""
    opened = studies.openings(tx, study.id)
    if not opened:
        raise NotAllowed(_("Not done: the key is not open yet. What was tasted stays hidden, from you as well."))
    return opened[-1][0]


# ---- signatures ------------------------------------------------------------------------------------------------------
def sign(store: Store, by: Staff, study_id: str, name: str, role: str) -> None:
    """Sign the verdict of the last opened look; two different people: who ran the test, and who decides.

    With the first signature the verdict itself goes into the record, as the document that was signed.

    Raises:
        BadInput: the name is missing or too long.
        NotAllowed: the key is not open, or this name has signed.
    """
    require(by, "leader")
    name, role = names.clean(name), names.clean(role)
    if not name or len(name) > LONGEST_NAME or len(role) > LONGEST_NAME:
        raise BadInput(_("Not signed: write your name, in up to {n} letters.").format(n=LONGEST_NAME))
    with store.read() as tx:
        kind = study_or_refuse(tx, study_id).kind
    document = registry.deciding(kind).document(store, by, study_id)
    with store.write() as tx:
        look = opened_look(tx, study_or_refuse(tx, study_id))
        keep_signature(tx, study_id, look, (name, role), by, document)


def keep_signature(
    tx: Any, study: str, look: int, signed_by: tuple[str, str], by: Staff, document: Mapping[str, Any]
) -> None:
    """Keep one signature, with the first one the verdict itself; the second decides."""
    name, role = signed_by
    signed = studies.signatures(tx, study, look)
    if any(names.alike(signature.name) == names.alike(name) for signature in signed):
        raise NotAllowed(_("Not done: the first signature is yours; somebody else decides."))
    if studies.decision_document(tx, study, look) is None:
        studies.keep_decision(tx, study, look, document)
    studies.add_signature(tx, study, look, name, role, by.id)
    if len(signed) + 1 >= SIGNATURES:
        studies.set_state(tx, study, "decided")


def kept_verdict(store: Store, by: Staff, study_id: str, look: int) -> dict[str, Any] | None:
    """The verdict as it was signed, in the form that the commands print; None while nobody has signed."""
    require(by, "leader", "preparer")
    with store.read() as tx:
        return studies.decision_document(tx, study_id, look)


def signatures(store: Store, by: Staff, study_id: str) -> tuple[Signature, ...]:
    """Signatures in order."""
    require(by, "leader", "preparer")
    with store.read() as tx:
        return studies.signatures(tx, study_id)
