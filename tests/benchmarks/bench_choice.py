"""How long forced-choice answers take, as ratios in one run: commands from process start, fits and tables warm.

Run `python tests/benchmarks/bench_choice.py`. Medians of alternating runs, with the range of their ratios.

- *From process start*, processor time: commands beside an interpreter that imports numpy, which no statistics can do
  without. Files and bytecode are in the system's memory for both.
- *Threshold*: over 15 simulated panels, beside statsmodels' ordinary logistic regression of the same answers on log
  dose. That one knows neither a guess rate nor assessors and gives Wald limits: it is a yardstick, not a rival.
- *Planning*: beside one test of 8 x 4, to tell how plans cost in multiples of it.
- *Errors*: 20,000 simulated studies a cell against the risk that was sealed, for every test and both scopes, with
  people absent; `python tests/benchmarks/bench_choice.py errors` prints this table alone.
- *Aftertaste* (`... aftertaste`): the same for a ladder of times after a piece, dealt as a seal deals it, with people
  who repeat their last answer; beside it what three answers about one piece would do.
- *Shares* (`... shares`): how often each one-sided limit of the dose or time of a chosen share holds.
"""

from __future__ import annotations

import os

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import math
import shutil
import subprocess
import sys
import time
from collections.abc import Callable, Mapping
from functools import partial
from statistics import median

import numpy as np
from scipy.special import stdtrit
from statsmodels.discrete.discrete_model import Logit
from turns import of_processes

from analysis.choice.choice_planning import panel_reach, plan_different
from analysis.choice.control import fewest_control_sets, judge_control
from analysis.choice.forced_choice import judge_panel
from analysis.choice.psychometric import METHODS
from analysis.choice.sequential import SequentialPlan, judge, plan
from analysis.choice.threshold import (
    DoseAnswers,
    _beyond,
    _maximum,
    _profile,
    fit,
    fit_test,
    standing_apart,
)
from tests.kinds.aroma.aftertaste_panels import SECONDS, SETS, TASTERS, ladder_claims, right_answers

STUDYAPP = shutil.which("studyapp", path=os.path.dirname(sys.executable)) or "studyapp"
CHOICE = [STUDYAPP, "choice", "--method", "triangle", "--trials", "36", "--correct", "21"]
PANELS = 15
PLAN = [STUDYAPP, "plan", "choice", "--method", "triangle", "--assessors", "8", "--replicates", "4"]


def milliseconds(work: Callable[[], object], clock: Callable[[], float]) -> float:
    """Time of one run."""
    start = clock()
    work()
    return 1000 * (clock() - start)


Works = Mapping[str, Callable[[], object]]


def in_turn(rounds: list[Works], clock: Callable[[], float] = time.process_time) -> dict[str, list[float]]:
    """Milliseconds of each piece of work in every round, run in turn so that a busy moment falls on all of them."""
    times: dict[str, list[float]] = {name: [] for name in rounds[0]}
    for works in rounds:
        for name, work in works.items():
            times[name].append(milliseconds(work, clock))
    return times


def process(*command: str) -> Callable[[], object]:
    """A run of a command from process start, its output thrown away."""
    return lambda: subprocess.run(command, stdout=subprocess.DEVNULL, check=True)


def panel(seed: int, assessors: int = 12, replicates: int = 4) -> DoseAnswers:
    """A simulated panel: six doubling doses, guess rate 1/3, threshold 20."""
    random = np.random.default_rng(seed)
    doses = 5.0 * 2.0 ** np.arange(6)
    m = np.log(20) + 0.6 * random.standard_normal((assessors, 1))
    correct = random.binomial(replicates, 1 / 3 + 0.657 / (1 + np.exp(-(np.log(doses) - m) / 0.5)))
    return DoseAnswers(tuple(map(str, range(assessors))), doses, np.full_like(correct, replicates), correct)


def tables() -> None:
    """What 6 to 12 people with 1 to 6 trials each can find and show."""
    for assessors in range(6, 13):
        for replicates in range(1, 7):
            panel_reach("triangle", assessors, replicates, 0.05)


def threshold_works(seed: int) -> Works:
    """What is asked of one panel; fitted once beforehand, so that everything is warm."""
    answers = panel(seed)
    fitted = fit(answers, "three-alternative")
    right = np.repeat(np.tile([1.0, 0.0], answers.correct.size), _both(answers).ravel())
    dose = np.repeat(np.tile(np.log(answers.doses), len(answers.correct)), answers.trials.ravel())
    columns = np.column_stack([np.ones_like(dose), dose])
    return {
        "statsmodels, logistic regression": lambda: Logit(right, columns).fit(disp=False),
        "threshold and limits, 12 x 6 x 4": partial(fit, answers, "three-alternative"),
        "test of fit, 999 panels": partial(fit_test, fitted),
        "who stands apart, 12 fits": partial(standing_apart, fitted),
    }


def _both(answers: DoseAnswers) -> np.ndarray:
    """Right and wrong answers of every assessor and dose."""
    return np.stack([answers.correct, answers.trials - answers.correct], 2)


def show(title: str, times: Mapping[str, list[float]], yardstick: str) -> None:
    """A table: median milliseconds, how many times the yardstick of the same round, and the range."""
    print(f"\n{title}")
    for name, taken in times.items():
        ratios = [mine / other for mine, other in zip(taken, times[yardstick], strict=True)]
        spread = f"{min(ratios):.1f} to {max(ratios):.1f}"
        print(f"  {name:<49}{median(taken):>10.2f} ms {median(ratios):>9.1f} x   ({spread})", flush=True)


# ---- sealed against simulated errors -------------------------------------------------------------------------------
STUDIES, SEATS, ROUNDS, LIMIT, RISK = 20_000, 6, 6, 0.5, 0.05


def fixed_errors(method: str, random: np.random.Generator) -> dict[str, float]:
    """One test of six people, three sets each, one of which was lost: how often each claim comes though it is false."""
    each = (3,) * (SEATS - 1) + (2,)
    total, guess = sum(each), METHODS[method].chance
    tests = [judge_panel(method, each, _spread(count, each), RISK, LIMIT) for count in range(total + 1)]
    share = guess + (1 - guess) * LIMIT
    detects = random.random((STUDIES, SEATS)) < LIMIT
    mixed = np.where(detects, np.array(each), random.binomial(np.array(each), guess, (STUDIES, SEATS))).sum(axis=1)
    guessed, alike = random.binomial(total, guess, STUDIES), random.binomial(total, share, STUDIES)
    offered = "" if tests[0].similar.offered else " (no mark)"
    return {
        "different, nobody notices": _rate([test.different for test in tests], guessed),
        f"similar, people like them, all or none{offered}": _rate([test.close for test in tests], mixed),
        "similar, these assessors, all alike": _rate([test.close_here for test in tests], alike),
        **_dulled([test.close_here for test in tests], method, total, random),
    }


def _dulled(close: list[bool], method: str, total: int, random: np.random.Generator) -> dict[str, float]:
    """A panel that tastes nothing that day, the control neither: how often it passes without one, and with one."""
    guess, sets = METHODS[method].chance, fewest_control_sets(method, total)
    passes = np.array(close)[random.binomial(total, guess, STUDIES)]
    found = random.binomial(sets, guess, STUDIES) >= (judge_control(method, sets, 0).minimum_correct or sets + 1)
    return {
        "similar, these assessors, nothing tasted": float(passes.mean()),
        "the same with a control": float((passes & found).mean()),
    }


def _spread(count: int, each: tuple[int, ...]) -> list[int]:
    """So many right answers, given to one person after the other."""
    before = np.cumsum((0, *each[:-1]))
    return [int(min(asked, max(0, count - first))) for asked, first in zip(each, before, strict=True)]


def _rate(claimed: list[bool], counts: np.ndarray) -> float:
    return float(np.array(claimed)[counts].mean())


def round_errors(method: str, random: np.random.Generator) -> dict[str, float]:
    """Six rounds of six: false "different" and "same" with 15 % of the answers missing, and where half the people
    always notice and each of them leaves with a chance of .3 after every round."""
    sealed, guess = plan(method, RISK, RISK, LIMIT, SEATS * ROUNDS, SEATS), METHODS[method].chance
    size = STUDIES, ROUNDS, SEATS
    away = random.random(size) < 0.15
    detects = np.broadcast_to(np.arange(SEATS) < LIMIT * SEATS, size)
    leaves = np.cumsum(detects & (random.random(size) < 0.3), axis=1) > 0
    leaves = np.concatenate([np.zeros_like(leaves[:, :1]), leaves[:, :-1]], axis=1)
    wrong = random.random(size) < guess
    noticed = random.random(size) < guess + (1 - guess) * LIMIT
    return {
        "different, nobody notices, 15 % away": _said(sealed, wrong, away, "different"),
        "same, these assessors, all alike, 15 % away": _said(sealed, noticed, away, "same"),
        "same, these assessors, who noticed leaves": _said(sealed, wrong | detects, leaves, "same"),
    }


def _said(sealed: SequentialPlan, right: np.ndarray, away: np.ndarray, claim: str) -> float:
    answers = np.where(away, None, right.astype(int).astype(object)).tolist()
    return sum(judge(sealed, one).standing == claim for one in answers) / len(answers)


def errors() -> None:
    """Print every cell in per cent, with its Monte Carlo standard error."""
    print(f"\nFalse claims in {STUDIES} studies a cell, per cent; sealed {100 * RISK:.0f}, limit {LIMIT:.0%}")
    random = np.random.default_rng(20)
    for method in METHODS:
        for cells in (fixed_errors(method, random), round_errors(method, random)):
            for name, rate in cells.items():
                spread = 100 * (max(rate, 1 / STUDIES) * (1 - rate) / STUDIES) ** 0.5
                print(f"  {method:<18}{name:<49}{100 * rate:>7.2f} +- {spread:.2f}", flush=True)


# ---- an aftertaste ---------------------------------------------------------------------------------------------------
def aftertaste_errors(studies: int = STUDIES) -> dict[str, float]:
    """How often each false claim comes."""
    random, size, found = np.random.default_rng(42), (studies, TASTERS, len(SECONDS)), {}
    nobody, early = np.zeros(size, bool), np.broadcast_to(np.arange(len(SECONDS)) == 0, size)
    for repeats in (0, 0.25, 0.5, 0.75, 1):
        people = f"{repeats:.0%} repeat their last answer"
        found[f"still found at 30 s, nobody notices, {people}"] = float(
            (ladder_claims(right_answers(random, studies, repeats, nobody))[0] > 0).mean()
        )
        found[f"still found at 60 s, gone after 30, {people}"] = float(
            (ladder_claims(right_answers(random, studies, repeats, early))[0] > 1).mean()
        )
        found[f"... had one pair been asked about three times, {people}"] = float(
            (ladder_claims(right_answers(random, studies, repeats, early, apart=False))[0] > 1).mean()
        )
        half = np.broadcast_to((random.random((studies, TASTERS)) < LIMIT)[:, :, None], size)
        found[f"close enough at 120 s, half always notice, {people}"] = float(
            (ladder_claims(right_answers(random, studies, repeats, half))[1] > 0).mean()
        )
    return found


def share_cover(panels: int = 400) -> dict[str, tuple[float, float]]:
    """Shares of panels whose low and high limit hold (95 % wanted): 8 people, six doubling doses or three times."""
    random, found = np.random.default_rng(7), {}
    for share in (0.5, 0.8):
        truth = math.log(20) + _beyond(share, 0.5, 0.6)[0]
        seeds = random.integers(1, 2**31, panels).tolist()
        found[f"dose of {share:.0%}, 8 x 6 x 3"] = _held([panel(seed, 8, 3) for seed in seeds], 1 / 3, share, truth)
        truth = -math.log(60) + _beyond(share, 0.3, 0.4)[0]
        high, low = _held([fading(random) for _panel in range(panels)], 1 / 2, share, truth)
        found[f"time of {share:.0%}, 8 x 3 x 3"] = low, high
    return found


def fading(random: np.random.Generator) -> DoseAnswers:
    """A panel asked at 30, 60, 120 s, as answers against one over the time; half notice until 60 s."""
    late = -np.log(SECONDS[::-1])
    middle = -math.log(60) + 0.4 * random.standard_normal((8, 1))
    correct = random.binomial(3, 0.5 + 0.49 / (1 + np.exp(-(late - middle) / 0.3)))
    return DoseAnswers(tuple("abcdefgh"), np.exp(late), np.full_like(correct, 3), correct)


def _held(panels: list[DoseAnswers], chance: float, share: float, truth: float) -> tuple[float, float]:
    """How often the low and the high limit hold: one is wrong where the truth lies beyond it on the profile."""
    wrong = np.zeros(2)
    for answers in panels:
        (mu, ln_s, tau), loglik = _maximum(answers, chance)
        at = mu + _beyond(share, math.exp(ln_s), tau)[0]
        drop = 2 * (loglik - _profile(answers, chance, np.array([at, ln_s, tau]), truth, share))
        outside = drop > stdtrit(len(answers.assessors) - 1, 1 - RISK) ** 2
        wrong += outside * np.array([at > truth, at < truth])
    low, high = 1 - wrong / len(panels)
    return float(low), float(high)


def main() -> None:
    """Print the tables."""
    alone = {"errors": errors, "aftertaste": print_aftertaste, "shares": print_shares}
    if sys.argv[1:] and sys.argv[1] in alone:
        alone[sys.argv[1]]()
        return
    starts = {
        "python -c pass": process(sys.executable, "-c", "pass"),
        "python -c 'import numpy'": process(sys.executable, "-c", "import numpy"),
        "studyapp choice": process(*CHOICE),
        "studyapp choice --json": process(*CHOICE, "--json"),
        "studyapp plan choice, with a panel": process(*PLAN),
    }
    show("From process start", in_turn([starts] * 7, of_processes), "python -c 'import numpy'")
    panels = [threshold_works(seed) for seed in range(PANELS)]
    show("Threshold, warm", in_turn(panels), "statsmodels, logistic regression")
    plans = {
        "one test of 8 x 4": lambda: judge_panel("triangle", [4] * 8, [2] * 8),
        "trials for .05/.10/30 %": lambda: plan_different("triangle", 0.05, 0.1, 0.3),
        "sequential plan, cap 60": lambda: plan("triangle", 0.05, 0.05, 0.3, 60),
        "tables for 6-12 people x 1-6 trials": tables,
    }
    in_turn([plans])
    show("Planning, warm", in_turn([plans] * 7), "one test of 8 x 4")
    errors()
    print_aftertaste()
    print_shares()


def print_aftertaste() -> None:
    """Print every cell in per cent, with its Monte Carlo standard error."""
    print(f"\nFalse claims of {STUDIES} ladders a cell, per cent; {TASTERS} x {SETS} sets at each of {SECONDS} s")
    for name, rate in aftertaste_errors().items():
        spread = 100 * (max(rate, 1 / STUDIES) * (1 - rate) / STUDIES) ** 0.5
        print(f"  {name:<80}{100 * rate:>7.2f} +- {spread:.2f}", flush=True)


def print_shares() -> None:
    """Print how often each limit holds, with its Monte Carlo standard error."""
    print("\nLimits of a share's dose or time: per cent that hold, low and high, 95 wanted; errors about 1.1")
    for name, (low, high) in share_cover().items():
        print(f"  {name:<40}{100 * low:>7.1f} {100 * high:>7.1f}", flush=True)


if __name__ == "__main__":
    main()
