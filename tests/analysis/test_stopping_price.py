"""The price of an answer: kept promises, counted, and what is offered when."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from numpy.testing import assert_allclose
from scipy.stats import chi2, invgamma

from analysis.model.scores import Scores, cells_of
from analysis.planning import Anew, Service, price, price_new_study
from analysis.planning.likely_courses import draw_courses
from analysis.planning.likely_ends import ends
from analysis.planning.likely_truths import draw_truths, draw_variances
from analysis.planning.pooled_spreads import Strata
from analysis.planning.price import told
from analysis.stopping import AttributeRule, Rule, decide
from analysis.stopping.standard_errors import fitted
from analysis.stopping.verdicts import CANNOT
from tests.benchmarks.bench_price import CELLS, Truth, told_and_came, undecided

HOURS = np.array([0.0, 4.0, 8.0, 12.0, 16.0, 24.0])
WISH = {"acidity": AttributeRule("lower", 1.0)}


def undecided_panel(seed: int = 15, missing: float = 0.0) -> pd.DataFrame:
    """An invented panel of eight in one sitting, too noisy for an answer."""
    rng = np.random.default_rng(seed)
    y = (3.5 + 4.5 * np.exp(-HOURS / 5))[:, None] + 2.2 * rng.standard_normal((8, 6, 2))
    person, pull, replicate = np.indices(y.shape).reshape(3, -1)
    columns = {"assessor": person, "hours": HOURS[pull], "replicate": replicate, "score": y.ravel(), "sitting": 1}
    data = pd.DataFrame(columns).assign(attribute="acidity")
    return data[rng.random(len(data)) >= missing]


@pytest.mark.simulation
@pytest.mark.parametrize("name", ["8 x 2, error .6", "8 x 2, error .6, two before"])
def test_of_studies_told_a_chance_at_least_about_as_many_settle(name: str) -> None:
    """Spreads are fixed. Of the quarter told most, 5 points and two Monte Carlo errors fewer settle at most; a prior
    with its peak at nothing, told as it comes, is 13 to 16 points too high here. With two studies before, what is told
    is at most 10 points and two errors too low."""
    case = CELLS[name]
    said, came = told_and_came(case, 200, seed=5, draws=200)
    high = said >= np.quantile(said, 0.75)
    off = said - came
    assert off[high].mean() <= 0.05 + 2 * off[high].std() / np.sqrt(high.sum())
    assert came[high].mean() > came[~high].mean() + 0.15
    if case.earlier:
        assert off.mean() >= -0.10 - 2 * off.std() / np.sqrt(len(off))


def test_the_benchmark_prices_as_the_price_does() -> None:
    """The same scores as a table and as cells: the same chance, within four Monte Carlo errors, as people may come in
    another order."""
    case, rng = CELLS["8 x 2, interaction .5"], np.random.default_rng(3)
    truth = Truth.drawn(case, rng)
    y = truth.sittings(1, 1, rng)
    person, pull, replicate = np.indices(y[0, 0, :, :, 0].shape).reshape(3, -1)
    columns = {"assessor": person, "hours": HOURS[pull], "sitting": 1, "replicate": replicate, "score": y.ravel()}
    offer = price(pd.DataFrame(columns).assign(attribute="note 0"), case.rule, draws=1600)[0]
    verdict, _used = ends(undecided(truth, y, rng), [np.full((1, 8, 6), 2)], 1600, 9, anew=False)
    assert_allclose(offer.settles, (verdict != CANNOT).mean(), atol=4 * 2**0.5 * offer.monte_carlo_se)


# ---- what is told ----------------------------------------------------------------------------------------------------
def history(studies: float, interaction: float = 0.5, error: float = 1.0) -> Strata:
    """Sums of squares of so many studies of eight people, six pulls and two replicates, each at its expectation."""
    df = studies * np.array([7.0, 35.0, 0.0, 48.0])
    shares = df[:, None] * np.array([[12, 2, 0, 1], [0, 2, 0, 1], [0, 0, 0, 0], [0, 0, 0, 1.0]])
    return Strata(shares @ np.array([1.0, interaction**2, 0.0, error**2]), shares)


@pytest.mark.parametrize(
    ("settles", "alone", "known"),
    [(0.0, 0.0, 0.0), (0.0999, 0.0, 0.0), (0.3, 0.3, 0.3), (0.5999, 0.5, 0.5), (0.69, 0.5, 0.6), (1.0, 0.5, 0.7)],
)
def test_a_chance_is_told_rounded_down(settles: float, alone: float, known: float) -> None:
    """To a tenth; a half at most where one attribute has no two studies before, seven of ten where all have."""
    assert told(settles, [history(2), None]) == told(settles, [history(2), history(1.5)]) == alone
    assert told(settles, [history(2), history(3)]) == known


def test_earlier_studies_speak_of_the_spread() -> None:
    """After calm studies an answer is likelier than after wild ones; ten count for no more than two."""
    data, rule = undecided_panel(), Rule(WISH, looks=2)

    def settles(earlier: Strata | None) -> float:
        found = price(data, rule, draws=400, history=None if earlier is None else {"acidity": earlier})
        return found[0].settles

    assert settles(history(2, 0.2, 2.0)) > settles(None) > settles(history(2, 2.0, 2.0))
    assert settles(history(2)) == settles(history(10))


@pytest.mark.parametrize("earlier", [None, history(1, 0.8, 0.7)])
def test_variances_are_drawn_from_their_posterior(earlier: Strata | None) -> None:
    """Against a grid over error and ratio, by the densities of scipy: chi-square sums of squares, ratio flat to 4, and
    four degrees of freedom at one unit for the error. Tolerance: five Monte Carlo errors."""
    data = undecided_panel()
    cells = data.groupby(["assessor", "hours"])["score"].agg(["mean", "var"])
    means = cells["mean"].unstack().to_numpy()
    rest = means - means.mean(1, keepdims=True) - means.mean(0) + means.mean()
    own = [(2 * (rest**2).sum(), 35, 2.0), (cells["var"].sum(), 48, 0.0)]
    before = [] if earlier is None else [(earlier.squares[1], 35, 2.0), (earlier.squares[3], 48, 0.0)]
    variance, ratio = np.meshgrid(np.linspace(1, 12, 500), np.linspace(0.005, 3.995, 400))
    log = invgamma.logpdf(variance, 2, scale=2)
    for squares, df, each in own + before:
        expected = variance * (1 + each * ratio**2)
        log += chi2.logpdf(squares / expected, df) - np.log(expected)
    weight = np.exp(log - log.max())
    y = data.sort_values(["assessor", "hours", "replicate"])["score"].to_numpy().reshape(1, 8, 6, 1, 2)
    fit = fitted(cells_of(Scores(y), trays=False))
    residual, interaction = draw_variances(fit, earlier, 4000, np.random.default_rng(1))
    for drawn, expected in ((residual, variance), (interaction, variance * ratio**2)):
        assert_allclose(drawn.mean(), np.average(expected, weights=weight), atol=5 * drawn.std() / 4000**0.5)


def test_offers_name_what_is_served() -> None:
    """All pulls, and the open ones with reference and control; servings add up. A third replicate would be 18 pieces
    where nobody has tasted more than 12, so it is not offered."""
    rule = Rule(WISH, looks=2)
    data = undecided_panel()
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
    data = undecided_panel(missing=missing)
    found = price(data, rule, draws=200, seed=3)
    assert found
    for offer in found:
        assert_allclose(sum(offer.chances.values()), 1)
        assert_allclose(offer.settles, 1 - offer.chances["cannot tell"])
        assert_allclose(offer.monte_carlo_se, np.sqrt(offer.settles * (1 - offer.settles) / 200))
    assert price(data, rule, draws=200, seed=3) == found


def test_more_of_everything_settles_more() -> None:
    """More replicates beat fewer, more looks one, and a new study of twice the sittings one of the same size."""
    data = undecided_panel()
    few = data[data["hours"].isin([0, 12, 24]) & (data["replicate"] == 0)]
    next_look = {offer.name: offer for offer in price(few, Rule(WISH, looks=2), draws=400)}
    assert next_look["more replicates"].pieces == 6
    assert next_look["more replicates"].settles > next_look["all pulls"].settles
    same, twice, joined = price_new_study(data, Rule(WISH), draws=400)
    assert (same.name, same.sittings, twice.sittings) == ("new study", 1, 2)
    assert (same.people, joined.people) == (8, 10)
    assert min(twice.settles, joined.settles) > same.settles


def test_waiting_for_every_look_left_is_offered_when_there_are_several() -> None:
    """It settles at least as often as the next look, whose draws it shares, and counts the sittings it really takes."""
    found = {offer.name: offer for offer in price(undecided_panel(), Rule(WISH, looks=4), draws=200)}
    waiting, next_one = found["all looks"], found["all pulls"]
    assert (waiting.looks, waiting.sittings, waiting.palates, waiting.servings) == (3, 3, 24, 3 * 96)
    assert waiting.settles >= next_one.settles
    assert 1 + next_one.chances["cannot tell"] <= waiting.mean_sittings <= 3 - 2 * next_one.settles
    assert "all looks" not in {offer.name for offer in price(undecided_panel(), Rule(WISH, looks=4, look=3), draws=50)}


def test_no_offer_asks_more_pieces_than_a_palate_takes() -> None:
    """Sealed at six pieces, two replicates of six pulls are served once each; at four, in blocks with the reference and
    control. Sealed replicates are not added to, and each look has its sealed sittings."""
    for palate in (4, 6, 12):
        for offer in price(undecided_panel(), Rule(WISH, looks=3), draws=20, sealed=Service(2, palate, 2)):
            assert offer.pieces <= palate
            assert offer.sittings == 2 * offer.looks
            assert offer.replicates <= 2
            assert offer.servings <= 8 * palate * offer.sittings
            if offer.name == "all pulls":
                assert offer.servings == 8 * palate * 2


def test_as_much_is_served_as_before_and_as_much_of_it_lost() -> None:
    """Of 8 x 6 x 2 scores three in ten are missing: no fewer pieces for that, and no fewer scores expected of them.
    Where everybody tastes eight pieces of six pulls they go on doing so."""
    gaps = undecided_panel(missing=0.3)
    fullest = gaps.groupby("assessor").size().max()
    assert fullest > 6
    offer = price(gaps, Rule(WISH, looks=2), draws=20)[0]
    assert (offer.name, offer.replicates, offer.pieces, offer.servings) == ("all pulls", 2, fullest, 8 * fullest)
    data = undecided_panel()
    eight = data[(data["replicate"] == 0) | data["hours"].isin([0, 24])]
    offer = price(eight, Rule(WISH, looks=2), draws=20)[0]
    assert (offer.pieces, offer.servings) == (8, 8 * 8)


def test_no_price_without_a_look_left_or_after_an_answer() -> None:
    """The last sealed look leaves a new study only; an answer leaves nothing to buy."""
    data = undecided_panel()
    assert price(data, Rule(WISH)) == ()
    assert price(data, Rule(WISH, looks=2, look=2)) == ()
    assert tuple(price_new_study(data, Rule(WISH, looks=2, look=2), draws=100))
    quiet = data.assign(score=3.5 + 4.5 * np.exp(-data["hours"] / 3) + 0.1 * (data["assessor"] % 3))
    quiet["score"] += 0.1 * np.random.default_rng(1).standard_normal(len(quiet))
    assert decide(quiet, Rule(WISH, looks=2)).verdict == "stop"
    assert price(quiet, Rule(WISH, looks=2)) == ()
    assert tuple(price_new_study(quiet, Rule(WISH, looks=2))) == ()


def test_a_new_study_serves_its_own_pulls() -> None:
    """Of a design of four pulls only these are judged and said; a pull nobody tasted, or no reference, is refused."""
    data, rule = undecided_panel(), Rule(WISH, looks=2)
    four = Anew((0.0, 12.0, 16.0, 24.0), 3, 12, (1, 2), more=2)
    (offer,) = price_new_study(data, rule, draws=50, designs=[four])
    assert (offer.pulls, offer.people, offer.looks, offer.sittings) == (four.pulls, 10, 2, 3)
    assert (offer.pieces, offer.servings, offer.of_a_pull) == (12, 10 * 12 * 3, 10 * 3 * 3)
    for pulls in ((0.0, 12.0, 16.0), (0.0, 10.0, 24.0)):
        with pytest.raises(ValueError, match="control and reference"):
            tuple(price_new_study(data, rule, draws=5, designs=[replace(four, pulls=pulls)]))


def test_who_joins_finds_as_much_of_their_own_as_the_panel_may() -> None:
    """About the pulls' means and their own level a newcomer's cells spread as drawn for assessor:hours: chi-square with
    h - 1 degrees of freedom, within five Monte Carlo errors; and those who tasted keep their cells."""
    y = undecided_panel().sort_values(["assessor", "hours", "replicate"])["score"].to_numpy().reshape(1, 8, 6, 1, 2)
    rng = np.random.default_rng(4)
    truths = draw_truths(fitted(cells_of(Scores(y), trays=False)), HOURS, False, 3000, rng)
    joined = truths.joined_by(2, rng)
    assert_allclose(joined.cells[:, :8], truths.cells)
    own = joined.cells[:, 8:] - joined.means[:, None]
    ratio = own.var(2, ddof=1) / joined.interaction[:, None]
    assert_allclose(ratio.mean(), 1, atol=5 * (2 / 5 / ratio.size) ** 0.5)


def test_no_draws_are_refused() -> None:
    """The argument and the value stand in the text."""
    with pytest.raises(ValueError, match="draws must be 1 or more, got 0"):
        price(undecided_panel(), Rule(WISH, looks=2), draws=0)


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
