"""Decide one comparison: its scores into cells, limits, a verdict for each make, and what stands behind it."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from analysis.comparing.batches import Apart, apart_of
from analysis.comparing.bracket import Bracket, bracket
from analysis.comparing.claims import MAKE_VERDICTS, ClaimLimits, Judged, judge, under_both
from analysis.comparing.gates import Gated, GateOfMake, gated
from analysis.comparing.missing import Left
from analysis.comparing.pair import beats_control, slower
from analysis.comparing.reading import Served, read
from analysis.comparing.results import ClaimResult, Compared, ControlResult, Faster, MakeResult
from analysis.comparing.rule import MakeRule, check_make_rule
from analysis.stopping import orders
from analysis.stopping.adjusted import InForce
from analysis.stopping.decision import Warning
from analysis.stopping.evidence import WHY_NOT
from analysis.stopping.standard_errors import Error
from analysis.stopping.warnings import warnings_beside

Array = NDArray[np.float64]
# What is said of hours alone, or of one batch, which a comparison says by itself.
OF_HOURS = ("grew", "one batch")
OF_SITTINGS = ("as prepared for this sitting", "sittings disagree")


@dataclass(frozen=True, slots=True)
class Weighed:
    """One study under its rule: what was served, what the rule decides on, and what is found."""

    served: Served
    force: InForce
    judged: Judged
    apart: Mapping[str, Apart]
    level: float
    left: Left
    fills: tuple[Judged, ...] = ()


def weigh(scores: pd.DataFrame, rule: MakeRule, readings: pd.DataFrame | None = None) -> Weighed:
    """The scores under the rule, before it is put into words. Raises ValueError as `compare`."""
    level = check_make_rule(rule)
    told = read(scores, rule)
    limits = gated(readings, told.left.rule, told.served.tasted, level)
    found = _weighed(told.served, told.left, level, limits)
    if not told.fills:
        return found
    fills = tuple(_weighed(way, told.left, level, limits).judged for way in told.fills)
    return replace(found, judged=under_both(found.judged, fills, level), fills=fills)


def _weighed(served: Served, left: Left, level: float, limits: Gated | None) -> Weighed:
    """What the limits of one panel show."""
    rule, panel, apart = left.rule, served.panel, {}
    if served.lots is not None:
        less = {}
        for name, own in served.by_lot.items():
            apart[name], less[name] = apart_of(own, served.lots, rule.pairs)
        panel = replace(panel, scores=less)
    force = InForce.of_study(panel, rule.plain)
    out = len(set(left.out) - set(rule.beside))
    judged = judge(force.cells, rule.attributes, level, served.first, force.fits, apart or None, out, limits)
    return Weighed(replace(served, panel=panel), force, judged, apart, level, left)


def compare(scores: pd.DataFrame, rule: MakeRule, readings: pd.DataFrame | None = None) -> Compared:
    """The verdict on every make, on tidy scores under `rule`.

    Args:
        scores: one row a score, columns assessor, make, attribute, score (scale units), optionally sitting, replicate,
            position, batch; missing scores are left out or NaN, with `why` and `reason` as in `stopping.decide`.
        rule: the sealed rule.
        readings: of instruments, for the rule's limits of these; see `gates.gated`. A limit without readings is open.

    Raises:
        ValueError: the rule is impossible, or the scores do not fit it; the text says which, where and why.
    """
    found, sealed = weigh(scores, rule, readings), rule
    rule, panel, judged, served = found.left.rule, found.served.panel, found.judged, found.served
    forbidden = orders.forbid(panel, rule.plain)
    lots, limits = served.lots, judged.beside.gated
    return Compared(
        makes={name: _make(found, rule, number, forbidden) for number, name in enumerate(served.makes)},
        reference=rule.reference,
        control=sealed.control,
        control_result=_control(found, rule),
        claims=rule.attributes,
        claim=rule.claim,
        batches=1 if lots is None else int((lots.piece == lots.piece.max()).sum()),
        pairs=rule.pairs and lots is not None,
        reason="orders" if forbidden else _reason(judged, rule),
        level=found.level,
        alpha=rule.alpha,
        look=rule.look,
        looks=rule.looks,
        scope={"assessors": panel.scope["assessors"], "sittings": panel.scope["sittings"]},
        warnings=tuple(_warnings(found, rule)),
        reference_means={name: _mean(one, -1) for name, one in judged.attributes.items()},
        faster=None if rule.faster is None else _faster(found, rule, rule.faster, forbidden),
        lost=found.left.lost,
        unjudged=found.left.unjudged,
        gates=rule.gates,
        reference_gates=() if limits is None else limits.results[rule.reference],
        reached=() if limits is None else limits.reached,
        bracket=_bracket(found, sealed, forbidden),
    )


def _bracket(found: Weighed, rule: MakeRule, forbidden: bool) -> Bracket | None:
    """How many hours longer the reference's make needs, where that was sealed."""
    if not rule.pulls:
        return None
    return bracket(found.judged, found.fills, rule, found.served.pieces, found.left.out, not forbidden)


def _reason(judged: Judged, rule: MakeRule) -> str | None:
    if rule.control is None and rule.needs_control:
        return "control lost"
    if not all(one.limits.judged[0] for one in judged.attributes.values()):
        return "not enough data"
    return None if judged.control_found[0] else "control not found"


def _mean(one: ClaimLimits, column: int) -> float:
    return float(one.means.estimate[0, column] * one.limits.sign)


def _control(found: Weighed, rule: MakeRule) -> ControlResult:
    """What told the control; without one nothing was asked."""
    told = {name: one for name, one in found.judged.attributes.items() if one.told[0]}
    if rule.control is None or not told:
        return ControlResult(rule.control is None and not rule.needs_control)
    best = max(told, key=lambda name: abs(told[name].worse.estimate[0, 0]))
    return ControlResult(True, best, float(told[best].worse.estimate[0, 0]))


# ---- one make --------------------------------------------------------------------------------------------------------
def _make(found: Weighed, rule: MakeRule, number: int, forbidden: bool) -> MakeResult:
    judged = found.judged
    level = float(judged.level[0, number])
    every = {name: _claim(found, rule, name, number, level) for name in rule.attributes}
    verdict = "cannot tell" if forbidden else MAKE_VERDICTS[int(judged.verdict[0, number])]
    limits, broken = _limits_of(found, number)
    chances = {name: one.p for name, one in every.items()}
    for limit in limits:
        chances[limit.name] = max(chances.get(limit.name, 0.0), limit.p)
    return MakeResult(
        verdict=verdict,
        p=float(judged.p[0, number]),
        p_holm=float(judged.holm[0, number]),
        level=level,
        binding=max(chances, key=chances.__getitem__),
        fails_on=(*(name for name, one in every.items() if one.fails), *broken),
        attributes=every,
        gates=limits,
    )


def _limits_of(found: Weighed, number: int) -> tuple[tuple[GateOfMake, ...], tuple[str, ...]]:
    """The limits of instruments of one make, and the names of those it is shown to break."""
    beside = found.judged.beside
    if beside.gated is None:
        return (), ()
    own = beside.gated.results[found.served.makes[number]]
    failing = found.level / beside.statements
    return own, tuple(dict.fromkeys(one.name for one in own if one.broken <= failing))


def _claim(found: Weighed, rule: MakeRule, name: str, number: int, level: float) -> ClaimResult:
    one, asked = found.judged.attributes[name], rule.attributes[name]
    column = found.served.first + number
    worse, d = one.worse.of([column]), float(one.worse.estimate[0, column])
    panel, own, third = (_sides(d, error, level) for error in (worse.panel, worse.own, worse.sitting))
    # Under the one filling of what could not be judged the highest limits, under the other the lowest.
    ways = one.filled or (one, one)
    lower, upper = _ends(ways[-1], column, level)[0], _ends(ways[0], column, level)[1]
    within = None
    if asked.limit is not None:
        within = all(_within(way, column, level, asked.limit) for way in ways)
    apart = found.apart.get(name)
    by_batch = () if apart is None else tuple((one.limits.sign * apart.by_batch[0, :, column]).tolist())
    return ClaimResult(
        difference=d,
        lower=lower,
        upper=upper,
        panel_se=_known(worse.panel.se[0, 0]),
        panel_df=_known(worse.panel.df[0, 0]),
        panel_lower=panel[0],
        panel_upper=panel[1],
        own_se=_known(worse.own.se[0, 0]),
        own_df=_known(worse.own.df[0, 0]),
        own_lower=own[0],
        own_upper=own[1],
        third_lower=third[0],
        third_upper=third[1],
        mean=_mean(one, column),
        p=float(one.p[0, number]),
        shown=bool(one.p[0, number] < level),
        fails=bool(one.fails[0, number]),
        within_limit=within,
        by_batch=() if np.isnan(by_batch).any() else by_batch,
        why_not=WHY_NOT[int(one.limits.why_not[0])],
    )


def _ends(one: ClaimLimits, column: int, level: float) -> tuple[float | None, float | None]:
    """The decisive limits of one make."""
    d, reach = float(one.worse.estimate[0, column]), float(one.worse.of([column]).reach(level)[0, 0])
    return _known(d - reach), _known(d + reach)


def _within(one: ClaimLimits, column: int, level: float, limit: float) -> bool:
    mean = one.means.of([column])
    return bool(mean.estimate[0, 0] + mean.reach(level)[0, 0] < one.limits.sign * limit)


def _sides(d: float, error: Error | None, level: float) -> tuple[float | None, float | None]:
    if error is None:
        return None, None
    reach = float(error.reach(level)[0, 0])
    return _known(d - reach), _known(d + reach)


def _known(value: float) -> float | None:
    return float(value) if np.isfinite(value) else None


# ---- less time -------------------------------------------------------------------------------------------------------
def _faster(found: Weighed, rule: MakeRule, name: str, forbidden: bool) -> Faster:
    """The sealed pair: each statement at the level of the look, all of them needed, so no penalty for their number."""
    served, ways = found.served, [fill.attributes[name] for fill in found.fills or (found.judged,)]
    slow = rule.control is not None and not forbidden and all(slower(way, found.level)[0] for way in ways)
    better = {
        make: all(bool(beats_control(way, served.first + number, found.level)[0]) for way in ways)
        for number, make in enumerate(served.makes)
    }
    shown = {
        make: slow and better[make] and MAKE_VERDICTS[int(found.judged.verdict[0, number])] == "shown"
        for number, make in enumerate(served.makes)
    }
    return Faster(name, shown, slow, better)


# ---- beside the verdict ----------------------------------------------------------------------------------------------
def _warnings(found: Weighed, rule: MakeRule) -> Iterator[Warning]:
    """What is said beside any verdict on scores, asked of each make in turn, each thing once."""
    said: list[Warning] = []
    for column in range(found.served.first, len(found.served.pieces) - 1):
        judged = replace(found.judged.plain, shortest=np.array([column]))
        for warning in warnings_beside(found.served.panel, rule.plain, found.level, judged):
            told = _of_piece(warning, found.served.pieces)
            if told not in said and warning.code not in _left_out(rule):
                said.append(told)
                yield told


def _left_out(rule: MakeRule) -> tuple[str, ...]:
    """Codes that say nothing here: of hours, of sittings where the batch stands for them, of a control there is not."""
    sittings = OF_SITTINGS if rule.claim == "make" else ()
    return (*OF_HOURS, *sittings, *(("not_told_here",) if rule.control is None else ()))


def _of_piece(warning: Warning, pieces: tuple[str, ...]) -> Warning:
    """The piece by its name where a study of hours names its pull."""
    values = dict(warning.values)
    for key in ("hours", "reference"):
        if isinstance(values.get(key), float):
            values[key] = pieces[int(str(values[key]).partition(".")[0])]
    return Warning(warning.code, values)
