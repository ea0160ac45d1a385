"""What is typed into a draft and cannot be read: kept beside the plan until it is mended, never a part of it."""

from __future__ import annotations

import json
from collections.abc import Mapping
from typing import Any

from studyapp.errors import NotAllowed
from studyapp.records import Staff
from studyapp.services.access import require, study_or_refuse
from studyapp.store import Store, people
from studyapp.words import _


def texts(store: Store, by: Staff, study: str) -> Mapping[str, str]:
    """The texts as they were typed, by the name of their field."""
    require(by, "leader")
    with store.read() as tx:
        return dict(json.loads(people.meta(tx, _key(study)) or "{}"))


def keep_texts(store: Store, by: Staff, study: str, texts: Mapping[str, str]) -> None:
    """Keep these texts of a draft and no others. Raises NotAllowed once the rule is sealed."""
    require(by, "leader")
    with store.write() as tx:
        if study_or_refuse(tx, study).state != "draft":
            raise NotAllowed(_("Not done: the rule is sealed."))
        forget(tx, study)
        if texts:
            people.keep_meta(tx, _key(study), json.dumps(dict(texts)))


def forget(tx: Any, study: str) -> None:
    """Nothing of it is left once the rule is sealed."""
    people.forget_meta(tx, _key(study))


def _key(study: str) -> str:
    return f"unread {study}"
