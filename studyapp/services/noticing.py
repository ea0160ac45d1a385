"""Two pieces eaten one by one, each noticed once at its own moment: the steps of such a set before its question.

A step is an event of the record and stands nowhere else, so where somebody is follows from the chain alone: a reload, a
locked phone or a restart resumes. Times are the app's own; a phone tells only how long a step waited for a connection.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

from studyapp.errors import BadInput, NotAllowed
from studyapp.records import SetsPlan
from studyapp.services.standing import moment, stamp
from studyapp.store import clock, events, trials
from studyapp.store.trials import BlindSet
from studyapp.words import _

EATEN, NOTICED = "piece eaten", "piece noticed"
STEPS = (EATEN, NOTICED, EATEN, NOTICED)
TOLERATED_SECONDS = 10  # whoever looks up later was not asked at the sealed time; out of common sense, no source
LONGEST_DELAY = 3600.0  # of a step that waited on a phone


@dataclass(frozen=True, slots=True)
class Moment:
    """Where somebody stands with a set: `done` of its four steps, and when the next one may be taken at the earliest;
    None for at once."""

    seconds: int
    done: int
    ready: datetime | None

    @property
    def piece(self) -> int:
        """Which piece the next step is about, 1 or 2."""
        return self.done // 2 + 1

    @property
    def eaten(self) -> bool:
        """Whether that piece is eaten and its moment is waited for."""
        return self.done % 2 == 1

    @property
    def over(self) -> bool:
        """Whether both pieces are behind and the question may be asked."""
        return self.done >= len(STEPS)


def where(tx: Any, plan: SetsPlan, offered: BlindSet) -> Moment:
    """Where somebody stands with a set that was offered; at once at its question where cups are tasted together."""
    if not plan.longest_wait:
        return Moment(0, len(STEPS), None)
    seconds = plan.wait_of(trials.level_of(tx, offered.id))
    steps = trials.steps(tx, offered.id, (EATEN, NOTICED))
    waits = (None, seconds, plan.rest_seconds, seconds, None)[len(steps)]
    return Moment(seconds, len(steps), None if waits is None else moment(steps[-1]) + timedelta(seconds=waits))


def page(here: Moment, offered: BlindSet, note: str) -> dict[str, Any]:
    """What the page of a set says before its question."""
    resting = not here.eaten and here.ready is not None and here.ready > clock.now()
    ready_at = stamp(here.ready) if here.ready is not None and (resting or here.eaten) else None
    told = {"kind": "rest" if resting else "piece", "piece": here.piece, "ready_at": ready_at}
    if resting:
        return told
    ask = _("is any {note} still there?").format(note=note)
    codes = {"trial": offered.id, "code": offered.codes[here.piece - 1]}
    return {**told, **codes, "seconds": here.seconds, "ask": ask}


def check_step(step: Any, ago: float) -> None:
    """Raises BadInput for a step that no set has, or a delay that no phone can have."""
    if type(step) is not int or not 1 <= step <= len(STEPS) or not (math.isfinite(ago) and 0 <= ago <= LONGEST_DELAY):
        raise BadInput(_("Not done: this page is out of date. Open your link again; your answers are kept."))


def keep(tx: Any, study: str, here: Moment, offered: BlindSet, at: datetime) -> str | None:
    """Keep the next step of a set, taken at `at`; the reason why the set can no longer be answered, where the moment of
    a piece has passed. Raises NotAllowed before that moment."""
    early = here.ready is not None and at + timedelta(seconds=1) < here.ready  # stored times have whole seconds
    if early:
        raise NotAllowed(_("Not done: the moment of this piece has not come yet."))
    events.append(tx, STEPS[here.done], {"set": offered.id, "piece": here.piece, "at": stamp(at)}, study)
    late = (at - here.ready).total_seconds() if here.eaten and here.ready else 0.0
    if late <= TOLERATED_SECONDS:
        return None
    said = _("noticed after {n} seconds instead of {seconds}")
    return said.format(n=here.seconds + int(late), seconds=here.seconds)
