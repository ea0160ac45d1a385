"""Lost pulls and servings that nobody could judge, against data sets and outcomes worked out apart.

`tests/reference/14_lost_pulls.json`: constructed data, answers and outcomes by a program written for them with numpy
and scipy alone, 20,000 studies an outcome.
"""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pytest
from numpy.testing import assert_allclose

from analysis.files.scores import ScoreError, scores_from
from analysis.model.scores import Scores, cells_of
from analysis.planning import price
from analysis.planning.many_studies import answers
from analysis.planning.simulation import AttributeTruth, Design, Scenario, draw, first_order
from analysis.stopping import AttributeRule, Decision, LostPull, Rule, decide, judge
from analysis.stopping.fates import Bars
from analysis.stopping.verdicts import verdicts_of

KNOWN = json.loads((Path(__file__).parents[1] / "reference" / "14_lost_pulls.json").read_text(encoding="utf-8"))
LOWER = AttributeRule("lower", 1.0)
RULE = Rule({"x": LOWER})
HOURS = (0.0, 8.0, 16.0, 24.0)


def tidy(y: Any, by: str = "replicate", hours: tuple[float, ...] = HOURS) -> pd.DataFrame:
    """Scores (assessors, pulls, servings), NaN where nothing was scored."""
    y = np.array(y, float)
    person, pull, serving = np.indices(y.shape).reshape(3, -1)
    columns = {"assessor": person, "hours": np.array(hours)[pull], "attribute": "x", "score": y.ravel(), "why": ""}
    return pd.DataFrame({**columns, by: serving + 1})


def noted(scores: pd.DataFrame, hours: float, sitting: str | None = None, why: str = "lost") -> pd.DataFrame:
    """The scores with a note that a pull was lost."""
    note = {"hours": hours, "why": why, "reason": "dropped", "sitting": sitting}
    return pd.concat([scores, pd.DataFrame([note])], ignore_index=True)


def limits(found: Decision, side: str) -> list[float]:
    """The upper or lower decisive limit of every pull but the reference."""
    return [getattr(pull, f"decisive_{side}") for pull in found.attributes["x"].pulls[:-1]]


def errors_of(found: Decision) -> list[tuple[float, ...]]:
    """Panel and own error of every pull but the reference; the panel's df no more than assessors by pulls have, as its
    limits take them."""
    pulls, most = found.attributes["x"].pulls, found.attributes["x"].assessors - 1
    return [(p.se, min(p.df or 0, most * (len(pulls) - 1)), p.own_se, p.own_df) for p in pulls[:-1]]  # type: ignore[misc]


def expected_errors(due: dict[str, Any]) -> list[tuple[float, ...]]:
    """The same as they were worked out."""
    return [(due["panel_se"], due["panel_df"], own, due["own_df"]) for own in due["own_se"][:-1]]


# ---- data sets with known answers ------------------------------------------------------------------------------------
def test_limits_hold_for_both_fillings_of_what_could_not_be_judged() -> None:
    """G1: the highest limits are those of the filling against the pull, the lowest those of the other."""
    kept = KNOWN["G1"]["unjudged"]
    scores = tidy(kept["scores"])
    scores.loc[scores["score"].isna(), "why"] = "unjudged"
    found = decide(scores, RULE)
    assert_allclose(limits(found, "upper"), kept["worse_fill"]["upper"][:-1], atol=1e-5)
    assert_allclose(limits(found, "lower"), kept["better_fill"]["lower"][:-1], atol=1e-5)
    pulls = found.attributes["x"].pulls[:-1]
    assert [pull.within_margin for pull in pulls] == kept["worse_fill"]["within_margin"]
    assert [pull.shown_to_fail for pull in pulls] == kept["better_fill"]["shown_to_fail"]
    assert [(one.attribute, one.hours, one.count) for one in found.unjudged] == [("x", 16.0, 1)]
    assert price(scores, Rule({"x": LOWER}, looks=2), 5) == ()


def test_the_same_data_complete() -> None:
    """G1: with every serving judged, both errors with their degrees of freedom, and limits on both sides."""
    kept = KNOWN["G1"]["unjudged"]
    y, due = np.array(kept["scores"], float), kept["complete_data_would_give"]
    y[2, 2, 1] = kept["values_where_judged_for_the_unjudged"][0]
    found = decide(tidy(y), RULE)
    pulls = found.attributes["x"].pulls[:-1]
    assert_allclose([pull.difference for pull in pulls], due["difference"][:-1], atol=1e-5)
    assert_allclose(errors_of(found), expected_errors(due), atol=1e-5)
    assert_allclose(limits(found, "upper"), due["upper"][:-1], atol=1e-5)
    assert_allclose(limits(found, "lower"), due["lower"][:-1], atol=1e-5)


def test_a_lost_reference_gives_its_place_to_the_next_longest_once() -> None:
    """G1: differences and limits against 16 h; sealed otherwise, or lost twice, there is no verdict."""
    kept = KNOWN["G1"]["unjudged"]
    y = np.array(kept["scores"], float)
    y[2, 2, 1] = kept["values_where_judged_for_the_unjudged"][0]
    scores = noted(tidy(y[:, :3]), 24.0)
    found = decide(scores, RULE)
    due = kept["reference_lost_before_serving"]
    assert (found.reference_hours, found.reference_is_sealed) == (16.0, False)
    assert found.lost == (LostPull(24.0, "lost", None, "dropped"),)
    assert_allclose([pull.difference for pull in found.attributes["x"].pulls], due["difference"], atol=1e-5)
    assert_allclose(limits(found, "upper"), due["upper"][:-1], atol=1e-5)
    assert_allclose(limits(found, "lower"), due["lower"][:-1], atol=1e-5)
    assert_allclose(errors_of(found), expected_errors(due), atol=1e-5)
    assert decide(scores, Rule({"x": LOWER}, lost_reference="none")).reason == "reference lost"
    assert decide(noted(scores, 36.0), RULE).reason == "reference lost"
    assert decide(noted(tidy(y[:, :3]), 24.0, why="unread"), RULE).reason == "reference lost"


def test_a_pull_lost_in_one_sitting_is_compared_within_the_other() -> None:
    """G1: both errors from the sitting that served it."""
    kept = KNOWN["G1"]["sitting"]
    found = decide(noted(tidy(kept["scores"], "sitting"), 16.0, "2"), RULE)
    due, pull = kept["pull_against_reference_within_sitting_1"], found.attributes["x"].pulls[2]
    assert_allclose(
        [pull.difference, pull.se, pull.own_se, pull.df, pull.own_df],
        [due[k] for k in ("difference", "panel_se", "own_se", "panel_df", "own_df")],
        atol=1e-5,
    )
    assert pull.difference != pytest.approx(kept["wrong_if_sittings_are_mixed"], abs=0.1)
    assert_allclose([pull.own_upper, pull.decisive_upper], [due["own_upper"], due["upper"]], atol=1e-5)
    assert found.lost == (LostPull(16.0, "lost", "2", "dropped"),)


@pytest.mark.parametrize("batch", range(3))
def test_each_of_three_batches_gives_its_known_limits(batch: int) -> None:
    """G2, batch by batch."""
    due = KNOWN["G2"]["each"][batch]
    found = decide(tidy(np.array(KNOWN["G2"]["scores"])[:, :, batch]), RULE)
    assert_allclose([pull.difference for pull in found.attributes["x"].pulls], due["difference"], atol=1e-5)
    assert_allclose(errors_of(found), expected_errors(due), atol=1e-5)
    assert_allclose(limits(found, "upper"), due["upper"][:-1], atol=1e-5)
    assert_allclose(limits(found, "lower"), due["lower"][:-1], atol=1e-5)


# ---- what may be said ------------------------------------------------------------------------------------------------
def panel(means: dict[float, float], people: int = 10) -> pd.DataFrame:
    """A panel that agrees closely, two servings; deviations by hand, without chance."""
    person, serving = np.meshgrid(np.arange(people), np.arange(2), indexing="ij")
    step = [
        [0.1 * ((3 * person + 5 * serving + number) % 7) + 0.3 * person + mean]
        for number, mean in enumerate(means.values())
    ]
    y = np.round(np.array(step)[:, 0], 1).transpose(1, 0, 2)
    return tidy(y, hours=tuple(means))


STOPS = {0.0: 6.0, 4.0: 4.0, 8.0: 3.0, 12.0: 3.0, 16.0: 3.0, 24.0: 3.0}
FALLS = {0.0: 6.0, 8.0: 5.0, 12.0: 4.4, 16.0: 3.8, 24.0: 2.0}


def test_a_lost_pull_steps_out_and_is_never_chosen() -> None:
    """What is left is decided as if it had never been planned; nothing is said of a window behind a missing pull."""
    whole = decide(panel(STOPS), RULE)
    assert (whole.verdict, whole.hours, whole.latest_hours) == ("stop", 8.0, 24.0)
    without = {h: mean for h, mean in STOPS.items() if h != 8}
    found = decide(noted(panel(without), 8.0), RULE)
    assert (found.verdict, found.hours, found.latest_hours) == ("stop", 12.0, None)
    assert 8.0 not in found.passes
    assert price(noted(panel(without), 8.0), RULE) == ()


@pytest.mark.parametrize("why", ["lost", "unread"])
def test_a_pull_taken_back_or_never_scored_stays_and_does_not_pass(why: str) -> None:
    """Nothing shorter can pass either, and the verdict says where that alone stands before it."""
    rest = panel(STOPS) if why == "lost" else panel({h: mean for h, mean in STOPS.items() if h != 12})
    found = decide(noted(rest, 12.0, why=why), RULE)
    assert (found.verdict, found.hours) == ("stop", 16.0)
    assert not found.passes.get(12.0, False)
    assert found.lost[0].fate == {"lost": "taken back", "unread": "unread"}[why]
    last = decide(noted(panel(STOPS), 16.0), RULE)
    assert (last.verdict, last.reason) == ("cannot tell", "pull missing")
    assert decide(noted(panel(STOPS), 24.0), RULE).reason == "reference lost"


def test_the_control_that_is_lost_is_the_shortest_left() -> None:
    """The sealed one is gone, or has become the reference."""
    without = {h: mean for h, mean in STOPS.items() if h != 0}
    found = decide(noted(panel(without), 0.0), Rule({"x": LOWER}, control=0.0))
    assert (found.verdict, found.hours, found.control_hours) == ("stop", 8.0, 4.0)
    with pytest.raises(ValueError, match="two pulls are needed"):
        decide(noted(panel({0.0: 6.0}), 24.0), RULE)


@pytest.mark.parametrize(("gone", "verdict"), [(0.0, "conche longer"), (12.0, "cannot tell"), (16.0, "cannot tell")])
def test_conche_longer_needs_the_two_pulls_before_the_reference(gone: float, verdict: str) -> None:
    """Over a wider step a gain may have ended at the pull that is missing."""
    assert decide(panel(FALLS), RULE).verdict == "conche longer"
    found = decide(noted(panel({h: mean for h, mean in FALLS.items() if h != gone}), gone), RULE)
    assert (found.verdict, found.reason) == (verdict, None if verdict != "cannot tell" else "pull missing")


def test_the_price_of_an_answer_knows_what_may_not_be_said() -> None:
    """With 16 h lost no drawn ending says `conche longer`, and nothing is offered to be served that is lost."""
    without = noted(panel({h: mean for h, mean in FALLS.items() if h != 16}), 16.0)
    offers = price(without, Rule({"x": LOWER}, looks=2), 20)
    assert offers
    assert all(offer.chances["conche longer"] == 0 and 16.0 not in offer.pulls for offer in offers)


def test_no_hour_fits_needs_every_sealed_pull() -> None:
    """The one that fits may be the one that was lost."""
    strict = Rule({"x": AttributeRule("lower", 1.0, 1.0)})
    assert decide(panel(STOPS), strict).verdict == "no hour fits"
    without = {h: mean for h, mean in STOPS.items() if h != 12}
    assert decide(noted(panel(without), 12.0), strict).reason == "pull missing"


def test_a_few_servings_without_a_judgement_may_stand_before_an_answer() -> None:
    """Left out they change nothing here; filled in either way they do, and only that is said."""
    scores = panel(STOPS)
    at = scores.index[(scores["hours"] == 8) & (scores["assessor"] < 3) & (scores["replicate"] == 1)]
    scores.loc[at, ["score", "why"]] = [np.nan, "unjudged"]
    assert decide(scores.assign(why=""), RULE).hours == 8.0
    assert decide(scores, RULE).hours == 12.0
    for hours in (12.0, 16.0):
        at = scores.index[(scores["hours"] == hours) & (scores["assessor"] < 3) & (scores["replicate"] == 1)]
        scores.loc[at, ["score", "why"]] = [np.nan, "unjudged"]
    assert decide(scores, RULE).reason == "unjudged"


# ---- files -----------------------------------------------------------------------------------------------------------
@pytest.mark.parametrize("wide", [False, True])
def test_a_file_says_what_was_lost_and_what_could_not_be_judged(wide: bool) -> None:
    """`lost` in a row without assessor, `unjudged` in the place of a score; both forms of file."""
    rows = ["A1,0,1,x,6", "A1,8,1,x,unjudged", "A2,0,1,x,5", ",16,1,x,lost: dropped", ",24,,x,lost"]
    lines = [row.replace(",x,", ",") if wide else row for row in rows]
    head = "assessor,hours,sitting,x" if wide else "assessor,hours,sitting,attribute,score"
    read = scores_from("a.csv", "\n".join([head, *lines]).encode())
    assert read["why"].tolist() == ["", "unjudged", "", "lost", "lost"]
    lost = read[read["why"] == "lost"]
    assert lost[["hours", "sitting", "reason"]].values.tolist() == [[16.0, "1", "dropped"], [24.0, "", ""]]


def test_a_loss_is_nobodys_own() -> None:
    """A pull is lost for everybody."""
    text = b"assessor,hours,attribute,score\nA1,0,x,6\nA1,8,x,lost\n"
    with pytest.raises(ScoreError, match='row 3, column assessor: "A1" stands in a row that says lost'):
        scores_from("a.csv", text)


# ---- outcomes --------------------------------------------------------------------------------------------------------
@pytest.mark.simulation
@pytest.mark.parametrize("gone", [0, 12, 16, 24])
def test_outcomes_after_a_loss_are_the_known_ones(gone: int, draws: Callable[[int, int], int]) -> None:
    """8 x 2, first order 7 to 3.5, tau 6, one pull lost; within four Monte Carlo errors of both runs."""
    name = next(name for name in KNOWN["scenarios"] if f"{gone} h lost" in name)
    studies, sealed = draws(1500, 20_000), [0, 4, 8, 12, 16, 24]
    hours = tuple(float(h) for h in sealed if h != gone)
    truth = AttributeTruth(first_order(hours, 7.0, 3.5, 6.0))
    rng = np.random.default_rng(gone + 1)
    y = draw(Scenario(hours, {"x": truth}), Design(8, 2), 1, studies, rng)["x"]
    bars = Bars(np.zeros(5, bool), longer=gone in (12, 16), none=True)
    verdict, pull = answers({"x": cells_of(Scores(y))}, {"x": LOWER}, 0.05, bars=bars)
    found = {f"stop at pull {number}": (pull == number).mean() for number in range(4)}
    found |= {word: (verdict == number).mean() for number, word in enumerate(verdicts_of(bars)) if word != "stop"}
    for word, share in found.items():
        due = KNOWN["scenarios"][name][word]
        error = np.sqrt(max(due * (1 - due), 1e-4) * (1 / studies + 1 / 20_000))
        assert abs(share - due) < 4 * error, (word, share, due)


@pytest.mark.simulation
@pytest.mark.parametrize(("share", "due"), [(0.0, 0.64), (0.01, 0.51), (0.03, 0.32)])
def test_the_two_fillings_cost_as_much_as_known(share: float, due: float, draws: Callable[[int, int], int]) -> None:
    """8 x 2, truly equal, so many per cent of the servings unjudged whatever their taste: passing the margin; figures
    of a simulation apart (standard error .5 points at most), within four errors and half a point of rounding."""
    studies, rng = draws(800, 8000), np.random.default_rng(9)
    hours = (0.0, 4.0, 8.0, 12.0, 16.0, 24.0)
    y = draw(Scenario(hours, {"x": AttributeTruth((3.5,) * 6)}), Design(8, 2), 1, studies, rng)["x"]
    unjudged = rng.random(y.shape) < share
    passing = np.ones((studies, 6), bool)
    at_reference = np.arange(6)[:, None, None] == 5
    for pull_is_worse in (True, False):
        filled = np.where(unjudged, np.where(at_reference != pull_is_worse, 10.0, 0.0), y)
        passing &= judge({"x": cells_of(Scores(filled))}, {"x": LOWER}, 0.05).attributes["x"].within_margin
    assert abs(passing[:, 3].mean() - due) < 4 * np.sqrt(due * (1 - due) / studies) + 0.025


# ---- errors ----------------------------------------------------------------------------------------------------------
def at_the_margin(studies: int, seed: int) -> np.ndarray:
    """8 x 2, four pulls one margin worse than the reference: which of them pass it (studies, 4)."""
    truth = AttributeTruth((4.5,) * 4 + (3.5,))
    y = draw(Scenario((0.0, 4.0, 8.0, 12.0, 16.0), {"x": truth}), Design(8, 2), 1, studies, np.random.default_rng(seed))
    return np.asarray(judge({"x": cells_of(Scores(y["x"]))}, {"x": LOWER}, 0.05).attributes["x"].within_margin)[:, :4]


@pytest.mark.simulation
def test_only_what_failed_to_be_served_may_step_out(draws: Callable[[int, int], int]) -> None:
    """A fixed sequence asks the longest pull first: error 3.4 %. Were failing pulls free to step out, any that passes
    would do: 10.2 %. Pulls lost by chance (15 % each) leave a fixed sequence: 0 to 3.2 % over five truths, of which it
    is the worst. Figures of a simulation apart, 1,500 studies a cell at least; within four errors of both."""
    studies = draws(2000, 20_000)
    passes, rng = at_the_margin(studies, 3), np.random.default_rng(4)
    there = rng.random(passes.shape) >= 0.15
    longest = 3 - np.argmax(there[:, ::-1], axis=1)
    lost = passes[np.arange(studies), longest] & there.any(axis=1)
    for found, due in ((passes[:, 3], 0.034), (passes.any(axis=1), 0.102), (lost, 0.032)):
        assert abs(found.mean() - due) < 4 * np.sqrt(due * (1 - due) * (1 / studies + 1 / 1500))


@pytest.mark.simulation
@pytest.mark.parametrize(("above", "due"), [(7.0, 0.012), (6.0, 0.001)])
def test_giving_up_on_what_tastes_bad_passes_nothing(
    above: float, due: float, draws: Callable[[int, int], int]
) -> None:
    """8 x 2, one margin worse; people give up on a piece above about so much. Both fillings passed 1.2 and 0.1 % in a
    simulation apart whose level of the scale is not told, so this is a bound: no more than that, and four errors."""
    studies, rng = draws(1500, 10_000), np.random.default_rng(11)
    hours = (0.0, 8.0, 16.0)
    y = draw(Scenario(hours, {"x": AttributeTruth((7.5, 5.5, 4.5))}), Design(8, 2), 1, studies, rng)["x"]
    unjudged = y > above + rng.normal(0.0, 0.5, y.shape)
    at_reference = np.arange(3)[:, None, None] == 2
    passing = np.ones((studies, 3), bool)
    for pull_is_worse in (True, False):
        filled = np.where(unjudged, np.where(at_reference != pull_is_worse, 10.0, 0.0), y)
        passing &= judge({"x": cells_of(Scores(filled))}, {"x": LOWER}, 0.05).attributes["x"].within_margin
    assert passing[:, 1].mean() <= due + 4 * np.sqrt(due * (1 - due) / studies)
