"""Who may do what: the checks every service begins with, and the secrets they rest on."""

from __future__ import annotations

import hashlib
import secrets
from typing import Any

from studyapp.errors import NotAllowed, NotFound
from studyapp.records import AromaStudy, HoursStudy, Role, Sitting, Staff
from studyapp.store import sittings, studies
from studyapp.words import _


def new_id() -> str:
    """A random id that tells nothing."""
    return secrets.token_hex(8)


def new_token() -> str:
    """A bearer token of 192 bits."""
    return secrets.token_urlsafe(24)


def token_hash(token: str) -> str:
    """What the store keeps of a token: enough entropy for a plain hash."""
    return hashlib.sha256(token.encode()).hexdigest()


def require(by: Staff | None, *roles: Role) -> Staff:
    """The member, if the role fits.

    Raises:
        NotAllowed: nobody is signed in, or the role is another.
    """
    if by is None:
        raise NotAllowed(_("Not done: sign in first."))
    if by.role not in roles:
        raise NotAllowed(_("Not done: this page belongs to another role. Sign in with the account that has it."))
    return by


def any_study_or_refuse(tx: Any, study_id: str) -> HoursStudy | AromaStudy:
    """The study of either kind, or NotFound."""
    study = studies.get(tx, study_id)
    if study is None:
        raise NotFound(_("Not done: this study is not kept here. Open it from the list of studies."))
    return study


def study_or_refuse(tx: Any, study_id: str) -> HoursStudy:
    """The study of conching hours, or NotFound; NotAllowed for a study of another kind."""
    study = any_study_or_refuse(tx, study_id)
    if not isinstance(study, HoursStudy):
        raise NotAllowed(_("Not done: this is a study of an aroma. Open it from the list of studies."))
    return study


def aroma_study_or_refuse(tx: Any, study_id: str) -> AromaStudy:
    """The study of an aroma, or NotFound; NotAllowed for a study of another kind."""
    study = any_study_or_refuse(tx, study_id)
    if not isinstance(study, AromaStudy):
        raise NotAllowed(_("Not done: this is a study of conching hours. Open it from the list of studies."))
    return study


def sitting_or_refuse(tx: Any, sitting_id: str) -> Sitting:
    """The sitting, or NotFound."""
    sitting = sittings.get(tx, sitting_id)
    if sitting is None:
        raise NotFound(_("Not done: this sitting is not kept here. Open it from the list of studies."))
    return sitting
