"""Is the price of an answer honest? Of studies told "4 of 10", how many does what was offered really settle?

Run `python tests/benchmarks/bench_price.py [studies [cell ...]]`; 2,000 undecided studies a cell by default, on one
process. The spreads of a cell are fixed, so that panels told too much and panels told too little cannot make up for one
another; only the course differs from study to study, as the cell says. One that ends its first look in `cannot tell` is
told a price; then what was offered is served 40 times to the same people, drawn from the truth, and judged.

Told is what a reader is shown, rounded down to a tenth. In no fifth may it be more than 5 points above what came, with
two Monte Carlo errors on top: OK, or "over". Over a whole cell it should not be more than 10 points below: OK, or
"low".
"""

from __future__ import annotations

import os

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import sys
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from analysis.design import blocks
from analysis.model.scores import Scores, cells_of
from analysis.planning.likely_ends import Undecided, ends
from analysis.planning.pooled_spreads import Strata
from analysis.planning.price import told
from analysis.stopping import AttributeRule, Rule, Wanted, check_rule
from analysis.stopping.standard_errors import fitted
from analysis.stopping.verdicts import CANNOT, judge

Array = NDArray[np.float64]
Codes = NDArray[np.intp]
HOURS = np.array([0.0, 4.0, 8.0, 12.0, 16.0, 24.0])
FUTURES, DRAWS, AT_ONCE, CORRELATION = 40, 400, 40, 0.3
FIFTHS = (0.0, 0.2, 0.4, 0.6, 0.8)
TOO_HIGH, TOO_LOW = 0.05, 0.10
FEW = 30  # fewer studies in a fifth are printed, and not judged


# ---- what may be true ------------------------------------------------------------------------------------------------
def first_order(rng: np.random.Generator) -> Array:
    """7 to 3.5 with a time constant between 3 and 10 h."""
    return np.asarray(3.5 + 3.5 * np.exp(-HOURS / rng.uniform(3, 10)))


def slow(rng: np.random.Generator) -> Array:
    """The same with 8 to 24 h: the longest pull is often too short."""
    return np.asarray(3.5 + 3.5 * np.exp(-HOURS / rng.uniform(8, 24)))


def linear(rng: np.random.Generator) -> Array:
    """7 to 3.5 on a straight line until 8 to 20 h, then flat."""
    return np.asarray(7 - 3.5 * np.minimum(HOURS / rng.uniform(8, 20), 1))


def step(rng: np.random.Generator) -> Array:
    """1 to 4 units lost between two pulls."""
    return np.where(np.arange(6) < rng.integers(1, 6), 3.5 + rng.uniform(1, 4), 3.5)


def fading(rng: np.random.Generator) -> Array:
    """A note that grows from 3.5 towards 7 and loses half a unit to two units again from some hour between 8 and 16."""
    peak, lost = rng.uniform(8, 16), rng.uniform(0.5, 2)
    grown = 1 - np.exp(-HOURS / rng.uniform(2, 5))
    return np.asarray(3.5 + 3.5 * grown - lost * np.clip((HOURS - peak) / (24 - peak), 0, 1))


@dataclass(frozen=True, slots=True)
class Panel:
    """Standard deviations in scale units: of a score, of assessor:hours (None: anything from 0 to 1), of a tray, and of
    the logarithm of how far each person stretches the scale; `whole`: whether only whole numbers are given."""

    error: float = 1.0
    interaction: float | None = 0.5
    tray: float = 0.0
    gain: float = 0.0
    whole: bool = False

    def drawn(self, rng: np.random.Generator) -> Panel:
        """The panel with an interaction."""
        return replace(self, interaction=rng.uniform(0, 1)) if self.interaction is None else self


@dataclass(frozen=True, slots=True)
class Case:
    """A cell: a kind of truth and of study. `palate`: pieces a sitting where blocks are dealt; `ahead`: looks that are
    offered; `earlier`: opened studies of the same panel, of one sitting each, or of the panel `before` it changed."""

    course: Callable[[np.random.Generator], Array] = first_order
    panel: Panel = Panel()
    wanted: Wanted = "lower"
    attributes: int = 1
    assessors: int = 8
    replicates: int = 2
    first: int = 1
    looks: int = 2
    ahead: int = 1
    anew: bool = False
    missing: float = 0.0
    palate: int | None = None
    limit: float | None = None
    earlier: int = 0
    before: Panel | None = None

    @property
    def rule(self) -> Rule:
        """The rule of the first look."""
        wishes = {f"note {n}": AttributeRule(self.wanted, 1.0, self.limit) for n in range(self.attributes)}
        return Rule(wishes, looks=self.looks, adjust=("sitting:hours",) if self.panel.tray else ())


CALM, USUAL, WILD = Panel(interaction=0.2), Panel(), Panel(interaction=1.0)
EXACT, ANY = Panel(error=0.6), Panel(interaction=None)
STRETCHED, TRAYS = Panel(gain=0.35, whole=True), Panel(tray=0.3)
SMALL = Case(assessors=6, replicates=3)
CELLS = {
    "8 x 2, interaction .2": Case(panel=CALM),
    "8 x 2, interaction .5": Case(),
    "8 x 2, interaction 1": Case(panel=WILD),
    "8 x 2, interaction 0 to 1": Case(panel=ANY),
    "6 x 3, interaction .2": replace(SMALL, panel=CALM),
    "6 x 3, interaction .5": SMALL,
    "6 x 3, interaction 1": replace(SMALL, panel=WILD),
    "6 x 3, interaction 0 to 1": replace(SMALL, panel=ANY),
    "8 x 2, same": Case(wanted="same"),
    "6 x 3, same": replace(SMALL, wanted="same"),
    "8 x 2, fading": Case(fading, wanted="higher"),
    "6 x 3, fading": replace(SMALL, course=fading, wanted="higher"),
    "8 x 2, stretched, whole numbers": Case(panel=STRETCHED),
    "6 x 3, stretched, whole numbers": replace(SMALL, panel=STRETCHED),
    "8 x 2, error .6": Case(panel=EXACT),
    "6 x 3, error .6": replace(SMALL, panel=EXACT),
    "8 x 2, interaction .2, two before": Case(panel=CALM, earlier=2),
    "8 x 2, interaction .5, two before": Case(earlier=2),
    "8 x 2, interaction 1, two before": Case(panel=WILD, earlier=2),
    "6 x 3, interaction .2, three before": replace(SMALL, panel=CALM, earlier=3),
    "6 x 3, interaction .5, three before": replace(SMALL, earlier=3),
    "6 x 3, interaction 1, three before": replace(SMALL, panel=WILD, earlier=3),
    "8 x 2, error .6, two before": Case(panel=EXACT, earlier=2),
    "8 x 2, fading, two before": Case(fading, wanted="higher", earlier=2),
    "8 x 2, same, two before": Case(wanted="same", earlier=2),
    "8 x 2, stretched, two before": Case(panel=STRETCHED, earlier=2),
    "8 x 2, interaction 1, two of .5 before": Case(panel=WILD, earlier=2, before=USUAL),
    "8 x 2, trays, two sittings": Case(panel=TRAYS, first=2),
    "8 x 2, trays, one sitting": Case(panel=TRAYS),
    "8 x 2, slow": Case(slow),
    "8 x 2, linear then flat": Case(linear),
    "8 x 2, step": Case(step),
    "8 x 2, two attributes": Case(attributes=2),
    "8 x 2, three attributes": Case(attributes=3),
    "8 x 2, limit 4.5": Case(limit=4.5),
    "8 x 2, next of three looks": Case(looks=3),
    "8 x 2, all of three looks": Case(looks=3, ahead=2),
    "8 x 2, 8 % missing": Case(missing=0.08),
    "8 in blocks of 4 of 6": Case(palate=4, replicates=1),
    "6 x 1": Case(assessors=6, replicates=1),
    "12 x 2": Case(assessors=12),
    "8 x 2, error 1.5": Case(panel=Panel(error=1.5)),
    "8 x 2, new study": Case(looks=1, anew=True),
}


# ---- studies ---------------------------------------------------------------------------------------------------------
@dataclass(frozen=True, slots=True)
class Truth:
    """Means of every assessor at every pull (attributes, assessors, pulls, 1, 1); `sittings` are drawn from it."""

    case: Case
    panel: Panel
    cells: Array

    @classmethod
    def drawn(cls, case: Case, rng: np.random.Generator) -> Truth:
        """A truth of the case."""
        panel, m, a = case.panel.drawn(rng), case.attributes, case.assessors
        mean = np.stack([case.course(rng) for _ in range(m)])[:, None, :]
        gain = np.exp(panel.gain * rng.standard_normal((m, a, 1)))
        own = (panel.interaction or 0.0) * _correlated(rng, m, (a, len(HOURS)))
        person = _correlated(rng, m, (a, 1))
        return cls(case, panel, (3.5 + gain * (mean - 3.5) + person + own)[..., None, None])

    def sittings(self, count: int, times: int, rng: np.random.Generator, before: Array | None = None) -> Array:
        """Scores (attributes, times, assessors, pulls, count, replicates), NaN where nothing was scored; blocks even
        out what was served in `before`, scores of one study in the same shape."""
        case, h, m = self.case, len(HOURS), self.case.attributes
        tray = self.panel.tray * _correlated(rng, m, (times, 1, h, count, 1))
        error = self.panel.error * _correlated(rng, m, (times, case.assessors, h, count, case.replicates))
        y = self.cells[:, None] + tray + error
        y = np.clip(np.round(y) if self.panel.whole else y, 0, 10)
        if case.palate is not None:
            y = np.where((_dealt(case, count, rng, before) > 0)[..., None], y, np.nan)
        return np.where(rng.random(y.shape[1:]) < case.missing, np.nan, y)


def _dealt(case: Case, count: int, rng: np.random.Generator, before: Array | None) -> Codes:
    """Blocks of pulls (assessors, pulls, count)."""
    assert case.palate is not None
    had = [] if before is None else np.isfinite(before[0, 0]).sum(3).transpose(2, 0, 1).tolist()
    seed, h = int(rng.integers(2**31)), len(HOURS)
    made = blocks.servings(h, case.palate, case.assessors, count, seed, (0, h - 1), had)
    return np.array(made).transpose(1, 2, 0)


def _correlated(rng: np.random.Generator, attributes: int, shape: tuple[int, ...]) -> Array:
    """Standard normals (attributes, ...), correlated between attributes."""
    rho = CORRELATION if attributes > 1 else 0.0
    common, own = rng.standard_normal((1, *shape)), rng.standard_normal((attributes, *shape))
    return np.asarray(np.sqrt(rho) * common + np.sqrt(1 - rho) * own)


def _verdict(case: Case, y: Array) -> Codes:
    rule = case.rule
    cells = {name: cells_of(Scores(own), bool(case.panel.tray)) for name, own in zip(rule.attributes, y, strict=True)}
    return judge(cells, rule.attributes, check_rule(rule)).verdict


# ---- told and came ---------------------------------------------------------------------------------------------------
def told_and_came(case: Case, studies: int, seed: int, draws: int = DRAWS) -> tuple[Array, Array]:
    """Chance told, and share of `FUTURES` that settled, of so many undecided studies."""
    rng = np.random.default_rng(seed)
    said: list[float] = []
    came: list[float] = []
    while len(said) < studies:
        truths = [Truth.drawn(case, rng) for _ in range(AT_ONCE)]
        y = np.concatenate([truth.sittings(case.first, 1, rng) for truth in truths], 1)
        open_ = np.flatnonzero(_verdict(case, y) == CANNOT)[: studies - len(said)]
        said += [_told(truths[number], y[:, number, None], draws, rng) for number in open_]
        came += _came(case, [truths[number] for number in open_], y[:, open_], rng) if len(open_) else []
    return np.array(said), np.array(came)


def _told(truth: Truth, y: Array, draws: int, rng: np.random.Generator) -> float:
    """The chance told, as `price` tells it."""
    study = undecided(truth, y, rng)
    verdict, _used = ends(study, _looks(truth.case, y, rng), draws, int(rng.integers(2**31)), truth.case.anew)
    return told(float((verdict != CANNOT).mean()), (study.earlier.get(name) for name in study.fits))


def undecided(truth: Truth, y: Array, rng: np.random.Generator) -> Undecided:
    """A study with scores `y` (attributes, 1, assessors, pulls, sittings, replicates), as `price` would see it."""
    case, rule = truth.case, truth.case.rule
    cells = {name: cells_of(Scores(own), bool(case.panel.tray)) for name, own in zip(rule.attributes, y, strict=True)}
    past = {name: _earlier(truth, rng) for name in cells} if case.earlier else {}
    fits = {name: fitted(own) for name, own in cells.items()}
    trays, missing = bool(case.panel.tray), 0.0 if case.palate else float(np.isnan(y[0]).mean())
    return Undecided(fits, rule.attributes, HOURS, check_rule(rule), trays=trays, missing=missing, earlier=past)


def _earlier(truth: Truth, rng: np.random.Generator) -> Strata:
    """Sums of squares of earlier studies of complete panels, by their distribution."""
    case, panel = truth.case, truth.case.before or truth.panel
    a, h, r = case.assessors, len(HOURS), case.replicates
    df = case.earlier * np.array([a - 1, (a - 1) * (h - 1), 0, a * h * (r - 1)])
    interaction, error = (panel.interaction or 0.0) ** 2, panel.error**2
    expected = np.array([error + r * interaction + h * r, error + r * interaction, 0.0, error])
    shares = df[:, None] * np.array([[h * r, r, 0, 1], [0, r, 0, 1], [0, 0, 0, 0], [0, 0, 0, 1.0]])
    return Strata(expected * rng.chisquare(np.maximum(df, 1)) * (df > 0), shares, case.earlier)


def _looks(case: Case, y: Array, rng: np.random.Generator) -> list[Codes]:
    """What is served in the looks that are offered, one sitting each, or as many as before in a study anew."""
    a, h = case.assessors, len(HOURS)
    if case.palate is not None:
        return [_dealt(case, 1, rng, y).transpose(2, 0, 1) for _ in range(case.ahead)]
    return [np.full((case.first if case.anew else 1, a, h), case.replicates) for _ in range(case.ahead)]


def _came(case: Case, truths: list[Truth], y: Array, rng: np.random.Generator) -> list[float]:
    """Share of drawn futures of each study in which the rule gives an answer."""
    if case.anew:
        served = np.concatenate([truth.sittings(case.first, FUTURES, rng) for truth in truths], 1)
        return _shares(_verdict(case, served) != CANNOT)
    served = np.repeat(y, FUTURES, 1)
    answered = np.zeros(served.shape[1], bool)
    for _look in range(case.ahead):
        before = np.split(served, len(truths), 1)
        new = [truth.sittings(1, FUTURES, rng, had[:, :1]) for truth, had in zip(truths, before, strict=True)]
        served = np.concatenate([served, np.concatenate(new, 1)], axis=4)
        answered |= _verdict(case, served) != CANNOT
    return _shares(answered)


def _shares(answered: NDArray[np.bool_]) -> list[float]:
    return [float(share) for share in answered.reshape(-1, FUTURES).mean(1)]


# ---- the table -------------------------------------------------------------------------------------------------------
@dataclass(frozen=True, slots=True)
class Fifth:
    """Studies told a chance in one fifth: how many, mean told, mean that came, and the Monte Carlo error of told less
    came."""

    low: float
    studies: int
    told: float
    came: float
    error: float

    @property
    def over(self) -> bool:
        """Told more than 5 points too high, two Monte Carlo errors set aside."""
        return self.studies >= FEW and self.told - self.came > TOO_HIGH + 2 * self.error


def fifths(said: Array, came: Array) -> Iterator[Fifth]:
    """The fifths that hold more than one study."""
    place = np.minimum(np.floor(np.round(said * 5, 9)), len(FIFTHS) - 1).astype(int)
    for number, low in enumerate(FIFTHS):
        inside = place == number
        off = (said - came)[inside]
        if len(off) > 1:
            error = float(off.std(ddof=1) / np.sqrt(len(off)))
            yield Fifth(low, len(off), float(said[inside].mean()), float(came[inside].mean()), error)


def main(studies: int, names: list[str]) -> None:
    """Print a line a cell and a line a fifth."""
    print("cell: told, came; fifth told, studies, told less came +- Monte Carlo error in points")
    for name in names:
        said, came = told_and_came(CELLS[name], studies, seed=7)
        low = "low" if said.mean() < came.mean() - TOO_LOW else "OK"
        print(f"{name}: told {said.mean():.2f}, came {came.mean():.2f}  {low}")
        for fifth in fifths(said, came):
            print(f"    {_line(fifth)}", flush=True)


def _line(fifth: Fifth) -> str:
    mark = "few" if fifth.studies < FEW else "over" if fifth.over else "OK"
    off = 100 * (fifth.told - fifth.came)
    return f"{fifth.low:.1f} to {fifth.low + 0.2:.1f} {fifth.studies:6d} {off:+6.1f} +- {100 * fifth.error:.1f}  {mark}"


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 2000, sys.argv[2:] or list(CELLS))
