"""The two acts that end a study of any kind: opening its key by name, and signing its verdict."""

from __future__ import annotations

from typing import Any

from studyapp.errors import BadInput, NotAllowed
from studyapp.records import Staff, Study
from studyapp.store import studies
from studyapp.words import _

LONGEST_NAME = 80
SIGNATURES = 2  # who ran the test, and who decides


def opener(typed_name: str) -> str:
    """The name of who opens the key. Raises BadInput when it is missing."""
    name = typed_name.strip()
    if not name:
        raise BadInput(_("Not opened: write the name of the person who opens the key."))
    return name


def refuse_unopenable(study: Study) -> None:
    """The key opens once a look, and only under a sealed rule. Raises NotAllowed."""
    if study.state == "draft":
        raise NotAllowed(_("Not done: the rule is not sealed yet."))
    if study.state in ("opened", "decided"):
        raise NotAllowed(_("Not done: the key was opened before."))


def signer(name: str, role: str) -> tuple[str, str]:
    """Name and role of who signs. Raises BadInput when the name is missing or either is too long."""
    name, role = name.strip(), role.strip()
    if not name or len(name) > LONGEST_NAME or len(role) > LONGEST_NAME:
        raise BadInput(_("Not signed: write your name, in up to {n} letters.").format(n=LONGEST_NAME))
    return name, role


def keep_signature(tx: Any, study: str, look: int, signed_by: tuple[str, str], by: Staff, document: Any) -> None:
    """Keep one signature, with the first one the verdict itself; the second decides. Raises NotAllowed."""
    name, role = signed_by
    signed = studies.signatures(tx, study, look)
    if any(signature.name.casefold() == name.casefold() for signature in signed):
        raise NotAllowed(_("Not done: the first signature is yours; somebody else decides."))
    if studies.decision_document(tx, study, look) is None:
        studies.keep_decision(tx, study, look, document)
    studies.add_signature(tx, study, look, name, role, by.id)
    if len(signed) + 1 >= SIGNATURES:
        studies.set_state(tx, study, "decided")
