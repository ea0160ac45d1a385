"""What a store tells of scores that are missing: pulls that were lost or never scored, and what could not be judged."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from studyapp.kinds.hours.plan import HoursPlan, HoursStudy
from studyapp.kinds.hours.setting_out.pulls import is_physical
from studyapp.services import leaving_out
from studyapp.services.seating import own_nonce
from studyapp.store import pulls, servings, sittings

if TYPE_CHECKING:
    import pandas as pd

    from analysis.stopping import Rule

Row = dict[str, Any]
NAMES = ("assessor", "hours", "attribute", "score", "sitting", "replicate", "position")


def notes(tx: Any, study: HoursStudy, look: int) -> list[Row]:
    """Rows of the tidy frame without a score, with `why` and `reason`: losses, and lines that could not be judged."""
    lost = pulls.losses(pulls.in_force(tx, study.id))
    numbers = {one.number for every in range(1, look + 1) for one in sittings.of_study(tx, study.id, every)}
    rows = [
        {"hours": note.hours, "sitting": note.sitting, "why": "lost", "reason": note.reason}
        for note in lost
        if note.sitting is None or note.sitting in numbers
    ]
    for row in servings.missing(tx, study.id, look):
        if _could_not_judge(row):
            rows.append({**dict(zip(NAMES, row[:7], strict=True)), "why": "unjudged", "reason": row.reason})
    return rows


def _could_not_judge(row: Any) -> bool:
    """Whether an assessor gave up on a cup for a reason that may lie in its taste; leaving, closing and losses are none
    of that, and their rows carry numbers that say so."""
    others = ("left", row.serving_id, row.attribute_id), ("closed", row.serving_id, row.attribute_id)
    known = {own_nonce(*what) for what in others} | {leaving_out.lost_nonce(row.serving_id, row.attribute_id)}
    return row.nonce not in known and not is_physical(row.reason)


def unscored(scores: pd.DataFrame, left: list[Row], plan: HoursPlan, rule: Rule) -> list[Row]:
    """The notes on deciding attributes, and a row for each sealed pull of which one of these was never scored."""
    there = set(zip(scores["attribute"], scores["hours"], strict=True))
    lost = {row["hours"] for row in left if row["why"] == "lost" and row["sitting"] is None}
    partly = {hours for _name, hours in there}
    unread = [
        {"hours": pull.hours, "why": "unread"}
        for pull in plan.pulls
        if not all((name, pull.hours) in there for name in rule.attributes)
        and (pull.hours in partly or pull.hours not in lost | _everywhere(scores, left, pull.hours))
    ]
    told = [row for row in left if row.get("attribute") is None or row["attribute"] in rule.attributes]
    return [*told, *unread]


def _everywhere(scores: pd.DataFrame, left: list[Row], hours: float) -> set[float]:
    """The pull, where each sitting that was scored at all has lost it."""
    gone = {row["sitting"] for row in left if row["why"] == "lost" and row["hours"] == hours}
    return {hours} if gone >= set(scores["sitting"]) else set()
