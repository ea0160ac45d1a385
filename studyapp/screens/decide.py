"""Decide: read the verdict of an opened study, see why, and sign it; its kind draws the page."""

from __future__ import annotations

from studyapp import registry, session
from studyapp.components import chooser
from studyapp.services import closing
from studyapp.words import _


def render() -> None:
    """The page of one opened study."""
    by, store = session.someone("leader"), session.store()
    empty = _("No key is open yet. Open one from Studies.")
    study = chooser.study(store, by, session.study_id(), ("opened", "decided"), _("Decide"), empty)
    if study is not None:
        closing.note_reader(store, by, study.id)
        registry.pages(study.kind).decide(by, study)
