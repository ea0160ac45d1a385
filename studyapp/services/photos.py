"""Photos of samples as they were taken: small, erasable, and never before the eyes of somebody who tastes them."""

from __future__ import annotations

from typing import Any

from studyapp.errors import BadInput, NotAllowed, NotFound
from studyapp.records import Staff, Study
from studyapp.services.access import new_id, require, study_or_refuse, tastes
from studyapp.store import Store
from studyapp.store import photos as kept
from studyapp.store.photos import Photo
from studyapp.words import _

LARGEST = 2_000_000  # bytes
# How files of these kinds begin, by the media type that a browser is told.
BEGINS = {"image/jpeg": b"\xff\xd8\xff", "image/png": b"\x89PNG\r\n\x1a\n"}


def keep(store: Store, by: Staff, study_id: str, hours: float, content: bytes) -> None:
    """Keep a photo; the record holds its hash.

    Raises:
        BadInput: it is larger than 2 MB, or neither JPEG nor PNG.
        NotAllowed: whoever brings it tastes in the study.
    """
    if len(content) > LARGEST:
        raise BadInput(_("Not kept: the photo is larger than 2 MB. Take it smaller, or send a copy made smaller."))
    kind = next((name for name, begin in BEGINS.items() if content.startswith(begin)), None)
    if kind is None:
        raise BadInput(_("Not kept: the file is no photo in JPEG or PNG."))
    with store.write() as tx:
        study = _seeing(tx, by, study_id)
        kept.add(tx, new_id(), study.id, hours, content, kind, by.id)


def of_study(store: Store, by: Staff, study_id: str) -> tuple[Photo, ...]:
    """What is known of each photo, oldest first; nothing for who tastes."""
    with store.read() as tx:
        study = study_or_refuse(tx, study_id)
        return () if tastes(tx, by, study) else kept.of_study(tx, study_id)


def content(store: Store, by: Staff, photo: str) -> tuple[str, bytes]:
    """The media type and the bytes. Raises NotFound where there is none, NotAllowed as `keep`."""
    with store.read() as tx:
        found = kept.content(tx, photo)
        if found is None:
            raise NotFound(_("Not done: this photo is not kept here. It may have been erased."))
        _seeing(tx, by, found[0])
    return found[1:]


def erase(store: Store, by: Staff, study_id: str, photo: str) -> None:
    """Take the photo away; that it was there, and its hash, stays in the record. A repeat changes nothing."""
    with store.write() as tx:
        study = _seeing(tx, by, study_id)
        kept.erase(tx, photo, study.id, by.id)


def _seeing(tx: Any, by: Staff, study_id: str) -> Study[Any]:
    require(by, "leader", "preparer")
    study = study_or_refuse(tx, study_id)
    if tastes(tx, by, study):
        raise NotAllowed(_("Not done: you taste in this study, so its photos are for others."))
    return study
