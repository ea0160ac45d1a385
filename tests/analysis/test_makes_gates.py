"""Limits of instruments of makes: against scipy's one-sided t, by hand, and by simulated studies."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Any

import numpy as np
import pandas as pd
import pytest
from scipy import stats

from analysis.comparing import MakeClaim, MakeRule, compare
from analysis.instruments import Gate

MOIST = Gate(quantity="moisture", unit="%", at_most=1.0)
RULE = MakeRule("A", {"acidity": MakeClaim("lower", 1.0)}, "Z", gates={"dry": MOIST})


def scores(makes: str = "BC", batches: int = 0, seed: int = 3) -> pd.DataFrame:
    """Twelve people, three servings; every make tastes alike, the control is far worse."""
    rng = np.random.default_rng(seed)
    rows = [
        (f"P{person}", make, "acidity", 3.0 + 4 * (make == "Z") + rng.normal(0, 0.3), turn + 1, f"lot {batch}")
        for person in range(12)
        for make in f"Z{makes}A"
        for batch in range(max(batches, 1))
        for turn in range(3)
    ]
    columns = ["assessor", "make", "attribute", "score", "replicate", "batch"]
    found = pd.DataFrame(rows, columns=columns)
    return found if batches else found.drop(columns="batch")


def read(of: dict[str, tuple[float, ...]], **more: Any) -> pd.DataFrame:
    """A row a repeat."""
    rows = [(make, "moisture", value) for make, values in of.items() for value in values]
    return pd.DataFrame(rows, columns=["make", "quantity", "value"]).assign(**more)


READ = {"A": (0.80, 0.84, 0.82), "B": (0.90, 0.88, 0.92), "C": (0.97, 1.01, 0.99)}


def test_the_chance_of_a_limit_is_a_t_test_with_one_spread_for_all() -> None:
    """B against 1.0 %: mean .90, spread pooled over A, B and C by hand, t with its df by scipy."""
    found = compare(scores(), RULE, read(READ))
    squares = sum(3 * np.var(values) for values in READ.values())
    p = stats.t.cdf((0.90 - 1.0) / np.sqrt(squares / 6 / 3), 6)
    (gate,) = found.makes["B"].gates
    assert gate.p == pytest.approx(p)
    assert (gate.answer, gate.mean) == ("passes", pytest.approx(0.90))
    assert [one.verdict for one in found.makes.values()] == ["shown", "cannot tell"]
    assert found.makes["C"].binding == "dry"
    assert found.reference_gates[0].answer == "passes"


def test_what_limits_show_joins_flavour_and_the_steps_of_several_makes() -> None:
    """The chance of a make is the larger of flavour and limit; a broken limit alone is not good enough."""
    flavour = compare(scores(), replace(RULE, gates={}))
    found = compare(scores(), RULE, read(READ | {"C": (1.20, 1.22, 1.18)}))
    for make in "BC":
        assert found.makes[make].p == max(flavour.makes[make].p, found.makes[make].gates[0].p)
    assert found.makes["C"].verdict == "not good enough"
    assert found.makes["C"].fails_on == ("dry",)


def test_a_limit_without_readings_is_open() -> None:
    """Nothing read, or one portion alone of every make: cannot tell, and why."""
    nothing, single = compare(scores("B"), RULE), compare(scores("B"), RULE, read({"A": (0.8,), "B": (0.8,)}))
    assert [nothing.makes["B"].verdict, single.makes["B"].verdict] == ["cannot tell"] * 2
    assert [nothing.makes["B"].gates[0].why, single.makes["B"].gates[0].why] == ["not read", "single reading"]


def test_a_limit_is_kept_in_every_batch() -> None:
    """Three batches of each; one of B is too moist, so B is not good enough however its mean reads."""
    rule = replace(RULE, claim="make")
    every = [read({"A": (0.80, 0.82), "B": (0.85, 0.84)}, batch=f"lot {batch}") for batch in range(3)]
    good = compare(scores("B", 3), rule, pd.concat(every, ignore_index=True))
    assert [len(good.makes["B"].gates), good.makes["B"].verdict] == [3, "shown"]
    every[1] = read({"A": (0.80, 0.82), "B": (1.35, 1.34)}, batch="lot 1")
    bad = compare(scores("B", 3), rule, pd.concat(every, ignore_index=True))
    assert [one.answer for one in bad.makes["B"].gates] == ["passes", "fails", "passes"]
    assert bad.makes["B"].verdict == "not good enough"
    with pytest.raises(ValueError, match="do not name their batch"):
        compare(scores("B", 3), rule, read({"A": (0.8, 0.82), "B": (0.85, 0.84)}))


def test_hours_of_a_limit_are_told_beside_the_verdict() -> None:
    """Read at 8, 14 and 24 h: A keeps the limit from 14 h on, B not at 24 h; the mass tasted is the longest."""
    course = {"A": {8.0: 1.3, 14.0: 0.8, 24.0: 0.7}, "B": {8.0: 1.5, 14.0: 1.3, 24.0: 1.2}}
    rows = [
        (make, hours, "moisture", value + off)
        for make, own in course.items()
        for hours, value in own.items()
        for off in (-0.02, 0.0, 0.02)
    ]
    found = compare(scores("B"), RULE, pd.DataFrame(rows, columns=["make", "hours", "quantity", "value"]))
    assert [(one.make, one.hours, one.longest) for one in found.reached] == [("A", 14.0, 24.0), ("B", None, 24.0)]
    assert (found.makes["B"].attributes["acidity"].shown, found.makes["B"].verdict) == (True, "not good enough")


@pytest.mark.simulation
def test_limits_keep_the_error_of_the_whole_rule(draws: Callable[[int, int], int]) -> None:
    """Two makes alike in flavour, both exactly at the limit: any false claim in at most 5 of 100 studies."""
    count, rng, tasted = draws(300, 3000), np.random.default_rng(8), scores()
    false = 0
    for _study in range(count):
        at = {make: tuple(1.0 + 0.05 * rng.standard_normal(3)) for make in "BC"}
        found = compare(tasted, RULE, read({"A": tuple(0.8 + 0.05 * rng.standard_normal(3)), **at}))
        false += any(make.verdict == "shown" for make in found.makes.values())
    assert false / count < 0.05 + 3 * np.sqrt(0.05 * 0.95 / count)
