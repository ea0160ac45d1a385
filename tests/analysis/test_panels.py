"""Scores as cells: what is refused before anything is fitted."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from analysis.stopping import decide
from analysis.stopping.panels import batches_in, read
from analysis.stopping.rule import AttributeRule, Rule

RULE = Rule({"acidity": AttributeRule("lower", 1.0)})


def two_batches() -> pd.DataFrame:
    """Eight people, twice each of two batches; in the second 12 h is 1.2 worse than 24 h, in the first as good."""
    rng = np.random.default_rng(4)
    means = {"one": {0.0: 7.0, 12.0: 3.5, 24.0: 3.5}, "two": {0.0: 7.0, 12.0: 4.7, 24.0: 3.5}}
    rows = [
        {
            "assessor": f"A{person}",
            "hours": hours,
            "attribute": "acidity",
            "batch": batch,
            "replicate": replicate,
            "score": mean + 0.3 * rng.standard_normal(),
        }
        for batch, course in means.items()
        for person in range(8)
        for hours, mean in course.items()
        for replicate in (1, 2)
    ]
    return pd.DataFrame(rows)


def test_two_batches_are_never_averaged_and_each_alone_is_decided() -> None:
    """The mean of the two lies within the margin, and the second batch does not: nothing is said of both."""
    data = two_batches()
    together = data.drop(columns="batch").assign(replicate=data["replicate"] + 2 * (data["batch"] == "two"))
    assert decide(together, RULE).hours == 12.0
    assert decide(data, RULE).hours is None
    with pytest.raises(ValueError, match=r"batch: the scores are of 2 batches, \['one', 'two'\]"):
        decide(data, replace(RULE, claim="this batch"))
    alone = {batch: decide(own, RULE) for batch, own in data.groupby("batch")}
    assert (alone["one"].verdict, alone["one"].hours) == ("stop", 12.0)
    assert alone["two"].hours != 12.0
    assert alone["one"].scope["batches"] == 1


@pytest.mark.parametrize(
    ("batches", "found"),
    [
        (["B1", "B1"], ("B1",)),
        (["B1", " B1"], ("B1",)),
        ([7, 7], ("7",)),
        ([None, None], ()),
        (["B1", None], ("", "B1")),
        (["B2", "B1"], ("B1", "B2")),
    ],
)
def test_batches_are_told_by_their_names(batches: list[object], found: tuple[str, ...]) -> None:
    """Blanks around a name make no other batch; a score without a name beside one that has one may be of another."""
    assert batches_in(pd.DataFrame({"batch": batches})) == found


def test_only_what_decides_must_be_of_one_batch() -> None:
    """A line that only describes, or a score that was lost, is in no verdict."""
    data = two_batches()
    data.loc[data["batch"] == "two", "attribute"] = "gloss"
    assert read(data, RULE).scope["batches"] == 1
