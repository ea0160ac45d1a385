"""An aftertaste from its plan to its ladder: each piece eaten alone and noticed once, at the time dealt to its set."""

from __future__ import annotations

import json
from collections import Counter
from collections.abc import Iterator
from dataclasses import asdict, replace
from typing import Any

import numpy as np
import pytest
from sqlalchemy import text

from analysis.choice import judge_control
from analysis.choice.carry_over import Ladder, ladder
from studyapp.components import piece, rest_timer, step, trial
from studyapp.errors import BadInput, NotAllowed, OutOfDate
from studyapp.kinds.aroma import deciding, rule
from studyapp.kinds.aroma.plan import Control
from studyapp.kinds.aroma.rule import proposal
from studyapp.kinds.aroma.setting_out import deal_sets
from studyapp.records import Place
from studyapp.services import closing, preparing, trying, watching
from studyapp.services.checking import check
from studyapp.services.standing import moment
from studyapp.store import clock, trials
from tests.kinds.aroma.aftertaste_panels import SECONDS as TIMES
from tests.kinds.aroma.aftertaste_panels import TASTERS, ladder_claims, right_answers
from tests.kinds.aroma.aroma_kitchen import PLAN, Kitchen, Taster, key_of, wrong

REST = 180
AFTERTASTE = replace(
    PLAN, aim="aftertaste", method="two-alternative", nameable=True, note="mint", batches=TIMES, rest_seconds=REST,
    trials_each=1, sets_a_sitting=3, pd_limit=0.6,
)  # fmt: skip


class Time:
    """The machine's clocks, on which time passes as the test says; nothing of the app is replaced."""

    def __init__(self, patch: pytest.MonkeyPatch) -> None:
        """As they are."""
        self.passed, ticks, wall = 0.0, clock.ticks, clock.wall
        patch.setattr(clock, "ticks", lambda: ticks() + self.passed)
        patch.setattr(clock, "wall", lambda: wall() + self.passed)

    def pass_(self, seconds: float) -> None:
        """So many seconds go by."""
        self.passed += seconds


@pytest.fixture
def time(monkeypatch: pytest.MonkeyPatch) -> Time:
    """A clock to be moved on."""
    return Time(monkeypatch)


@pytest.fixture
def kitchen(make: Any) -> Kitchen:
    """Five people, each piece noticed after 30, 60 or 120 seconds."""
    made: Kitchen = make(AFTERTASTE, 5)
    return made


@pytest.fixture
def taster(kitchen: Kitchen) -> Taster:
    """The first of them, at the table."""
    return kitchen.serve(kitchen.sittings()[0])[0]


def take(taster: Taster, here: Place, ago: float = 0.0) -> Any:
    """Tap the button of a piece."""
    step = 2 * here.piece - (not here.ready_at)
    return trying.take_step(taster.kitchen.store, taster.token, here.trial or "", step, ago)


def through(taster: Taster, time: Time) -> Iterator[Place]:
    """Every place of one set with its pieces, each step taken at its moment, up to its question."""
    while (here := taster.place()).kind in ("rest", "piece"):
        yield here
        if here.kind == "rest":
            time.pass_(REST + 1)
            continue
        if here.ready_at:
            time.pass_(here.seconds + 1)
        take(taster, here)
    yield here


def rows(kitchen: Kitchen) -> list[Any]:
    """Every kept row."""
    with kitchen.store.read() as tx:
        return trials.all_answers(tx)


# ---- what is sealed and dealt ----------------------------------------------------------------------------------------
@pytest.mark.parametrize(("people", "sets"), [(6, 3), (9, 1), (12, 2)])
def test_people_times_and_orders_are_dealt_in_balance(people: int, sets: int) -> None:
    """Counted: everybody each time equally often; over the panel each time at each place of a round equally often, and
    at each time both orders (a Latin square; MacFie et al. 1989 for why places are balanced)."""
    plan = replace(AFTERTASTE, assessors=tuple(map(str, range(people))), trials_each=sets)
    dealt = deal_sets(plan, 7)
    assert all(Counter(level for level, _order in own) == dict.fromkeys(map(float, TIMES), sets) for own in dealt)
    places = Counter((place % 3, level) for own in dealt for place, (level, _order) in enumerate(own))
    assert set(places.values()) == {people * sets // 3}
    orders = Counter(each for own in dealt for each in own)
    assert max(orders.values()) - min(orders.values()) <= 1


def test_one_chocolate_is_in_one_box_whatever_its_times(kitchen: Kitchen) -> None:
    """Three sets of one piece each for five people are 15 of either, and spares: one box each, none a time."""
    boxes = preparing.quantities(kitchen.store, kitchen.preparer, kitchen.study)
    assert {box.holds for box in boxes} == {"infused", PLAN.blank}
    ((cups, grams),) = {(box.cups, box.grams) for box in boxes}
    assert 15 < cups <= 18
    assert grams == cups * PLAN.piece_g


@pytest.mark.parametrize(
    ("changes", "where"),
    [
        ({"method": "three-alternative"}, "method"),
        ({"rest_seconds": 119}, "rest_seconds"),
        ({"batches": ()}, "batches"),
        ({"batches": (30, 901)}, "batches"),
        ({"blank": " "}, "blank"),
        ({"share": 1.0}, "share"),
        ({"most_g_a_day": 26.0}, "most_g_a_day"),  # three sets of two pieces of 4.5 g are 27 g
    ],
)
def test_what_an_aftertaste_cannot_be_sealed_with(changes: dict[str, Any], where: str) -> None:
    plan = replace(AFTERTASTE, assessors=tuple("abcde"), sittings=1, **changes)
    assert where in [problem.where for problem in rule.problems(plan) if problem.blocks]


def test_the_rule_says_how_it_goes() -> None:
    plan = replace(AFTERTASTE, assessors=tuple("abcde"), sittings=1, most_g_a_day=27.0)
    assert not [problem for problem in rule.problems(plan) if problem.blocks]
    said = " ".join(rule.sentences(plan))
    for words in (
        "30, 60, 120 seconds after a piece",
        "180 seconds of rest",
        "At most 27 g a day",
        "where 50 % notice",
    ):
        assert words in said
    assert proposal.propose(True, False, 8, 0.5, "aftertaste", 3).method == "two-alternative"


# ---- at the table ----------------------------------------------------------------------------------------------------
def test_a_set_goes_piece_by_piece_to_its_question(taster: Taster, time: Time) -> None:
    """Eat, wait, notice, rest, eat, wait, notice; then one question about both, and one answer."""
    seen = list(through(taster, time))
    assert [(each.kind, each.piece, bool(each.ready_at)) for each in seen] == [
        ("piece", 1, False), ("piece", 1, True), ("rest", 2, True), ("piece", 2, False), ("piece", 2, True),
        ("trial", 0, False),
    ]  # fmt: skip
    asked = seen[-1]
    assert asked.cups == (seen[0].code, seen[3].code)
    assert (seen[0].ask, "After which piece" in asked.ask) == ("is any mint still there?", True)
    level, answers = key_of(taster.kitchen, asked)
    assert {each.seconds for each in seen if each.kind == "piece"} == {level}
    taster.choose(asked, answers[0])
    assert (taster.place().kind, taster.place().piece, taster.place().number) == ("rest", 0, 2)
    assert check(taster.kitchen.store.url).sound


def test_a_reload_finds_the_same_moment(taster: Taster, time: Time) -> None:
    """The time runs on the server: asked again later, its end is the same."""
    take(taster, taster.place())
    waits = taster.place()
    time.pass_(20)
    again = taster.place()
    assert (again.ready_at, again.code, again.seconds) == (waits.ready_at, waits.code, waits.seconds)


def test_nothing_comes_before_its_turn(taster: Taster, time: Time) -> None:
    """No noticing before the moment, no second piece before the rest is over, no answer before both pieces."""
    here = taster.place()
    with pytest.raises(NotAllowed, match="both pieces"):
        taster.choose(here, (here.code or "",))
    with pytest.raises(NotAllowed, match="turn"):
        trying.take_step(taster.kitchen.store, taster.token, here.trial or "", 2, 0.0)
    take(taster, here)
    with pytest.raises(NotAllowed, match="moment"):
        take(taster, taster.place())
    time.pass_(here.seconds + 1)
    take(taster, taster.place())
    with pytest.raises(NotAllowed, match="moment"):
        trying.take_step(taster.kitchen.store, taster.token, here.trial or "", 3, 0.0)


def test_a_tap_sent_twice_is_one_step(taster: Taster, time: Time) -> None:
    """A phone that never heard the answer sends again; the moment stays where it was."""
    here = taster.place()
    assert not take(taster, here).again
    waits = taster.place()
    time.pass_(5)
    assert take(taster, here).again
    assert taster.place().ready_at == waits.ready_at


def test_a_tap_counts_from_when_it_was_made(taster: Taster) -> None:
    """Twenty seconds without a connection are not added to the time."""
    here = taster.place()
    take(taster, here, ago=20.0)
    left = moment(taster.place().ready_at or "") - clock.now()
    assert here.seconds - 22 < left.total_seconds() < here.seconds - 18


@pytest.mark.parametrize(("late", "kept"), [(8.0, True), (12.0, False)])
def test_a_moment_that_was_slept_through_is_no_answer(taster: Taster, time: Time, late: float, kept: bool) -> None:
    """Within ten seconds it was asked at its time; later the set stays without an answer and says why."""
    here = taster.place()
    take(taster, here)
    time.pass_(here.seconds + late)
    take(taster, taster.place())
    assert [row.choice for row in rows(taster.kitchen)] == [None] * (not kept)
    after = taster.place()
    assert (after.kind, after.number, after.piece) == ("rest", 1 if kept else 2, 2 if kept else 0)
    if kept:
        return
    assert rows(taster.kitchen)[0].reason == f"noticed after {here.seconds + 12} seconds instead of {here.seconds}"
    with pytest.raises(OutOfDate):
        trying.take_step(taster.kitchen.store, taster.token, here.trial or "", 3, 0.0)
    assert check(taster.kitchen.store.url).sound


def test_a_pause_waits_for_a_piece_that_is_eaten(taster: Taster, time: Time) -> None:
    """What is in the mouth cannot pause; what is not yet eaten can."""
    kitchen = taster.kitchen
    here = taster.place()
    take(taster, here)
    watching.pause(kitchen.store, kitchen.leader, kitchen.sittings()[0].id)
    assert taster.place().kind == "piece"
    time.pass_(here.seconds + 1)
    take(taster, taster.place())
    assert taster.place().kind == "paused"


@pytest.mark.parametrize(("number", "ago"), [(0, 0.0), (5, 0.0), (True, 0.0), ("1", 0.0), (1, -1.0), (1, float("nan"))])
def test_a_step_that_no_set_has_is_refused(taster: Taster, number: Any, ago: float) -> None:
    with pytest.raises(BadInput):
        trying.take_step(taster.kitchen.store, taster.token, taster.place().trial or "", number, ago)


def test_cups_tasted_together_have_no_such_steps(make: Any) -> None:
    kitchen = make(PLAN, 5)
    one = kitchen.serve(kitchen.sittings()[0])[0]
    with pytest.raises(NotAllowed, match="turn"):
        trying.take_step(kitchen.store, one.token, one.place().trial or "", 1, 0.0)


def test_the_control_is_noticed_at_the_first_time(make: Any, time: Time) -> None:
    """Where a panel that notices anything notices it; always after a person's own sets."""
    kitchen: Kitchen = make(replace(AFTERTASTE, control=Control("stronger", "30 min", 16)), 5)
    one = kitchen.serve(kitchen.sittings()[0])[0]
    seconds = []
    while (here := one.place()).kind != "done":
        if here.kind == "trial":
            one.choose(here, here.cups[:1])
        elif here.kind == "rest":
            time.pass_(REST + 1)
        else:
            seconds += [here.seconds] * (here.piece == 1 and not here.ready_at)
            time.pass_(here.seconds + 1 if here.ready_at else 0)
            take(one, here)
    assert sorted(seconds[:3]) == list(TIMES)
    assert len(seconds) > 3
    assert set(seconds[3:]) == {TIMES[0]}


# ---- what a phone gets -----------------------------------------------------------------------------------------------
def test_pages_of_a_set_tell_pieces_times_and_no_sample(taster: Taster, time: Time) -> None:
    """Everything that a phone may get of one set: no box, nothing of the plan but the taste asked for."""
    kitchen = taster.kitchen
    with kitchen.store.read() as tx:
        boxes = [box.id for box in trials.boxes(tx, kitchen.study)]
    seen = list(through(taster, time))
    heap = json.dumps([asdict(each) for each in seen] + [piece.data(each, "box") for each in seen[:2]])
    assert not [secret for secret in (*boxes, kitchen.study, "infused", "L7") if secret in heap]
    eats, waits = (piece.data(each, "box") for each in seen[:2])
    assert (eats["heading"], eats["step"], waits["step"]) == ("Trial 1 of 3, first piece", 1, 2)
    assert waits["words"]["nowTitle"] == "Now: is any mint still there?"
    assert len(waits["words"]["left"]) >= seen[0].seconds
    assert rest_timer.data(seen[2], "box")["heading"] == "Rest, then the second piece of trial 1"
    assert trial.data(seen[-1], "box")["intro"].startswith("Both pieces are behind you.")


def test_the_first_page_warns_where_the_days_grams_would_be_passed() -> None:
    """18 g so far and 27 g to come against 40 g planned: a card; against 50 g none."""
    here = Place("welcome", of=3, cups_a_set=2, one_by_one=True, grams_today=18.0, grams_ahead=27.0, most_today=40.0)
    titles = [card["title"] for card in step.data(here, "box")["cards"]]
    assert "More than was planned for a day" in titles
    assert "Each is eaten alone" in step.data(here, "box")["lede"]
    titles = [card["title"] for card in step.data(replace(here, most_today=50.0), "box")["cards"]]
    assert "More than was planned for a day" not in titles
    done = step.data(replace(here, kind="done"), "box")["small"]
    assert done[-1] == "No more than 40 g a day were planned for one person."


# ---- the verdict -----------------------------------------------------------------------------------------------------
def test_a_time_counts_only_what_was_asked_at_it(make: Any, time: Time) -> None:
    """The ladder of exactly the answers given, by name and time; somebody's late piece counts nowhere."""
    kitchen: Kitchen = make(AFTERTASTE, 5)
    given: list[tuple[str, int, int]] = []
    tasters = kitchen.serve(kitchen.sittings()[0])
    for number, one in enumerate(tasters):
        while (here := one.place()).kind != "done":
            if here.kind == "trial":
                level, answers = key_of(kitchen, here)
                right = int(level == 30 or number == 1)
                one.choose(here, answers[0] if right else wrong(here, answers))
                given.append((one.name, int(level or 0), right))
            elif here.kind == "rest":
                time.pass_(REST + 1)
            else:
                late = number == 0 and here.number == 1
                time.pass_((here.seconds + 30 * late + 1) if here.ready_at else 0)
                take(one, here)
    watching.close_sitting(kitchen.store, kitchen.leader, kitchen.sittings()[0].id, "")
    closing.open_key(kitchen.store, kitchen.leader, kitchen.study, "Ada")
    found = deciding.verdict(kitchen.store, kitchen.leader, kitchen.study)
    assert isinstance(found, Ladder)
    assert len(given) == 14
    names, levels, right = zip(*given, strict=True)
    none = judge_control("two-alternative", 0, 0, 0.05)
    assert replace(found, noticed=()) == ladder(names, levels, right, "two-alternative", 0.6, 0.05, none)
    assert [each.share for each in found.noticed] == [0.5]
    with kitchen.store.read() as tx:
        kept = tx.execute(text("SELECT count(*) FROM trial WHERE choice IS NOT NULL")).scalar()
    assert kept == 14
    assert check(kitchen.store.url).sound


# ---- how often it errs -----------------------------------------------------------------------------------------------
@pytest.mark.simulation
@pytest.mark.parametrize("repeats", [0.0, 0.5, 1.0])
def test_who_repeats_the_last_answer_misleads_nobody(draws: Any, repeats: float) -> None:
    """Sealed at 5 of 100: nothing is found where nobody notices, nor where it was gone after the first time, nor is it
    close enough where half always notice; two Monte Carlo errors are allowed."""
    studies = draws(2000, 20_000)
    random, size = np.random.default_rng(11), (studies, TASTERS, len(TIMES))
    first = np.broadcast_to(np.arange(len(TIMES)) == 0, size)
    half = np.broadcast_to((random.random((studies, TASTERS)) < 0.5)[:, :, None], size)
    nobody, early, some = (
        ladder_claims(right_answers(random, studies, repeats, notices))
        for notices in (np.zeros(size, bool), first, half)
    )
    allowed = 0.05 + 2 * (0.05 * 0.95 / studies) ** 0.5
    assert max((nobody[0] > 0).mean(), (early[0] > 1).mean(), (some[1] > 0).mean()) <= allowed


@pytest.mark.simulation
def test_three_answers_about_one_piece_would_mislead(draws: Any) -> None:
    """Why each piece is noticed once: gone after 30 s, half repeating themselves, it is still found at 60 s in most
    studies."""
    studies = draws(500, 5000)
    first = np.broadcast_to(np.arange(len(TIMES)) == 0, (studies, TASTERS, len(TIMES)))
    found, _clean = ladder_claims(right_answers(np.random.default_rng(12), studies, 0.5, first, apart=False))
    assert (found > 1).mean() > 0.7
