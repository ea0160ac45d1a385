"""Spare pieces under codes of their own: dealt with the cups, given in place of one, and which code stands there now.

Both are events: what was dealt, and each spare that took a cup's place. An assessor learns codes only.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any

from studyapp.records import Seat, Sitting
from studyapp.services.seating import own_nonce
from studyapp.store import events, pulls, servings, studies

SHARE = 0.1  # one spare for every ten cups of a sample in a sitting, at least one; common practice, no source
DEALT, GIVEN = "spares dealt", "spare given"
INSTEAD = "another piece"  # the reason of marks that were made on the piece before


def keep(tx: Any, sitting: Sitting, samples: Mapping[str, str]) -> None:
    """Keep the sample of each spare of a sitting, by its code."""
    events.append(tx, DEALT, {"sitting": sitting.id, "spares": dict(samples)}, sitting.study)


def number(cups: int) -> int:
    """How many spares there are for so many cups."""
    return math.ceil(SHARE * cups)


def codes_of_study(tx: Any, study: str) -> set[str]:
    """Every code that a spare has in a study."""
    return {code for _sitting, kept in _kept(tx, study) for code in kept}


def _kept(tx: Any, study: str) -> list[tuple[str, dict[str, str]]]:
    """Sitting by sitting, the sample of each spare by its code."""
    bodies: list[Mapping[str, Any]] = [one.body for one in events.of_kinds(tx, study, DEALT)]
    return [(body["sitting"], body["spares"]) for body in bodies]


def dealt(tx: Any, sitting: Sitting) -> dict[str, str]:
    """The sample of each spare of a sitting by its code, but of those that were lost."""
    lost = pulls.lost(tx, sitting.study, sitting.number)
    gone = {one.id for one in studies.samples(tx, sitting.study) if one.level in lost}
    every = [kept for of, kept in _kept(tx, sitting.study) if of == sitting.id]
    return {code: sample for kept in every for code, sample in kept.items() if sample not in gone}


def given(tx: Any, sitting: Sitting) -> dict[str, Mapping[str, Any]]:
    """What each spare that was given stands for, by its code: `serving`, `assessor` and the code `own` before it."""
    told = [one.body for one in events.of_kinds(tx, sitting.study, GIVEN) if one.body["sitting"] == sitting.id]
    return {str(body["code"]): body for body in told}


def code_now(tx: Any, sitting: Sitting, serving: str, code: str) -> str:
    """The code that stands before an assessor at a serving whose cup was dealt under `code`."""
    return next((new for new, body in reversed(given(tx, sitting).items()) if body["serving"] == serving), code)


def free(tx: Any, sitting: Sitting, serving: str) -> str | None:
    """The code of a spare of the same sample as a serving holds, that nobody has yet."""
    sample, out = servings.sample_of(tx, serving), given(tx, sitting)
    return next((code for code, held in dealt(tx, sitting).items() if held == sample and code not in out), None)


def give(tx: Any, seat: Seat, sitting: Sitting, serving: str, own: str) -> str | None:
    """A spare takes the place of a cup, and its lines are empty again; its code, None where there is none left."""
    code = free(tx, sitting, serving)
    if code is None:
        return None
    for line in servings.lines(tx, sitting.id, serving):
        if line.value is not None:
            nonce = own_nonce("spare", code, line.id)
            servings.add_score(tx, sitting.study, serving, line.id, None, INSTEAD, nonce)
    body = {"sitting": sitting.id, "assessor": seat.assessor, "serving": serving, "code": code, "own": own}
    events.append(tx, GIVEN, body, sitting.study)
    return code
