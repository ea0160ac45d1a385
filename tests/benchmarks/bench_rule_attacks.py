"""Truths made to mislead the stop rule, and what each guard against them costs in ordinary studies.

Run `python tests/benchmarks/bench_rule_attacks.py`, or with a number of studies a cell; `bench_planning` prints it
beside the outcomes of ordinary studies. Every cell draws whole studies and judges them as the planner does, at 8
assessors x 2 servings and 12 x 3. A rate is over its bound when it exceeds it by more than two Monte Carlo errors;
the bound is 5 % unless a higher figure was stated when the rule was specified (simulations of 10,000 to 40,000
studies a cell). The last attacks were invented for this file: no rate was promised for them, and what they find is
printed as it is.
"""

from __future__ import annotations

import os

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import sys
import zlib
from collections.abc import Callable, Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import brentq

from analysis.planning.look_batches import look_at
from analysis.planning.simulation import AttributeTruth, Design, Scenario, draw
from analysis.stopping import AttributeRule, Rule
from analysis.stopping.alpha_spending import level
from analysis.stopping.verdicts import VERDICTS

Array = NDArray[np.float64]
Scores = dict[str, Array]
Draw = Callable[[np.random.Generator, int, int, int], Scores]
Later = Callable[[np.random.Generator, Scores], Scores]
STOP, LONGER, NONE, CANNOT = (VERDICTS.index(v) for v in ("stop", "conche longer", "no hour fits", "cannot tell"))
HOURS = (0.0, 4.0, 8.0, 12.0, 16.0, 24.0)
LOWER, HIGHER, SAME = (AttributeRule(wanted, 1.0) for wanted in ("lower", "higher", "same"))  # type: ignore[arg-type]
SIZES = ((8, 2), (12, 3))
TRAYS = ("sitting:hours",)
ROOM = 500
TIRING = np.array([1.0, 0.0, -0.1, -0.2, -0.3, -0.4])
SETTLES_AT_12 = (7.0, 6.0, 5.0, 3.5, 3.5, 3.5)
AT_THE_MARGIN = (7.5, 4.5, 4.5, 4.5, 3.5, 3.5)


@dataclass(frozen=True)
class Attack:
    """Studies drawn (studies, assessors, replicates), the rule, and which answer is wrong: a verdict, for `stop` at the
    pulls of `at`. `bounds` per cent for both sizes."""

    name: str
    drawn: Draw
    rule: Rule
    wrong: int
    at: tuple[int, ...] = ()
    bounds: tuple[float, float] = (5.0, 5.0)
    places: Callable[[int, int, int], NDArray[np.intp]] | None = None
    later: Later | None = None

    def rate(self, a: int, r: int, studies: int) -> float:
        """Share of studies with the wrong answer at any look."""
        rng = np.random.default_rng([zlib.crc32(self.name.encode()), a])
        portions = [self._errs(rng, min(ROOM, studies - start), a, r) for start in range(0, studies, ROOM)]
        return float(np.concatenate(portions).mean())

    def _errs(self, rng: np.random.Generator, n: int, a: int, r: int) -> NDArray[np.bool_]:
        y = self.drawn(rng, n, a, r)
        verdict, pull = self._look(y, n, a, r)
        if self.later is not None:
            again = np.flatnonzero(verdict == CANNOT)
            more = self.later(rng, {name: own[again] for name, own in y.items()})
            verdict[again], pull[again] = self._look(more, len(again), a, r)
        return (verdict == self.wrong) & (np.isin(pull, self.at) | (self.wrong != STOP))

    def _look(self, y: Scores, n: int, a: int, r: int) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
        places = None if self.places is None else self.places(n, a, r)
        return look_at(y, places, self.rule, level(self.rule.alpha, self.rule.looks), 0)


# ---- drawing ---------------------------------------------------------------------------------------------------------
def truth(means: Mapping[str, tuple[float, ...]], sittings: int = 1, **more: float) -> Draw:
    """An ordinary panel around these means; replicates are shared out over the sittings, one serving at least."""
    attributes = {name: AttributeTruth(mean, **more) for name, mean in means.items()}  # type: ignore[arg-type]
    hours = HOURS if len(next(iter(means.values()))) == len(HOURS) else (0.0, 12.0, 24.0)

    def drawn(rng: np.random.Generator, n: int, a: int, r: int) -> Scores:
        design = Design(a, r if sittings == 1 else max(r // sittings, 1), first=sittings)
        return {name: y.copy() for name, y in draw(Scenario(hours, attributes), design, sittings, n, rng).items()}

    return drawn


def moved(drawn: Draw, note: str, pull: int, by: float, sitting: int = 0) -> Draw:
    """One tray of one pull in one sitting is scored otherwise by everybody."""

    def other(rng: np.random.Generator, n: int, a: int, r: int) -> Scores:
        y = drawn(rng, n, a, r)
        y[note][:, :, pull, sitting] = np.clip(y[note][:, :, pull, sitting] + by, 0, 10)
        return y

    return other


def rule(looks: int = 1, adjust: tuple[str, ...] = (), **wishes: AttributeRule) -> Rule:
    """Of these notes."""
    return Rule(wishes, looks=looks, adjust=adjust, control=0.0)


def limited(limit: float, wanted: str = "lower") -> AttributeRule:
    """A margin of 1 and a limit."""
    return AttributeRule(wanted, 1.0, limit)  # type: ignore[arg-type]


# ---- `no hour fits` that are wrong -----------------------------------------------------------------------------------
def nothing_fits() -> list[Attack]:
    """A good hour exists, or nothing is worse than its limit."""
    fades = {"a": (7.0, 5.5, 4.0, 3.5, 3.5, 3.5), "b": (4.0, 6.0, 7.5, 5.0, 5.0, 5.0)}
    attacks = [
        Attack("none: one good hour, not shown to pass", truth(fades), rule(a=LOWER, b=HIGHER), NONE),
        Attack(
            "none: the same, the good hour just inside a limit",
            truth({"b": (4.0, 5.0, 6.3, 5.0, 4.5, 4.0)}),
            rule(b=limited(6.0, "higher")),
            NONE,
        ),
    ]
    for count in (1, 3, 8):
        notes = [f"n{i}" for i in range(count)]
        # Everything but the last pull breaks a limit, and nothing improves that more conching could mend.
        means = {"far": (*(8.0,) * 5, 3.0), **dict.fromkeys(notes, (4.0,) * 6)}
        wishes = {"far": limited(5.0, "same"), **dict.fromkeys(notes, limited(4.0))}
        attacks.append(Attack(f"none: {count} at the limit, others fail", truth(means), rule(**wishes), NONE))
    unfit = {"a": (8.0, 7.0, 6.5, 4.5, 4.0, 3.0), "b": (1.5, 1.5, 1.5, 2.0, 6.0, 7.0)}
    wishes = {"a": limited(5.5), "b": limited(4.0)}
    return [*attacks, Attack("none: unfit reference, 12 h keeps every limit", truth(unfit), rule(**wishes), NONE)]


# ---- `conche longer` that are wrong ----------------------------------------------------------------------------------
def longer() -> list[Attack]:
    """The last step gains nothing, or costs something else."""
    falls = (7.5, 7.0, 6.5, 6.0, 5.5, 4.0)
    attacks = []
    for margins, bounds in ((1.0, (6.0, 6.0)), (1.5, (5.0, 5.0))):
        up = {"a": falls, "b": (*(2.5,) * 5, 2.5 + margins)}
        down = {"a": falls, "b": (*(6.0,) * 5, 6.0 - margins)}
        one = rule(a=LOWER, b=LOWER), rule(a=LOWER, b=HIGHER)
        attacks += [
            Attack(f"longer: another grows by {margins:g} in the last step", truth(up), one[0], LONGER, (), bounds),
            Attack(f"longer: another fades by {margins:g} in the last step", truth(down), one[1], LONGER, (), bounds),
        ]
    flat = truth({"a": (7.0, 5.0, 3.5, 3.5, 3.5, 3.5)})
    attacks += [
        Attack("longer: last but one tray 1 higher", moved(flat, "a", 4, 1.0), rule(a=LOWER), LONGER),
        Attack("longer: a shorter hour is better", truth({"a": (7.0, 2.0, 2.0, 6.0, 5.0, 3.5)}), rule(a=LOWER), LONGER),
        Attack("longer: the same, by half", truth({"a": (7.0, 3.0, 2.5, 6.0, 5.0, 3.5)}), rule(a=LOWER), LONGER),
    ]
    for count in range(1, 6):
        notes = [f"n{i}" for i in range(count)]
        means = dict.fromkeys(notes, (7.5, 6.5, 6.0, 5.5, 3.5, 3.5))
        wishes = dict.fromkeys(notes, LOWER)
        attacks.append(Attack(f"longer: last step flat, {count} notes", truth(means), rule(**wishes), LONGER))
    return attacks


# ---- `stop` that are wrong -------------------------------------------------------------------------------------------
def reference_first(n: int, a: int, r: int) -> NDArray[np.intp]:
    """Three pulls: the reference at the first place for all, the others in turn behind it; a serving a sitting."""
    places = np.empty((n, a, 3, r, 1), np.intp)
    turn = (np.arange(a)[:, None] + np.arange(r)) % 2
    places[:, :, 2, :, 0], places[:, :, 0, :, 0], places[:, :, 1, :, 0] = 1, 2 + turn, 3 - turn
    return places


def tasted_first(rng: np.random.Generator, n: int, a: int, r: int) -> Scores:
    """The first place is scored 1 higher, later ones tire; the middle pull is worse by the margin."""
    y = truth({"a": (7.5, 4.5, 3.5)}, sittings=r)(rng, n, a, r)["a"]
    return {"a": np.clip(y + TIRING[reference_first(n, a, r) - 1], 0, 10)}


def stops() -> list[Attack]:
    """Something else has gone wrong by then, or a better hour comes later."""
    attacks = []
    for margins, bounds in ((1.0, (23.0, 12.0)), (1.5, (7.0, 5.0)), (2.0, (5.0, 5.0))):
        grown = {"a": SETTLES_AT_12, "b": (*(2.5,) * 3, *(2.5 + margins,) * 3)}
        rules = rule(a=LOWER, b=LOWER)
        attacks.append(Attack(f"stop: another has grown by {margins:g}", truth(grown), rules, STOP, (3, 4), bounds))
    better = truth({"a": (7.0, 4.5, 2.0, 2.0, 3.0, 4.5)})
    faded = {"a": SETTLES_AT_12, "b": (5.0, 6.0, 7.0, 6.0, 6.0, 6.0)}
    return [
        *attacks,
        Attack("stop: before a clearly better hour", better, rule(a=LOWER), STOP, (1,), (10.0, 5.0)),
        Attack("stop: reference first for all", tasted_first, rule(a=LOWER), STOP, (0, 1), places=reference_first),
        Attack("stop: a margin past another's peak", truth(faded), rule(a=LOWER, b=HIGHER), STOP, (3, 4)),
    ]


# ---- invented here ---------------------------------------------------------------------------------------------------
def second_sitting(means: tuple[float, ...], tray: float, everybody: float, left_out: tuple[int, ...]) -> Later:
    """What a second look adds: the tray at 12 h is off, or everybody scores everything higher; some pulls left out."""

    def later(rng: np.random.Generator, y: Scores) -> Scores:
        found = {}
        for name, first in y.items():
            n, a, h, _, r = first.shape
            person = (first.mean((2, 3, 4)) - np.mean(means))[:, :, None, None]
            again = np.array(means)[:, None] + person + 1.1 * rng.standard_normal((n, a, h, r)) + everybody
            again[:, :, 3] += tray
            again = np.clip(again, 0, 10)
            again[:, :, left_out] = np.nan
            found[name] = np.concatenate([first, again[:, :, :, None]], axis=3)
        return found

    return later


def uneven_trays(drawn: Draw, sd: float, whole: float = 0.0) -> Draw:
    """Every tray of every sitting is a little different to everybody, and so may whole sittings be."""

    def other(rng: np.random.Generator, n: int, a: int, r: int) -> Scores:
        found = {}
        for name, y in drawn(rng, n, a, r).items():
            h, S = y.shape[2:4]
            shift = sd * rng.standard_normal((n, 1, h, S, 1)) + whole * rng.standard_normal((n, 1, 1, S, 1))
            found[name] = np.clip(y + shift, 0, 10)
        return found

    return other


def leaving(rng: np.random.Generator, n: int, a: int, r: int) -> Scores:
    """Whoever found 12 h much worse than 24 h in the first sitting does not come to the second."""
    y = truth({"a": AT_THE_MARGIN}, sittings=2)(rng, n, a, 2 * r)["a"]
    worse = (y[:, :, 3, 0] - y[:, :, 5, 0]).mean(2)
    y[:, :, :, 1] = np.where((worse > 2)[:, :, None, None], np.nan, y[:, :, :, 1])
    return {"a": y}


def reversing(rng: np.random.Generator, n: int, a: int, r: int) -> Scores:
    """One person reads the line from the wrong end; the others' mean is worse by the margin."""
    y = truth({"a": AT_THE_MARGIN})(rng, n, a, r)["a"]
    y[:, 0] = 10 - y[:, 0]
    return {"a": y}


def split(rng: np.random.Generator, n: int, a: int, r: int) -> Scores:
    """Half the people find it worse by two margins, half by none."""
    y = truth({"a": AT_THE_MARGIN})(rng, n, a, r)["a"]
    lean = np.where(np.arange(a) % 2, 1.0, -1.0)[:, None, None, None]
    y[:, :, 1:4] = np.clip(y[:, :, 1:4] + lean, 0, 10)
    return {"a": y}


def both_ends(rng: np.random.Generator, n: int, a: int, r: int) -> Scores:
    """Whole numbers, people so far apart that half sit at 0 and half at 10; recorded means differ by the margin."""
    z = np.random.default_rng(0).standard_normal(200_000) * np.sqrt(4.0**2 + 0.25 + 1)

    def recorded(mean: float) -> float:
        return float(np.clip(np.round(mean + z), 0, 10).mean())

    worse = float(brentq(lambda mean: recorded(mean) - recorded(4.0) - 1, 4.0, 9.0, xtol=1e-3))
    means = (9.5, worse, worse, worse, 4.0, 4.0)
    return truth({"a": means}, assessor=4.0, rounded=True)(rng, n, a, r)  # type: ignore[arg-type]


def unwritten(rng: np.random.Generator, n: int, a: int, r: int) -> Scores:
    """Nine of ten scores above 6 are never written down; the true means are worse by the margin."""
    y = truth({"a": (7.5, 5.5, 5.5, 5.5, 4.5, 4.5)})(rng, n, a, r)["a"]
    lost = (y > 6) & (rng.random(y.shape) < 0.9)
    lost[:, :, 0] = False
    return {"a": np.where(lost, np.nan, y)}


def few_of_both(rng: np.random.Generator, n: int, a: int, r: int) -> Scores:
    """Three people tasted both 12 h and the reference; of the others half miss the one, half the other."""
    y = truth({"a": AT_THE_MARGIN})(rng, n, a, r)["a"]
    y[:, 3::2, 3], y[:, 4::2, 5] = np.nan, np.nan
    return {"a": y}


def partly_served(rng: np.random.Generator, n: int, a: int, r: int) -> Scores:
    """Two sittings with uneven trays; the second serves control, 12 h and reference alone."""
    y = uneven_trays(truth({"a": (7.5, 7.5, 7.5, 4.5, 3.5, 3.5)}, sittings=2), 0.5)(rng, n, a, 2 * r)["a"]
    y[:, :, [1, 2, 4], 1] = np.nan
    return {"a": y}


def never_together(rng: np.random.Generator, n: int, a: int, r: int) -> Scores:
    """Three sittings with uneven trays, each of which leaves out one pull; the reference alone is in all."""
    y = uneven_trays(truth({"a": (7.5, 4.5, 3.5)}, sittings=3), 0.5)(rng, n, a, 3 * r)["a"]
    y[:, :, 0, 0], y[:, :, 1, 1], y[:, :, 0, 2] = np.nan, np.nan, np.nan
    return {"a": y}


def imitating(rng: np.random.Generator, n: int, a: int, r: int) -> Scores:
    """Neighbours at the table score in pairs: the second writes what the first wrote, less a step or two."""
    y = truth({"a": AT_THE_MARGIN})(rng, n, a, r)["a"]
    y[:, 1::2] = np.clip(y[:, ::2] + 0.2 * rng.standard_normal(y[:, 1::2].shape), 0, 10)
    return {"a": y}


def invented_stops() -> list[Attack]:
    """Stops that no figure was promised for, 5 % asked of them all the same."""
    one, both, early = rule(a=LOWER), rule(a=LOWER, b=LOWER), (1, 2, 3)
    at_margin = truth({"a": AT_THE_MARGIN})
    opposite = {"a": SETTLES_AT_12, "b": (1.5, 2.1, 2.7, 3.3, 3.9, 4.5)}
    alternate = {"a": (7.5, 4.5, 4.5, 4.5, 3.5, 3.5), "b": (7.5, 3.5, 4.5, 3.5, 4.5, 3.5)}
    creeping = {"a": SETTLES_AT_12, "b": (7.0, 6.8, 6.6, 6.4, 6.2, 6.0)}
    return [
        Attack("stop: one falls, one creeps up .6 a pull", truth(opposite), both, STOP, (3, 4)),
        Attack("stop: a wanted note creeps down, 1 in all", truth(creeping), rule(a=LOWER, b=HIGHER), STOP, (4,)),
        Attack("stop: two notes at the margin in turn", truth(alternate), both, STOP, (0, 1, 2, 3)),
        Attack("stop: `same` off by the margin", at_margin, rule(a=SAME), STOP, early),
        Attack(
            "stop: nothing differs at all, one `same` note",
            truth({"a": (5.0,) * 6}),
            rule(a=SAME),
            STOP,
            (0, *early, 4),
        ),
        Attack("stop: one reverses the scale", reversing, one, STOP, early),
        Attack("stop: half find it 2 worse, half not", split, one, STOP, early),
        Attack("stop: floors at both ends", both_ends, one, STOP, early),
        Attack("stop: high scores not written down", unwritten, one, STOP, early),
        Attack("stop: neighbours imitate each other", imitating, one, STOP, early),
        Attack("stop: who finds it worse stays away", leaving, one, STOP, early),
        Attack("stop: the same, trays in the rule", leaving, rule(adjust=TRAYS, a=LOWER), STOP, early),
        Attack("stop: three people tasted both", few_of_both, one, STOP, early),
        Attack("stop: reference tray 1 higher", moved(at_margin, "a", 5, 1.0), one, STOP, early),
    ]


def invented_sittings() -> list[Attack]:
    """Sittings and trays that mislead, where the rule knows of them and where not."""
    trays, early = rule(adjust=TRAYS, a=LOWER), (1, 2, 3)
    two, blind = rule(2, TRAYS, a=LOWER), rule(2, a=LOWER)
    low_tray, left = (7.5, 4.5, 4.5, 4.5, 3.5, 3.5), (7.5, 4.5, 4.5, 3.5, 3.5, 3.5)
    off, shifted = second_sitting(low_tray, -1.0, 0.0, (1, 2)), second_sitting(left, 0.0, 0.6, (1, 2))
    lower = second_sitting(left, 0.0, -0.6, (1, 2))
    at_limit = truth({"a": (8.0, 7.0, 6.0, 5.0, 4.0, 3.0)}, sittings=2)
    wide = rule(adjust=TRAYS, a=AttributeRule("lower", 3.0, 4.0))
    twice = truth({"a": AT_THE_MARGIN}, sittings=2)
    return [
        Attack("stop: reference tray 1 higher, one of two sittings", moved(twice, "a", 5, 1.0), trays, STOP, early),
        Attack("stop: 12 h tray 1 lower, one of two sittings", moved(twice, "a", 3, -1.0), trays, STOP, early),
        Attack("stop: look 2, 12 h tray 1 lower, two left out", truth({"a": low_tray}), two, STOP, early, later=off),
        Attack(
            "stop: look 2 scored .6 higher, 4 and 8 h left out", truth({"a": left}), two, STOP, (1, 2), later=shifted
        ),
        Attack("stop: the same, trays not in the rule", truth({"a": left}), blind, STOP, (1, 2), later=shifted),
        Attack("stop: the same, .6 lower", truth({"a": left}), blind, STOP, (1, 2), later=lower),
        Attack("stop: 16 h at its limit, two sittings", at_limit, wide, STOP, (4,)),
        Attack("stop: the same, trays sd .5", uneven_trays(at_limit, 0.5), wide, STOP, (4,)),
        Attack("stop: the same, whole sittings sd .5", uneven_trays(at_limit, 0.0, 0.5), wide, STOP, (4,)),
        Attack("stop: trays sd .5, all served twice", uneven_trays(twice, 0.5), trays, STOP, early),
        Attack("stop: trays sd .5, three served twice", partly_served, trays, STOP, (3,)),
        Attack("stop: trays sd .5, no two in every sitting", never_together, trays, STOP, (0, 1)),
    ]


def invented_others() -> list[Attack]:
    """The other two answers."""
    one, trays = rule(a=LOWER), rule(adjust=TRAYS, a=LOWER)
    flat = {"a": (7.0, 5.0, 3.5, 3.5, 3.5, 3.5)}
    inside = {"a": (8.0, 7.5, 7.0, 6.5, 6.0, 3.5)}
    bent = {"a": (8.0, 6.5, 5.5, 4.5, 3.5, 3.0), "b": (2.0, 2.0, 2.4, 2.8, 3.2, 3.6)}
    # Far off but for the last two pulls, where eight wanted notes are just not past their peak by the margin.
    notes = [f"n{i}" for i in range(8)]
    peaks = {"far": (2.0, 2.0, 2.0, 2.0, 5.0, 5.0), **dict.fromkeys(notes, (5.0, 5.0, 6.9, 6.0, 6.0, 6.0))}
    fading = rule(far=SAME, **dict.fromkeys(notes, HIGHER))
    twice_inside = moved(truth(inside, sittings=2), "a", 5, 1.0)
    return [
        Attack("longer: reference tray 1 lower", moved(truth(flat), "a", 5, -1.0), one, LONGER),
        Attack("longer: the same, one of two sittings", moved(truth(flat, 2), "a", 5, -1.0), trays, LONGER),
        Attack("longer: another creeps up .4 a pull", truth(bent), rule(a=LOWER, b=LOWER), LONGER),
        Attack("none: eight notes .9 past their peak", truth(peaks), fading, NONE),
        Attack(
            "none: reference .5 inside, its tray 1 higher", moved(truth(inside), "a", 5, 1.0), rule(a=limited(4)), NONE
        ),
        Attack("none: the same, one of two sittings", twice_inside, rule(adjust=TRAYS, a=limited(4)), NONE),
    ]


# ---- tables ----------------------------------------------------------------------------------------------------------
def attacked(title: str, attacks: list[Attack], studies: int) -> None:
    """Rate, Monte Carlo error, bound and whether it holds, for both sizes."""
    print(f"\n{title:52s}" + "".join(f"{f'{a} x {r}: wrong %':>18s} {'+-':>4s} {'bound':>6s}      " for a, r in SIZES))
    for attack in attacks:
        parts = []
        for (a, r), bound in zip(SIZES, attack.bounds, strict=True):
            rate = attack.rate(a, r, studies)
            error = 100 * np.sqrt(max(rate, 1 / studies) * (1 - rate) / studies)
            kept = 100 * rate <= bound + 2 * 100 * np.sqrt(bound / 100 * (1 - bound / 100) / studies)
            parts.append(f"{100 * rate:18.1f} {error:4.1f} {bound:6.1f} {'OK' if kept else 'over':5s}")
        print(f"{attack.name:52s}" + "".join(parts), flush=True)


def guards(studies: int) -> None:
    """Answers that are right and must still come, beside what was stated (8 x 2 / 12 x 3)."""
    falls = (7.5, 7.0, 6.5, 6.0, 5.5, 4.0)
    both, peak = rule(a=LOWER, b=HIGHER), (3.0, 5.0, 6.5, 7.0, 7.0, 7.0)
    ready = {"a": (7.0, 6.5, 6.0, 5.5, 3.5, 3.5), "b": (6.0, 3.5, 3.5, 3.5, 3.5, 3.5)}
    rises = {"a": falls, "b": (4.0, 4.3, 4.6, 4.9, 5.2, 5.5)}
    rests = {"a": falls, "b": (4.0, 5.0, 6.0, 6.0, 6.0, 6.0)}
    unseen = AttributeTruth((-9.0,) * 6, assessor=0.0, interaction=0.0, error=0.0)
    alone, calm = truth({"a": SETTLES_AT_12}), {"interaction": 0.3, "error": 0.15}
    quiet = truth({"a": SETTLES_AT_12}, 1, **calm)
    whole = truth({"a": SETTLES_AT_12}, 1, rounded=True, **calm)

    def beside(rng: np.random.Generator, n: int, a: int, r: int) -> Scores:
        y = alone(rng, n, a, r)
        return {**y, "b": np.clip(np.full_like(y["a"], unseen.mean[0]), 0, 10)}

    rows = [
        ("longer: last step 1.5, another still rises", truth(rises), both, LONGER, (), "79 / 98"),
        ("longer: last step 1.5, another is flat", truth(rests), both, LONGER, (), "about 50 / 80"),
        ("stop at 12 h or later, wanted higher, at its peak", truth({"b": peak}), rule(b=HIGHER), STOP, (3, 4), ""),
        ("stop at 16 h, flavour ready at 4 h", truth(ready), rule(a=LOWER, b=LOWER), STOP, (4,), "40 / 80"),
        ("stop, one note, nearly without error", quiet, rule(a=LOWER), STOP, (1, 2, 3, 4), "the next alike"),
        ("stop, the same, whole numbers", whole, rule(a=LOWER), STOP, (1, 2, 3, 4), ""),
        ("stop, one note", alone, rule(a=LOWER), STOP, (1, 2, 3, 4), "the next alike"),
        ("stop, a note beside it that nobody ever finds", beside, rule(a=LOWER, b=LOWER), STOP, (1, 2, 3, 4), ""),
    ]
    print(f"\n{'right answers, %':52s}" + "".join(f"{f'{a} x {r}':>8s} {'+-':>4s}" for a, r in SIZES) + "   stated")
    for name, drawn, asked, answer, at, stated in rows:
        rates = [Attack("right", drawn, asked, answer, at).rate(a, r, studies) for a, r in SIZES]
        parts = [f"{100 * p:8.1f} {100 * np.sqrt(p * (1 - p) / studies):4.1f}" for p in rates]
        print(f"{name:52s}" + "".join(parts) + f"   {stated}", flush=True)


def main(studies: int) -> None:
    """All tables."""
    attacked("no hour fits", nothing_fits(), studies)
    attacked("conche longer", longer(), studies)
    attacked("stop", stops(), studies)
    for title, attacks in (("stop", invented_stops()), ("sittings", invented_sittings()), ("other", invented_others())):
        attacked(f"invented here: {title}", attacks, studies)
    guards(studies)


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 4000)
