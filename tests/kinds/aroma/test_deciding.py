"""From the last set to a signed verdict, for every aim; nothing is told before its time."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest

from analysis.choice.carry_over import Ladder, ladder
from analysis.choice.forced_choice import ChoiceResult
from analysis.choice.threshold import dose_answers, fit
from studyapp.errors import BadInput, NotAllowed
from studyapp.kinds.aroma import deciding as aroma_deciding
from studyapp.kinds.aroma.plan import Control
from studyapp.records import CONTROL
from studyapp.services import closing, joining, tasting, watching
from studyapp.services.checking import check
from tests.conftest import another_leader
from tests.kinds.aroma.aroma_kitchen import NAMES, PLAN, Kitchen, key_of, wrong

DOSES = (5.0, 10.0, 20.0, 40.0)
DOSE_PLAN = replace(
    PLAN, aim="dose", method="three-alternative", nameable=True, note="mint", doses=DOSES, sets_a_sitting=6
)
LADDER_PLAN = replace(
    PLAN,
    aim="carry over",
    method="three-alternative",
    nameable=True,
    note="mint",
    batches=(1, 2, 3),
    reference="plain, made in May",
    pd_limit=0.5,
    sets_a_sitting=3,
    control=Control("stronger", "40 g per kg", 24),
)
SEQUENTIAL_PLAN = replace(PLAN, sequential=True, cap=36, pd_limit=0.5, beta=0.05)


def first(count: int) -> Any:
    """The first `count` answers are right, whoever gives them."""
    left = iter([True] * count + [False] * 1000)
    return lambda _name, _level, _number: next(left)


def opened(kitchen: Kitchen) -> Any:
    """The verdict after the key is open."""
    closing.open_key(kitchen.store, kitchen.leader, kitchen.study, "Ada")
    return aroma_deciding.verdict(kitchen.store, kitchen.leader, kitchen.study)


# Smallest number right at .05, published: ISO 4120 Table A.1 (18 triangles: 10), ISO 10399 Table A.1 (24: 17);
# exact binomial tails for the others: 18 two-alternative 13, 18 three-alternative 10, 18 tetrad 10, 18 in five 5.
@pytest.mark.parametrize(
    ("method", "people", "mark"),
    [
        ("triangle", 6, 10),
        ("duo-trio", 8, 17),
        ("two-alternative", 6, 13),
        ("three-alternative", 6, 10),
        ("tetrad", 6, 10),
        ("two-out-of-five", 6, 5),
    ],
)
@pytest.mark.parametrize("short", [0, 1])
def test_the_published_mark_decides(make: Any, method: str, people: int, mark: int, short: int) -> None:
    """At the mark the aroma counts as found, one right answer below it does not."""
    kitchen = make(replace(PLAN, method=method, nameable=True, note="mint"), people)
    kitchen.taste_all(first(mark - short))
    result = opened(kitchen)
    assert isinstance(result, ChoiceResult)
    assert (result.trials_each, result.correct, result.minimum_correct) == ((3,) * people, mark - short, mark)
    assert result.different is (short == 0)


def test_the_answers_tell_who_what_and_whether_it_was_right(make: Any) -> None:
    """One row a set, with the order of the cups as 0 and 1, only after the key is open."""
    kitchen = make()
    kitchen.taste_all(lambda name, _level, _number: name == "Wren")
    with pytest.raises(NotAllowed, match="not open"):
        aroma_deciding.answers(kitchen.store, kitchen.leader, kitchen.study)
    closing.open_key(kitchen.store, kitchen.leader, kitchen.study, "Ada")
    frame = aroma_deciding.answers(kitchen.store, kitchen.leader, kitchen.study)
    columns = ["assessor", "level", "sitting", "position", "order", "correct", "guess", "at", "control"]
    assert list(frame) == columns
    assert frame.groupby("assessor")["correct"].sum().to_dict() == {name: 3 * (name == "Wren") for name in NAMES[:6]}
    assert frame["order"].value_counts().to_dict() == dict.fromkeys(("001", "010", "100", "110", "101", "011"), 3)


# ---- the key -------------------------------------------------------------------------------------------------------
def test_the_key_stays_shut_until_every_sealed_set_is_behind(make: Any) -> None:
    """Looking early is more chances of a false alarm; a missing set needs its reason first."""
    kitchen = make()
    with pytest.raises(NotAllowed, match="12 sets of Tasting 1 are still open"):
        opened(kitchen)
    one, two = kitchen.sittings()
    for taster in kitchen.serve(one):
        taster.finish(lambda _level, _number: True)
    kitchen.serve(two)
    with pytest.raises(NotAllowed, match="6 sets of Tasting 2"):
        opened(kitchen)
    watching.close_sitting(kitchen.store, kitchen.leader, two.id, "power cut")
    assert opened(kitchen).trials == 12
    with pytest.raises(NotAllowed, match="before"):
        opened(kitchen)
    assert check(kitchen.store.url).sound


def test_the_key_is_opened_by_the_leader_who_says_why_alone(make: Any) -> None:
    """The only leader gives a reason, and nobody but a leader opens it."""
    kitchen = make()
    with pytest.raises(BadInput, match="why nobody"):
        closing.open_key(kitchen.store, kitchen.leader, kitchen.study, " ")
    with pytest.raises(NotAllowed):
        closing.open_key(kitchen.store, kitchen.preparer, kitchen.study, "Ben")


def test_no_phone_reads_on_after_the_key_is_open(make: Any) -> None:
    """Seats end with the opening."""
    kitchen = make(replace(PLAN, trials_each=1, sets_a_sitting=1))
    tasters = kitchen.serve(kitchen.sittings()[0])
    for taster in tasters:
        taster.finish(lambda _level, _number: True)
    opened(kitchen)
    with pytest.raises(NotAllowed):
        tasting.place(kitchen.store, tasters[0].token)
    assert joining.seat_of(kitchen.store, tasters[0].token) is None


def test_without_answers_there_is_no_verdict(make: Any) -> None:
    """A study whose sittings were all closed says so in one sentence."""
    kitchen = make(DOSE_PLAN)
    for sitting in kitchen.sittings():
        watching.close_sitting(kitchen.store, kitchen.leader, sitting.id, "cancelled")
    with pytest.raises(BadInput, match="too few answers"):
        opened(kitchen)


# ---- by aim --------------------------------------------------------------------------------------------------------
def test_doses_give_a_threshold(make: Any) -> None:
    """The fit of exactly the answers given, by name and dose."""
    kitchen = make(DOSE_PLAN, 5)
    given: list[tuple[str, float, int]] = []

    def right(name: str, level: float | None, _number: int) -> bool:
        assert level is not None
        said = level >= 20 or (level == 10 and NAMES.index(name) % 2 == 0)
        given.append((name, level, int(said)))
        return said

    kitchen.taste_all(right)
    result = opened(kitchen)
    assert sorted(dose for _name, dose, _said in given) == sorted(DOSES * 15)
    expected = fit(
        dose_answers(*(list(column) for column in zip(*sorted(given), strict=True))), "three-alternative", 0.05
    )
    assert (result.estimate, result.low, result.high) == (expected.estimate, expected.low, expected.high)
    assert 5 < (result.estimate.value or 0) < 20


def test_batches_give_a_ladder(make: Any) -> None:
    """Found in +1, gone from +2 on: marks for ten people, three sets each, at 50 % (found from 15, gone up to 13)."""
    kitchen = make(LADDER_PLAN, 8)
    given: list[tuple[str, int, int]] = []

    def right(name: str, level: float | None, number: int) -> bool:
        if level == CONTROL:
            return True
        said = level == 1 or (number + NAMES.index(name)) % 3 == 0
        given.append((name, int(level or 0), int(said)))
        return said

    kitchen.taste_all(right)
    result = opened(kitchen)
    assert isinstance(result, Ladder)
    names, batches, said = (list(column) for column in zip(*given, strict=True))
    expected = ladder(names, batches, said, "three-alternative", 0.5, 0.05)
    assert (result.control.trials, result.control.correct) == (24, 24)
    assert [(r.batch, r.result.correct) for r in result.rungs] == [(r.batch, r.result.correct) for r in expected.rungs]
    assert (result.detected_through, result.clean_from_all_tasted) == (1, expected.clean_from_all_tasted)
    assert result.rungs[0].result.correct == 24


# ---- a sequential plan ---------------------------------------------------------------------------------------------
def standing(kitchen: Kitchen) -> Any:
    """What the leader reads while it runs."""
    return aroma_deciding.standing(kitchen.store, kitchen.leader, kitchen.study)


def test_the_lines_move_only_after_a_complete_round(make: Any) -> None:
    """Answers of a round stay hidden until everybody's is in."""
    kitchen = make(SEQUENTIAL_PLAN)
    tasters = kitchen.serve(kitchen.sittings()[0])
    for number, taster in enumerate(tasters):
        assert (standing(kitchen).served, standing(kitchen).given) == (0, 0)
        here = taster.place()
        _level, answers = key_of(kitchen, here)
        taster.choose(here, answers[0] if number % 3 == 0 else wrong(here, answers))
    seen = standing(kitchen)
    assert (seen.served, seen.given, seen.right) == (1, 6, 2)
    assert [(end.trials, end.correct) for end in seen.judged.rounds] == [(6, 2)]


def test_a_sequential_plan_ends_early_and_leaves_the_rest_unserved(make: Any) -> None:
    """Wald 1947 for p0 = 1/3, p1 = 2/3, 5 % each: when all are right, the first round of six ends above the line."""
    kitchen = make(SEQUENTIAL_PLAN)
    for taster in kitchen.serve(kitchen.sittings()[0]):
        here = taster.place()
        taster.finish(lambda _level, _number: True)
        assert here.kind == "trial"
    seen = standing(kitchen)
    # k = ln[(2/3)(2/3) / ((1/3)(1/3))] = ln 4, intercept ln 19 / ln 4 = 2.124, slope ln 2 / ln 4 = 1/2: 6 >= 3 + 2.124
    assert (seen.standing, seen.judged.trials, seen.judged.correct) == ("different", 6, 6)
    assert (seen.given, seen.right) == (12, 12), "every answer of complete rounds is counted"
    assert opened(kitchen).standing == "different"
    assert {sitting.state for sitting in kitchen.sittings()} == {"closed"}
    assert check(kitchen.store.url).sound


def test_a_sequential_plan_that_goes_on_keeps_its_key(make: Any) -> None:
    """The key opens at an end of the plan only."""
    kitchen = make(SEQUENTIAL_PLAN)
    for seat, taster in enumerate(kitchen.serve(kitchen.sittings()[0])):
        taster.finish(lambda _level, _number, right=seat % 2 == 0: right)
    assert standing(kitchen).standing == "go on"
    with pytest.raises(NotAllowed, match="still open"):
        opened(kitchen)


def test_a_plan_with_a_fixed_number_shows_no_count(make: Any) -> None:
    """Only a sequential plan is read while it runs."""
    kitchen = make()
    with pytest.raises(NotAllowed, match="complete"):
        standing(kitchen)


# ---- signatures ----------------------------------------------------------------------------------------------------
def test_a_verdict_is_signed_by_two_and_kept(make: Any) -> None:
    """The document goes into the record with the first signature; the second decides."""
    kitchen = make(replace(PLAN, trials_each=1, sets_a_sitting=1))
    kitchen.taste_all(first(6))
    with pytest.raises(NotAllowed, match="not open"):
        closing.sign(kitchen.store, kitchen.leader, kitchen.study, "ran the test")
    result = opened(kitchen)
    closing.sign(kitchen.store, kitchen.leader, kitchen.study, "ran the test")
    with pytest.raises(NotAllowed, match="Somebody else"):
        closing.sign(kitchen.store, kitchen.leader, kitchen.study, "decides")
    closing.sign(kitchen.store, another_leader(kitchen.store, kitchen.leader), kitchen.study, "decides")
    kept = closing.kept_verdict(kitchen.store, kitchen.leader, kitchen.study, 1)
    assert kept is not None
    assert (kept["different"], kept["p_value"]) == (True, pytest.approx((1 / 3) ** 6))
    assert result.p_value == pytest.approx((1 / 3) ** 6)
    assert [one.name for one in closing.signatures(kitchen.store, kitchen.leader, kitchen.study)] == ["Ada", "Ida"]
    assert check(kitchen.store.url).sound
