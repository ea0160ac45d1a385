"""Carry-over and linger ladders: from which plain batch (or day) on is nothing left that people notice?

Each rung is a forced-choice test of plain-after against plain-before. *Clean* is a similarity claim, *still found* a
difference; a rung can be neither. Where every rung was tasted before the decision, they are read from the last to the
first, each at full alpha, until one fails (Hsu & Berger 1999): starting at the first would end there, where carry-over
is surest. Who decides batch by batch gets the first that passes at alpha / rungs. A rung with fewer right answers than
guessing explains is never clean: its codes may be swapped; nor is any where the positive control was not found.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from itertools import takewhile
from typing import TYPE_CHECKING, Literal

from analysis.choice.forced_choice import ChoiceResult, Reason, judge_panel
from analysis.choice.threshold import FEWEST_ASSESSORS, DosePoint, ShareLevel, at_share, dose_answers, fit

LadderVerdict = Literal["gone", "still found", "cannot tell"]
LadderReason = Reason | Literal["found again"]
FEWEST_RUNGS = 3  # below that nothing tells how steeply it fades; no source

if TYPE_CHECKING:
    from analysis.choice.control import ControlResult


@dataclass(frozen=True, slots=True)
class Rung:
    """One plain batch after, or one day after: its number and its test."""

    batch: int
    result: ChoiceResult


@dataclass(frozen=True, slots=True)
class Ladder:
    """Batches are None where no claim holds. `detected_through` is the last of the batches found without a gap;
    `noticed` holds until which batch chosen shares notice, where that was asked."""

    method: str
    alpha: float
    pd_limit: float
    clean_from_all_tasted: int | None
    clean_from_batch_by_batch: int | None
    detected_through: int | None
    rungs: tuple[Rung, ...]
    control: ControlResult | None = None
    noticed: tuple[ShareLevel, ...] = ()

    @property
    def verdict(self) -> LadderVerdict:
        """Gone from some rung on, still found in the last, or neither."""
        if self.clean_from_all_tasted is not None:
            return "gone"
        return "still found" if self.detected_through == self.rungs[-1].batch else "cannot tell"

    @property
    def reason(self) -> LadderReason | None:
        """Why it cannot be told, by the last rung, where the reading begins; None where it can."""
        if self.verdict != "cannot tell":
            return None
        return self.rungs[-1].result.reason or "found again"


def ladder(
    assessor: Sequence[str],
    batch: Sequence[int],
    correct: Sequence[int],
    method: str,
    pd_limit: float = 0.5,
    alpha: float = 0.05,
    control: ControlResult | None = None,
) -> Ladder:
    """The ladder of all batches tasted; the sequences hold one entry a trial, `correct` 0 or 1. The control is one of
    the whole study; its answers are none of these. Raises ValueError."""
    if not len(assessor) == len(batch) == len(correct) or not len(batch):
        raise ValueError("assessor, batch and correct need one entry a trial each, and one trial or more")
    counted = {number: _counted(assessor, batch, correct, number) for number in sorted(set(batch))}

    def judged(number: int, level: float) -> ChoiceResult:
        return judge_panel(method, *counted[number], level, pd_limit, control)

    rungs = tuple(Rung(number, judged(number, alpha)) for number in counted)

    return Ladder(
        rungs[0].result.method,
        alpha,
        pd_limit,
        _last_of(takewhile(lambda rung: rung.result.close, reversed(rungs))),
        next(
            (rung.batch for rung in rungs if rung.result.close and judged(rung.batch, alpha / len(rungs)).close), None
        ),
        _last_of(takewhile(lambda rung: rung.result.different, rungs)),
        rungs,
        control,
    )


def _counted(
    assessor: Sequence[str], batch: Sequence[int], correct: Sequence[int], number: int
) -> tuple[tuple[int, ...], tuple[int, ...]]:
    """Trials and right answers of everybody at one batch."""
    trials: dict[str, int] = {}
    right: dict[str, int] = {}
    for name, of_batch, answer in zip(assessor, batch, correct, strict=True):
        if of_batch == number:
            trials[name] = trials.get(name, 0) + 1
            right[name] = right.get(name, 0) + answer
    return tuple(trials.values()), tuple(right.values())


def _last_of(rungs: Iterable[Rung]) -> int | None:
    """The number of the last rung reached, None when there is none."""
    return next((rung.batch for rung in reversed(list(rungs))), None)


# ---- until when it is noticed --------------------------------------------------------------------------------------
def noticed_until(
    assessor: Sequence[str],
    level: Sequence[float],
    correct: Sequence[int],
    method: str,
    shares: Sequence[float],
    alpha: float = 0.05,
) -> tuple[ShareLevel, ...]:
    """Until which batch, day or second each of `shares` of people like these still notices, with one-sided limits.

    What fades with time is what grows with one over it: the threshold of that, turned round. Nothing is told outside
    the levels asked about, and nothing at all for fewer than three of them or five people. Raises ValueError.
    """
    if len(set(level)) < FEWEST_RUNGS or len(set(assessor)) < FEWEST_ASSESSORS:
        return ()
    fitted = fit(dose_answers(assessor, [1 / each for each in level], correct), method, alpha)
    return tuple(_turned(at_share(fitted, share)) for share in shares)


def _turned(found: ShareLevel) -> ShareLevel:
    return ShareLevel(found.share, _inverse(found.estimate), _inverse(found.high), _inverse(found.low))


def _inverse(point: DosePoint) -> DosePoint:
    where: dict[str, Literal["below", "tasted", "above"]] = {"below": "above", "tasted": "tasted", "above": "below"}
    return DosePoint(None if point.value is None else 1 / point.value, where[point.where])
