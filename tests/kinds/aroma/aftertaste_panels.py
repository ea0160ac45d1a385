"""Simulated panels of an aftertaste, dealt as a seal deals them, with people who repeat their last answer."""

from __future__ import annotations

import numpy as np

from analysis.choice.forced_choice import judge_panel
from studyapp.kinds.aroma.plan import AromaPlan
from studyapp.kinds.aroma.setting_out import deal_sets

LIMIT, RISK = 0.5, 0.05
SECONDS, TASTERS, SETS, DEALS = (30, 60, 120), 12, 3, 400
AFTERTASTE = AromaPlan(
    "aftertaste", aim="aftertaste", method="two-alternative", batches=SECONDS, trials_each=SETS,
    assessors=tuple(map(str, range(TASTERS))), pd_limit=LIMIT, alpha=RISK,
)  # fmt: skip


def deals() -> tuple[np.ndarray, np.ndarray]:
    """The rung of every set and whether its first piece is the treated one, as seals deal them: deals, people, sets."""
    dealt = [deal_sets(AFTERTASTE, seed) for seed in range(DEALS)]
    rungs = [[[SECONDS.index(int(level or 0)) for level, _order in own] for own in one] for one in dealt]
    return np.array(rungs), np.array([[[order[0] for _level, order in own] for own in one] for one in dealt])


def right_answers(
    random: np.random.Generator, studies: int, repeats: float, notices: np.ndarray, apart: bool = True
) -> np.ndarray:
    """Right answers at each rung, shape (studies, rungs). `notices` (studies, people, rungs) says who truly notices
    when; of the others a share `repeats` its last answer. Not `apart`: one pair is asked about at every rung."""
    every_rung, every_first = deals()
    picked = random.integers(0, DEALS, studies)
    rung, first = every_rung[picked], every_first[picked]
    if not apart:
        rung = np.broadcast_to(np.tile(np.arange(len(SECONDS)), SETS), rung.shape)
        first = np.repeat(first[:, :, :: len(SECONDS)], len(SECONDS), axis=2)
    who, people = np.arange(studies)[:, None], np.arange(TASTERS)
    repeater = random.random((studies, TASTERS)) < repeats
    said, right = random.integers(0, 2, (studies, TASTERS)), np.zeros((studies, len(SECONDS)), int)
    for number in range(rung.shape[2]):
        at, treated = rung[:, :, number], 1 - first[:, :, number]
        guess = np.where(repeater & (number > 0), said, random.integers(0, 2, (studies, TASTERS)))
        said = np.where(notices[who, people, at], treated, guess)
        np.add.at(right, (np.broadcast_to(who, at.shape), at), said == treated)
    return right


def ladder_claims(right: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """How many rungs from the first on are still found, how many from the last on close enough: as `ladder` reads."""
    tests = [judge_panel("two-alternative", (SETS,) * TASTERS, _dealt(n), RISK, LIMIT)
             for n in range(SETS * TASTERS + 1)]  # fmt: skip
    found, clean = (np.array([getattr(test, name) for test in tests])[right] for name in ("different", "close"))
    return np.cumprod(found, axis=1).sum(axis=1), np.cumprod(clean[:, ::-1], axis=1).sum(axis=1)


def _dealt(count: int) -> list[int]:
    """So many right answers, given to one person after the other."""
    return [min(SETS, max(0, count - SETS * person)) for person in range(TASTERS)]
