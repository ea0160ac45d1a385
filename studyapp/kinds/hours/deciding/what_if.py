"""Another margin or fewer people, on an invented study only: to learn what moves an answer, never to decide."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import TYPE_CHECKING

from studyapp.errors import BadInput, NotAllowed
from studyapp.kinds.hours import deciding
from studyapp.kinds.hours.deciding.readings import readings
from studyapp.kinds.hours.plan import KIND
from studyapp.kinds.hours.rule import rule_of
from studyapp.records import Staff
from studyapp.services.access import study_or_refuse
from studyapp.store import Store
from studyapp.words import _

if TYPE_CHECKING:
    from analysis.stopping import Decision

FEWEST = 5


def what_if(store: Store, by: Staff, study_id: str, margins: Mapping[str, float], people: int) -> Decision:
    """The verdict on the same scores with other margins, and of the first `people` assessors alone.

    Raises:
        NotAllowed: the study is a real one, so its rule is sealed and stays so.
        BadInput: fewer than five people, or a margin that is not above 0.
    """
    from analysis.stopping import decide

    with store.read() as tx:
        asked = study_or_refuse(tx, study_id, KIND)
    if not asked.example:
        raise NotAllowed(_("Not done: the rule of this study is sealed. Other margins are tried on invented studies."))
    if people < FEWEST or any(not margin > 0 for margin in margins.values()):
        raise BadInput(_("Fix the numbers: at least five people, and margins above 0."))
    scores = deciding.scores(store, by, study_id)
    kept = sorted(scores["assessor"].unique())[:people]
    rule = rule_of(asked.plan, asked.look)
    changed = {name: replace(line, margin=margins.get(name, line.margin)) for name, line in rule.attributes.items()}
    read = readings(store, by, study_id)
    return decide(scores[scores["assessor"].isin(kept)], replace(rule, attributes=changed), read)
