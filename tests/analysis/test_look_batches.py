"""Simulated studies, judged as a batch and one by one from their tidy scores: the same verdict and the same hours."""

from __future__ import annotations

from functools import cache
from itertools import chain, combinations
from typing import Any

import numpy as np
import pandas as pd
import pytest

from analysis.planning.dealt_orders import dealt
from analysis.planning.look_batches import look_at
from analysis.planning.simulation import AttributeTruth, Design, Scenario, draw, first_order
from analysis.stopping import AttributeRule, Rule, decide
from analysis.stopping.alpha_spending import level
from analysis.stopping.verdicts import VERDICTS

HOURS = (0.0, 4.0, 8.0, 12.0, 24.0)
TIRING = (1.0, 0.0, -0.1, -0.2, -0.3)
TRUTHS = {
    "acidity": AttributeTruth(first_order(HOURS, 7, 3.5, 3), sitting=0.3, error=0.6, position=TIRING),
    "cacao": AttributeTruth(first_order(HOURS, 4, 7, 3), error=0.6, rounded=True),
}
WISHES = {"acidity": AttributeRule("lower", 1.2, limit=5.5), "cacao": AttributeRule("higher", 1.5)}
ADJUST = list(chain.from_iterable(combinations(("position", "sitting", "sitting:hours"), n) for n in range(4)))
TURNS = np.array([[[1, 1], [1, 0], [0, 1], [1, 1], [1, 1]], [[1, 1], [0, 1], [1, 1], [1, 0], [1, 1]]] * 4)
STUDIES = 4

# Name -> change of the scenario, the design.
KINDS: dict[str, tuple[dict[str, Any], Design]] = {
    "complete": ({}, Design(7, 2)),
    "scores missing": ({"missing": 0.1}, Design(7, 2)),
    "hardly any scores left": ({"missing": 0.6}, Design(6, 2)),
    "people who leave": ({"dropout": 0.3}, Design(7, 1)),
    "both": ({"missing": 0.3, "dropout": 0.5}, Design(6, 2)),
    "blocks": ({}, Design(8, 1, pattern=TURNS)),
    "blocks and both": ({"missing": 0.1, "dropout": 0.3}, Design(8, 1, pattern=TURNS)),
}


def written(adjust: tuple[str, ...]) -> str:
    """What a rule adjusts for, in the name of a test."""
    return "+".join(adjust) or "nothing"


def tidy(drawn: dict[str, np.ndarray], places: np.ndarray, row: int) -> pd.DataFrame:
    """One drawn study as scores with their sitting, replicate and position."""
    frames = []
    for name, y in drawn.items():
        person, pull, day, replicate = np.indices(y.shape[1:]).reshape(4, -1)
        frames.append(
            pd.DataFrame({
                "assessor": [f"A{number:02}" for number in person],
                "hours": np.array(HOURS)[pull],
                "sitting": day + 1,
                "replicate": replicate + 1,
                "position": places[row].reshape(-1),
                "attribute": name,
                "score": y[row].reshape(-1),
            })
        )  # fmt: skip
    return pd.concat(frames).dropna(subset=["score"])


def alone(frame: pd.DataFrame, rule: Rule) -> tuple[str, float | None]:
    """What `decide` says; scores it refuses, for want of them, are `cannot tell`, as they are for a batch."""
    try:
        found = decide(frame, rule)
    except ValueError as problem:
        if "no score at the pulls" in str(problem) or "one assessor alone" in str(problem):
            return "cannot tell", None
        raise
    return found.verdict, found.hours


@cache
def with_places(design: Design, seed: int) -> Design:
    """Orders for a design that has none; dealt once, as blocks take long to order."""
    return dealt(design, len(HOURS), 2, seed) if design.positions is None else design


def compare(scenario: Scenario, design: Design, rule: Rule, seed: int) -> list[tuple[str, float | None]]:
    """Every study at each look of two, as a batch and alone; returns the verdicts."""
    told: list[tuple[str, float | None]] = []
    design = with_places(design, seed)
    assert design.positions is not None
    drawn = draw(scenario, design, 2, STUDIES, np.random.default_rng(seed))
    places = design.positions[np.arange(STUDIES) % len(design.positions)]
    for look in (1, 2):
        so_far = {name: y[..., :look, :] for name, y in drawn.items()}
        verdict, pull = look_at(so_far, places[..., :look, :], rule, level(rule.alpha, 2), 0)
        sealed = Rule(rule.attributes, rule.alpha, 2, look, rule.adjust, 0.0)
        for row in range(STUDIES):
            ours = VERDICTS[verdict[row]], HOURS[pull[row]] if pull[row] >= 0 else None
            assert ours == alone(tidy(so_far, places[..., :look, :], row), sealed), (look, row)
            told.append(ours)
    return told


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("adjust", ADJUST, ids=written)
def test_a_batch_is_judged_as_decide_judges_each_study(adjust: tuple[str, ...], kind: str) -> None:
    """Two attributes, two looks, every adjustment, with and without gaps, leavers and blocks."""
    change, design = KINDS[kind]
    told = compare(Scenario(HOURS, TRUTHS, **change), design, Rule(WISHES, adjust=adjust), seed=3)
    if kind in ("complete", "scores missing"):
        assert len(set(told)) > 1


# Truths and designs at which a fit has to give way: nothing varies within cells, nothing varies at all, nothing but
# pulls and sittings explains a score.
LEAST: dict[str, tuple[AttributeTruth, Design]] = {
    "copied replicates": (AttributeTruth((6, 5, 3, 3, 3), error=0, rounded=True), Design(7, 2)),
    "the same score everywhere": (AttributeTruth((3.7,) * 5, assessor=0, interaction=0, error=0), Design(6, 3)),
    "replicates that tell nothing": (AttributeTruth((6, 5, 3.3, 3, 3), interaction=0, error=0), Design(7, 3)),
    "sittings explain the rest": (
        AttributeTruth((6, 5, 3, 3, 3), assessor=0, interaction=0, error=0, sitting=0.5),
        Design(6, 2),
    ),
    "whole numbers, hardly any spread": (
        AttributeTruth((6, 5, 3, 3, 3), assessor=0.3, interaction=0, error=0.2, rounded=True),
        Design(7, 1),
    ),
}


@pytest.mark.parametrize("missing", [0.0, 0.2])
@pytest.mark.parametrize("kind", LEAST)
@pytest.mark.parametrize("adjust", [(), ("position",), ("sitting",), ADJUST[-1]], ids=written)
def test_scores_that_leave_little_to_fit_are_judged_alike(adjust: tuple[str, ...], kind: str, missing: float) -> None:
    """The same fall-backs as in a single fit."""
    truth, design = LEAST[kind]
    scenario = Scenario(HOURS, {"acidity": truth}, missing=missing)
    compare(scenario, design, Rule({"acidity": AttributeRule("lower", 1.2)}, adjust=adjust), seed=5)


@pytest.mark.parametrize("score", [0.1, 2.3, 3.7])
def test_rounding_is_no_spread(score: float) -> None:
    """Where everybody gave one note the same score everywhere, a second, clear note brings no answer."""
    clear = AttributeTruth((9, 3.5, 3.5, 3.5, 3.5), interaction=0.1, error=0.3)
    flat = AttributeTruth((score,) * 5, assessor=0, interaction=0, error=0)
    wishes = dict.fromkeys(("acidity", "smoky"), AttributeRule("lower", 1.2))
    told = compare(Scenario(HOURS, {"acidity": clear, "smoky": flat}), Design(8, 3), Rule(wishes), seed=6)
    assert set(told) == {("cannot tell", None)}


def in_order(*orders: tuple[int, ...]) -> np.ndarray:
    """Places (1, assessors, pulls, 2 sittings, 1) of pulls tasted in these orders, one an assessor."""
    places = np.argsort(np.array(orders), axis=1) + 1
    return np.repeat(places[None, :, :, None, None], 2, axis=3)


ORDERS = {
    "one order for all": in_order(*[(2, 0, 4, 1, 3)] * 8),
    "reference always first": in_order(*[(4, 0, 1, 2, 3), (4, 1, 2, 3, 0), (4, 2, 3, 0, 1), (4, 3, 0, 1, 2)] * 2),
    "reference early, every place shared": in_order(
        *[(4, 0, 1, 2, 3), (0, 4, 1, 3, 2), (4, 1, 2, 0, 3), (4, 1, 0, 3, 2)] * 2
    ),
}


@pytest.mark.parametrize("adjust", [(), ("position",), ("position", "sitting")])
@pytest.mark.parametrize("name", ORDERS)
def test_orders_that_favour_a_pull_forbid_an_answer(name: str, adjust: tuple[str, ...]) -> None:
    """Unless the rule takes the place out and the orders let it, a batch cannot tell, like `decide`."""
    design = Design(8, 1, positions=ORDERS[name])
    plain = AttributeTruth(first_order(HOURS, 8, 3.5, 2), interaction=0.1, error=0.2, position=TIRING)
    scenario = Scenario(HOURS, {"acidity": plain})
    told = compare(scenario, design, Rule({"acidity": AttributeRule("lower", 1.2)}, adjust=adjust), seed=4)
    answered = {verdict for verdict, _hours in told} - {"cannot tell"}
    assert bool(answered) == (bool(adjust) and name == "reference early, every place shared")
