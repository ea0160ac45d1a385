"""The order of anything, and the names of people and sittings, change no number of a decision or of its price."""

from __future__ import annotations

from dataclasses import asdict, replace
from random import Random
from typing import Any

import numpy as np
import pandas as pd
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from analysis.planning import Service, price
from analysis.stopping import AttributeRule, Decision, Rule, decide

HOURS = np.array([0.0, 8.0, 16.0, 24.0])
NAMES = ("smoke", "acidity", "fruit", "colour")
ADJUSTMENTS: tuple[tuple[str, ...], ...] = (
    (),
    ("sitting:hours",),
    ("sitting",),
    ("position",),
    ("position", "sitting:hours"),
)
# Limits, df, p and differences agree to 1e-9; what an iterated fit leaves in variances and F to 2e-6.
EXACT, FITTED = 1e-9, 2e-6


@st.composite
def studies(draw: st.DrawFn) -> tuple[pd.DataFrame, dict[str, AttributeRule], tuple[str, ...]]:
    """Two sittings of six people and four pulls, with lost trays, people and scores."""
    rng = np.random.default_rng(draw(st.integers(0, 2**32 - 1)))
    frames, wishes = [], {}
    for name in NAMES[: draw(st.integers(2, 4))]:
        wishes[name] = AttributeRule(
            draw(st.sampled_from(["lower", "higher", "same"])), 1.0, draw(st.sampled_from([None, 4.0]))
        )
        mean = 3.5 + draw(st.sampled_from([-3.0, 0.0, 3.0])) * np.exp(-HOURS / draw(st.floats(2, 12)))
        y = mean[:, None, None] + rng.standard_normal((6, 1, 1, 1)) + 0.6 * rng.standard_normal((6, 4, 2, 1))
        person, pull, sitting, replicate = np.indices(y.shape).reshape(4, -1)
        place = (pull + person + 2 * sitting) % 4 + 1
        scores = np.round(y, 1) if draw(st.booleans()) else np.round(y)
        columns = {"assessor": person, "hours": HOURS[pull], "sitting": sitting, "position": place}
        frame = pd.DataFrame({**columns, "replicate": replicate, "score": scores.ravel(), "attribute": name})
        # A tray not asked about, somebody who did not score this, and scores lost here and there.
        tray = (frame["hours"] == HOURS[draw(st.integers(0, 3))]) & (frame["sitting"] == draw(st.integers(0, 1)))
        gone = draw(st.booleans()) & tray | draw(st.booleans()) & (frame["assessor"] == draw(st.integers(0, 5)))
        lost = rng.random(len(frame)) < draw(st.sampled_from([0.0, 0.05]))
        frames.append(frame[~gone & ~lost])
    return pd.concat(frames, ignore_index=True), wishes, draw(st.sampled_from(ADJUSTMENTS))


def shuffled(data: pd.DataFrame, chance: Random) -> pd.DataFrame:
    """Other rows first, other columns first, other names, other numbers of sittings, and an attribute more."""
    people, days = chance.sample(range(100, 200), 6), chance.sample(range(10, 20), 2)
    other = data.assign(
        assessor=data["assessor"].map(lambda i: f"p{people[i]}"), sitting=data["sitting"].map(lambda i: days[i])
    )
    beside = other[other["attribute"] == other["attribute"].iloc[0]].assign(attribute="gloss", score=2.0)
    mixed = pd.concat([other, beside]).sample(frac=1, random_state=chance.randrange(2**31))
    return mixed[chance.sample(list(mixed.columns), len(mixed.columns))]


def numbers(decision: Decision) -> dict[str, Any]:
    """Everything a decision says, by the name of its attribute; people's names and orders apart."""
    found = asdict(decision)
    found["warnings"] = sorted(str(w.code) + str(w.values.get("attribute")) for w in decision.warnings)
    found["binding"], found["next_binding"] = None, None
    for name in ("improving", "not_held", "not_inside", "closed_by"):
        found[name] = sorted(found[name])
    for part in ("fails_on", "better"):
        found[part] = {hour: sorted(names) for hour, names in found[part].items()}
    return found


def agree(one: Any, other: Any, path: str = "") -> None:
    """The same, numbers within their tolerance."""
    if isinstance(one, dict):
        assert set(one) == set(other), path
        for key in one:
            agree(one[key], other[key], f"{path}/{key}")
    elif isinstance(one, (list, tuple)):
        assert len(one) == len(other), path
        for place, (a, b) in enumerate(zip(one, other, strict=True)):
            agree(a, b, f"{path}/{place}")
    elif isinstance(one, float):
        fitted = any(part in path for part in ("variance", "anova", "loglik"))
        assert one == pytest.approx(other, rel=FITTED if fitted else EXACT, abs=FITTED if fitted else EXACT), path
    else:
        assert one == other, path


@settings(max_examples=24, deadline=None)
@given(studies(), st.randoms(use_true_random=False))
def test_no_order_and_no_name_changes_a_decision(
    study: tuple[pd.DataFrame, dict[str, AttributeRule], tuple[str, ...]], chance: Random
) -> None:
    """Attributes, rows, columns, names and sittings in another order, a note that does not decide beside them."""
    data, wishes, adjust = study
    try:
        first = decide(data, Rule(wishes, adjust=adjust))
    except ValueError:
        with pytest.raises(ValueError, match=r"no score at the pulls|one assessor alone"):
            decide(shuffled(data, chance), Rule(wishes, adjust=adjust))
        return
    again = dict(chance.sample(list(wishes.items()), len(wishes)))
    agree(numbers(first), numbers(decide(shuffled(data, chance), Rule(again, adjust=adjust))))


def test_an_attribute_not_asked_of_one_tray_does_not_lend_its_pattern_to_another() -> None:
    """One note not asked of 8 h in the second sitting: whichever comes first in the rule, third limit is its own."""
    changed = 0
    for seed in range(20):
        rng = np.random.default_rng(seed)
        frames = []
        for name, mean in (("acidity", (7, 4.4, 3.6, 3.5)), ("fruit", (5, 5, 5, 5))):
            y = np.array(mean)[:, None] + 0.3 * rng.standard_normal((1, 4, 2)) + 0.7 * rng.standard_normal((8, 4, 2))
            person, pull, sitting = np.indices(y.shape).reshape(3, -1)
            frame = pd.DataFrame({"assessor": person, "hours": HOURS[pull], "sitting": sitting, "score": y.ravel()})
            frames.append(frame.assign(attribute=name))
        data = pd.concat(frames)
        data = data[~((data["attribute"] == "fruit") & (data["hours"] == 8) & (data["sitting"] == 1))]
        wishes = {"acidity": AttributeRule("lower", 1.0), "fruit": AttributeRule("same", 1.0)}
        one, other = (
            decide(data, Rule(dict(order), adjust=("sitting:hours",)))
            for order in (wishes.items(), reversed(wishes.items()))
        )
        agree(numbers(one), numbers(other))
        alone = decide(data, Rule({"acidity": wishes["acidity"]}, adjust=("sitting:hours",)))
        agree(asdict(alone)["attributes"]["acidity"]["pulls"][:1], asdict(other)["attributes"]["acidity"]["pulls"][:1])
        changed += one.verdict != "cannot tell"
    assert changed > 0


@settings(max_examples=6, deadline=None)
@given(st.integers(0, 2**32 - 1), st.randoms(use_true_random=False))
@example(7, Random(1))
def test_no_order_and_no_name_changes_a_price(seed: int, chance: Random) -> None:
    """The same draws for the same scores, whoever gave them under whatever name."""
    rng = np.random.default_rng(seed)
    frames = []
    for name, mean in (("smoke", (4, 3, 2.6, 2.5)), ("acidity", (7, 4.6, 4.1, 3.5))):
        y = np.array(mean)[:, None] + rng.standard_normal((6, 1, 1)) + 1.2 * rng.standard_normal((6, 4, 2))
        person, pull, sitting = np.indices(y.shape).reshape(3, -1)
        columns = {"assessor": person, "hours": HOURS[pull], "sitting": sitting, "position": 1, "replicate": 1}
        frames.append(pd.DataFrame({**columns, "score": y.ravel(), "attribute": name}).drop(columns="position"))
    data = pd.concat(frames, ignore_index=True)
    wishes = {name: AttributeRule("lower", 1.0) for name in ("smoke", "acidity")}
    for service in (None, Service(1, 3)):
        rule = Rule(wishes, looks=2)
        first = price(data, rule, draws=60, sealed=service)
        again = price(shuffled(data, chance), replace(rule, attributes=dict(reversed(wishes.items()))), 60, 1, service)
        agree([asdict(offer) for offer in first], [asdict(offer) for offer in again])
