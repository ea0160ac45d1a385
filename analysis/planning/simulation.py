"""Complete studies drawn from a scenario, as a workshop might score them.

Score = clip(round?(3.5 + g (mean_h - 3.5) + A + spread_h (B + E) + T + P), 0, 10), g = exp(scale_use z); A assessor,
B assessor:hours, E error, T assessor:sitting, all normal and correlated between attributes by `correlation`; P the
effect of the place at which a piece is tasted; mean_h with what a batch does to that pull, the same for everybody.

`missing` scores are lost one by one. `dropout` is what a workshop sees between sittings: somebody leaves the firm,
falls ill for long or has had enough, and comes to no later sitting. Missing one sitting and coming back loses less, so
leaving for good is the cautious way to reckon either.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from analysis.planning.drawn_readings import GateTruth

Array = NDArray[np.float64]
CENTRE, LOW, HIGH = 3.5, 0.0, 10.0


@dataclass(frozen=True, slots=True)
class AttributeTruth:
    """The truth behind one attribute: `mean` per pull, standard deviations in scale units, `spread` per pull.

    `position`: what the first, second, ... place in a sitting adds, in scale units; the last holds for all later ones.
    `batch`: standard deviation of what a batch does to one pull; a difference of two pulls has it times sqrt 2.
    """

    mean: tuple[float, ...]
    assessor: float = 1.0
    interaction: float = 0.5
    error: float = 1.0
    scale_use: float = 0.0
    spread: tuple[float, ...] | None = None
    rounded: bool = False
    sitting: float = 0.0
    position: tuple[float, ...] = ()
    batch: float = 0.0


@dataclass(frozen=True, slots=True)
class Scenario:
    """The truth behind a study: pulls in hours, attributes, correlation of all random parts, share missing.

    `dropout`: chance to leave for good before each sitting after the first, for everybody who is still there.
    `gates`: what instruments read, by the names of the rule's limits.
    """

    hours: tuple[float, ...]
    attributes: Mapping[str, AttributeTruth]
    correlation: float = 0.3
    missing: float = 0.0
    dropout: float = 0.0
    gates: Mapping[str, GateTruth] = field(default_factory=dict)

    def __post_init__(self) -> None:
        """Refuse impossible scenarios by name."""
        if not 0 <= self.correlation < 1:
            raise ValueError(f"correlation must lie between 0 and 1, got {self.correlation}")
        if not 0 <= self.missing < 1:
            raise ValueError(f"missing must be a share below 1, got {self.missing}")
        if not 0 <= self.dropout < 1:
            raise ValueError(f"dropout must be a share below 1, got {self.dropout}")
        if len(self.hours) < 2 or list(self.hours) != sorted(set(self.hours)):
            raise ValueError(f"hours must be two or more, ascending, got {list(self.hours)}")
        for name, truth in self.attributes.items():
            _check_truth(f"attributes.{name}", truth, len(self.hours))
        for name, read in self.gates.items():
            if len(read.mean) != len(self.hours):
                raise ValueError(
                    f"gates.{name}.mean: {len(self.hours)} pulls need as many values, got {len(read.mean)}"
                )

    @property
    def by_position(self) -> bool:
        """Whether it matters at which place a piece is tasted."""
        return any(any(truth.position) for truth in self.attributes.values())


def _check_truth(name: str, truth: AttributeTruth, pulls: int) -> None:
    """Refuse an impossible truth of one attribute by its `name`."""
    for label, values in (("mean", truth.mean), ("spread", truth.spread)):
        if values is not None and len(values) != pulls:
            raise ValueError(f"{name}.{label}: {pulls} pulls need as many values, got {len(values)}")
    for label, values in (("mean", truth.mean), ("position", truth.position)):
        if not np.isfinite(values).all():
            raise ValueError(f"{name}.{label}: every value must be finite, got {list(values)}")
    sizes = {
        part: (getattr(truth, part),) for part in ("assessor", "interaction", "error", "scale_use", "sitting", "batch")
    }
    for label, values in {**sizes, "spread": truth.spread or ()}.items():
        if any(not 0 <= value < np.inf for value in values):
            raise ValueError(f"{name}.{label}: a spread must be finite and not below 0, got {list(values)}")


@dataclass(frozen=True, slots=True, eq=False)
class Design:
    """Who tastes how often: `first` sittings before the first look, `later` before each further one.

    `pattern` (assessors, pulls, sittings of all looks): servings of each pull to each assessor in each sitting where
    not everybody tastes everything, none above `replicates`; None: `replicates` everywhere. `positions` (deals,
    assessors, pulls, sittings, replicates): at which place of its sitting, from 1, each serving is tasted, 0 where none
    is served; studies are dealt in turn. `batch_of`: the number of the batch that each sitting of all looks serves;
    empty: one batch.
    """

    assessors: int
    replicates: int = 1
    first: int = 1
    later: int = 1
    pattern: NDArray[np.intp] | None = None
    positions: NDArray[np.intp] | None = None
    batch_of: tuple[int, ...] = ()

    def __post_init__(self) -> None:
        """Refuse impossible designs by name."""
        for label, least in (("assessors", 2), ("replicates", 1), ("first", 1), ("later", 0)):
            if getattr(self, label) < least:
                raise ValueError(f"{label} must be {least} or more, got {getattr(self, label)}")

    def sittings(self, look: int) -> int:
        """Sittings served up to a look."""
        return self.first + (look - 1) * self.later

    def batches(self, sittings: int) -> NDArray[np.intp]:
        """The batch of each of so many sittings."""
        return np.array(self.batch_of[:sittings] or (0,) * sittings, np.intp)


def first_order(hours: tuple[float, ...], start: float, plateau: float, tau: float) -> tuple[float, ...]:
    """Means of a change that slows down: plateau + (start - plateau) exp(-h / tau)."""
    return tuple(float(plateau + (start - plateau) * np.exp(-h / tau)) for h in hours)


# ---- drawing ---------------------------------------------------------------------------------------------------------
def draw(scenario: Scenario, design: Design, sittings: int, studies: int, rng: np.random.Generator) -> dict[str, Array]:
    """Scores of whole studies: attribute -> (studies, assessors, pulls, sittings, replicates), NaN where missing."""
    return dict(draw_each(scenario, design, sittings, studies, rng))


def draw_each(
    scenario: Scenario, design: Design, sittings: int, studies: int, rng: np.random.Generator
) -> Iterator[tuple[str, Array]]:
    """The same, one attribute after another: whoever needs each but once never holds them all."""
    a, h, r = design.assessors, len(scenario.hours), design.replicates
    shapes = {
        "scale": (a, 1, 1, 1),
        "person": (a, 1, 1, 1),
        "cell": (a, h, 1, 1),
        "error": (a, h, sittings, r),
        "day": (a, 1, sittings, 1),
        "batch": (1, h, int(design.batches(sittings).max()) + 1, 1),
    }
    names = list(scenario.attributes)
    served = _served(design, h, sittings)
    positions = _positions(scenario, design, sittings, studies)
    parts = {
        part: _correlated(rng, (studies, *shape), len(names), scenario.correlation)
        for part, shape in shapes.items()
        if _needed(scenario, part)
    }
    gone = _gone(scenario.dropout, (studies, a, sittings), rng)

    def scores(truth: AttributeTruth) -> Array:
        z = {part: next(values) for part, values in parts.items()}
        if "batch" in z:
            z["batch"] = z["batch"][:, :, :, design.batches(sittings)]
        y = _scores(truth, z, positions)
        # Where a random part is zero everywhere, its axes are still to be filled.
        y = _with_gaps(np.broadcast_to(y, (studies, *shapes["error"])), served, scenario.missing, rng)
        return y if gone is None else np.where(gone[:, :, None, :, None], np.nan, y)

    for name, truth in scenario.attributes.items():
        yield name, scores(truth)


def _served(design: Design, pulls: int, sittings: int) -> NDArray[np.bool_] | None:
    """Which scores a pattern asks for (assessors, pulls, sittings, replicates); None where it asks for all."""
    if design.pattern is None:
        return None
    shape = (design.assessors, pulls, sittings)
    pattern = np.asarray(design.pattern)[:, :, :sittings]
    if pattern.shape != shape or pattern.min() < 0 or pattern.max() > design.replicates:
        raise ValueError(
            f"pattern must hold 0 to {design.replicates} servings for {shape} assessors, pulls and sittings, "
            f"got {pattern.shape} from {pattern.min()} to {pattern.max()}"
        )
    return np.asarray(np.arange(design.replicates) < pattern[..., None])


def _positions(scenario: Scenario, design: Design, sittings: int, studies: int) -> NDArray[np.intp] | None:
    """The place of every serving of every study; None where it does not matter."""
    if not scenario.by_position:
        return None
    if design.positions is None:
        raise ValueError("position: the effects of places need a design whose servings have places")
    return design.positions[np.arange(studies) % len(design.positions), :, :, :sittings]


def _needed(scenario: Scenario, part: str) -> bool:
    sizes = {"scale": "scale_use", "person": "assessor", "cell": "interaction", "error": "error", "day": "sitting"}
    sizes["batch"] = "batch"
    return any(getattr(truth, sizes[part]) > 0 for truth in scenario.attributes.values())


def _correlated(rng: np.random.Generator, shape: tuple[int, ...], count: int, rho: float) -> Iterator[Array]:
    """Standard normals for each attribute in turn, correlated by `rho`."""
    if count == 1 or rho == 0:
        for _ in range(count):
            yield rng.standard_normal(shape)
        return
    common = rng.standard_normal(shape) * np.sqrt(rho)
    for _ in range(count):
        yield common + np.sqrt(1 - rho) * rng.standard_normal(shape)


def _scores(truth: AttributeTruth, z: Mapping[str, Array], positions: NDArray[np.intp] | None) -> Array:
    """Scores of one attribute from its standard normals and the places of its servings."""
    mean = np.array(truth.mean)[None, None, :, None, None] - CENTRE
    if "batch" in z:
        mean = mean + truth.batch * z["batch"]
    spread = np.array(truth.spread if truth.spread is not None else np.ones(len(truth.mean)))[None, None, :, None, None]
    noise = truth.error * z["error"] if "error" in z else np.zeros(())
    y = (noise + truth.interaction * z["cell"] if "cell" in z else noise) * spread
    y = y + (np.exp(truth.scale_use * z["scale"]) if "scale" in z else 1.0) * mean + CENTRE
    if "person" in z:
        y = y + truth.assessor * z["person"]
    if "day" in z:
        y = y + truth.sitting * z["day"]
    if positions is not None and truth.position:
        y = y + np.array((0.0, *truth.position))[np.minimum(positions, len(truth.position))]
    if truth.rounded:
        y = np.round(y)
    return np.asarray(np.clip(y, LOW, HIGH))


def _with_gaps(y: Array, served: NDArray[np.bool_] | None, share: float, rng: np.random.Generator) -> Array:
    """NaN where nothing was served or a score is missing at random; who or what would vanish keeps its first score."""
    if share == 0:
        return y if served is None else np.where(served, y, np.nan)
    asked = np.ones(y.shape[1:], bool) if served is None else served
    seen = (rng.random(y.shape) >= share) & asked
    for turned in (seen, seen.swapaxes(1, 2)):
        first = (asked if turned is seen else asked.swapaxes(0, 1)).reshape(turned.shape[1], -1).argmax(1)
        own = np.arange(len(first)), *np.unravel_index(first, turned.shape[2:])
        turned[:, *own] |= ~turned.any((2, 3, 4))
    return np.where(seen, y, np.nan)


def _gone(share: float, shape: tuple[int, int, int], rng: np.random.Generator) -> NDArray[np.bool_] | None:
    """Sittings (studies, assessors, sittings) after somebody has left for good; None where nobody can."""
    if share == 0 or shape[2] == 1:
        return None
    # A stream of their own: who stays scores as if nobody could leave.
    leaves = rng.spawn(1)[0].random(shape) < share
    leaves[:, :, 0] = False
    return np.logical_or.accumulate(leaves, axis=2)
