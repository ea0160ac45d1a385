"""Limits of instruments, guarded: a pull passes when its mean keeps the limit by more than its own uncertainty.

Guarded acceptance, one-sided (JCGM 106:2012, ISO/IEC Guide 98-4; from memory): at the limit the mean passes in at most
`level` of cases. The spread of repeats is pooled over every pull read by one method, or the pull's own if that is
larger. Shapes: B studies, h pulls.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from math import isfinite, sqrt

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr, stdtr, stdtrit

Array = NDArray[np.float64]
Flags = NDArray[np.bool_]
# Below so many degrees of freedom a spread is unknown; a spread that is sealed needs as many as the second.
LEAST_DF, LEAST_SEALED_DF = 3, 6
TURNS = ("viscosity", "stress")
# Why an answer is open.
WHY_OPEN = (None, "not read", "too few repeats", "single reading", "spread unknown", "no spread", "within the guard")


@dataclass(frozen=True, slots=True, kw_only=True)
class Gate:
    """A limit on one quantity, in `unit`: exactly one of `at_most` and `at_least`.

    `instrument` and `method` are the only ones whose readings count; "" takes any. `log`: spread is relative, as of
    viscosity, stress and surface. `uncertainty`: standard uncertainty of instrument and method (relative where `log`).
    `repeats`: fewer fresh portions leave a pull open. `monotone`: cannot get worse with hours. `until`: hours up to
    which the limit is asked, no longer pull is chosen. `sd` with its `df`: a spread of repeats known beforehand, of the
    same kind of mass, on the scale of `uncertainty`.
    """

    quantity: str
    unit: str = ""
    at_most: float | None = None
    at_least: float | None = None
    instrument: str = ""
    method: str = ""
    log: bool = False
    uncertainty: float = 0.0
    repeats: int = 1
    monotone: bool = False
    until: float | None = None
    sd: float | None = None
    df: float | None = None

    @property
    def limit(self) -> float:
        """The limit, in the unit of the readings."""
        bound = self.at_least if self.at_most is None else self.at_most
        assert bound is not None
        return bound

    @property
    def sign(self) -> float:
        """What a value is multiplied by so that up is worse."""
        return -1.0 if self.at_most is None else 1.0

    def scaled(self, values: Array) -> Array:
        """Values on the scale of the judgement: up is worse, the limit at 0."""
        if self.log:
            return np.asarray(self.sign * np.log(values / self.limit))
        return np.asarray(self.sign * (values - self.limit))

    def unscaled(self, values: Array) -> Array:
        """Back from the scale of the judgement to the unit."""
        return self.limit * np.exp(self.sign * values) if self.log else self.limit + self.sign * values


def check_gates(gates: Mapping[str, Gate]) -> None:
    """Refuse limits that cannot be judged.

    Raises:
        ValueError: which key of which limit, and what it may be.
    """
    for name, gate in gates.items():
        for key, wrong in _wrong(gate):
            raise ValueError(f"gates.{name}, {key}: {wrong}")


def _wrong(gate: Gate) -> list[tuple[str, str]]:
    bounds = [bound for bound in (gate.at_most, gate.at_least) if bound is not None]
    numbers = (*bounds, gate.uncertainty, gate.sd or 0.0, gate.df or 0.0, gate.until or 0.0)
    sealed = gate.sd is not None
    model = gate.quantity.casefold().startswith(("casson", "yield", "plastic"))
    asked = {
        ("at_most", "give either at_most or at_least"): len(bounds) != 1,
        ("quantity", "name what is read"): not gate.quantity.strip(),
        ("quantity", "Casson's parameters differ widely between instruments; use stress or viscosity"): model,
        ("at_most", "every number must be finite"): not all(map(isfinite, numbers)),
        ("log", "relative spread needs a limit above 0"): gate.log and not all(bound > 0 for bound in bounds),
        ("uncertainty", "must not be below 0"): gate.uncertainty < 0,
        ("repeats", "must be 1 or more"): gate.repeats < 1,
        ("until", "must not be below 0"): (gate.until or 0.0) < 0,
        ("monotone", "viscosity and stress may rise again"): gate.monotone and turning(gate.quantity),
        ("sd", "sd and df are given together"): sealed != (gate.df is not None),
        ("sd", "must be above 0"): sealed and not (gate.sd or 0.0) > 0,
        ("df", f"a spread known beforehand needs {LEAST_SEALED_DF} degrees of freedom or more"): (
            gate.df is not None and gate.df < LEAST_SEALED_DF
        ),
    }
    return [told for told, is_wrong in asked.items() if is_wrong]


def turning(quantity: str) -> bool:
    """Whether a quantity may get worse again with hours."""
    return quantity.casefold().startswith(TURNS)


# ---- what was read ---------------------------------------------------------------------------------------------------
@dataclass(frozen=True, slots=True)
class Repeats:
    """Readings of one limit in one batch on the scale of its judgement: `counts` (h,), `mean` (B, h), NaN where nothing
    was read, and `squares` (B, h) around it."""

    counts: NDArray[np.intp]
    mean: Array
    squares: Array

    @classmethod
    def of(cls, values: Array, counts: NDArray[np.intp]) -> Repeats:
        """From readings (B, h, r) on that scale, NaN where there is none."""
        n = np.maximum(counts, 1)
        mean = np.where(counts > 0, np.nansum(values, 2) / n, np.nan)
        return cls(counts, mean, np.nansum((values - mean[:, :, None]) ** 2, 2))

    def at(self, pulls: NDArray[np.intp]) -> Repeats:
        """Some of the pulls."""
        return Repeats(self.counts[pulls], self.mean[:, pulls], self.squares[:, pulls])

    def rows(self, rows: NDArray[np.intp] | slice) -> Repeats:
        """Some of the studies."""
        return Repeats(self.counts, self.mean[rows], self.squares[rows])

    @property
    def own_sd(self) -> Array:
        """Spread of each pull by itself (B, h), 0 where it has none."""
        return np.sqrt(self.squares / np.maximum(self.counts - 1, 1))


@dataclass(frozen=True, slots=True)
class Spread:
    """Spread of repeats `sd` (B,) with its degrees of freedom, over all that one method read, or as sealed."""

    sd: Array
    df: float

    @classmethod
    def of(cls, gate: Gate, read: list[Repeats]) -> Spread:
        """Pooled over batches; the larger of it and a sealed one."""
        df = float(sum(np.maximum(one.counts - 1, 0).sum() for one in read))
        pooled = np.sqrt(sum(one.squares.sum(1) for one in read) / max(df, 1.0))
        if gate.sd is None or gate.df is None:
            return cls(pooled, df)
        # Either estimate alone keeps the level with its own degrees of freedom, so does the larger with the more.
        return cls(np.maximum(pooled, gate.sd), max(gate.df, df))


# ---- what is shown ---------------------------------------------------------------------------------------------------
@dataclass(frozen=True, slots=True)
class GateLimits:
    """One limit in one batch: `excess` (B, h) of the mean over the limit, up is worse, and its `guard`; `passes` and
    `fails` (B, h), neither is open, `why_open` (B, h) indexes WHY_OPEN; `inferred` (B, h): taken from a shorter pull;
    `asked` (h,): up to the hours named; `improving` (B,): the last step was worth it and the limit is not reached."""

    excess: Array
    guard: Array
    counts: NDArray[np.intp]
    passes: Flags
    fails: Flags
    why_open: NDArray[np.intp]
    inferred: Flags
    asked: Flags
    improving: Flags

    @property
    def chained(self) -> Flags:
        """What the step down from the longest pull asks (B, h)."""
        return self.passes | ~self.asked

    def own_shortest(self) -> NDArray[np.intp]:
        """The shortest pull from which on this limit alone is kept (B,), one past the last where there is none."""
        chain = np.flip(np.logical_and.accumulate(np.flip(self.chained, 1), axis=1), 1) & self.asked
        return np.asarray(np.where(chain.any(1), chain.argmax(1), chain.shape[1]))


@dataclass(frozen=True, slots=True)
class GateLevels:
    """One-sided levels: `level` of passing, `failing` (h,) of each statement that could fail at a pull, `shared` of
    each limit or attribute of which one is to improve."""

    level: float
    failing: Array
    shared: float


def answered(read: Repeats, gate: Gate, spread: Spread, hours: Array, levels: GateLevels) -> GateLimits:
    """What readings show of every pull.

    Args:
        read: one batch.
        gate: the limit.
        spread: over everything that its method read.
        hours: (h,) rising.
        levels: of this look.
    """
    sd = np.maximum(spread.sd[:, None], read.own_sd)
    se, nu = _error(sd, 1 / np.maximum(read.counts, 1), gate.uncertainty, spread.df)
    why = _why_open(read, gate, spread)
    known = why == 0
    guard = np.where(known, stdtrit(nu, 1 - levels.level) * se, np.nan)
    with np.errstate(invalid="ignore"):
        passes = known & (read.mean + guard < 0)
        fails = known & (read.mean - stdtrit(nu, 1 - levels.failing) * se >= 0)
    asked = hours <= (np.inf if gate.until is None else gate.until)
    inferred = _inferred(passes, read.counts, asked) if gate.monotone else np.zeros_like(passes)
    better = _better(read, sd, gate, spread.df, levels.shared) & known[:, -2:].all(1) & fails[:, -1]
    why = np.select([passes | fails | inferred, known], [0, WHY_OPEN.index("within the guard")], why)
    return GateLimits(read.mean, guard, read.counts, passes | inferred, fails, why, inferred, asked, better)


def chances(read: Repeats, gate: Gate, spread: Spread) -> tuple[Array, Array]:
    """Chances (B, h) of means as good as read, were the truth at the limit, and of means as bad; 1 where nothing is
    known. The limit is kept where the first is below the level, shown broken where the second is."""
    sd = np.maximum(spread.sd[:, None], read.own_sd)
    se, nu = _error(sd, 1 / np.maximum(read.counts, 1), gate.uncertainty, spread.df)
    known = _why_open(read, gate, spread) == 0
    with np.errstate(divide="ignore", invalid="ignore"):
        far = read.mean / se
    return np.where(known, stdtr(nu, far), 1.0), np.where(known, stdtr(nu, -far), 1.0)


def _error(sd: Array, share: Array, uncertainty: float, df: float) -> tuple[Array, Array]:
    """Standard error with the instrument's own uncertainty beside it, and its degrees of freedom (Satterthwaite)."""
    random = sd**2 * share
    total = random + uncertainty**2
    with np.errstate(divide="ignore", invalid="ignore"):
        nu = np.where(random > 0, (total / random) ** 2 * max(df, 1.0), np.inf)
    return np.sqrt(total), np.minimum(nu, 1e9)


def _why_open(read: Repeats, gate: Gate, spread: Spread) -> NDArray[np.intp]:
    """Why there is no guard (B, h), 0 where there is one."""
    sealed, n = gate.sd is not None, read.counts
    reasons = {
        "not read": n == 0,
        "too few repeats": n < gate.repeats,
        "single reading": (n == 1) & (not sealed),
        "spread unknown": np.full(n.shape, spread.df < LEAST_DF),
    }
    by_pull = np.select(list(reasons.values()), [WHY_OPEN.index(reason) for reason in reasons], 0)
    # Repeats that are all the same tell of the steps of a display, not of the portions.
    flat = (spread.sd == 0)[:, None] & (gate.uncertainty == 0)
    return np.where((by_pull == 0) & flat, WHY_OPEN.index("no spread"), by_pull)


def _inferred(passes: Flags, counts: NDArray[np.intp], asked: Flags) -> Flags:
    """Pulls not read that take the answer of the next shorter one read: it and all longer readings must pass."""
    read = counts > 0
    fine = np.flip(np.logical_and.accumulate(np.flip(passes | ~read | ~asked, 1), axis=1), 1)
    before = np.where(read, np.arange(len(counts)), -1)
    source = np.maximum.accumulate(before)
    taken = ~read & asked & (source >= 0)
    return taken & fine[:, np.maximum(source, 0)] & passes[:, np.maximum(source, 0)]


def _better(read: Repeats, sd: Array, gate: Gate, df: float, level: float) -> Flags:
    """Whether the last pull is shown better than the last but one (B,)."""
    widest = sd[:, -2:].max(1)
    share = np.asarray((1 / np.maximum(read.counts[-2:], 1)).sum())
    se, nu = _error(widest, share, gate.uncertainty * sqrt(2), df)
    with np.errstate(invalid="ignore"):
        return np.asarray(read.mean[:, -2] - read.mean[:, -1] > stdtrit(nu, 1 - level) * se)


def settling(
    excess: float, sd: float, df: float, repeats: int, more: int, level: float, uncertainty: float = 0
) -> float:
    """The chance that so many `more` repeats make an open pull pass, were its mean as it was read.

    Args:
        excess: of the mean over the limit, up is worse; `sd`, `df`: spread of repeats.
        repeats: so far, 1 or more.
        more: further fresh portions.
        level: one-sided level of the next look.
        uncertainty: as in `Gate`.
    """
    se, nu = _error(np.asarray(sd), np.asarray(1 / (repeats + more)), uncertainty, df + more)
    guard = float(stdtrit(nu, 1 - level) * se)
    return float(ndtr((-excess - guard) / (sd * sqrt(1 / repeats - 1 / (repeats + more)))))
