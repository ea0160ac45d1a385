"""A comparison of makes judged apart from the project: one make, one attribute, one statement at a time.

Differences and their errors are the dense ones of the referee of the stop rule, which shares no formula with the
project; claims, failures, Holm's steps, losses, fillings and batches are written here from the rule alone.
Sources: Schuirmann 1987 (two one-sided tests), Berger 1982 (all of several), Holm 1979; all from memory.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np
import pandas as pd
from scipy.stats import t as student

from tests.analysis.referee import Attribute, Estimate, Fit, Wish, rows_of, step_of


@dataclass(frozen=True)
class Claimed:
    """The sealed claim on one attribute."""

    wanted: str
    margin: float
    claim: str
    limit: float | None = None


@dataclass(frozen=True)
class Ask:
    """The sealed rule."""

    claims: Mapping[str, Claimed]
    reference: str = "A"
    control: str = "Z"
    level: float = 0.05
    by_sitting: bool = False
    pairs: bool = False


@dataclass
class Answer:
    """Verdict, chance, Holm's chance of every make, its limits at the level of its step, and the control."""

    verdict: dict[str, str] = field(default_factory=dict)
    p: dict[str, float] = field(default_factory=dict)
    holm: dict[str, float] = field(default_factory=dict)
    limits: dict[tuple[str, str], tuple[float, float]] = field(default_factory=dict)
    control_found: bool = False
    doubts: set[str] = field(default_factory=set)


class Way:
    """The scores under one filling."""

    def __init__(self, scores: pd.DataFrame, ask: Ask) -> None:
        """Number the pieces; the reference is last."""
        names = sorted(set(scores["make"]))
        ranked = sorted(names, key=lambda name: (name == ask.reference, name != ask.control, name))
        self.number = {name: float(place) for place, name in enumerate(ranked)}
        self.ask, self.scores = ask, scores.assign(hours=scores["make"].map(self.number))
        self.attributes: dict[str, Attribute] = {}
        self.extra: dict[tuple[str, str], tuple[float, tuple[float, float]]] = {}
        for name, one in ask.claims.items():
            data = self._less_pairs(name) if ask.pairs else self.scores
            wish = Wish(one.wanted, one.margin, one.limit)
            self.attributes[name] = Attribute(data, name, wish, sorted(self.number.values()), ask.by_sitting)
            # What a pair adds to all is taken out of scores, not of the steps in which these were recorded.
            self.attributes[name].step = step_of(rows_of(self.scores, name))

    def _less_pairs(self, name: str) -> pd.DataFrame:
        """The scores of one attribute without what each pair of batches adds to all, and its differences kept."""
        own = self.scores[self.scores["attribute"] == name]
        columns = sorted(set(zip(own["hours"], own["batch"], strict=True)))
        at = {column: float(place) for place, column in enumerate(columns)}
        fine = own.assign(hours=[at[key] for key in zip(own["hours"], own["batch"], strict=True)])
        means = dict(zip(columns, Fit(rows_of(fine, name), step_of(rows_of(fine, name))).means, strict=True))
        lots = sorted(set(own["batch"]))
        shift = {lot: np.mean([m for (_h, of), m in means.items() if of == lot]) for lot in lots}
        grand = float(np.mean(list(shift.values())))
        for make, number in self.number.items():
            if make == self.ask.reference:
                continue
            gaps = [self._pair_gap(own, name, lot, number) for lot in lots]
            if all(gap is not None for gap in gaps):
                d = np.array(gaps, float)
                self.extra[name, make] = float(d.mean()), (float(d.std(ddof=1) / np.sqrt(len(d))), len(d) - 1.0)
        return own.assign(score=own["score"] - own["batch"].map(shift).astype(float) + grand)

    def _pair_gap(self, own: pd.DataFrame, name: str, lot: str, number: float) -> float | None:
        part = rows_of(own[own["batch"] == lot], name)
        if number not in set(part["hours"]):
            return None
        fit = Fit(part, step_of(part))
        return float(fit.means[fit.hours.index(number)] - fit.means[-1])

    def worse(self, name: str, make: str) -> Estimate | None:
        """The difference with every error in force; that of batches joins the own one."""
        found = self.attributes[name].worse(self.number[make], max(self.number.values()))
        if found is None or (name, make) not in self.extra:
            return found
        value, (se, df) = self.extra[name, make]
        own, own_df = found.errors[1]
        total = np.hypot(own, se)
        joined = total, total**4 / (own**4 / own_df + se**4 / df)
        sign = self.attributes[name].wish.sign
        return Estimate(sign * value, (*found.errors[:2], joined), found.usable)

    def mean(self, name: str, make: str) -> Estimate | None:
        """The mean of a make, high being bad."""
        return self.attributes[name].mean(self.number[make])

    def p(self, name: str, make: str) -> float:
        """Chance of the claim and its limit, were they just false."""
        one, d = self.ask.claims[name], self.worse(name, make)
        if d is None or not d.usable:
            return 1.0
        ends = [below(d, 0.0 if one.claim == "better" else one.margin)]
        if one.claim == "same":
            ends.append(below(d.turned(-1.0), one.margin))
        if one.limit is not None:
            mean = self.mean(name, make)
            assert mean is not None
            ends.append(below(mean, self.attributes[name].wish.sign * one.limit))
        return max(ends)

    def fails(self, name: str, make: str, level: float) -> bool:
        """Whether the claim, or its limit, is shown to be false."""
        one, d = self.ask.claims[name], self.worse(name, make)
        if d is None or not d.usable:
            return False
        if one.limit is not None:
            mean = self.mean(name, make)
            assert mean is not None
            if mean.lower(level) >= self.attributes[name].wish.sign * one.limit:
                return True
        if one.claim == "better":
            return d.lower(level) >= 0
        return d.lower(level) >= one.margin or (one.claim == "same" and d.upper(level) <= -one.margin)

    def tells_control(self, name: str) -> bool:
        """The control is worse, or for "same" merely other, than the reference."""
        if self.ask.control not in self.number:
            return False
        d, level = self.worse(name, self.ask.control), self.ask.level / len(self.ask.claims)
        if d is None or not d.usable:
            return False
        return d.lower(level) > 0 or (self.ask.claims[name].wanted == "same" and d.upper(level) < 0)


def below(found: Estimate, edge: float) -> float:
    """Largest chance, over the errors, of so low an estimate if the truth lay at the edge."""
    return max(float(student.cdf((found.value - edge) / se, df)) for se, df in found.errors)


def holm(p: list[float]) -> list[float]:
    """Holm's adjusted chances, step by step."""
    order = sorted(range(len(p)), key=lambda place: p[place])
    found, highest = [0.0] * len(p), 0.0
    for step, place in enumerate(order):
        highest = max(highest, min(1.0, (len(p) - step) * p[place]))
        found[place] = highest
    return found


# ---- what is missing -------------------------------------------------------------------------------------------------
def sorted_out(scores: pd.DataFrame, ask: Ask) -> tuple[list[pd.DataFrame], int]:
    """The scores that count, once or under both fillings, and how many sealed makes can never be shown."""
    notes, rows = scores[scores["why"] == "lost"], scores[scores["why"] != "lost"]
    tried = rows[rows["score"].notna() | (rows["why"] == "unjudged")]
    days, stuck = {str(day) for day in tried["sitting"]}, 0
    for make, own in notes.groupby("make"):
        there = {str(day) for day in tried.loc[tried["make"] == make, "sitting"]}
        noted = days if own["sitting"].isna().any() else {str(day) for day in own["sitting"]}
        whole = there <= noted
        if there and whole and make != ask.control:
            stuck += 1
        rows = rows[(rows["make"] != make) | (not whole and ~rows["sitting"].astype(str).isin(noted))]
    unknown = (rows["why"] == "unjudged") & rows["score"].isna()
    if not unknown.any():
        return [rows], stuck
    bad = rows["attribute"].map(lambda name: 0.0 if ask.claims[name].wanted == "higher" else 10.0)
    at_reference = rows["make"] == ask.reference
    ways = [
        rows.assign(score=rows["score"].where(~unknown, bad.where(at != at_reference, 10 - bad)))
        for at in (True, False)
    ]
    return [*ways, rows[~unknown]], stuck


def judge(scores: pd.DataFrame, ask: Ask) -> Answer:
    """The answer on tidy scores (assessor, make, attribute, score, sitting, replicate, why; perhaps batch)."""
    frames, stuck = sorted_out(scores, ask)
    ways = [Way(frame, ask) for frame in frames]
    deciding = ways[:-1] or ways
    makes = [name for name in ways[0].number if name not in (ask.reference, ask.control)]
    answer = Answer(doubts=set().union(*(own.doubts for way in ways for own in way.attributes.values())))
    p = {make: max(way.p(name, make) for way in deciding for name in ask.claims) for make in makes}
    adjusted = holm([*p.values(), *[1.0] * stuck])[: len(makes)]
    answer.p, answer.holm = p, dict(zip(makes, adjusted, strict=True))
    needed = any(one.claim != "better" for one in ask.claims.values())
    answer.control_found = all(any(way.tells_control(name) for name in ask.claims) for way in deciding)
    if not needed and ask.control not in deciding[0].number:
        answer.control_found = True  # nothing was asked of one that is not there
    statements = (len(makes) + stuck) * sum(1 + (one.limit is not None) for one in ask.claims.values())
    failing = ask.level / statements
    for make in makes:
        shown = answer.holm[make] < ask.level
        fails = any(all(way.fails(name, make, failing) for way in deciding) for name in ask.claims)
        awake = answer.control_found or not needed
        answer.verdict[make] = "cannot tell"
        if awake and (shown or fails):
            answer.verdict[make] = "shown" if shown else "not good enough"
        rank = sorted([*p.values(), *[1.0] * stuck]).index(p[make])
        open_ = len(makes) + stuck - sum(one < ask.level for one in answer.holm.values())
        at = ask.level / (len(makes) + stuck - rank if shown else max(open_, 1))
        for name in ask.claims:
            high, low = deciding[0].worse(name, make), deciding[-1].worse(name, make)
            if high is not None and low is not None:
                answer.limits[make, name] = low.lower(at), high.upper(at)
    answer.doubts |= set().union(*(own.doubts for way in ways for own in way.attributes.values()))
    return answer
