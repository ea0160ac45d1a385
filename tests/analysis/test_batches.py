"""Several batches under the sealed claim, against numbers worked out apart."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pytest
from scipy import stats

from analysis.stopping import AttributeRule, Rule, decide
from analysis.stopping.departing import departure, off_the_mean_course

# Constructed scores with every number worked out by numpy code that shares nothing with the project; see the file.
REFERENCE = json.loads((Path(__file__).parents[1] / "reference" / "14_batches.json").read_text(encoding="utf-8"))
G2 = REFERENCE["G2"]
SCORES = np.array(G2["scores"])  # assessor, pull, batch, serving
HOURS = (0.0, 8.0, 16.0, 24.0)
RULE = Rule({"acidity": AttributeRule("lower", 1.0)})
EACH, RECIPE = replace(RULE, claim="each of these batches"), replace(RULE, claim="recipe and machine")
CLOSE = {"abs": 2e-6}


def tidy(scores: np.ndarray = SCORES, hours: tuple[float, ...] = HOURS) -> pd.DataFrame:
    """A row a score; batches are named one, two, ..."""
    at = np.argwhere(np.isfinite(scores))
    named = ("one", "two", "three", "four", "five")
    return pd.DataFrame(
        {
            "assessor": [f"A{row[0]}" for row in at],
            "hours": [hours[row[1]] for row in at],
            "batch": [named[row[2]] for row in at],
            "replicate": at[:, 3] + 1,
            "attribute": "acidity",
            "score": scores[tuple(at.T)],
        }
    )


def test_a_claim_on_the_recipe_takes_the_batch_as_a_unit_too() -> None:
    """Differences, both errors, the batch error, its degrees of freedom and the widest limit of the worked example."""
    found = decide(tidy(), RECIPE)
    pulls, told, expected = found.attributes["acidity"].pulls, found.batches, G2["recipe"]
    assert told is not None
    assert [pull.difference for pull in pulls] == pytest.approx(expected["difference"], **CLOSE)
    assert [pull.own_se for pull in pulls[:-1]] == pytest.approx(expected["own_se"][:-1], **CLOSE)
    assert [pull.own_upper for pull in pulls[:-1]] == pytest.approx(expected["own_upper"][:-1], **CLOSE)
    assert told.batch_se["acidity"][:-1] == pytest.approx(expected["batch_se"][:-1], **CLOSE)
    assert told.df["acidity"][:-1] == pytest.approx(expected["df"][:-1], **CLOSE)
    assert [pull.decisive_upper for pull in pulls[:-1]] == pytest.approx(expected["upper_sum"][:-1], **CLOSE)
    assert (found.verdict, found.hours, found.claim) == ("stop", 16.0, "recipe and machine")
    by_batch = [told.differences["acidity"][name] for name in ("one", "two", "three")]
    assert by_batch == [pytest.approx(row, **CLOSE) for row in G2["batch differences"]]


def test_at_the_second_look_its_limits_are_wider() -> None:
    """The same limits at the level of two looks, which the worked example rounds to .0304."""
    pulls = decide(tidy(), replace(RECIPE, looks=2)).attributes["acidity"].pulls
    assert [p.decisive_upper for p in pulls[:-1]] == pytest.approx(G2["recipe"]["upper_sum_K2"][:-1], abs=1e-3)


def test_each_batch_is_judged_alone_and_all_must_pass() -> None:
    """Limits of every batch as worked out; 16 h passes in two of them and not in the first, so nothing is chosen."""
    found = decide(tidy(), RULE)  # nothing sealed: several batches are each judged
    told = found.batches
    assert told is not None
    assert found.claim == "each of these batches"
    for name, expected in zip(("one", "two", "three"), G2["each"], strict=True):
        assert told.upper["acidity"][name][:-1] == pytest.approx(expected["upper"][:-1], **CLOSE)
        assert told.lower["acidity"][name][:-1] == pytest.approx(expected["lower"][:-1], **CLOSE)
    assert (found.verdict, found.reason) == ("cannot tell", "reference meets limits")
    most = np.max([one["upper"] for one in G2["each"]], 0)
    assert [p.decisive_upper for p in found.attributes["acidity"].pulls[:-1]] == pytest.approx(most[:-1], **CLOSE)


def test_a_batch_alone_is_decided_as_ever() -> None:
    """To the last digit: a column that names one batch, an unsealed claim, or none at all."""
    data = tidy()
    one = data[data["batch"] == "two"]
    bare = decide(one.drop(columns="batch"), RULE)
    assert decide(one, RULE) == bare == decide(one, replace(RULE, claim="this batch"))
    assert decide(one, EACH).attributes["acidity"].pulls == bare.attributes["acidity"].pulls


def test_a_batch_that_departs_is_named() -> None:
    """F of batch x pull after one slope of each course, by least squares of numpy; its parts without slopes as worked
    out apart."""
    means = SCORES.mean(3)
    table = means.mean(0)
    expected = np.empty_like(table)
    grand = table.mean(1) - table.mean()
    for batch in range(3):
        design = np.column_stack([np.ones(4), grand])
        expected[:, batch] = table[:, batch] - design @ np.linalg.lstsq(design, table[:, batch], rcond=None)[0]
    assert off_the_mean_course(table) == pytest.approx(expected)
    rest = G2["mean squares"]["rest"] / 2  # of scores, two servings a cell
    plain = table - table.mean(0) - table.mean(1, keepdims=True) + table.mean()
    assert 8 * (plain**2).sum() / 6 / rest == pytest.approx(G2["flag"]["F"], rel=1e-5)
    told = decide(tidy(), RECIPE).batches
    assert told is not None
    flag = told.flag["acidity"]
    assert flag is not None
    assert flag.f == pytest.approx(8 * (expected**2).sum() / 4 / rest, rel=1e-5)
    assert (flag.num_df, flag.den_df) == (4, 42)
    assert flag.p == pytest.approx(stats.f.sf(flag.f, 4, 42))


def test_one_batch_off_at_one_pull_is_flagged_by_name() -> None:
    """A pull of one batch three units off, on a panel whose people hardly differ (random numbers of numpy)."""
    rng = np.random.default_rng(8)
    means = np.array([7.0, 5.0, 4.0, 3.5, 3.5])[:, None] + 0.2 * rng.standard_normal((8, 5, 4))
    means[:, 2, 1] += 3
    flag = departure(means, ("a", "b", "c", "d"), np.array([0, 6, 12, 18, 24]), 1)
    assert flag is not None
    assert flag.departs
    assert (flag.batch, flag.hours) == ("b", 12.0)


def test_the_next_batch_is_told_by_the_spread_of_those_tasted() -> None:
    """Mean + t sd sqrt(1 + 1/b), a prediction limit (scipy's t)."""
    told = decide(tidy(), RECIPE).batches
    assert told is not None
    rows = np.array(G2["batch differences"])[:, :-1]
    expected = rows.mean(0) + stats.t.ppf(0.95, 2) * rows.std(0, ddof=1) * np.sqrt(4 / 3)
    assert told.next_upper["acidity"][:-1] == pytest.approx(expected, **CLOSE)


def quiet(batches: int, courses: Any = (7.0, 3.5, 3.5, 3.5), seed: int = 5) -> np.ndarray:
    """Eight people who hardly err, two servings of each pull of each batch."""
    rng = np.random.default_rng(seed)
    course = np.broadcast_to(courses, (batches, 4)).T[None, :, :, None]
    return np.asarray(course + rng.normal(0, 0.3, (8, 1, 1, 1)) + rng.normal(0, 0.25, (8, 4, batches, 2)))


def lost(data: pd.DataFrame, hours: float, *batches: str) -> pd.DataFrame:
    """The scores without a pull of some batches, and the notes that say so."""
    left = data[~((data["hours"] == hours) & data["batch"].isin(batches))].assign(why="")
    notes = pd.DataFrame([{"hours": hours, "batch": name, "why": "lost", "reason": "spoilt"} for name in batches])
    return pd.concat([left, notes], ignore_index=True)


def test_a_pull_lost_in_one_batch_is_never_chosen_and_holds_up_nothing() -> None:
    """8 h passes in all batches; where it was lost in one, 16 h is the answer under either claim. With 16 h lost in
    one, 8 h still is, and only because 16 h passes in the others."""
    data = tidy(quiet(4))
    for rule in (EACH, RECIPE):
        assert decide(data, rule).hours == 8.0
        assert decide(lost(data, 8.0, "two"), rule).hours == 16.0
        assert decide(lost(data, 16.0, "two"), rule).hours == 8.0
    worse = np.array([[7, 3.5, 3.5, 3.5], [7, 3.5, 6.5, 3.5], [7, 3.5, 3.5, 3.5], [7, 3.5, 3.5, 3.5]])
    assert decide(lost(tidy(quiet(4, worse)), 16.0, "one"), EACH).hours is None
    assert decide(lost(tidy(quiet(4, worse)), 16.0, "two"), EACH).hours == 8.0
    told = decide(lost(data, 8.0, "two"), EACH).lost
    assert [(one.hours, one.fate, one.batch) for one in told] == [(8.0, "lost", "two")]


def test_a_pull_of_fewer_than_three_batches_says_nothing_of_the_recipe() -> None:
    """Three batches, 8 h lost in one of them: it has no limit, so it does not pass, and nothing shorter can."""
    found = decide(lost(tidy(quiet(3)), 16.0, "two"), RECIPE)
    assert found.verdict == "cannot tell"
    assert found.attributes["acidity"].pulls[2].decisive_upper is None


def test_a_batch_without_its_longest_pull_says_nothing_of_the_recipe() -> None:
    """Of four, three others are left; of three, too few. Under each, no verdict unless all take the same next pull."""
    four, three = tidy(quiet(4)), tidy(quiet(3))
    assert decide(lost(four, 24.0, "one"), RECIPE).hours == 8.0
    assert decide(lost(three, 24.0, "one"), RECIPE).reason == "too few batches"
    assert decide(lost(four, 24.0, "one"), EACH).reason == "reference lost"
    every = decide(lost(three, 24.0, "one", "two", "three"), EACH)
    assert (every.hours, every.reference_hours, every.reference_is_sealed) == (8.0, 16.0, False)


@pytest.mark.parametrize(
    ("rule", "batches", "reason"),
    [
        (replace(EACH, batches=3), 2, "batch missing"),
        (replace(RULE, batches=2), 1, "batch missing"),
        (RECIPE, 2, "too few batches"),
    ],
)
def test_batches_that_do_not_bear_the_claim_give_no_verdict(rule: Rule, batches: int, reason: str) -> None:
    """However clear their scores are."""
    found = decide(tidy(quiet(batches)), rule)
    assert (found.verdict, found.hours, found.reason) == ("cannot tell", None, reason)


def test_batches_tasted_by_different_people_give_no_verdict_on_the_recipe() -> None:
    """Four people of eight tasted all three."""
    scores = quiet(3)
    scores[4:6, :, 0] = scores[6:, :, 1] = np.nan
    assert decide(tidy(scores), RECIPE).reason == "batches apart"


@pytest.mark.parametrize(
    ("rule", "sentence"),
    [
        (replace(RULE, claim="this batch"), "a verdict is about one"),
        (replace(EACH, batches=2), "2 were sealed"),
        (replace(RECIPE, batches=2), "needs 3 or more"),
        (replace(RECIPE, adjust=("sitting:hours",)), "hold their trays"),
        (replace(RULE, claim="mean"), "write one of"),
    ],
)
def test_a_rule_that_does_not_fit_the_batches_is_refused(rule: Any, sentence: str) -> None:
    """By name."""
    with pytest.raises(ValueError, match=sentence):
        decide(tidy(), rule)


def test_no_hour_fits_when_every_pull_fails_in_some_batch() -> None:
    """Every pull of the second batch breaks a limit that the first keeps; at level / (batches x statements) of one."""
    rule = replace(EACH, attributes={"acidity": AttributeRule("lower", 1.0, 4.5)})
    courses = np.array([[7, 3.5, 3.5, 3.5], [8, 6, 6, 6]])
    assert decide(tidy(quiet(2, courses)), rule).verdict == "no hour fits"
    assert decide(tidy(quiet(1, courses[:1])), rule).verdict == "stop"


def test_more_hours_pay_only_where_the_same_note_rises_in_every_batch() -> None:
    """Both batches still improve; in one alone it does not count."""
    falling = [7.0, 6.0, 5.0, 3.5]
    assert decide(tidy(quiet(2, falling)), EACH).verdict == "conche longer"
    assert decide(tidy(quiet(2, [falling, [7.0, 3.5, 3.5, 3.5]])), EACH).verdict == "cannot tell"


def test_the_batch_that_stands_worst_is_shown_on_either_side() -> None:
    """A note to be kept: one batch lies far below its reference, the other a little above; the limits that are told of
    both are those of the first, which does not pass."""
    courses = np.array([[7, 3.7, 3.7, 3.5], [7, 2.0, 3.5, 3.5]])
    rule = replace(EACH, attributes={"acidity": AttributeRule("same", 1.0)})
    pull = decide(tidy(quiet(2, courses)), rule).attributes["acidity"].pulls[1]
    assert not pull.within_margin
    assert pull.decisive_lower is not None
    assert pull.decisive_lower < -1.0


def test_missing_scores_leave_the_claim_on_the_recipe_close_to_where_it_was() -> None:
    """With a tenth missing the mean over batches of each batch's own fit moves by less than its own error."""
    scores = quiet(4)
    scores[np.random.default_rng(1).random(scores.shape) < 0.1] = np.nan
    whole, part = decide(tidy(quiet(4)), RECIPE), decide(tidy(scores), RECIPE)
    for one, other in zip(whole.attributes["acidity"].pulls, part.attributes["acidity"].pulls, strict=True):
        assert abs(one.difference - other.difference) < 2 * (one.own_se or 1)
    assert part.hours == 8.0
