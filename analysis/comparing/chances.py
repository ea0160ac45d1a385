"""What a plan of a comparison can show: the whole rule on simulated studies, for other numbers of people and batches.

A study is drawn as a workshop might score it (`planning.simulation`); with a claim on the make every batch moves every
attribute by a draw of its own. Shapes: B studies, a assessors, h pieces.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from analysis.comparing.batches import apart_of
from analysis.comparing.bracket import hours_over, order_of, shown_of
from analysis.comparing.claims import CANNOT, MAKE_VERDICTS, SHOWN, Judged, judge
from analysis.comparing.gates import Gated, joined, of_makes
from analysis.comparing.pair import beats_control, slower
from analysis.comparing.reading import Lots
from analysis.comparing.rule import MakeRule, check_make_rule
from analysis.model.scores import Scores, cells_of
from analysis.planning.drawn_readings import GateTruth, read_gates
from analysis.planning.simulation import CENTRE, AttributeTruth, Design, Scenario, draw

Array = NDArray[np.float64]
CHUNK = 500
Limits = Gated | Mapping[str, GateTruth]
# How much worse the control is, scale units, where nobody knows: what a piece "known to differ" differs by.
CONTROL = 3.0
# How far inside a limit on its mean a good make lies, in margins.
INSIDE = 1.5


@dataclass(frozen=True, slots=True)
class MakeDesign:
    """Who tastes how often: every piece `servings` times a sitting; with a claim on the make, `batches` of each, one of
    each make a sitting in turn, so that `sittings` is a multiple of it."""

    assessors: int
    sittings: int = 2
    servings: int = 1
    batches: int = 1


@dataclass(frozen=True, slots=True)
class MakeTruth:
    """What is true of one attribute: `worse` of each make than the reference (q,), positive = worse, scale units;
    spreads as in `planning.AttributeTruth`; `batch` is the sd of what a batch does to a piece."""

    worse: tuple[float, ...]
    spreads: AttributeTruth = AttributeTruth((0.0, 0.0))  # noqa: RUF009  # frozen
    batch: float = 0.0
    control: float = CONTROL


@dataclass(frozen=True, slots=True)
class Outcomes:
    """Shares of `studies`: of each verdict for each make, in the order of `MAKE_VERDICTS`; `any_shown` of studies in
    which some make is shown; `all_shown` in which all are; `any_open` in which of some nothing can be told."""

    shares: tuple[tuple[float, float, float], ...]
    any_shown: float
    all_shown: float
    any_open: float
    studies: int

    def chance(self, make: int, verdict: str) -> float:
        """Share of one verdict of one make, by their numbers and names."""
        return self.shares[make][MAKE_VERDICTS.index(verdict)]

    @property
    def monte_carlo_se(self) -> float:
        """The largest error of any of these shares, from the number of studies."""
        every = (self.any_shown, self.all_shown, self.any_open, *(share for own in self.shares for share in own))
        return float(np.sqrt(max(share * (1 - share) for share in every) / self.studies))


def outcomes(
    rule: MakeRule,
    truths: Mapping[str, MakeTruth],
    design: MakeDesign,
    studies: int,
    seed: int,
    correlation: float = 0.3,
    limits: Limits | None = None,
) -> Outcomes:
    """Chances of each verdict over so many simulated studies; see `growing_outcomes`."""
    *_fewer, last = growing_outcomes(rule, truths, design, studies, seed, correlation, limits)
    return last


def growing_outcomes(
    rule: MakeRule,
    truths: Mapping[str, MakeTruth],
    design: MakeDesign,
    studies: int,
    seed: int,
    correlation: float = 0.3,
    limits: Limits | None = None,
) -> Iterator[Outcomes]:
    """The same while studies accumulate.

    Args:
        rule: as sealed; every look but the first is left out, which costs little chance of an answer.
        truths: of every deciding attribute.
        design: who tastes how often.
        studies: how many are drawn, 1 or more.
        seed: of the draws.
        correlation: of all random parts between attributes.
        limits: of instruments: what is already read, or the truth behind each limit of the rule, its `mean` for every
            make that is judged and the reference; None only where the rule has no limits.

    Raises:
        ValueError: the rule is impossible, or sittings are no multiple of the batches.
    """
    level = check_make_rule(rule)
    if rule.claim == "make" and design.sittings % design.batches:
        raise ValueError(f"sittings: {design.sittings} are no multiple of {design.batches} batches")
    rng = np.random.default_rng(seed)
    verdicts: list[NDArray[np.intp]] = []
    for start in range(0, studies, CHUNK):
        size = min(CHUNK, studies - start)
        drawn = _drawn(rule, truths, design, size, rng, correlation)
        verdicts.append(
            judge_drawn(drawn, rule, level, design, _read(rule, limits, design, size, seed + start)).verdict
        )
        yield _outcomes(np.concatenate(verdicts))


def _outcomes(verdict: NDArray[np.intp]) -> Outcomes:
    shares = [tuple(float((own == one).mean()) for one in range(len(MAKE_VERDICTS))) for own in verdict.T]
    shown = verdict == SHOWN
    open_ = (verdict == CANNOT).any(1)
    some, every, left = (float(part.mean()) for part in (shown.any(1), shown.all(1), open_))
    return Outcomes(tuple(shares), some, every, left, len(verdict))  # type: ignore[arg-type]


def _read(rule: MakeRule, limits: Limits | None, design: MakeDesign, size: int, seed: int) -> Gated | None:
    """Limits of instruments: as they are read already, or read anew in every drawn study and batch."""
    if not rule.gates or limits is None or isinstance(limits, Gated):
        return limits if isinstance(limits, Gated) else None
    gates = of_makes(rule.gates)
    pieces = len(next(iter(limits.values())).mean)
    gating = read_gates(limits, gates, np.arange(float(pieces)), size, seed, design.batches)
    assert gating is not None
    return joined(gates, gating.read, np.ones((design.batches, pieces), bool), {})


def judge_drawn(
    drawn: Mapping[str, Array], rule: MakeRule, level: float, design: MakeDesign, gates: Gated | None = None
) -> Judged:
    """Verdicts of drawn studies: attribute -> (B, a, h, S, r), control first, reference last; `gates` of these, or
    alike for all of them."""
    first = next(iter(drawn.values())).shape[2] - 2 if rule.pulls else int(rule.control is not None)
    trays = "sitting:hours" in rule.adjust
    if rule.claim != "make":
        every = {name: cells_of(Scores(y), trays) for name, y in drawn.items()}
        return judge(every, rule.attributes, level, first, gated=gates)
    cells, apart = {}, {}
    for name, y in drawn.items():
        fine, lots = _by_batch(y, design.batches)
        apart[name], less = apart_of(fine, lots, rule.pairs)
        cells[name] = cells_of(less)
    return judge(cells, rule.attributes, level, first, apart=apart, gated=gates)


def _by_batch(y: Array, batches: int) -> tuple[Scores, Lots]:
    """Scores by piece and batch, the sittings being dealt to the batches in turn."""
    B, a, h, S, r = y.shape
    by_batch = y.reshape(B, a, h, S // batches, batches, r).transpose(0, 1, 2, 4, 3, 5)
    fine = by_batch.reshape(B, a, h * batches, 1, -1)
    return Scores(fine), Lots(np.repeat(np.arange(h), batches), np.tile(np.arange(batches), h))


def _drawn(
    rule: MakeRule,
    truths: Mapping[str, MakeTruth],
    design: MakeDesign,
    size: int,
    rng: np.random.Generator,
    correlation: float,
) -> dict[str, Array]:
    scenario = Scenario(
        tuple(map(float, range(_pieces(rule, truths)))),
        {name: _truth(rule, name, truth) for name, truth in truths.items()},
        correlation,
    )
    plain = Design(design.assessors, design.servings, design.sittings)
    found = draw(scenario, plain, design.sittings, size, rng)
    return {name: y + _moved(truths[name].batch, y.shape, design, rng) for name, y in found.items()}


def _pieces(rule: MakeRule, truths: Mapping[str, MakeTruth]) -> int:
    return len(next(iter(truths.values())).worse) + 1 + (rule.control is not None)


def _truth(rule: MakeRule, name: str, truth: MakeTruth) -> AttributeTruth:
    claim = rule.attributes[name]
    sign = claim.wish.sign
    # As a maker would set it: what is good enough lies well inside a limit.
    centre = CENTRE if claim.limit is None else claim.limit - sign * INSIDE * claim.margin
    control = () if rule.control is None else (truth.control,)
    return replace(truth.spreads, mean=tuple(centre + sign * worse for worse in (*control, *truth.worse, 0.0)))


def _moved(sd: float, shape: tuple[int, ...], design: MakeDesign, rng: np.random.Generator) -> Array:
    """What each batch does to each piece, the same for everybody and in every sitting that serves it."""
    if sd == 0:
        return np.zeros((1, 1, 1, 1, 1))
    B, _a, h, S, _r = shape
    own = rng.standard_normal((B, 1, h, design.batches, 1)) * sd
    return np.tile(own, (1, 1, 1, S // design.batches, 1))


# ---- less time -------------------------------------------------------------------------------------------------------
def less_time(rule: MakeRule, truths: Mapping[str, MakeTruth], design: MakeDesign, studies: int, seed: int) -> float:
    """Share of drawn studies in which the first make is shown to get there in less time, as the pair was sealed; the
    control is the reference in the short time. Raises ValueError where no pair is sealed."""
    level, name = check_make_rule(rule), rule.faster
    if name is None:
        raise ValueError("faster: no pair is sealed")
    rng, shown = np.random.default_rng(seed), 0
    for start in range(0, studies, CHUNK):
        drawn = _drawn(rule, truths, design, min(CHUNK, studies - start), rng, 0.3)
        judged = judge_drawn(drawn, rule, level, design)
        one = judged.attributes[name]
        pair = slower(one, level) & beats_control(one, 1, level)
        shown += int((pair & (judged.verdict[:, 0] == SHOWN)).sum())
    return shown / studies


# ---- hours -----------------------------------------------------------------------------------------------------------
def hours_over_drawn(
    rule: MakeRule,
    worse: tuple[Sequence[float], Sequence[float]],
    design: MakeDesign,
    studies: int,
    seed: int,
    spreads: Mapping[str, AttributeTruth],
    correlation: float = 0.3,
) -> Array:
    """By how many hours over the other the slow make is shown to need longer (studies,), NaN where nothing is shown.

    Args:
        rule: as sealed, with its pulls.
        worse: by how much every attribute is worse than at the reference, positive = worse, scale units, at the pulls
            of the slow make and of the fast one in the order of `bracket.order_of`.
        design: who tastes how often.
        studies, seed, correlation: as in `growing_outcomes`.
        spreads: of every deciding attribute.
    """
    level = check_make_rule(rule)
    hours = [np.array([rule.pulls[name].hours for name in own]) for own in order_of(rule)]
    control, *slow = worse[0]
    truths = {name: MakeTruth((*slow, *worse[1]), own, control=control) for name, own in spreads.items()}
    rng, found = np.random.default_rng(seed), []
    for start in range(0, studies, CHUNK):
        drawn = _drawn(rule, truths, design, min(CHUNK, studies - start), rng, correlation)
        judged = judge_drawn(drawn, rule, level, design)
        good, bad = (one[:, :-1] for one in shown_of([judged.attributes], rule))
        at_most, more_than = hours_over(good, bad, hours[0], hours[1], judged.control_found)
        found.append(more_than - at_most)
    over = np.concatenate(found)
    return np.where(over > 0, over, np.nan)
