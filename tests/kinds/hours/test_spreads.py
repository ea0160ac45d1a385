"""The spreads of a panel from its store: what counts, what never does, and whether they are found again."""

from __future__ import annotations

import secrets
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from numpy.testing import assert_allclose
from sqlalchemy import event

from analysis.planning import Service, price
from analysis.planning.pooled_spreads import strata_of
from studyapp.errors import NotAllowed
from studyapp.kinds.hours import deciding, rule
from studyapp.kinds.hours.plan import HoursPlan, Pull
from studyapp.kinds.hours.setting_out import make_sittings
from studyapp.records import Attribute, Sitting, Staff
from studyapp.services import accounts, closing, panel, planning, preparing, spreads, watching
from studyapp.services.spreads import ASSUMED
from studyapp.store import Store, covers, events, openings, servings, sittings, studies
from tests.conftest import CHECKS
from tests.furnished import empty

TRUTH = {"assessor": 1.0, "interaction": 0.6, "sitting": 0.3, "error": 0.8}
PLAN = HoursPlan(
    "Spreads",
    question="When?",
    pulls=tuple(Pull(hours) for hours in (0.0, 6.0, 12.0, 24.0)),
    attributes=(Attribute("Acidity"), Attribute("Fruit", decides=False)),
    looks=2,
    sittings=2,
    rest_seconds=0,
    warm_up=False,
    contains="cocoa",
)


class Shop:
    """A workshop of eight that can taste whole studies in a moment."""

    def __init__(self, store: Store) -> None:
        """People with a phrase of their own."""
        phrase = secrets.token_urlsafe(24)
        self.store = store
        self.leader = accounts.first_leader(store, "Ada", phrase)
        self.preparer = accounts.add_staff(store, self.leader, "Ben", "preparer", phrase)
        self.seats = tuple(panel.add_assessor(store, self.leader, f"Seat {n}").id for n in range(8))

    def sealed(self, plan: HoursPlan = PLAN, example: bool = False) -> str:
        """A sealed study, real or invented."""
        id_ = planning.start(self.store, self.leader, "hours", plan, example=example)
        planning.keep_plan(self.store, self.leader, id_, replace(plan, assessors=self.seats))
        planning.seal(self.store, self.leader, id_, plan.title)
        return id_

    def taste(self, study: str, seed: int, fall: float = 0.0) -> None:
        """Serve every planned sitting; scores are normal with the spreads of TRUTH about a mean of 5, to which it falls
        with the hours."""
        rng = np.random.default_rng(seed)
        parts: dict[tuple[Any, ...], float] = {}

        def part(name: str, *whose: Any) -> float:
            return parts.setdefault((name, *whose), TRUTH[name] * rng.standard_normal())

        for sitting in preparing.sittings(self.store, self.leader, study):
            if sitting.state != "planned":
                continue
            cups = list(self._open(sitting))
            with self.store.write() as tx:
                for seat, cup, hours, line in cups:
                    value = 5.0 + fall * np.exp(-hours / 4)
                    value += part("assessor", seat, line.name) + part("interaction", seat, hours, line.name)
                    value += part("sitting", seat, sitting.number, line.name) + part("error", cup, line.name)
                    nonce = secrets.token_hex(12)
                    servings.add_score(tx, study, cup, line.id, min(max(value, 0.0), 10.0), None, nonce)
                for cup in servings.open_servings(tx, sitting.id):
                    servings.finish(tx, cup, "judged", events.now())
            watching.close_sitting(self.store, self.leader, sitting.id)

    def _open(self, sitting: Sitting) -> Iterator[tuple[str, str, float, Any]]:
        """Open a sitting with all trays out: (assessor, serving, hours, line) of everything to score."""
        watching.open_sitting(self.store, self.leader, sitting.id)
        key = preparing.levels_by_code(self.store, self.preparer, sitting.id)
        for tray in preparing.trays(self.store, self.preparer, sitting.id):
            preparing.release_tray(self.store, self.preparer, sitting.id, tray.position, CHECKS, "Cleo")
        with self.store.write() as tx:
            lines = servings.lines(tx, sitting.id, servings.open_servings(tx, sitting.id)[0])
            for seat in self.seats:
                sittings.keep_presence(tx, sitting.id, seat, agreed_at=events.now())
            cups = [(seat, cup) for seat in self.seats for cup in servings.blind(tx, sitting.id, seat)]
        # Orders are drawn in secret; by seat and pull the same seed gives the same scores.
        cups.sort(key=lambda one: (self.seats.index(one[0]), key[one[1].code]))
        return ((seat, cup.id, key[cup.code], line) for seat, cup in cups for line in lines)

    def finished(self, seed: int, plan: HoursPlan = PLAN, example: bool = False, fall: float = 0.0) -> str:
        """A study tasted, its key opened."""
        study = self.sealed(plan, example)
        self.taste(study, seed, fall)
        closing.open_key(self.store, self.leader, study, "Ada")
        return study


@pytest.fixture
def shop(tmp_path: Path) -> Iterator[Shop]:
    """A workshop that has not tasted anything."""
    store = empty(tmp_path / "studies.sqlite")
    yield Shop(store)
    store.close()


def known(shop: Shop) -> spreads.Spreads:
    """What the leader is told."""
    return spreads.of_panel(shop.store, shop.leader)


def test_an_empty_store_assumes(shop: Shop) -> None:
    """Nothing tasted, nothing known: what is unknown is left to the usual truth."""
    assert known(shop) == ASSUMED
    assert (ASSUMED.source("Acidity"), ASSUMED.deviations("Acidity"), ASSUMED.studies) == ("assumed", {}, 0)


def test_the_spreads_of_finished_studies_are_found_again(shop: Shop) -> None:
    """Four studies of 8 x 4 x 2 sittings. Tolerance: the error has 84 df, so four Monte Carlo errors are 31 %; the
    others lie within their 95 % limits widened by half."""
    for seed in range(4):
        shop.finished(seed)
    found = known(shop)
    assert (found.studies, found.assessors, found.invented) == (4, 8, False)
    for name in ("Acidity", " fruit "):
        one = found.of(name)
        assert one is not None
        assert (one.studies, one.scores, found.source(name)) == (4, 4 * 8 * 4 * 2, "own")
        for part, truth in TRUTH.items():
            spread = getattr(one, part)
            assert spread.low / 1.5 <= truth <= 1.5 * spread.high
            assert found.deviations(name)[part] == spread.sd
        assert one.error.sd == pytest.approx(TRUTH["error"], rel=0.31)


def test_an_attribute_never_scored_takes_all_together(shop: Shop) -> None:
    """Its variance is the mean of those of both attributes: they were scored on the same servings."""
    shop.finished(21)
    found = known(shop)
    acidity, fruit, new = (found.of(name) for name in ("Acidity", "Fruit", "Smoke"))
    assert acidity is not None
    assert fruit is not None
    assert new is not None
    assert (found.source("Smoke"), new.scores) == ("panel", acidity.scores + fruit.scores)
    for one in (acidity, fruit):  # with this seed nothing is held at zero, which would move squares to the error
        assert one.interaction is not None
        assert one.sitting is not None
        assert min(one.interaction.sd, one.sitting.sd) > 0
    assert new.error.sd**2 == pytest.approx((acidity.error.sd**2 + fruit.error.sd**2) / 2)


def test_a_blind_study_is_never_read(shop: Shop) -> None:
    """Every score of a second study is in, its key closed: no statement names it, and nothing is opened by asking."""
    shop.finished(6)
    before = known(shop)
    blind = shop.sealed()
    shop.taste(blind, 7)
    asked: list[str] = []
    event.listen(
        shop.store.engine,
        "before_cursor_execute",
        lambda _c, _k, words, values, *_rest: asked.append(f"{words}{values}"),
    )
    spreads._told.cache_clear()
    assert known(shop) == before
    assert any("score" in words for words in asked)
    assert not [words for words in asked if blind in words]
    assert not [words for words in asked if words.lstrip()[:6].upper() in ("INSERT", "UPDATE", "DELETE")]
    assert closing.opened_keys(shop.store, shop.leader, blind) == ()
    closing.open_key(shop.store, shop.leader, blind, "Ada")
    assert known(shop).studies == 2


def test_asking_again_reads_no_score_until_another_key_is_opened(shop: Shop) -> None:
    """A page asks on every run: what an opened look told is kept, and only the new one is read."""
    first = shop.finished(30)
    before, second = known(shop), shop.finished(31)
    asked: list[str] = []
    event.listen(
        shop.store.engine, "before_cursor_execute", lambda _c, _k, words, vals, *_rest: asked.append(f"{words}{vals}")
    )
    after = known(shop)
    of_scores = [words for words in asked if "FROM score" in words]
    assert len(of_scores) == 1
    assert second in of_scores[0]
    assert first not in of_scores[0]
    asked.clear()
    assert known(shop) == after != before
    assert asked
    assert not [words for words in asked if "FROM score" in words]


def test_between_two_looks_only_the_first_counts(shop: Shop) -> None:
    """The second look is tasted and still closed."""
    study = shop.finished(8)
    before = known(shop)
    with shop.store.write() as tx:  # as after a verdict that could not tell, whatever this one was
        studies.set_state(tx, study, "sealed", 2)
        make_sittings(tx, study, replace(PLAN, assessors=shop.seats), 2, None)
    shop.taste(study, 9)
    assert known(shop) == before
    closing.open_key(shop.store, shop.leader, study, "Ada")
    after = known(shop).of("Acidity")
    assert after is not None
    assert (after.studies, after.scores) == (1, 8 * 4 * 3)


def test_real_studies_take_the_place_of_invented_ones(shop: Shop) -> None:
    """Invented ones alone are taken and said to be invented; a real draft or a blind study changes nothing."""
    shop.finished(10, example=True)
    planning.new_study(shop.store, shop.leader, "hours", "Mine")
    shop.sealed()
    invented = known(shop)
    assert (invented.studies, invented.invented) == (1, True)
    shop.finished(11)
    real = known(shop)
    assert (real.studies, real.invented) == (1, False)
    assert real != invented


def test_the_newest_opened_studies_come_first(shop: Shop) -> None:
    """By the time of their last opening, not of their planning; a study opened twice counts once, with both looks."""
    first, second, third = (shop.sealed() for _ in range(3))
    with shop.store.write() as tx:
        for study, look, at in ((third, 1, "01"), (first, 1, "02"), (second, 1, "03"), (first, 2, "04")):
            tx.exec_driver_sql(
                'INSERT INTO opening (study_id, look, "by", name, at) VALUES (?, ?, ?, ?, ?)',
                (study, look, shop.leader.id, "Ada", f"2026-11-{at}T10:00:00Z"),
            )
            covers.cover(tx, "key opened", "opening", {"study_id": study, "look": look}, study, look=look)
    with shop.store.read() as tx:
        assert openings.last_opened(tx, ("hours",), 10, example=False) == [(first, 2), (second, 1), (third, 1)]
        assert openings.last_opened(tx, ("hours",), 2, example=False) == [(first, 2), (second, 1)]
        assert openings.last_opened(tx, ("hours",), 10, example=True) == []


def test_a_study_without_spread_is_left_out(shop: Shop) -> None:
    """Opened after the power was cut, nobody scored: as if it were not there."""
    study = shop.sealed()
    for sitting in preparing.sittings(shop.store, shop.leader, study):
        watching.open_sitting(shop.store, shop.leader, sitting.id)
        watching.close_sitting(shop.store, shop.leader, sitting.id, "the power was cut")
    closing.open_key(shop.store, shop.leader, study, "Ada")
    assert known(shop) == ASSUMED


def test_only_a_leader_is_told(shop: Shop) -> None:
    """The preparer holds keys of running studies and plans nothing."""
    nobody: Staff | None = None
    for member in (shop.preparer, nobody):
        with pytest.raises(NotAllowed):
            spreads.of_panel(shop.store, member)  # type: ignore[arg-type]


# ---- what others tell a study ----------------------------------------------------------------------------------------
def test_other_opened_studies_tell_a_study_of_its_panel(shop: Shop) -> None:
    """Its own scores are left out, and so are blind studies and those of the other kind, real or invented."""
    first = shop.finished(1)
    assert spreads.of_others(shop.store, first, ["Acidity"]) == {}
    second, invented = shop.finished(2), shop.finished(3, example=True)
    shop.taste(shop.sealed(), 4)
    told = spreads.of_others(shop.store, first, [" acidity", "Smoke"])
    own = strata_of(deciding.scores(shop.store, shop.leader, second))
    assert_allclose(told[" acidity"].squares, own["Acidity"].squares)
    assert_allclose(told["Smoke"].squares, (own["Acidity"].squares + own["Fruit"].squares) / 2)
    assert spreads.of_others(shop.store, invented, ["Acidity"]) == {}


def test_the_price_listens_to_them(shop: Shop) -> None:
    """What is offered is priced with the history of the panel, and not without."""
    first, _second = shop.finished(1, fall=3.0), shop.finished(2)
    frame = deciding.scores(shop.store, shop.leader, first)
    sealed = rule.rule_of(planning.study(shop.store, shop.leader, first).plan, 1)
    history = spreads.of_others(shop.store, first, sealed.attributes)
    served = Service(PLAN.replicates, PLAN.palate, PLAN.next_sittings)
    offered = deciding.offers(shop.store, shop.leader, first)
    assert offered == price(frame, sealed, sealed=served, history=history)
    assert offered != price(frame, sealed, sealed=served)
