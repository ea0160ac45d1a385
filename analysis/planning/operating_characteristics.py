"""What a design can show: complete studies drawn from a scenario and judged by the very rule that will decide."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from analysis.model.cells import Cells, stacked
from analysis.model.scores import Scores
from analysis.planning.dealt_orders import dealt
from analysis.planning.drawn_readings import read_gates
from analysis.planning.look_batches import cells_suffice, cells_under, look_at, look_at_cells
from analysis.planning.simulation import AttributeTruth, Design, Scenario, draw, draw_each
from analysis.stopping import AttributeRule, Rule, check_rule
from analysis.stopping.gates import Gating
from analysis.stopping.verdicts import CANNOT, CONFIRMED, LONGER, NONE_FITS, NOT_CONFIRMED, STOP, VERDICTS

Array = NDArray[np.float64]
MOST_AT_ONCE = 1000
# Studies whose scores of one attribute stay close to the processor.
DRAWN_AT_ONCE = 500
# Scores and, for designs with gaps, cells that are held at once: some 15 MB beside the result.
SCORES_AT_ONCE, CELLS_AT_ONCE = 1_300_000, 80_000
# Bytes of memory that may stay at hand between arrays.
AT_HAND = 8 * 2**20
# Scale units: 4.1 - 3.1 is worse by a margin of 1, whatever a computer makes of it.
SAME = 1e-9


@dataclass(frozen=True, slots=True)
class OperatingCharacteristics:
    """Chances over simulated studies. `mean_hours` is what would be conched afterwards: the chosen or the longest pull.

    `too_early` is the chance of a stop at a pull whose true worsening reaches a margin, or that truly breaks a limit;
    Of a confirmation `stop` at its hour is that it is confirmed, `no_hour_fits` that it is shown to fail.
    `monte_carlo_se` that of a chance of one half, the largest there is; `mean_hours_se` that of `mean_hours`.
    """

    stop: Mapping[float, float]
    conche_longer: float
    no_hour_fits: float
    cannot_tell: float
    mean_looks: float
    too_early: float
    mean_hours: float
    mean_hours_se: float
    monte_carlo_se: float
    studies: int
    seed: int

    def stop_by(self, hours: float) -> float:
        """Chance of a stop at `hours` or earlier."""
        return sum(chance for h, chance in self.stop.items() if h <= hours)


# ---- judging ---------------------------------------------------------------------------------------------------------
def operating_characteristics(
    scenario: Scenario, rule: Rule, design: Design, studies: int = 2000, seed: int = 1
) -> OperatingCharacteristics:
    """Chances of every verdict when `design` meets `scenario` under `rule`, all its looks included.

    Args:
        scenario: the truth; its attributes are those of the rule.
        rule: as sealed; `look` is ignored, all looks are taken in turn.
        design: who tastes how often.
        studies: how many studies to draw, at least one.
        seed: of the draw; the same seed gives the same chances everywhere.

    Raises:
        ValueError: scenario and rule name different attributes, or the rule is impossible.
    """
    *_fewer, all_studies = growing_characteristics(scenario, rule, design, studies, seed)
    return all_studies


def growing_characteristics(
    scenario: Scenario, rule: Rule, design: Design, studies: int = 2000, seed: int = 1
) -> Iterator[OperatingCharacteristics]:
    """The same as `operating_characteristics`, told after each chunk; the last are those of all studies.

    Raises:
        ValueError: at once, before the first chunk is drawn.
    """
    level = check_rule(rule)
    if studies < 1:
        raise ValueError(f"studies must be 1 or more, got {studies}")
    if set(scenario.attributes) != set(rule.attributes):
        raise ValueError(f"attributes: the truth has {sorted(scenario.attributes)}, the rule {sorted(rule.attributes)}")
    if set(scenario.gates) != set(rule.gates):
        raise ValueError(f"gates: the truth has {sorted(scenario.gates)}, the rule {sorted(rule.gates)}")
    control = _control(scenario, rule)
    if rule.confirms is not None and rule.confirms != scenario.hours[-2]:
        raise ValueError(f"confirms: {rule.confirms:g} h must be the last pull but one of {list(scenario.hours)}")
    if design.positions is None and (scenario.by_position or "position" in rule.adjust):
        design = dealt(design, len(scenario.hours), rule.looks, seed)
    return _growing(scenario, rule, design, level, control, studies, seed)


def _growing(
    scenario: Scenario, rule: Rule, design: Design, level: float, control: int, studies: int, seed: int
) -> Iterator[OperatingCharacteristics]:
    _keep_memory_at_hand()
    rng = np.random.default_rng(seed)
    found: list[tuple[NDArray[np.intp], NDArray[np.intp], Array]] = []
    # A single look needs the cells alone, and its scores can go at once; else they are held.
    held = rule.looks > 1 or bool(design.batch_of) or not cells_suffice(rule, design.positions)
    chunk = _at_once(scenario, design, rule.looks, DRAWN_AT_ONCE if held else MOST_AT_ONCE)
    for start in range(0, studies, chunk):
        size = min(chunk, studies - start)
        turn = _from_study(design, start)
        sittings = turn.sittings(rule.looks)
        batches = int(turn.batches(sittings).max()) + 1
        gating = read_gates(scenario.gates, rule.gates, np.array(scenario.hours), size, seed + start, batches)
        # Whoever waits between two chunks holds the outcomes only.
        if held:
            found.append(_looks(draw(scenario, turn, sittings, size, rng), rule, turn, level, control, gating))
        else:
            portions = (min(DRAWN_AT_ONCE, size - done) for done in range(0, size, DRAWN_AT_ONCE))
            drawn = (draw_each(scenario, turn, sittings, some, rng) for some in portions)
            found.append(_only_look(drawn, rule, level, control, gating))
        verdict, pull, looks = (np.concatenate(part) for part in zip(*found, strict=True))
        yield _summary(scenario, rule, verdict, pull, looks, seed)


def _keep_memory_at_hand() -> None:
    """Let the memory of arrays that are let go serve the next ones.

    The C library gives the end of its heap back to the system whenever a large array goes, and is given it anew page
    by page: a sixth of all time here. It does so only above the largest block that was freed before (mallopt(3),
    M_MMAP_THRESHOLD), so one is freed, which nobody has written to. Other C libraries take no notice.
    """
    np.empty(AT_HAND // 8)


def _from_study(design: Design, start: int) -> Design:
    """The design with its deals in the turn of a later study."""
    return design if design.positions is None else replace(design, positions=np.roll(design.positions, -start, axis=0))


def _at_once(scenario: Scenario, design: Design, looks: int, most: int) -> int:
    """Studies to draw and judge at once."""
    cells = len(scenario.attributes) * design.assessors * len(scenario.hours)
    room = SCORES_AT_ONCE // (cells * design.sittings(looks) * design.replicates)
    if design.pattern is not None or scenario.missing > 0 or scenario.dropout > 0:
        room = min(room, CELLS_AT_ONCE // cells)
    return max(1, min(room, most))


def _control(scenario: Scenario, rule: Rule) -> int:
    if rule.control is None:
        return 0
    if rule.control not in scenario.hours[:-1]:
        raise ValueError(f"control: {rule.control:g} h is not one of the shorter pulls {list(scenario.hours[:-1])}")
    return scenario.hours.index(rule.control)


def _only_look(
    drawn: Iterable[Iterable[tuple[str, Array]]], rule: Rule, level: float, control: int, gating: Gating | None
) -> tuple[NDArray[np.intp], NDArray[np.intp], Array]:
    """Verdict, pull and number of looks of each study that has one; cells are made of scores just drawn."""
    parts: dict[str, list[Cells]] = {name: [] for name in rule.attributes}
    for portion in drawn:
        for name, y in portion:
            parts[name].append(cells_under(rule, Scores(y)))
            del y  # or else its memory, still warm, could not serve the next attribute
    verdict, pull = look_at_cells({name: stacked(own) for name, own in parts.items()}, rule, level, control, gating)
    return verdict, pull, np.ones(len(verdict))


def _looks(
    drawn: Mapping[str, Array], rule: Rule, design: Design, level: float, control: int, gating: Gating | None
) -> tuple[NDArray[np.intp], NDArray[np.intp], Array]:
    """Verdict, pull and number of looks of each study: the first answer ends it."""
    B = len(next(iter(drawn.values())))
    verdict, pull, used = np.full(B, CANNOT), np.full(B, -1), np.ones(B)
    open_ = np.arange(B)
    for look in range(1, rule.looks + 1):
        served = design.sittings(look)
        # As long as all are open a view will do: copying all scores is slower than it looks.
        rows = open_ if len(open_) < B else slice(None)
        so_far = {name: y[rows, :, :, :served] for name, y in drawn.items()}
        own_gates = None if gating is None else gating.rows(open_)
        positions = None if design.positions is None else design.positions[open_ % len(design.positions), :, :, :served]
        batch = design.batches(served) if design.batch_of else None
        verdict[open_], pull[open_] = look_at(so_far, positions, rule, level, control, own_gates, batch)
        used[open_] = look
        open_ = open_[verdict[open_] == CANNOT]
        if not len(open_):
            break
    return verdict, pull, used


def _summary(
    scenario: Scenario, rule: Rule, verdict: NDArray[np.intp], pull: NDArray[np.intp], looks: Array, seed: int
) -> OperatingCharacteristics:
    """Shares over the simulated studies."""
    n = len(verdict)
    hours = np.array(scenario.hours)
    too_bad = np.logical_or.reduce(
        [
            *(_too_bad(scenario.attributes[name], wish) for name, wish in rule.attributes.items()),
            *(scenario.gates[name].broken(gate, hours) for name, gate in rule.gates.items()),
        ]
    )
    stopped = (verdict == STOP) | (verdict == CONFIRMED)
    shares = np.bincount(verdict, minlength=len(VERDICTS)) / n
    at = np.bincount(pull[stopped], minlength=len(hours)) / n
    conched = np.where(stopped, hours[np.maximum(pull, 0)], hours[-1])
    return OperatingCharacteristics(
        stop={float(h): float(p) for h, p in zip(hours[:-1], at[:-1], strict=True)},
        conche_longer=float(shares[LONGER]),
        no_hour_fits=float(shares[NONE_FITS] + shares[NOT_CONFIRMED]),
        cannot_tell=float(shares[CANNOT]),
        mean_looks=float(looks.mean()),
        too_early=float((stopped & too_bad[np.maximum(pull, 0)]).mean()),
        mean_hours=float(conched.mean()),
        mean_hours_se=float(conched.std() / np.sqrt(n)),
        monte_carlo_se=float(0.5 / np.sqrt(n)),
        studies=n,
        seed=seed,
    )


def _too_bad(truth: AttributeTruth, wish: AttributeRule) -> NDArray[np.bool_]:
    """Which pulls are truly worse than the last by the margin."""
    off = np.array(truth.mean) - truth.mean[-1]
    worse = np.abs(off) if wish.both_ways else wish.sign * off
    return np.asarray(worse >= wish.margin - SAME)
