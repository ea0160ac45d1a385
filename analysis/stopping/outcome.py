"""What stands behind the verdict of one study: its reason, the binding attribute, the window, who told the control."""

from __future__ import annotations

from collections.abc import Collection, Sequence

import numpy as np
from numpy.typing import NDArray

from analysis.stopping import gates, orders
from analysis.stopping.decision import Taste
from analysis.stopping.evidence import WHY_NOT, pairs_of
from analysis.stopping.fates import Fates
from analysis.stopping.gates import MoreRepeats
from analysis.stopping.panels import Panel
from analysis.stopping.rule import Rule
from analysis.stopping.verdicts import CANNOT, VERDICTS, AttributeLimits, Judged, Verdict, Verdicts, judged_of

Flags = NDArray[np.bool_]


def worded(panel: Panel, rule: Rule, judged: Judged, told: Fates) -> tuple[Verdict, str | None]:
    """The verdict, and the code that tells its wordings apart."""
    if orders.forbid(panel, rule):
        # An order that favours a pull makes a step look flat, or steep, that is not.
        return "cannot tell", "orders"
    return of_limits(judged, told)


def of_limits(judged: Judged, told: Fates) -> tuple[Verdict, str | None]:
    """The same from the limits alone, orders apart."""
    verdict = VERDICTS[int(judged.verdict[0])]
    if verdict == "cannot tell":
        return verdict, _why_cannot_tell(judged, told)
    return verdict, "every pull fails" if verdict == "no hour fits" else None


def _why_cannot_tell(judged: Judged, told: Fates) -> str:
    if told.bars is not None and told.bars.any:
        return "reference lost"
    if not all(limits.judged[0] for limits in judged.attributes.values()):
        return "not enough data"
    if _one_hour(told) and told.bars is not None and told.bars.keep_back(judged.passes.shape[1] - 2):
        return "pull missing"
    if not judged.control_found[0]:
        return "control not found"
    if judged.gating is not None and by_taste(judged, told).verdict[0] != CANNOT:
        return "limits of instruments"
    return _what_was_missing(judged, told) or _what_the_limits_leave(judged, told)


def _one_hour(told: Fates) -> bool:
    return told.bars is not None and told.bars.but_one


def _what_the_limits_leave(judged: Judged, told: Fates) -> str:
    every, last = judged.attributes.values(), judged.passes.shape[1] - 1
    at = int(judged.shortest[0])
    if 0 <= at < last:
        return "better hours" if any(limits.bettered[0, at] for limits in every) else "window"
    if any(limits.improving[0] for limits in every) and not _one_hour(told):
        return "still improving"
    if not judged.against_reference[0]:
        return "reference fails"
    meets = all(bool(limits.within_limit[0, -1]) for limits in every)
    meets = meets and all(bool(one.chained[0, -1]) for own in judged.gates.values() for one in own.values())
    return "reference meets limits" if meets else "reference misses a limit"


def _what_was_missing(judged: Judged, told: Fates) -> str | None:
    """Whether there were an answer but for pulls that are missing, or for servings that could not be judged."""
    missing_none = told.bars and told.bars.anew(judged.passes.shape[1])
    if told.bars is not None and judged_of(judged.attributes, missing_none).verdict[0] != CANNOT:
        return "pull missing"
    ways = [[(name, own) for own in limits.filled] for name, limits in judged.attributes.items() if limits.filled]
    answers = [judged_of(dict(way), told.bars).verdict[0] for way in zip(*ways, strict=True)]
    return "unjudged" if any(answer != CANNOT for answer in answers) else None


def by_taste(judged: Judged, told: Fates) -> Verdicts:
    """The verdict on flavour alone, at the levels that it shares with the limits of instruments."""
    return judged_of(judged.attributes, told.bars, judged.control_found)


def taste(judged: Judged, told: Fates, hours: Sequence[float]) -> Taste | None:
    """What flavour alone would say; None where no instrument has a say."""
    if judged.gating is None:
        return None
    alone = by_taste(judged, told)
    at = int(alone.pull[0])
    return Taste(VERDICTS[int(alone.verdict[0])], hours[at] if at >= 0 else None)


def more_repeats(judged: Judged, told: Fates, level: float) -> tuple[MoreRepeats, ...]:
    """What more readings would do where flavour is ready and a limit is open; nothing after a verdict."""
    if judged.gating is None or judged.verdict[0] != CANNOT:
        return ()
    at = int(by_taste(judged, told).pull[0])
    return gates.more_repeats(judged.gating, judged.gates, at, level) if at >= 0 else ()


def why_not(judged: Judged) -> dict[str, str]:
    """Attributes that cannot be judged, with the code of the reason."""
    codes = {name: WHY_NOT[int(limits.why_not[0])] for name, limits in judged.attributes.items()}
    return {name: code for name, code in codes.items() if code is not None}


def own_shortest(limits: AttributeLimits) -> int:
    """The shortest pull from which on this attribute alone passes; one past the last when even the reference fails."""
    passes = limits.passes[0]
    chain = np.flip(np.logical_and.accumulate(np.flip(passes)))
    return int(chain.argmax()) if chain.any() else len(passes)


def binding(rule: Rule, judged: Judged, level: float) -> tuple[str | None, str | None]:
    """The attribute or limit that asks for the longest pull, and the next one; among equals the one nearest to its
    margin, or to its limit as the guard measures it."""
    at = max(int(judged.shortest[0]), 0)

    def key(name: str) -> tuple[int, float]:
        limits = judged.attributes[name]
        pull = min(at, len(judged.passes[0]) - 2)
        return own_shortest(limits), float(limits.worse.of([pull]).upper(level)[0, 0] / rule.attributes[name].margin)

    def gate_key(name: str) -> tuple[int, float]:
        pull = min(at, len(judged.passes[0]) - 2)
        every = judged.gates[name].values()
        near = [2 + one.excess[0, pull] / max(one.guard[0, pull], 1e-300) for one in every]
        return int(max(one.own_shortest()[0] for one in every)), float(max(np.nan_to_num(near, nan=np.inf)))

    keys = {**{name: key(name) for name in judged.attributes}, **{name: gate_key(name) for name in judged.gates}}
    ranked = sorted(keys, key=lambda name: keys[name], reverse=True)
    return (ranked[0] if ranked else None), (ranked[1] if len(ranked) > 1 else None)


def latest(panel: Panel, judged: Judged, out: Collection[float] = ()) -> float | None:
    """The last pull of the unbroken run inside the window that begins at the stop; None without a stop, or where a
    shorter pull is missing, since a note may have been at its best there."""
    at = int(judged.pull[0])
    if at < 0 or any(hours < panel.hours[at] for hours in out):
        return None
    inside: Flags = np.logical_and.reduce([limits.inside[0] for limits in judged.attributes.values()])
    beyond = np.flatnonzero(~inside[at:])
    return float(panel.hours[at + beyond[0] - 1] if len(beyond) else panel.hours[-1])


def better(panel: Panel, judged: Judged, level: float) -> dict[float, tuple[str, ...]]:
    """Longer pulls short of the reference that are shown better by the margin than the shortest passing one, with the
    attributes that say so."""
    at, last = int(judged.shortest[0]), len(panel.hours) - 1
    if not 0 <= at < last - 1:
        return {}
    found: dict[float, tuple[str, ...]] = {}
    for name, limits in judged.attributes.items():
        if not limits.bettered[0, at]:
            continue
        columns = [number for number, (late, early) in enumerate(pairs_of(last + 1)) if early == at and late < last]
        some = limits.pairs.of(columns)
        gains = -some.estimate[0] - some.reach(level / len(columns))[0]
        for number in np.flatnonzero(gains >= limits.margin):
            hour = float(panel.hours[at + 1 + number])
            found[hour] = (*found.get(hour, ()), name)
    return dict(sorted(found.items()))


def not_inside(judged: Judged) -> tuple[str, ...]:
    """Attributes not shown inside their window at the shortest passing pull."""
    at = int(judged.shortest[0])
    if not 0 <= at < judged.passes.shape[1] - 1:
        return ()
    return tuple(name for name, limits in judged.attributes.items() if not limits.inside[0, at])


def improving(judged: Judged) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """Attributes shown to improve up to the reference, and those not shown to have lost nothing meanwhile."""
    rising = tuple(name for name, limits in judged.attributes.items() if limits.improving[0])
    if not rising:
        return (), ()
    lost = (n for n, x in judged.attributes.items() if not (x.judged[0] and (x.kept if n in rising else x.holds)[0]))
    return rising, tuple(lost)


def unfailed(panel: Panel, judged: Judged) -> tuple[float, ...]:
    """Where the reference is shown to be unfit, the pulls that are not."""
    if judged.against_reference[0]:
        return ()
    return tuple(panel.hours[~judged.fails[0]].tolist())


def closed_by(panel: Panel, judged: Judged, latest: float | None) -> tuple[str, ...]:
    """The attributes that are not shown inside at the first pull after the window; none when it never closes."""
    after = np.flatnonzero(panel.hours > (np.inf if latest is None else latest))
    if not len(after):
        return ()
    return tuple(name for name, limits in judged.attributes.items() if not limits.inside[0, after[0]])


def told_by(panel: Panel, judged: Judged) -> int:
    """How many assessors put the control on the worse side of the reference, on the attribute that tells it best."""
    counted = [_who_told(panel.control, limits) for limits in judged.attributes.values() if limits.told[0]]
    return max(counted, default=0)


def _who_told(control: int, limits: AttributeLimits) -> int:
    cells = limits.cells
    counts, sums = np.broadcast_to(cells.counts, cells.sums.shape)[0], cells.sums[0]
    both = (counts[:, control] > 0) & (counts[:, -1] > 0)
    mean = sums / np.maximum(counts, 1)
    way = limits.sign if limits.worse.estimate[0, control] > 0 else -limits.sign
    return int((way * (mean[:, control] - mean[:, -1]) > 0)[both].sum())


def fails_on(panel: Panel, judged: Judged) -> dict[float, tuple[str, ...]]:
    """Per pull shown to fail, the attributes and limits it fails on."""
    fails = {name: judged.fails_on(name)[0] for name in (*judged.attributes, *judged.gates)}
    found = {
        float(hour): tuple(name for name in fails if fails[name][i]) for i, hour in enumerate(panel.hours.tolist())
    }
    return {hour: names for hour, names in found.items() if names}
