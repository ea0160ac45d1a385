"""What is said beside a verdict: codes with their values, never part of it. `findings` writes the sentences."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import fdtrc, stdtrit

from analysis.model.cells import TOP, Cells
from analysis.model.scores import cells_of
from analysis.stopping import orders
from analysis.stopping.confirming import window_was_asked
from analysis.stopping.copies import FEWEST_CELLS, NO_DIFFERENCE
from analysis.stopping.decision import Warning
from analysis.stopping.evidence import FEWEST_ASSESSORS, pairs_of
from analysis.stopping.outcome import why_not
from analysis.stopping.panels import Panel
from analysis.stopping.rule import AttributeRule, Rule
from analysis.stopping.standard_errors import sitting_squares
from analysis.stopping.verdicts import AttributeLimits, Judged

Array = NDArray[np.float64]
WIDEST_GAIN = 3.0
SIGNIFICANT = 0.05
# A margin of at most two is ordinary on a scale of ten, and a fiftieth of one of a hundred; common practice, no source.
SMALL_ON_A_HUNDRED = 2.0
# Fewer assessors can pass, but their limits are wide.
FEW = 8


def warnings_beside(panel: Panel, rule: Rule, level: float, judged: Judged) -> tuple[Warning, ...]:
    """Everything worth saying, the gravest first."""
    reasons = why_not(judged)
    found = [Warning(why, {"attribute": name, "assessors": panel.people[name]}) for name, why in reasons.items()]
    smallest = min(panel.people.values())
    if FEWEST_ASSESSORS <= smallest < FEW:
        found.append(Warning("few assessors", {"assessors": smallest, "widest": _widest(judged, level)}))
    found += _scale(panel, rule)
    found += _orders(panel, rule)
    found += _sittings(panel, rule)
    found += _read_on(panel, rule, judged)
    shortest = int(judged.shortest[0])
    for name, limits in judged.attributes.items():
        found += _few_compared(panel, name, limits, shortest)
        if name not in reasons:
            found += _not_told(panel, name, rule.attributes[name], limits, judged)
            found += _grew(panel, name, rule.attributes[name], limits, level, shortest)
            found += _people(panel, name, rule.attributes[name], level, limits, shortest)
    if rule.confirms is not None and not window_was_asked(panel) and int(judged.pull[0]) >= 0:
        fading = [name for name, wish in rule.attributes.items() if wish.wanted == "higher"]
        found += [Warning("window not confirmed", {"hours": rule.confirms, "attribute": name}) for name in fading]
    return (*found, Warning("one batch", {}))


def _widest(judged: Judged, level: float) -> float:
    """The largest reach of a limit from its estimate, scale units, over attributes and pulls that have one."""
    reaches = [limits.worse.reach(level)[0, :-1] for limits in judged.attributes.values()]
    every = np.concatenate(reaches)
    return float(every[np.isfinite(every)].max(initial=0.0))


def _few_compared(panel: Panel, name: str, limits: AttributeLimits, shortest: int) -> Iterator[Warning]:
    """Where the verdict rests on fewer people than an attribute needs: who scored both the pull and the reference.

    The pull is the shortest passing one, else the one next to the reference.
    """
    counts = np.broadcast_to(limits.cells.counts, limits.cells.sums.shape)[0]
    last = counts.shape[1] - 1
    at = shortest if 0 <= shortest < last else last - 1
    both = int(((counts[:, at] > 0) & (counts[:, last] > 0)).sum())
    if both < FEWEST_ASSESSORS <= len(counts):
        yield Warning("rests on few", {"attribute": name, "hours": float(panel.hours[at]), "both": both})


def _not_told(
    panel: Panel, name: str, wish: AttributeRule, limits: AttributeLimits, judged: Judged
) -> Iterator[Warning]:
    """A note that these people did not find at the control passes easily, even one that nobody can tell."""
    if limits.nobody[0]:
        yield Warning("nobody marked", {"attribute": name, "wanted": wish.wanted})
    elif judged.control_found[0] and not limits.told[0]:
        hours = float(panel.hours[panel.control])
        yield Warning("not_told_here", {"attribute": name, "wanted": wish.wanted, "hours": hours})


def _grew(
    panel: Panel, name: str, wish: AttributeRule, limits: AttributeLimits, level: float, pull: int
) -> Iterator[Warning]:
    """Growth of a note wanted lower at the shortest passing pull, against the shorter one that shows most of it."""
    if not 1 <= pull < len(panel.hours) - 1 or wish.wanted != "lower":
        return
    columns = [number for number, (late, _early) in enumerate(pairs_of(len(panel.hours))) if late == pull]
    some = limits.pairs.of(columns)
    reach = some.reach(level / pull)[0]
    least = some.estimate[0] - reach
    most = int(least.argmax())
    if least[most] > 0:
        estimate = float(some.estimate[0, most])
        values = {"difference": estimate, "low": float(least[most]), "high": estimate + float(reach[most])}
        hours = {"hours": float(panel.hours[pull]), "earlier": float(panel.hours[most])}
        yield Warning("grew", {"attribute": name, **hours, **values})


def _scale(panel: Panel, rule: Rule) -> Iterator[Warning]:
    """Scores that run past ten beside a margin made for a scale of ten: a step that nobody marks decides then."""
    for name, wish in rule.attributes.items():
        if panel.top > TOP and wish.margin <= SMALL_ON_A_HUNDRED:
            yield Warning("margin for another scale", {"attribute": name, "top": panel.top, "margin": wish.margin})


def _orders(panel: Panel, rule: Rule) -> Iterator[Warning]:
    if not len(panel.position_labels):
        yield Warning("order not recorded", {})
        return
    why = orders.why_not_trusted(panel, rule)
    if why is not None:
        yield Warning("orders unbalanced", {"why": why, "adjusted": not orders.forbid(panel, rule)})


def _read_on(panel: Panel, rule: Rule, judged: Judged) -> Iterator[Warning]:
    """More portions than were sealed for the openings so far: whoever reads on until a limit is kept, keeps it too
    often (three tries at full level 9 %, simulated)."""
    for name, own in judged.gates.items():
        sealed = rule.gates[name].repeats * rule.look
        for one in own.values() if sealed > rule.look else ():
            for at in np.flatnonzero(one.counts > sealed):
                values = {"hours": float(panel.hours[at]), "read": int(one.counts[at]), "sealed": sealed}
                yield Warning("read on", {"limit": name, **values})


# ---- sittings ------------------------------------------------------------------------------------------------------
def _sittings(panel: Panel, rule: Rule) -> Iterator[Warning]:
    """One sitting cannot show how a tray moves a pull; several can, and may disagree."""
    if panel.scope["sittings"] < 2:
        if "sitting" in panel.recorded:
            yield Warning("as prepared for this sitting", {})
        return
    if "sitting:hours" in rule.adjust:
        return
    for name, own in panel.scores.items():
        if _disagree(cells_of(own, trays=True).present()):
            yield Warning("sittings disagree", {"attribute": name})


def _disagree(cells: Cells) -> bool:
    """Pull x sitting significant at 5 %, where at most half of the residual df are lost to missing cells."""
    squares = sitting_squares(cells)
    if squares is None or squares.rest_df[0] < squares.full_df / 2 or squares.rest[0] <= 0:
        return False
    return bool(fdtrc(squares.daily_df, squares.rest_df[0], squares.daily[0] / squares.rest[0]) < SIGNIFICANT)


# ---- people --------------------------------------------------------------------------------------------------------
def _people(
    panel: Panel, name: str, wish: AttributeRule, level: float, limits: AttributeLimits, shortest: int
) -> Iterator[Warning]:
    """Who still notices at the chosen pull, who repeats their own scores, and who stretches the scale."""
    ballots = _Ballots.of(panel, name)
    copying = ballots.copying(limits.cells.top)
    if copying.any():
        yield Warning("one person's copies", {"attribute": name, "assessors": tuple(ballots.names[copying].tolist())})
    if 0 <= shortest < len(panel.hours) - 1:
        noticing = ballots.noticing(~copying, wish, level, shortest)
        if noticing:
            values = {"attribute": name, "count": noticing, "assessors": panel.people[name]}
            hours = {"hours": float(panel.hours[shortest]), "reference": float(panel.hours[-1])}
            yield Warning("someone still notices", {**values, **hours})
    gains = assessor_gains(limits.cells)
    if gains is not None and (gains.min() <= 0 or gains.max() > WIDEST_GAIN * gains.min()):
        yield Warning("scales stretched", {"attribute": name, "low": float(gains.min()), "high": float(gains.max())})


@dataclass(frozen=True, slots=True)
class _Ballots:
    """What each person (named) gave each pull: counts, means and squares about them (a, h)."""

    names: NDArray[np.str_]
    counts: Array
    means: Array
    squares: Array

    @classmethod
    def of(cls, panel: Panel, name: str) -> _Ballots:
        """The scores of one attribute."""
        scores = panel.scores[name]
        present = scores.seen.any((0, 2, 3, 4))
        y = scores.values[0, present].reshape(present.sum(), len(panel.hours), -1)
        seen = np.isfinite(y)
        counts = seen.sum(2).astype(float)
        means = np.where(seen, y, 0.0).sum(2) / np.maximum(counts, 1)
        squares = np.where(seen, y - means[..., None], 0.0) ** 2
        return cls(panel.assessors[present], counts, means, squares.sum(2))

    def copying(self, top: float) -> NDArray[np.bool_]:
        """Whose every second score of a pull equals the first, in enough cells off the ends of the scale (a,)."""
        twice = self.counts > 1
        alike = (~twice | (self.squares <= NO_DIFFERENCE**2)).all(1)
        telling = twice & (self.means > NO_DIFFERENCE) & (self.means < top - NO_DIFFERENCE)
        return np.asarray(alike & (telling.sum(1) >= FEWEST_CELLS))

    def noticing(self, heard: NDArray[np.bool_], wish: AttributeRule, level: float, pull: int) -> int:
        """Of those `heard` (a,), how many have a difference of their own that is clearly beyond the margin, each at
        level / number of people able to show it.

        Able is who scored both pulls at least twice; the error is the residual between replicates.
        """
        counts = self.counts[heard]
        df = float(counts.sum() - (counts > 0).sum())
        able = (counts[:, pull] >= 2) & (counts[:, -1] >= 2)
        if df < 1 or not able.any():
            return 0
        means = self.means[heard][able]
        own = (means[:, pull] - means[:, -1]) * wish.sign
        if wish.both_ways:
            own = np.abs(own)
        residual = float(self.squares[heard].sum()) / df
        se = np.sqrt(residual * (1 / counts[able, pull] + 1 / counts[able, -1]))
        return int((own - stdtrit(df, 1 - level / able.sum()) * se > wish.margin).sum())


def assessor_gains(cells: Cells) -> Array | None:
    """Slope of each assessor's pull means on the panel's (a,); None with gaps, or where the pulls do not truly differ
    (F of pulls against assessor x pull at 5 %), since slopes on nothing are noise."""
    if not (cells.counts > 0).all():
        return None
    means = (cells.sums / cells.counts)[0]
    a, h = means.shape
    pull = means.mean(0) - means.mean()
    rest = means - means.mean(1, keepdims=True) - pull
    size, df = float((pull**2).sum()), (a - 1) * (h - 1)
    error = float((rest**2).sum()) / df
    if size <= 0 or (error > 0 and fdtrc(h - 1, df, a * size / (h - 1) / error) >= SIGNIFICANT):
        return None
    return np.asarray((means - means.mean(1, keepdims=True)) @ pull / size)
