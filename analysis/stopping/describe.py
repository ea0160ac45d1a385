"""Descriptions beside a verdict, never part of it: one assessor less, no first servings, own gains, habit rules."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy.special import stdtrit

from analysis.stopping import fates, orders, panels
from analysis.stopping.agreement import Agreement, agreement
from analysis.stopping.deciding import decide
from analysis.stopping.decision import Decision
from analysis.stopping.evidence import FEWEST_ASSESSORS
from analysis.stopping.rule import Rule
from analysis.stopping.verdicts import Verdict

Array = NDArray[np.float64]
HABIT_LEVEL = 0.05


@dataclass(frozen=True, slots=True)
class Answer:
    """A verdict and its hours."""

    verdict: Verdict
    hours: float | None


@dataclass(frozen=True, slots=True)
class Habit:
    """What two habits would have said of one attribute, in hours: the first pull not significantly different from the
    next (paired, two-sided 5 %), and the first not different from the longest by Tukey (5 %); None: no such pull."""

    next_pull: float | None
    tukey: float | None


@dataclass(frozen=True, slots=True)
class Description:
    """`without` maps each assessor to the answer without them; `too_few_without` says that one less is too few for any
    answer. `first_left_out` is None when positions are not recorded; `own_gains` is the answer with every assessor's
    scale stretched to the panel's, None when it cannot be; `habits` has the attributes of which at least two assessors
    scored every pull; `position_adjusted` is the answer of a model that takes the place on the tray out, None when the
    rule does so already, or when the orders do not allow it; `agreements` has the attributes that can be described."""

    without: Mapping[str, Answer]
    first_left_out: Answer | None
    own_gains: Answer | None
    habits: Mapping[str, Habit]
    position_adjusted: Answer | None = None
    too_few_without: bool = False
    agreements: Mapping[str, Agreement] = field(default_factory=dict)


def describe(scores: pd.DataFrame, rule: Rule, readings: pd.DataFrame | None = None) -> Description:
    """Reruns and habit rules for the numbers below a verdict, by the same readings of instruments.

    Raises:
        ValueError: as `decide`.
    """
    told = fates.read(scores, rule)
    data, rule = told.scored[told.scored["attribute"].isin(list(rule.attributes))].dropna(subset=["score"]), told.rule
    people = sorted(data["assessor"].unique(), key=str)
    fewer = people if len(people) > 2 else []
    without = {str(one): _answer(data[data["assessor"] != one], rule, readings) for one in fewer}
    first = None
    if "position" in data.columns:
        first = _answer(data[data["position"] > data["position"].min()], replace(rule, adjust=()), readings)
    habits = {name: found for name in rule.attributes if (found := habit(data, name)) is not None}
    adjusted, too_few = _position_adjusted(data, rule, readings), len(people) <= FEWEST_ASSESSORS
    agreed = {name: icc for name in rule.attributes if (icc := agreement(data, name)) is not None}
    return Description(without, first, _own_gains(data, rule, readings), habits, adjusted, too_few, agreed)


def _position_adjusted(data: pd.DataFrame, rule: Rule, readings: pd.DataFrame | None) -> Answer | None:
    """The answer with the place on the tray as a fixed factor."""
    if "position" in rule.adjust or "position" not in data.columns or data["position"].isna().any():
        return None
    if not orders.can_adjust(panels.read(data, rule)):
        return None
    return _answer(data, replace(rule, adjust=(*rule.adjust, "position")), readings)


def _answer(data: pd.DataFrame, rule: Rule, readings: pd.DataFrame | None) -> Answer:
    """The rule's answer on part of the data; what is left may be too little to read."""
    try:
        found: Decision = decide(data, rule, readings)
    except ValueError:
        return Answer("cannot tell", None)
    return Answer(found.verdict, found.hours)


def _own_gains(data: pd.DataFrame, rule: Rule, readings: pd.DataFrame | None) -> Answer | None:
    """Every assessor's scores divided by their gain, around their own mean."""
    parts = []
    for _name, frame in data.groupby("attribute", sort=False):
        cells = frame.pivot_table(index="assessor", columns="hours", values="score")
        if cells.isna().any(axis=None) or len(cells) < 2:
            return None
        pull = cells.mean() - cells.mean().mean()
        size = float((pull**2).sum())
        gains = cells.sub(cells.mean(axis=1), axis=0) @ pull / size if size > 0 else None
        if gains is None or (gains <= 0).any():
            return None
        centre = frame["assessor"].map(cells.mean(axis=1)).astype(float)
        parts.append(
            frame.assign(score=centre + (frame["score"] - centre) / frame["assessor"].map(gains).astype(float))
        )
    return _answer(pd.concat(parts), rule, readings)


# ---- habit rules ----------------------------------------------------------------------------------------------------
def habit(data: pd.DataFrame, attribute: str) -> Habit | None:
    """What the two habits say of one attribute, from the assessors who scored every pull; None below two of them."""
    cells = data[data["attribute"] == attribute].pivot_table(index="assessor", columns="hours", values="score").dropna()
    if cells.shape[0] < 2 or cells.shape[1] < 2:
        return None
    hours = [float(h) for h in cells.columns]
    next_pull, tukey = habit_rules(cells.to_numpy(float)[None])
    return Habit(_named(hours, next_pull[0]), _named(hours, tukey[0]))


def _named(hours: list[float], index: int) -> float | None:
    return hours[index] if index >= 0 else None


def habit_rules(cells: Array) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
    """Pull chosen by each habit on cell means (B, a, h): indices (B,), -1 where none.

    Both use the assessor x pull mean square: the t quantile at two-sided 5 % between neighbours, the studentised range
    of h means (Tukey) against the longest.
    """
    from scipy.stats import studentized_range

    _, a, h = cells.shape
    rest = cells - cells.mean(1, keepdims=True) - cells.mean(2, keepdims=True) + cells.mean((1, 2), keepdims=True)
    df = (a - 1) * (h - 1)
    square = (rest**2).sum((1, 2)) / df
    means = cells.mean(1)
    least = stdtrit(df, 1 - HABIT_LEVEL / 2) * np.sqrt(2 * square / a)
    honest = studentized_range.ppf(1 - HABIT_LEVEL, h, df) * np.sqrt(square / a)
    near = np.abs(np.diff(means, axis=1)) <= least[:, None]
    alike = np.abs(means[:, :-1] - means[:, -1:]) <= honest[:, None]
    return tuple(np.where(flags.any(1), flags.argmax(1), -1) for flags in (near, alike))  # type: ignore[return-value]
