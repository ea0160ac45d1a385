"""The temperature with the highest mean."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from statistics import mean
from typing import Any

from studyapp.errors import NotAllowed
from studyapp.records import Staff, Study
from studyapp.services.access import require, study_or_refuse
from studyapp.services.closing import opened_look
from studyapp.store import Store, servings, sittings
from tests.kinds.moulds.plan import KIND


def close_up(tx: Any, by: Staff, study: Study[Any]) -> None:
    """Every sitting must be over."""
    if any(sitting.state != "closed" for sitting in sittings.of_study(tx, study.id)):
        raise NotAllowed("Not done: close the sitting first.")


def document(store: Store, by: Staff, study: str) -> dict[str, Any]:
    """The means and the winner."""
    require(by, "leader")
    with store.read() as tx:
        look = opened_look(tx, study_or_refuse(tx, study, KIND))
        rows = servings.tidy(tx, study, look)
    levels = sorted({row.level for row in rows})
    means = {f"{level:g}": round(mean(row.score for row in rows if row.level == level), 6) for level in levels}
    return {"winner": max(means, key=means.__getitem__), "means": means}


def refuse_foreign(plan: Mapping[str, Any], verdicts: Sequence[Mapping[str, Any]]) -> None:
    """There has been one version."""
