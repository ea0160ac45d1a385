"""The stop rule for one study, written apart from the project: dense matrices, one contrast at a time, no hurry.

It shares no formula with the project's own code; only the variances of each fit come from `analysis.model.mixed`,
and the score equations of the likelihood are checked at them. Reading order: question and finding, scores, one fit,
differences of pulls, one attribute, the study, orders of serving.

Sources: Patterson & Thompson 1971 (REML), Giesbrecht & Burns 1985 (degrees of freedom of a contrast), Bell & McCaffrey
2002 and Pustejovsky & Tipton 2018 (CR2), Satterthwaite 1946; all from memory.
"""

from __future__ import annotations

from collections.abc import Mapping
from copy import copy
from dataclasses import dataclass, field, replace
from functools import cached_property
from itertools import combinations
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy.linalg import eigh
from scipy.special import stdtrit

from analysis.model import mixed

Array = NDArray[np.float64]
GOOD_END = {"lower": 0.0, "higher": 10.0}
TIE = 1e-9
FEWEST = 5


# ---- question and finding --------------------------------------------------------------------------------------------
@dataclass(frozen=True)
class Wish:
    """What is wanted ("lower", "higher", "same") of an attribute; margin and limit in scale units."""

    wanted: str
    margin: float
    limit: float | None = None

    @property
    def sign(self) -> float:
        """Turns a difference so that positive is worse."""
        return -1.0 if self.wanted == "higher" else 1.0

    @property
    def has_window(self) -> bool:
        """Whether more conching can be too much."""
        return self.wanted != "same"


@dataclass(frozen=True)
class Question:
    """A sealed rule: one-sided level of the look, hours of the control, whether trays may differ between sittings."""

    wishes: Mapping[str, Wish]
    level: float = 0.05
    control: float | None = None
    by_sitting: bool = False
    next_reference: bool = True


@dataclass(frozen=True)
class Pull:
    """One attribute at one pull, against the reference (positive = worse); None where nothing can be compared.

    `upper_of_two` leaves the sitting error out.
    """

    difference: float | None
    upper: float | None
    lower: float | None
    upper_of_two: float | None
    within_margin: bool
    meets_limit: bool
    fails_margin: bool
    fails_limit: bool
    past: bool
    inside: bool

    @property
    def shown_to_fail(self) -> bool:
        """On margin, limit or window."""
        return self.fails_margin or self.fails_limit or self.past


@dataclass(frozen=True)
class Finding:
    """Verdict, hours, reason of `cannot tell`; per attribute per pull; `closest` tells how near any comparison came to
    its bound, `doubts` where the rule leaves more than one reading that matters here."""

    verdict: str
    hours: float | None
    reason: str | None
    latest_hours: float | None
    control_found: bool
    pulls: Mapping[str, Mapping[float, Pull]]
    judged: Mapping[str, bool]
    closest: float
    doubts: frozenset[str]
    reference: float = 0.0


@dataclass
class Ruler:
    """Compares, and remembers the narrowest escape; ties of rounded scores are no escape."""

    closest: float = np.inf

    def less(self, one: float, other: float) -> bool:
        """Clearly below; equal is not below."""
        gap = other - one
        if abs(gap) > TIE:
            self.closest = min(self.closest, abs(gap))
        return gap > TIE


# ---- scores ----------------------------------------------------------------------------------------------------------
def rows_of(scores: pd.DataFrame, name: str) -> pd.DataFrame:
    """The scores of one attribute; without a column sitting they are all of one."""
    own = scores[(scores["attribute"] == name) & scores["score"].notna()]
    if "sitting" not in own:
        own = own.assign(sitting=1)
    return own[["assessor", "hours", "sitting", "score"]].reset_index(drop=True)


def copies_in_cells(rows: pd.DataFrame) -> bool:
    """Whether somebody scored a pull twice, and nobody ever differed from himself."""
    cells = rows.groupby(["assessor", "hours"])["score"]
    spread = cells.max() - cells.min()
    return len(spread) < len(rows) and bool((spread < TIE).all())


def without_copies(rows: pd.DataFrame) -> pd.DataFrame:
    """Cell means where replicates say nothing new: the likelihood of the copies has no maximum."""
    if not copies_in_cells(rows):
        return rows
    return rows.groupby(["assessor", "hours"], as_index=False)["score"].mean()


def is_additive(rows: pd.DataFrame) -> bool:
    """Whether every assessor's cell means run parallel to all others'."""
    cells = rows.groupby(["assessor", "hours"], as_index=False)["score"].mean()
    people, pulls = dummies(cells["assessor"]), dummies(cells["hours"])
    y = cells["score"].to_numpy(float)
    design = np.hstack([people, pulls])
    left = y - design @ np.linalg.lstsq(design, y, rcond=None)[0]
    return bool(np.abs(left).max() < TIE)


def looks_copied(rows: pd.DataFrame) -> bool:
    """Everybody's ballots alike or every repeat a copy, and too much of the scale used for that to be honest."""
    cells = rows.groupby(["assessor", "hours"])["score"].agg(["mean", "size"]).reset_index()
    off = (cells["mean"] > TIE) & (cells["mean"] < 10 - TIE)
    doubled = off & (cells["size"] > 1)

    def many(which: Any) -> bool:
        return bool((cells[which].groupby("assessor").size() >= 3).sum() >= 4)

    return (is_additive(rows) and many(off)) or (copies_in_cells(rows) and many(doubled))


def step_of(rows: pd.DataFrame) -> float:
    """Recording step: whole numbers, or tenths of the line."""
    y = rows["score"].to_numpy(float)
    return 1.0 if (y == np.round(y)).all() else 0.1


def dummies(labels: pd.Series) -> Array:
    """A column a level, ascending."""
    codes, levels = pd.factorize(labels, sort=True)
    return np.eye(len(levels))[codes]


# ---- one fit ---------------------------------------------------------------------------------------------------------
@dataclass
class Fit:
    """Scores of one attribute in some sittings under assessor and assessor:hours, with every matrix in full."""

    rows: pd.DataFrame
    step: float
    kept: pd.DataFrame = field(init=False)
    y: Array = field(init=False)
    X: Array = field(init=False)
    people: Array = field(init=False)
    hours: list[float] = field(init=False)

    def __post_init__(self) -> None:
        """Lay out the design."""
        self.kept = without_copies(self.rows)
        self.y = self.kept["score"].to_numpy(float)
        self.X, self.people = dummies(self.kept["hours"]), dummies(self.kept["assessor"])
        self.hours = sorted(set(self.kept["hours"]))

    # -- what was scored
    @cached_property
    def cells(self) -> Array:
        """Scores in each cell (people, pulls)."""
        return self.people.T @ self.X

    @cached_property
    def is_complete(self) -> bool:
        """Everybody scored everything equally often."""
        return bool((self.cells == self.cells[0, 0]).all())

    @cached_property
    def is_exact(self) -> bool:
        """People and pulls explain every score."""
        return len(self.y) == len(self.cells[self.cells > 0]) and is_additive(self.kept)

    @cached_property
    def counts(self) -> Array:
        """Scores of each pull, copies counted as the scores they are."""
        return np.array([(self.rows["hours"] == h).sum() for h in self.hours], float)

    def floor(self, w: Array) -> float:
        """Rounding error of a contrast: a uniform error of one step in every score."""
        return self.step * float(np.sqrt((w**2 / self.counts / 12).sum()))

    @cached_property
    def containment(self) -> float:
        """Rank that assessor:hours adds to pulls and assessors."""
        cell = dummies(self.kept.groupby(["assessor", "hours"]).ngroup())
        main = np.hstack([self.X, self.people])
        return float(np.linalg.matrix_rank(np.hstack([main, cell])) - np.linalg.matrix_rank(main))

    # -- the model
    @cached_property
    def components(self) -> list[tuple[float, Array]]:
        """Variances above zero, each with its matrix; the residual last."""
        if np.ptp(self.y) < TIE or self.is_exact:
            return [(1e2, self.people @ self.people.T), (1.0, np.eye(len(self.y)))]
        found = mixed.fit(self.kept, "score", ["hours"], ["assessor", "assessor:hours"]).variance
        cell = (self.people @ self.people.T) * (self.X @ self.X.T)
        matrices = {"assessor": self.people @ self.people.T, "assessor:hours": cell, "residual": np.eye(len(self.y))}
        parts = [(found[name] or 0.0, matrix) for name, matrix in matrices.items()]
        return [(v, m) for v, m in parts if v > 1e-10 * parts[-1][0]]

    @cached_property
    def spread(self) -> Array:
        """Covariance of the scores."""
        return sum((v * m for v, m in self.components), np.zeros_like(self.components[0][1]))

    @cached_property
    def weights(self) -> Array:
        """Its inverse."""
        return np.linalg.inv(self.spread)

    @cached_property
    def spread_of_means(self) -> Array:
        """Covariance of the pull means."""
        return np.linalg.inv(self.X.T @ self.weights @ self.X)

    @cached_property
    def means(self) -> Array:
        """Generalised least squares."""
        return self.spread_of_means @ self.X.T @ self.weights @ self.y

    @cached_property
    def projector(self) -> Array:
        """Weights less what the pulls explain."""
        return self.weights - self.weights @ self.X @ self.spread_of_means @ self.X.T @ self.weights

    @cached_property
    def spread_of_variances(self) -> Array:
        """Covariance of the variances: twice the inverse Hessian of -2 log REML likelihood."""
        PV = [self.projector @ m for _, m in self.components]
        Py = self.projector @ self.y
        slopes = [np.trace(a) - Py @ m @ Py for a, (_, m) in zip(PV, self.components, strict=True)]
        scale = [abs(np.trace(a)) for a in PV]
        assert all(abs(s) < 1e-3 * k for s, k in zip(slopes, scale, strict=True)), "the variances are no maximum"
        H = np.empty((len(PV), len(PV)))
        for k, (_, mk) in enumerate(self.components):
            for j, (_, mj) in enumerate(self.components):
                H[k, j] = -(PV[k] * PV[j].T).sum() + 2 * (Py @ mk @ self.projector @ mj @ Py)
        return 2 * np.linalg.inv(H)

    def satterthwaite(self, w: Array) -> float:
        """df of the variance of a contrast of pull means."""
        if self.is_exact or np.ptp(self.y) < TIE:
            return np.nan
        u = self.weights @ self.X @ self.spread_of_means @ w
        slope = np.array([u @ m @ u for _, m in self.components])
        below = slope @ self.spread_of_variances @ slope
        return float(2 * (w @ self.spread_of_means @ w) ** 2 / below) if below > 0 else np.nan

    # -- errors of a contrast: (SE, df) each
    def panel_error(self, w: Array) -> tuple[float, float]:
        """From the model; a difference has no more df than assessor:hours holds."""
        free = self.satterthwaite(w)
        if self.is_exact or np.ptp(self.y) < TIE:
            difference = abs(w.sum()) < TIE
            return (0.0, self.containment) if difference else self._exact_mean(w)
        if abs(w.sum()) < TIE:
            free = min(free, self.containment) if np.isfinite(free) else self.containment
        return float(np.sqrt(w @ self.spread_of_means @ w)), free

    def _exact_mean(self, w: Array) -> tuple[float, float]:
        """Where people differ by a constant, a mean varies as that constant does."""
        levels = np.array([self.y[one > 0].mean() for one in self.people.T])
        return float(levels.std(ddof=1) / np.sqrt(len(levels))), len(levels) - 1.0

    def own_error(self, w: Array) -> tuple[float, float]:
        """The assessor as the unit: paired where complete, else CR2."""
        return self.paired(w) if self.is_complete else self.cluster_robust(w)

    def paired(self, w: Array) -> tuple[float, float]:
        """Spread of the assessors' own contrasts."""
        own = (self.people.T @ (self.X * self.y[:, None])) / self.cells @ w
        return float(own.std(ddof=1) / np.sqrt(len(own))), len(own) - 1.0

    @cached_property
    def _clusters(self) -> list[tuple[NDArray[np.intp], Array]]:
        """Rows of each assessor and the CR2 adjustment times the weights: A' W X of the cluster."""
        found = []
        for one in self.people.T:
            i = np.flatnonzero(one)
            V, X = self.spread[np.ix_(i, i)], self.X[i]
            D = np.linalg.cholesky(V).T
            G = D @ (V - X @ self.spread_of_means @ X.T) @ D.T
            values, vectors = eigh((G + G.T) / 2)
            kept = values > 1e-9 * max(values.max(), 1e-300)
            root = (vectors[:, kept] / np.sqrt(values[kept])) @ vectors[:, kept].T
            A = D.T @ root @ D
            found.append((i, A.T @ np.linalg.inv(V) @ X))
        return found

    def cluster_robust(self, w: Array) -> tuple[float, float]:
        """CR2 error with Satterthwaite df under the fitted model."""
        c = self.spread_of_means @ w
        e = self.y - self.X @ self.means
        I_H = np.eye(len(self.y)) - self.X @ self.spread_of_means @ self.X.T @ self.weights
        square, columns = 0.0, []
        for i, AWX in self._clusters:
            q = AWX @ c
            square += float(q @ e[i]) ** 2
            columns.append(I_H[i].T @ q)
        p = np.array(columns).T
        omega = p.T @ self.spread @ p
        df = float(np.trace(omega) ** 2 / (omega**2).sum())
        if self.is_exact or np.ptp(self.y) < TIE:
            return 0.0, df
        return float(np.sqrt(square)), df


# ---- a contrast with all its errors ----------------------------------------------------------------------------------
@dataclass(frozen=True)
class Estimate:
    """A difference or mean and the errors in force, each (SE, df); `usable` is False with too few df to judge by."""

    value: float
    errors: tuple[tuple[float, float], ...]
    usable: bool

    def upper(self, level: float) -> float:
        """The largest upper limit."""
        return max(self.value + stdtrit(df, 1 - level) * se for se, df in self.errors)

    def lower(self, level: float) -> float:
        """The smallest lower limit."""
        return min(self.value - stdtrit(df, 1 - level) * se for se, df in self.errors)

    def turned(self, sign: float) -> Estimate:
        """The same with positive = worse."""
        return Estimate(sign * self.value, self.errors, self.usable)


def squares_of_sittings(table: Array) -> list[tuple[float, float]]:
    """Mean square and df of pull x sitting, assessor x pull, and the rest, of means (people, pulls, sittings).

    With gaps: each square is what the term takes off the residual of all others, with the rank it adds.
    """
    i, j, s = np.indices(table.shape).reshape(3, -1)
    seen = np.isfinite(table.ravel())

    def columns(*codes: NDArray[np.intp]) -> Array:
        joined = np.ravel_multi_index(codes, [int(c.max()) + 1 for c in codes])
        return np.eye(int(joined.max()) + 1)[joined][seen]

    terms = {"sh": columns(j, s), "ah": columns(i, j), "as": columns(i, s)}
    y = table.ravel()[seen]
    every = np.hstack(list(terms.values()))
    rss, rank = left_over(every, y)
    found = []
    for name in ("sh", "ah"):
        main = [columns(i), columns(j), columns(s)]
        less, fewer = left_over(np.hstack([*main, *(c for n, c in terms.items() if n != name)]), y)
        found.append(((less - rss) / max(rank - fewer, 1), float(rank - fewer)))
    free = len(y) - rank
    return [*found, (rss / max(free, 1), float(free))]


def left_over(design: Array, y: Array) -> tuple[float, int]:
    """Residual sum of squares and rank of a least-squares fit."""
    b, _, rank, _ = np.linalg.lstsq(design, y, rcond=None)
    return float(((y - design @ b) ** 2).sum()), int(rank)


@dataclass(frozen=True)
class Squares:
    """Shape and mean squares (with df) of a table of people, pulls and sittings."""

    shape: tuple[int, int, int]
    squares: list[tuple[float, float]]


def sitting_error(table: Squares, served: int) -> tuple[float, float]:
    """SE and df of a difference of two pulls that `served` sittings served, when trays differ between sittings.

    SE^2 = 2 (v_sh / S_k + v_ah / a + v_e / (a S_k)), variances from a table of S sittings; written in mean squares:
    2 / a (sh / S_k + ah / S - rest / S). A variance below zero, or at it but for
    rounding, is zero, and its square then has no part.
    """
    a, h, S = table.shape
    (sh, sh_df), (ah, ah_df), (rest, rest_df) = table.squares
    weights = {"sh": 1 / served, "ah": 1 / S, "rest": 1 / served}
    if sh > rest * (1 + TIE):
        weights["rest"] -= 1 / served
    else:
        weights["sh"] = 0.0
    if ah > rest * (1 + TIE):
        weights["rest"] -= 1 / S
    else:
        weights["ah"] = 0.0
    squares = {"sh": (sh, sh_df), "ah": (ah, ah_df), "rest": (rest, rest_df)}
    parts = [(weights[name] * square, df) for name, (square, df) in squares.items()]
    total, below = sum(part for part, _ in parts), sum(part**2 / df for part, df in parts if df)
    most = float((a - 1) * (h - 1))
    df = total**2 / below if below > 0 else most
    return float(np.sqrt(2 * max(total, 0.0) / a)), float(np.clip(df, 1, most))


# ---- one attribute ---------------------------------------------------------------------------------------------------
class Attribute:
    """Differences and means of one deciding attribute, each from the sittings that allow it."""

    def __init__(self, scores: pd.DataFrame, name: str, wish: Wish, hours: list[float], by_sitting: bool) -> None:
        """Read its scores."""
        self.wish, self.hours, self.by_sitting = wish, hours, by_sitting
        self.rows = rows_of(scores, name)
        self.step = step_of(self.rows)
        self.fits: dict[frozenset[Any], Fit | None] = {}
        self.estimates: dict[tuple[float, float], Estimate | None] = {}
        self.squares: dict[frozenset[Any], Squares | None] = {}
        self.doubts: set[str] = set()

    @cached_property
    def judged(self) -> bool:
        """Enough people, not constant but for the good end, not copied."""
        y = self.rows["score"]
        if self.rows["assessor"].nunique() < FEWEST:
            return False
        if y.max() - y.min() < TIE:
            return bool(y.iloc[0] == GOOD_END.get(self.wish.wanted))
        return not looks_copied(self.rows) and self._own_error_known

    @cached_property
    def _own_error_known(self) -> bool:
        """Every difference to the reference that can be taken has df enough to judge it."""
        found = [self._worse(h, self.hours[-1]) for h in self.hours[:-1]]
        return all(d is None or d.usable for d in found)

    @cached_property
    def sittings(self) -> frozenset[Any]:
        """All that hold a score of it."""
        return frozenset(self.rows["sitting"])

    @cached_property
    def served(self) -> Mapping[float, frozenset[Any]]:
        """Sittings with a score of each pull."""
        return {h: frozenset(own) for h, own in self.rows.groupby("hours")["sitting"]}

    def serving(self, hours: float) -> frozenset[Any]:
        """Sittings with a score of this pull."""
        return self.served.get(hours, frozenset())

    def fit_of(self, sittings: frozenset[Any]) -> Fit | None:
        """The fit to these sittings alone; None where they leave nothing to fit."""
        if sittings not in self.fits:
            part = Fit(self.rows[self.rows["sitting"].isin(sittings)].reset_index(drop=True), self.step)
            try:
                _ = part.components
            except ValueError:
                part = None  # type: ignore[assignment]
            self.fits[sittings] = part
        return self.fits[sittings]

    def worse(self, pull: float, other: float) -> Estimate | None:
        """How much worse `pull` is than `other`, within the sittings that served both; None if none did."""
        if not self.judged:
            return None
        key = (pull, other)
        if key not in self.estimates:
            self.estimates[key] = self._worse(pull, other)
        return self.estimates[key]

    def _worse(self, pull: float, other: float) -> Estimate | None:
        common = self.serving(pull) & self.serving(other)
        fit = self.fit_of(common) if common else None
        if fit is None:
            return None
        w = np.array([(h == pull) - float(h == other) for h in fit.hours])
        errors = [fit.panel_error(w), fit.own_error(w)]
        if self.by_sitting:
            beside = self._by_trays(common)
            errors += [beside] if beside else []
        return self._estimate(fit, w, errors).turned(self.wish.sign)

    def _by_trays(self, common: frozenset[Any]) -> tuple[float, float] | None:
        """The sitting error; variances from the pulls that every sitting served, else from these sittings alone."""
        whole = self._table(self.sittings)
        if whole is not None:
            self._note_ties(whole)
            return sitting_error(whole, len(common))
        if len(self.sittings) > 1:
            self.doubts.add("no two pulls in every sitting")
        own = self._table(common)
        return None if own is None else sitting_error(own, len(common))

    def _note_ties(self, table: Squares) -> None:
        """Whole numbers can leave a variance at zero exactly; its square is then kept or not as rounding goes."""
        (sh, _), (ah, _), (rest, _) = table.squares
        if min(abs(sh - rest), abs(ah - rest)) < TIE * max(rest, TIE):
            self.doubts.add("tie of mean squares")

    def _table(self, sittings: frozenset[Any]) -> Squares | None:
        """The pulls that all these sittings served, as cell means; None if too few."""
        if sittings not in self.squares:
            self.squares[sittings] = self._squares(sittings)
        return self.squares[sittings]

    def _squares(self, sittings: frozenset[Any]) -> Squares | None:
        pulls = [h for h in self.hours if sittings <= self.serving(h)]
        if len(sittings) < 2 or len(pulls) < 2:
            return None
        rows = self.rows[self.rows["sitting"].isin(sittings) & self.rows["hours"].isin(pulls)]
        table = rows.pivot_table(index="assessor", columns=["hours", "sitting"], values="score", aggfunc="mean")
        cells = table.reindex(columns=pd.MultiIndex.from_product([pulls, sorted(sittings)])).to_numpy(float)
        if np.isnan(cells).any():
            self.doubts.add("sitting error with gaps")
        shape = len(table), len(pulls), len(sittings)
        return Squares(shape, squares_of_sittings(cells.reshape(shape)))

    def mean(self, pull: float) -> Estimate | None:
        """Mean of a pull, turned so that high is bad."""
        fit = self.fit_of(self.sittings) if self.judged else None
        if fit is None:
            return None
        w = np.array([float(h == pull) for h in fit.hours])
        return self._estimate(fit, w, [fit.panel_error(w), fit.own_error(w)]).turned(self.wish.sign)

    def _estimate(self, fit: Fit, w: Array, errors: list[tuple[float, float]]) -> Estimate:
        if fit.is_exact or np.ptp(fit.y) < TIE:
            self.doubts.add("exact fit")
        least = fit.floor(w)
        return Estimate(float(w @ fit.means), tuple((max(se, least), df) for se, df in errors), errors[1][1] >= 2 - TIE)


# ---- the study -------------------------------------------------------------------------------------------------------
class Study:
    """One study under a question."""

    def __init__(self, scores: pd.DataFrame, question: Question, story: Story | None = None) -> None:
        """Read the scores of the deciding attributes."""
        self.story = story or Story()
        asked = scores[scores["attribute"].isin(list(question.wishes)) & scores["score"].notna()]
        # Numbers for names: they are compared often.
        asked = asked.assign(assessor=asked["assessor"].astype("category").cat.codes)
        self.scores, self.question, self.ruler = asked, question, Ruler()
        self.hours = sorted({float(h) for h in asked["hours"]})
        self.reference, self.shorter = self.hours[-1], self.hours[:-1]
        kept = question.control in self.hours[:-1]
        self.control = question.control if kept and question.control is not None else self.hours[0]
        self.attributes = {
            name: Attribute(asked, name, wish, self.hours, question.by_sitting)
            for name, wish in question.wishes.items()
        }

    # -- single statements, false where nothing can be compared
    def below(self, estimate: Estimate | None, bound: float, level: float) -> bool:
        """Upper limit below a bound."""
        return estimate is not None and estimate.usable and self.ruler.less(estimate.upper(level), bound)

    def above(self, estimate: Estimate | None, bound: float, level: float) -> bool:
        """Lower limit above a bound."""
        return estimate is not None and estimate.usable and self.ruler.less(bound, estimate.lower(level))

    def at_least(self, estimate: Estimate | None, bound: float, level: float) -> bool:
        """Lower limit at a bound or above."""
        return estimate is not None and estimate.usable and not self.ruler.less(estimate.lower(level), bound)

    @property
    def level(self) -> float:
        """Of this look."""
        return self.question.level

    def statements(self, pull: float) -> int:
        """How many could fail at a pull."""
        wishes = self.question.wishes.values()
        margins = 0 if pull == self.reference else len(wishes)
        windows = 0 if pull == self.hours[0] else sum(w.has_window for w in wishes)
        return margins + sum(w.limit is not None for w in wishes) + windows

    def within(self, name: str, pull: float, other: float | None = None) -> bool:
        """No worse by the margin than the reference (or another pull); `same`: nor better by it."""
        own, wish = self.attributes[name], self.question.wishes[name]
        d = own.worse(pull, self.reference if other is None else other)
        if not self.below(d, wish.margin, self.level):
            return False
        return wish.wanted != "same" or self.above(d, -wish.margin, self.level)

    def meets_limit(self, name: str, pull: float) -> bool:
        """The mean is shown to keep the limit."""
        own, wish = self.attributes[name], self.question.wishes[name]
        if wish.limit is None:
            return own.judged
        return self.below(own.mean(pull), wish.sign * wish.limit, self.level)

    def fails_limit(self, name: str, pull: float) -> bool:
        """The mean is shown to break the limit."""
        own, wish = self.attributes[name], self.question.wishes[name]
        if wish.limit is None:
            return False
        return self.at_least(own.mean(pull), wish.sign * wish.limit, self.level / self.statements(pull))

    def fails_margin(self, name: str, pull: float) -> bool:
        """Shown worse than the reference by the margin, the reference itself being fit as far as is known."""
        if pull == self.reference or self.reference_fails:
            return False
        return self.beyond(name, pull)

    def beyond(self, name: str, pull: float) -> bool:
        """Shown worse than the reference by the margin, whatever the reference is."""
        own, wish = self.attributes[name], self.question.wishes[name]
        d, at = own.worse(pull, self.reference), self.level / self.statements(pull)
        if self.at_least(d, wish.margin, at):
            return True
        better = None if d is None else Estimate(-d.value, d.errors, d.usable)
        return wish.wanted == "same" and self.at_least(better, wish.margin, at)

    def past(self, name: str, pull: float) -> bool:
        """Shown worse than some earlier pull by the margin."""
        own, wish = self.attributes[name], self.question.wishes[name]
        earlier = [h for h in self.hours if h < pull]
        if not wish.has_window or not earlier:
            return False
        at = self.level / (self.statements(pull) * len(earlier))
        return any(self.at_least(own.worse(pull, h), wish.margin, at) for h in earlier)

    def inside(self, name: str, pull: float) -> bool:
        """Not faded (shown), not grown (not shown)."""
        own, wish = self.attributes[name], self.question.wishes[name]
        earlier = [h for h in self.hours if h < pull]
        if wish.wanted == "higher":
            return all(self.below(own.worse(pull, h), wish.margin, self.level) for h in earlier)
        return own.judged and not any(self.grown(name, pull, h) for h in earlier if wish.has_window)

    def grown(self, name: str, pull: float, earlier: float) -> bool:
        """Shown worse than an earlier pull, by an estimate of half the margin."""
        d = self.attributes[name].worse(pull, earlier)
        at = self.level / sum(h < pull for h in self.hours)
        shown = self.above(d, 0.0, at)
        return shown and d is not None and not self.ruler.less(d.value, self.question.wishes[name].margin / 2)

    @cached_property
    def reference_fails(self) -> bool:
        """The longest pull itself is shown to fail a limit, or past."""
        return any(self.fails_limit(n, self.reference) or self.past(n, self.reference) for n in self.attributes)

    # -- of all attributes together
    def passes(self, pull: float) -> bool:
        """Margin and limit of every attribute."""
        margins = pull == self.reference or all(self.within(n, pull) for n in self.attributes)
        return margins and all(self.meets_limit(n, pull) for n in self.attributes)

    def fails(self, pull: float) -> bool:
        """Some attribute is shown to fail, or past."""
        return any(
            self.fails_margin(n, pull) or self.fails_limit(n, pull) or self.past(n, pull) for n in self.attributes
        )

    def all_inside(self, pull: float) -> bool:
        """Every attribute is inside its window."""
        return all(self.inside(n, pull) for n in self.attributes)

    @cached_property
    def shortest(self) -> float | None:
        """The shortest pull that passes with all longer ones."""
        found = None
        for pull in reversed(self.hours):
            if any(stuck >= pull for stuck in self.story.stuck) or not self.passes(pull):
                break
            found = pull
        return found

    def tells(self, name: str) -> bool:
        """Whether an attribute tells the control from the reference."""
        own, at = self.attributes[name], self.level / len(self.attributes)
        d = own.worse(self.control, self.reference)
        better = None if d is None else Estimate(-d.value, d.errors, d.usable)
        return self.above(d, 0.0, at) or (own.wish.wanted == "same" and self.above(better, 0.0, at))

    @cached_property
    def control_found(self) -> bool:
        """Some attribute tells the control from the reference."""
        return any(self.tells(name) for name in self.attributes)

    def better_hours(self, pull: float) -> bool:
        """A longer pull short of the reference is shown better by the margin."""
        longer = [h for h in self.shorter if h > pull]
        return any(
            self.at_least(own.worse(pull, h), own.wish.margin, self.level / len(longer))
            for own in self.attributes.values()
            if own.wish.has_window
            for h in longer
        )

    # -- conche longer
    @cached_property
    def improving(self) -> list[str]:
        """Attributes that still improve: the last two steps towards the reference are shown."""
        if len(self.shorter) < 2:
            return []
        at = self.level / len(self.attributes)
        last = self.shorter[-2:]
        return [
            name
            for name, own in self.attributes.items()
            if own.wish.has_window
            and all(self.above(own.worse(h, self.reference), 0.0, at) for h in last)
            and not self.within(name, last[-1])
        ]

    def keeps(self, name: str) -> bool:
        """An improving attribute at the reference: no worse than any shorter pull, shown."""
        own = self.attributes[name]
        return all(self.below(own.worse(self.reference, h), own.wish.margin, self.level) for h in self.shorter)

    def holds(self, name: str) -> bool:
        """Any other attribute at the reference."""
        own = self.attributes[name]
        third, same = own.wish.margin / 3, own.wish.wanted == "same"
        asked = self.shorter[-1:] if same else self.shorter
        found = [own.worse(self.reference, h) for h in asked]
        near = all(
            d is not None and d.usable and self.ruler.less(abs(d.value) if same else d.value, third) for d in found
        )
        shown = all(self.within(name, h) for h in self.shorter) if same else self.keeps(name)
        return (near or shown) and self.meets_limit(name, self.reference)

    def any_shorter_passes(self) -> bool:
        """Whether some pull short of the reference passes."""
        return any(self.passes(h) for h in self.shorter)

    @cached_property
    def conche_longer(self) -> bool:
        """Still improving, and everything else holds."""
        return (
            bool(self.improving)
            and not self.any_shorter_passes()
            and all(self.keeps(n) if n in self.improving else self.holds(n) for n in self.attributes)
        )

    # -- the verdict
    def answer(self) -> tuple[str, float | None, str | None]:
        """Verdict, hours, reason; the first that fits."""
        if "position" in self.scores and orders_favour(self.scores, self.hours):
            return "cannot tell", None, "orders"
        if self.story.hopeless:
            return "cannot tell", None, "reference lost"
        chosen = self.shortest if self.shortest != self.reference else None
        inside = chosen is not None and self.all_inside(chosen)
        better = chosen is not None and self.better_hours(chosen)
        if self.control_found:
            if chosen is not None and inside and not better:
                return "stop", chosen, None
            if self.conche_longer and not self.last_two_missing:
                return "conche longer", None, None
            if all(self.fails(h) for h in self.hours) and not self.story.missing:
                return "no hour fits", None, None
        return "cannot tell", None, self._reason(chosen, better)

    @property
    def last_two_missing(self) -> bool:
        """Whether one of the two sealed pulls before the reference is not there to be read."""
        sealed = sorted({h for h in {*self.shorter, *self.story.missing} if h < self.reference})
        return bool(self.story.missing & set(sealed[-2:]))

    def _reason(self, chosen: float | None, better: bool) -> str:
        if not all(own.judged for own in self.attributes.values()):
            return "not enough data"
        if not self.control_found:
            return "control not found"
        if self.story.missing and self.would_answer:
            return "pull missing"
        if self.fill_answers:
            return "unjudged"
        if chosen is not None:
            return "better hours" if better else "window"
        if self.improving:
            return "still improving"
        if self.reference_fails:
            return "reference fails"
        return "reference meets limits" if self.passes(self.reference) else "reference misses a limit"

    @property
    def would_answer(self) -> bool:
        """Whether the pulls that are there would give an answer if the others had never been planned."""
        return self.without_story().answer()[0] != "cannot tell"

    def without_story(self) -> Study:
        """The same scores, and nothing missing."""
        again = copy(self)
        again.story = Story()
        again.__dict__.pop("shortest", None)
        return again

    @property
    def fill_answers(self) -> bool:
        """Whether servings without a judgement alone stand in the way."""
        return False

    def latest(self, stop: float) -> float | None:
        """The last of the unbroken run of pulls inside that begins at the stop; unknown with a shorter pull missing."""
        if any(h < stop for h in self.story.missing):
            return None
        found = stop
        for pull in (h for h in self.hours if h > stop):
            if not self.all_inside(pull):
                break
            found = pull
        return found

    @property
    def doubts(self) -> frozenset[str]:
        """Of all attributes."""
        return frozenset().union(*(own.doubts for own in self.attributes.values()))

    def pull_of(self, name: str, pull: float) -> Pull:
        """Everything that is said of one attribute at one pull."""
        own, at_reference = self.attributes[name], pull == self.reference
        d = None if at_reference else own.worse(pull, self.reference)
        return Pull(
            difference=None if d is None else d.value,
            upper=None if d is None or not d.usable else d.upper(self.level),
            lower=None if d is None or not d.usable else d.lower(self.level),
            upper_of_two=None if d is None or not d.usable else replace(d, errors=d.errors[:2]).upper(self.level),
            within_margin=at_reference or self.within(name, pull),
            meets_limit=self.meets_limit(name, pull),
            fails_margin=self.fails_margin(name, pull),
            fails_limit=self.fails_limit(name, pull),
            past=self.past(name, pull),
            inside=self.inside(name, pull),
        )


def judge(scores: pd.DataFrame, question: Question) -> Finding:
    """The verdict on tidy scores (assessor, hours, attribute, score; optionally sitting, replicate, position, why)."""
    study = study_of(scores, question)
    verdict, hours, reason = study.answer()
    pulls = {
        name: {h: study.pull_of(name, h) for h in study.hours} if own.judged else {}
        for name, own in study.attributes.items()
    }
    return Finding(
        verdict=verdict,
        hours=hours,
        reason=reason,
        latest_hours=study.latest(hours) if verdict == "stop" and hours is not None else None,
        control_found=study.control_found,
        pulls=pulls,
        judged={name: own.judged for name, own in study.attributes.items()},
        closest=study.ruler.closest,
        doubts=study.doubts,
        reference=study.reference,
    )


# ---- pulls that are missing, servings that nobody could judge --------------------------------------------------------
@dataclass(frozen=True)
class Story:
    """What happened to sealed pulls: `missing` were lost before tasting, taken back or never read; `stuck` of these
    stay and do not pass; `hopeless`: the reference is gone and no other may stand for it."""

    missing: frozenset[float] = frozenset()
    stuck: frozenset[float] = frozenset()
    hopeless: bool = False


def study_of(scores: pd.DataFrame, question: Question) -> Study:
    """The study behind tidy scores whose column `why` may tell of losses."""
    if "why" not in scores:
        return Study(scores, question)
    notes, rows = scores[scores["why"] == "lost"], scores[scores["why"] != "lost"]
    rows = rows[rows["attribute"].isin(list(question.wishes))]
    tried = rows[rows["score"].notna() | (rows["why"] == "unjudged")]
    days = {str(day) for day in tried["sitting"]}
    gone, back = set(), set()
    for h, own in notes.groupby("hours"):
        there = {str(day) for day in tried.loc[tried["hours"] == h, "sitting"]}
        noted = days if own["sitting"].isna().any() else {str(day) for day in own["sitting"]}
        if not there and noted >= days:
            gone.add(float(h))
        elif there and noted >= there:
            back.add(float(h))
        else:
            rows = rows[(rows["hours"] != h) | ~rows["sitting"].astype(str).isin(noted)]
    served = sorted({float(h) for h in rows.loc[rows["score"].notna(), "hours"]})
    reference = served[-1]
    beyond = [h for h in gone if h > reference]
    hopeless = len(beyond) > (1 if question.next_reference else 0) or reference in back
    story = Story(frozenset(gone | back), frozenset(back - {reference}), hopeless)
    unknown = rows["why"] == "unjudged"
    if not unknown.any():
        return Study(rows, question, story)
    ways = []
    for pull_bad in (True, False):
        bad = (rows["hours"] != reference) if pull_bad else (rows["hours"] == reference)
        worst = rows["attribute"].map(lambda name: 0.0 if question.wishes[name].wanted == "higher" else 10.0)
        ways.append(
            Study(rows.assign(score=rows["score"].where(~unknown, worst.where(bad, 10 - worst))), question, story)
        )
    return Both(rows, question, story, ways)


class Both(Study):
    """A study of which every statement must hold under both ways to fill in what could not be judged."""

    def __init__(self, scores: pd.DataFrame, question: Question, story: Story, ways: list[Study]) -> None:
        """The judged scores alone, and the two ways."""
        super().__init__(scores, question, story)
        self.ways = ways
        for way in ways:
            way.ruler = self.ruler
        for name, own in self.attributes.items():
            own.__dict__["judged"] = all(way.attributes[name].judged for way in ways)
        self.control = ways[0].control

    def within(self, name: str, pull: float, other: float | None = None) -> bool:
        """Under both."""
        return all(way.within(name, pull, other) for way in self.ways)

    def meets_limit(self, name: str, pull: float) -> bool:
        """Under both."""
        return all(way.meets_limit(name, pull) for way in self.ways)

    def fails_limit(self, name: str, pull: float) -> bool:
        """Under both."""
        return all(way.fails_limit(name, pull) for way in self.ways)

    def fails_margin(self, name: str, pull: float) -> bool:
        """Under both, and the reference is not shown to fail under both."""
        if pull == self.reference or self.reference_fails:
            return False
        return all(way.beyond(name, pull) for way in self.ways)

    def past(self, name: str, pull: float) -> bool:
        """Under both."""
        return all(way.past(name, pull) for way in self.ways)

    def inside(self, name: str, pull: float) -> bool:
        """Under both."""
        return all(way.inside(name, pull) for way in self.ways)

    def better_hours(self, pull: float) -> bool:
        """Under either: it stands in the way."""
        return any(way.better_hours(pull) for way in self.ways)

    def tells(self, name: str) -> bool:
        """Under both."""
        return all(way.tells(name) for way in self.ways)

    @cached_property
    def improving(self) -> list[str]:
        """Under both."""
        return [name for name in self.ways[0].improving if name in self.ways[1].improving]

    def any_shorter_passes(self) -> bool:
        """Under either: it stands in the way."""
        return any(way.any_shorter_passes() for way in self.ways)

    def keeps(self, name: str) -> bool:
        """Under both."""
        return all(way.keeps(name) for way in self.ways)

    def holds(self, name: str) -> bool:
        """Under both."""
        return all(way.holds(name) for way in self.ways)

    @property
    def fill_answers(self) -> bool:
        """Whether either way alone would give an answer."""
        return any(way.answer()[0] != "cannot tell" for way in self.ways)

    @property
    def doubts(self) -> frozenset[str]:
        """Of all three."""
        return frozenset().union(super().doubts, *(way.doubts for way in self.ways))

    def pull_of(self, name: str, pull: float) -> Pull:
        """The estimate of what was judged, the highest and the lowest limits of the two ways."""
        worse, better = (way.pull_of(name, pull) for way in self.ways)
        own = super().pull_of(name, pull)
        return replace(own, upper=worse.upper, lower=better.lower, upper_of_two=None)


# ---- orders of serving -----------------------------------------------------------------------------------------------
def orders_favour(scores: pd.DataFrame, hours: list[float]) -> bool:
    """Whether the places of the servings favour some pull against the reference, or all share one order."""
    data = scores if "sitting" in scores else scores.assign(sitting=1)
    served = data[data["position"].notna()].drop_duplicates(["assessor", "sitting", "position"])
    if served.empty:
        return False
    if one_order(served):
        return True
    pieces = served.groupby(["assessor", "sitting"]).size().max()
    days = served["sitting"].nunique()
    by_pull = {h: served.loc[served["hours"] == h, "position"].to_numpy(float) for h in hours}
    last = by_pull[hours[-1]]
    fullest = max(len(own) for own in by_pull.values())
    return any(favoured(by_pull[h], last, float(pieces), days, fullest) for h in hours[:-1])


def favoured(own: Array, last: Array, pieces: float, days: int, fullest: int) -> bool:
    """Mean places, or shares of first servings, that differ too much; one first serving a sitting may be left over
    wherever people are no multiple of the pulls, or balanced orders of few people could never be trusted; and up to two
    more where servings were lost."""
    if not len(own) or not len(last):
        return False
    n, lost = min(len(own), len(last)), min(2 * fullest - len(own) - len(last), 2)
    apart = abs(own.mean() - last.mean())
    first = abs((own == 1).mean() - (last == 1).mean())
    return bool(
        (apart > pieces / 3 + TIE and apart > 2.6 * np.sqrt(7 / n) + TIE) or first > max(1 / 8, (days + lost) / n) + TIE
    )


def one_order(served: pd.DataFrame) -> bool:
    """In every sitting any two people tasted what both tasted in the same order."""
    for _, day in served.groupby("sitting"):
        courses = [tuple(own.sort_values("position")["hours"]) for _, own in day.groupby("assessor")]
        if any(one != other for one, other in combinations(courses, 2)):
            return False
    return served["assessor"].nunique() > 1
