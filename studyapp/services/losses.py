"""Samples that were lost before they were served, and cups that nobody could judge; the same for every kind."""

from __future__ import annotations

from collections.abc import Collection
from datetime import datetime
from typing import TYPE_CHECKING, Any

from studyapp.errors import BadInput, NotAllowed
from studyapp.records import Sitting, Staff, Study
from studyapp.services import leaving_out
from studyapp.services.access import require, tastes
from studyapp.services.seating import own_nonce
from studyapp.store import pulls, servings, sittings
from studyapp.words import _

if TYPE_CHECKING:
    import pandas as pd

Row = dict[str, Any]
REASONS = ("spoilt", "too little", "not tempered", "dropped", "label unreadable", "machine stopped")
# What an assessor may report before tasting: such a cup was not served.
PHYSICAL = ("piece missing", "wrong code")
# Ballots kept the sentence itself before they kept a code.
PHYSICAL_SENTENCES = ("The piece is broken, too small or missing", "The code on the cup is a different one")
NAMES = ("assessor", "level", "attribute", "score", "sitting", "replicate", "position")


# ---- noting ----------------------------------------------------------------------------------------------------------
def note(
    tx: Any, by: Staff, study: Study[Any], level: float, named: str, reason: str, actual_at: str, sitting: int | None
) -> None:
    """Keep that a sample cannot be served, for a physical `reason`: in one sitting, or in every one that is left.

    Where some sittings have served it, it is lost in each of the others. Cups of open sittings are left out at once.

    Raises:
        BadInput: a reason that is not on the list, or no time.
        NotAllowed: it was served there already, under the name `named`, or the key is open.
    """
    if reason not in REASONS:
        raise BadInput(_("Fix the reason: choose one of the list."))
    check_time(actual_at)
    if study.state != "sealed":
        raise NotAllowed(_("Not done: the key is open, so what was lost can no longer be noted."))
    for number in _where_lost(tx, study, level, named, sitting):
        pulls.add(tx, study.id, "lost", level, actual_at, by.id, reason=reason, sitting=number)
    for one in sittings.of_study(tx, study.id):
        if one.state in ("open", "paused"):
            leaving_out.close_lost(tx, one)


def _where_lost(tx: Any, study: Study[Any], level: float, named: str, sitting: int | None) -> list[int | None]:
    """Numbers of the sittings in which a sample is lost now; [None] for all. Raises NotAllowed where none is left."""
    every = [one for one in sittings.of_study(tx, study.id) if sitting in (None, one.number)]
    every = [one for one in every if servings.of_levels(tx, one.id, (level,))] or every
    tasted = {one.number: at for one in every if (at := first_tasted(tx, one, level))}
    if tasted and len(tasted) == len(every):
        raise NotAllowed(
            _("Not done: {h} was served at {time}. Report it at the sitting; it stays in the verdict.").format(
                h=named, time=min(tasted.values())[11:16]
            )
        )
    if sitting is None and not tasted:
        return [None]
    return [one.number for one in every if one.number not in tasted]


def first_tasted(tx: Any, sitting: Sitting, level: float) -> str | None:
    """When a sample was first put before somebody in a sitting; not where the cup itself was reported unfit."""
    offered = servings.offered_of_level(tx, sitting.id, level)
    return min((at for at, reasons in offered if not reasons or not all(map(is_physical, reasons))), default=None)


def may_note(tx: Any, by: Staff, study: Study[Any]) -> None:
    """Raises NotAllowed for whoever tastes in the study, or may not prepare it."""
    require(by, "leader", "preparer")
    if tastes(tx, by, study):
        raise NotAllowed(_("Not done: you taste in this study, so somebody else notes what is lost."))


def undo(tx: Any, by: Staff, study: Study[Any], level: float, actual_at: str) -> None:
    """Take back the loss of a sample that was noted last; both notes stay in the record.

    Raises:
        NotAllowed: nothing is noted, or its cups were left out of a sitting already.
    """
    check_time(actual_at)
    if level not in {one.hours for one in pulls.losses(pulls.in_force(tx, study.id))}:
        raise NotAllowed(_("Not done: nothing is noted there."))
    refuse_left_out(tx, study.id, level)
    pulls.add(tx, study.id, "undone", level, actual_at, by.id)


def refuse_left_out(tx: Any, study: str, level: float) -> None:
    """Raises NotAllowed where a sitting has gone on without a sample."""
    if any(servings.left_out(tx, one.id, level) for one in sittings.of_study(tx, study)):
        raise NotAllowed(_("Not done: a sitting has gone on without it, so the loss stands."))


def check_time(text: str) -> None:
    """Raises BadInput for what is no time by the clock on the wall."""
    try:
        when = datetime.fromisoformat(text)
    except (ValueError, TypeError) as error:
        raise BadInput(_("Fix the time: write it as 2026-11-24 10:41.")) from error
    if when.tzinfo is not None:
        raise BadInput(_("Fix the time: write it as 2026-11-24 10:41."))


# ---- what is told of them --------------------------------------------------------------------------------------------
def is_physical(reason: str | None) -> bool:
    """Whether a serving is missing for something that stood before anybody tasted it."""
    said = reason or ""
    return said in PHYSICAL or said in PHYSICAL_SENTENCES or said.startswith("lost: ")


def lost_as_a_whole(tx: Any, study: str) -> set[float]:
    """Levels of the samples of which no mass is left to serve."""
    return {one.hours for one in pulls.losses(pulls.in_force(tx, study)) if one.sitting is None}


def rows(tx: Any, study: str, look: int) -> list[Row]:
    """Rows of the tidy frame without a score up to a look, with `why` and `reason`: losses, and lines that could not be
    judged."""
    lost = pulls.losses(pulls.in_force(tx, study))
    numbers = {one.number for every in range(1, look + 1) for one in sittings.of_study(tx, study, every)}
    found: list[Row] = [
        {"level": one.hours, "sitting": one.sitting, "why": "lost", "reason": one.reason}
        for one in lost
        if one.sitting is None or one.sitting in numbers
    ]
    for row in servings.missing(tx, study, look):
        if _could_not_judge(row):
            found.append({**dict(zip(NAMES, row[:7], strict=True)), "why": "unjudged", "reason": row.reason})
    return found


def _could_not_judge(row: Any) -> bool:
    """Whether an assessor gave up on a cup for a reason that may lie in its taste; leaving, closing and losses are none
    of that, and their rows carry numbers that say so."""
    others = ("left", row.serving_id, row.attribute_id), ("closed", row.serving_id, row.attribute_id)
    known = {own_nonce(*what) for what in others} | {leaving_out.lost_nonce(row.serving_id, row.attribute_id)}
    return row.nonce not in known and not is_physical(row.reason)


def told(scores: pd.DataFrame, left: list[Row], levels: Collection[float], attributes: Collection[str]) -> list[Row]:
    """The notes on deciding `attributes`, and a row for each sealed level of which one of these was never scored.

    Args:
        scores: rows with a score; columns attribute, level, sitting.
        left: as `rows` tells.
        levels: of the samples that were sealed.
        attributes: those that decide.
    """
    there = set(zip(scores["attribute"], scores["level"], strict=True))
    lost = {row["level"] for row in left if row["why"] == "lost" and row["sitting"] is None}
    partly = {level for _name, level in there}
    unread = [
        {"level": level, "why": "unread"}
        for level in levels
        if not all((name, level) in there for name in attributes)
        and (level in partly or level not in lost | _everywhere(scores, left, level))
    ]
    kept = [row for row in left if row.get("attribute") is None or row["attribute"] in attributes]
    return [*kept, *unread]


def _everywhere(scores: pd.DataFrame, left: list[Row], level: float) -> set[float]:
    """The level, where each sitting that was scored at all has lost it."""
    gone = {row["sitting"] for row in left if row["why"] == "lost" and row["level"] == level}
    return {level} if gone >= set(scores["sitting"]) else set()
