"""The price of an answer: kept promises, counted, and what is offered when."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from numpy.testing import assert_allclose

from analysis.likely_courses import draw_courses
from analysis.stopping import AttributeRule, Rule, Service, decide, price, price_new_study
from tests.benchmarks.bench_price import CASES, told_and_settled

HOURS = np.array([0.0, 4.0, 8.0, 12.0, 16.0, 24.0])
WISH = {"acidity": AttributeRule("lower", 1.0)}


def undecided(seed: int = 15, missing: float = 0.0) -> pd.DataFrame:
    """An invented panel of eight in one sitting, too noisy for an answer."""
    rng = np.random.default_rng(seed)
    y = (3.5 + 4.5 * np.exp(-HOURS / 5))[:, None] + 2.2 * rng.standard_normal((8, 6, 2))
    person, pull, replicate = np.indices(y.shape).reshape(3, -1)
    columns = {"assessor": person, "hours": HOURS[pull], "replicate": replicate, "score": y.ravel(), "sitting": 1}
    data = pd.DataFrame(columns).assign(attribute="acidity")
    return data[rng.random(len(data)) >= missing]


@pytest.mark.simulation
@pytest.mark.parametrize("name", ["first order", "trays, one sitting before"])
def test_of_studies_told_a_chance_about_as_many_settle(name: str) -> None:
    """Truths over a wide range, next sittings drawn from the truth: on average the chance told is at most 5 points too
    high, with four Monte Carlo errors of the mean on top; no more than 15 points too low, or it would be useless."""
    told, settled = told_and_settled(CASES[name], 150, seed=5, draws=100).T
    error = 4 * (told - settled).std() / np.sqrt(len(told))
    assert settled.mean() - 0.15 - error <= told.mean() <= settled.mean() + 0.05 + error
    high = told > np.median(told)
    assert settled[high].mean() > settled[~high].mean() + 0.15


def test_offers_name_what_is_served() -> None:
    """All pulls, and the open ones with reference and control; servings add up. A third replicate would be 18 pieces
    where nobody has tasted more than 12, so it is not offered."""
    rule = Rule(WISH, looks=2)
    data = undecided()
    decision = decide(data, rule)
    assert decision.verdict == "cannot tell"
    found = {offer.name: offer for offer in price(data, rule, draws=50)}
    pulls = decision.attributes["acidity"].pulls
    open_ = {pull.hours for pull in pulls if not pull.shown_to_fail and not pull.within_margin} | {0.0, 24.0}
    assert found["all pulls"].servings == 8 * 6 * 2
    assert "more replicates" not in found
    assert (found["all pulls"].pieces, found["all pulls"].palates) == (12, 8)
    assert set(found["open pulls"].pulls) == open_
    assert found["open pulls"].servings == 8 * len(open_) * 2


@pytest.mark.parametrize("adjust", [(), ("sitting:hours",)])
@pytest.mark.parametrize("missing", [0.0, 0.08])
def test_chances_add_up_and_come_again(adjust: tuple[str, ...], missing: float) -> None:
    """Also with marks missing and with the third limit; the same seed gives the same chances."""
    rule = Rule(WISH, looks=2, adjust=adjust)
    data = undecided(missing=missing)
    found = price(data, rule, draws=200, seed=3)
    assert found
    for offer in found:
        assert_allclose(sum(offer.chances.values()), 1)
        assert_allclose(offer.settles, 1 - offer.chances["cannot tell"])
        assert_allclose(offer.monte_carlo_se, np.sqrt(offer.settles * (1 - offer.settles) / 200))
    assert price(data, rule, draws=200, seed=3) == found


def test_more_of_everything_settles_more() -> None:
    """More replicates beat fewer, more looks one, and a new study of twice the sittings one of the same size."""
    data = undecided()
    few = data[data["hours"].isin([0, 12, 24]) & (data["replicate"] == 0)]
    next_look = {offer.name: offer for offer in price(few, Rule(WISH, looks=2), draws=400)}
    assert next_look["more replicates"].pieces == 6
    assert next_look["more replicates"].settles > next_look["all pulls"].settles
    same, twice = price_new_study(data, Rule(WISH), draws=400)
    assert (same.name, same.sittings, twice.sittings) == ("new study", 1, 2)
    assert twice.settles > same.settles


def test_waiting_for_every_look_left_is_offered_when_there_are_several() -> None:
    """It settles at least as often as the next look, whose draws it shares, and counts the sittings it really takes."""
    found = {offer.name: offer for offer in price(undecided(), Rule(WISH, looks=4), draws=200)}
    waiting, next_one = found["all looks"], found["all pulls"]
    assert (waiting.looks, waiting.sittings, waiting.palates, waiting.servings) == (3, 3, 24, 3 * 96)
    assert waiting.settles >= next_one.settles
    assert 1 + next_one.chances["cannot tell"] <= waiting.mean_sittings <= 3 - 2 * next_one.settles
    assert "all looks" not in {offer.name for offer in price(undecided(), Rule(WISH, looks=4, look=3), draws=50)}


def test_no_offer_asks_more_pieces_than_a_palate_takes() -> None:
    """Sealed at six pieces, two replicates of six pulls are served once each; at four, in blocks with the reference and
    control. Sealed replicates are not added to, and each look has its sealed sittings."""
    for palate in (4, 6, 12):
        for offer in price(undecided(), Rule(WISH, looks=3), draws=20, sealed=Service(2, palate, 2)):
            assert offer.pieces <= palate
            assert offer.sittings == 2 * offer.looks
            assert offer.replicates <= 2
            assert offer.servings <= 8 * palate * offer.sittings
            if offer.name == "all pulls":
                assert offer.servings == 8 * palate * 2


def test_as_much_is_served_as_before_and_as_much_of_it_lost() -> None:
    """Of 8 x 6 x 2 scores three in ten are missing: no fewer pieces for that, and no fewer scores expected of them.
    Where everybody tastes eight pieces of six pulls they go on doing so."""
    gaps = undecided(missing=0.3)
    fullest = gaps.groupby("assessor").size().max()
    assert fullest > 6
    offer = price(gaps, Rule(WISH, looks=2), draws=20)[0]
    assert (offer.name, offer.replicates, offer.pieces, offer.servings) == ("all pulls", 2, fullest, 8 * fullest)
    data = undecided()
    eight = data[(data["replicate"] == 0) | data["hours"].isin([0, 24])]
    offer = price(eight, Rule(WISH, looks=2), draws=20)[0]
    assert (offer.pieces, offer.servings) == (8, 8 * 8)


def test_no_price_without_a_look_left_or_after_an_answer() -> None:
    """The last sealed look leaves a new study only; an answer leaves nothing to buy."""
    data = undecided()
    assert price(data, Rule(WISH)) == ()
    assert price(data, Rule(WISH, looks=2, look=2)) == ()
    assert price_new_study(data, Rule(WISH, looks=2, look=2), draws=100)
    quiet = data.assign(score=3.5 + 4.5 * np.exp(-data["hours"] / 3) + 0.1 * (data["assessor"] % 3))
    quiet["score"] += 0.1 * np.random.default_rng(1).standard_normal(len(quiet))
    assert decide(quiet, Rule(WISH, looks=2)).verdict == "stop"
    assert price(quiet, Rule(WISH, looks=2)) == ()
    assert price_new_study(quiet, Rule(WISH, looks=2)) == ()


def test_no_draws_are_refused() -> None:
    """The argument and the value stand in the text."""
    with pytest.raises(ValueError, match="draws must be 1 or more, got 0"):
        price(undecided(), Rule(WISH, looks=2), draws=0)


# ---- likely courses --------------------------------------------------------------------------------------------------
def test_exact_means_are_kept_and_noisy_ones_drawn_to_a_course() -> None:
    """With no error the truth is what was seen; with a large one a lone bump is taken for noise in part."""
    rng = np.random.default_rng(4)
    course = 3.5 + 3.5 * np.exp(-HOURS / 5)
    bump = course + np.array([0, 0, 0, 0.6, 0, 0])
    sharp = draw_courses(HOURS, bump, np.full((500, 6), 1e-6), rng)
    assert_allclose(sharp.mean(0), bump, atol=0.02)
    vague = draw_courses(HOURS, bump, np.full((4000, 6), 0.09), rng)
    assert 0.02 < vague[:, 3].mean() - course[3] < 0.5
    assert vague[:, 3].std() < 0.3
