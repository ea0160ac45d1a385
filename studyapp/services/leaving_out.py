"""Cups of a sample that was lost before it was served: they are never put down, and nobody waits for them."""

from __future__ import annotations

from typing import Any

from studyapp.records import Sitting
from studyapp.services.seating import own_nonce
from studyapp.store import events, pulls, servings


def codes(tx: Any, sitting: Sitting) -> frozenset[str]:
    """Codes of cups that stay out of the trays of a sitting."""
    lost = pulls.lost(tx, sitting.study, sitting.number)
    return frozenset(cup.code for cup in servings.of_levels(tx, sitting.id, tuple(lost))) if lost else frozenset()


def close_lost(tx: Any, sitting: Sitting) -> None:
    """Their lines become missing with the reason, once the sitting is open; who is tasting goes on to the next cup."""
    for level, reason in pulls.lost(tx, sitting.study, sitting.number).items():
        for cup in servings.of_levels(tx, sitting.id, (level,)):
            if cup.finished_at is not None or cup.started_at is not None:
                continue
            at = events.now()
            for line in servings.lines(tx, sitting.id, cup.id) if cup.scored else ():
                servings.add_score(
                    tx, sitting.study, cup.id, line.id, None, f"lost: {reason}", lost_nonce(cup.id, line.id)
                )
            servings.finish(tx, cup.id, "missing", at)
            events.append(tx, "serving missing", {"serving": cup.id, "at": at}, sitting.study)


def lost_nonce(serving: str, line: str) -> str:
    """The nonce of what is missing since its pull was lost."""
    return own_nonce("lost", serving, line)
