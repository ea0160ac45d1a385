"""Where somebody stands in a sitting, from what the store holds and nothing else: pure, so a reload always resumes."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import Generic, TypeVar

from studyapp.records import PlaceKind, SittingState
from studyapp.store import clock
from studyapp.store.servings import BlindServing
from studyapp.store.sittings import Presence
from studyapp.store.trials import BlindSet

Step = TypeVar("Step", bound=BlindServing | BlindSet)


def moment(text: str) -> datetime:
    """The point in time that a stored text names."""
    return datetime.strptime(text, clock.FORMAT).replace(tzinfo=UTC)


def stamp(when: datetime) -> str:
    """The text that is stored for a point in time."""
    return when.strftime(clock.FORMAT)


@dataclass(frozen=True, slots=True)
class Standing(Generic[Step]):
    """The step somebody is at; `cup` is the next unfinished serving or set, `ready_at` the end of a rest."""

    kind: PlaceKind
    cup: Step | None = None
    ready_at: datetime | None = None


def standing(
    state: SittingState,
    cups: Sequence[Step],
    present: Presence,
    released: Collection[int],
    rest_seconds: int,
    at: datetime,
) -> Standing[Step]:
    """The step of one assessor: `cups` in the order of serving, `released` the trays that left the kitchen."""
    if present.left_at:
        return Standing("stopped")
    if present.declined_at:
        return Standing("left")
    cup = next((each for each in cups if each.finished_at is None), None)
    if cups and cup is None:
        return Standing("done")
    if state == "closed":
        return Standing("done" if present.agreed_at else "nothing", cup)
    if not present.agreed_at:
        return Standing("welcome", cup)
    if state == "paused":
        return Standing("paused", cup)
    if cup is None or state != "open":
        return Standing("waiting", cup)
    return _at(cup, cups, released, rest_seconds, at)


def _at(cup: Step, cups: Sequence[Step], released: Collection[int], rest_seconds: int, at: datetime) -> Standing[Step]:
    """Rest, wait for the tray, or taste."""
    if cup.started_at is None:  # once offered, a serving is never taken away again
        ready = _rest_ends(cup, cups, rest_seconds)
        if ready is not None and ready > at:
            return Standing("rest", cup, ready)
        if cup.position not in released:
            return Standing("waiting", cup)
    if isinstance(cup, BlindSet):
        return Standing("trial", cup)
    return Standing("serving" if cup.scored else "warm_up", cup)


def _rest_ends(cup: Step, cups: Sequence[Step], rest_seconds: int) -> datetime | None:
    """The rest runs from the finish of the serving before."""
    earlier = [each for each in cups if each.position < cup.position and each.started_at]  # not those left out
    before = [each.finished_at for each in earlier if each.finished_at]
    return moment(before[-1]) + timedelta(seconds=rest_seconds) if before and rest_seconds > 0 else None
