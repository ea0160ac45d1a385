"""What a plan can show, against the exact table of designs and an independent count of binomial tails."""

from __future__ import annotations

import random
from dataclasses import replace

import pytest
from scipy import stats

from analysis.choice.forced_choice import judge_panel
from analysis.choice.sequential import SequentialPlan, judge
from studyapp.errors import BadInput
from studyapp.kinds.aroma.deciding import prospects
from studyapp.kinds.aroma.files import forced_choice
from studyapp.kinds.aroma.findings import plans
from studyapp.kinds.aroma.plan import AromaPlan, Control

SIX = tuple("abcdef")
CONTROL = Control("stronger", "40 g of leaf per kg", 9)
PLAN = AromaPlan("Mint", assessors=SIX, method="triangle", trials_each=3, pd_limit=0.5, control=CONTROL)


def test_marks_and_power_are_binomial_tails() -> None:
    """Eighteen triangles: P(X >= 10) at 1/3 is the first below 5 %; power at pd 50 % is a tail at 2/3 (scipy)."""
    found = prospects.prospect(PLAN)
    assert found is not None
    mark = found.marks.minimum_correct
    assert mark == next(x for x in range(19) if stats.binom.sf(x - 1, 18, 1 / 3) <= 0.05)
    assert found.marks.power == pytest.approx(stats.binom.sf(mark - 1, 18, 2 / 3), abs=1e-12)
    assert found.marks.these_assessors.maximum_correct == max(
        x for x in range(19) if stats.binom.cdf(x, 18, 2 / 3) <= 0.05
    )


def test_six_people_three_times_can_show_61_percent_and_never_39() -> None:
    """Known beforehand: 6 assessors, 3 trials at guess rate 1/3 show 61 % in 8 of 10; the floor is 1 - .05^(1/6)."""
    found = prospects.prospect(PLAN)
    assert found is not None
    said = plans.can_show(PLAN, found)
    assert said[0] == "6 people, 3 trials each, can show that fewer than 61 % notice, not fewer than 50 %."
    assert len(said) == 2, "at a limit that so few people can show nothing is said of smaller ones"
    smaller = replace(PLAN, pd_limit=0.3)
    below = plans.can_show(smaller, prospects.prospect(smaller))[2]
    assert below.startswith("However often they taste, answers as an identical pair gives show nothing below 39 %")
    assert found.reach.floor_pd == pytest.approx(1 - 0.05 ** (1 / 6))


def test_marks_are_told_as_they_will_be_sealed() -> None:
    found = prospects.prospect(PLAN)
    assert found is not None
    told = {fact.label: (fact.value, fact.note) for fact in plans.marks(PLAN, found)}
    assert told["Answers"][0] == "18 answers"
    assert told["Detectable from"] == ("10 right or more", "comes in 89 of 100 if 50 % notice")
    assert told["Close enough up to"][0] == "6 right or fewer"
    # The control by scipy: found from 6 of 9, P(X >= 6 | 9, 1/3) = .0424; 8 of 10 right, P(X >= 6 | 9, .8) = .914.
    mark = next(x for x in range(10) if stats.binom.sf(x - 1, 9, 1 / 3) <= 0.05)
    chance = stats.binom.sf(mark - 1, 9, 0.8)
    assert told["Control"] == (
        "9 sets",
        f"found from {mark} right; in {round(100 * chance)} of 100 if 8 of 10 are right",
    )
    # Up to 2 right are fewer than guessing explains: P(X <= 2 | 18, 1/3) = .033.
    both = round(100 * (stats.binom.cdf(6, 18, 1 / 3) - stats.binom.cdf(2, 18, 1 / 3)) * chance)
    assert told["Close enough up to"][1].endswith(f"comes in {both} of 100 if nobody notices")


def test_a_plan_without_a_control_promises_no_close_enough() -> None:
    """Neither in its marks nor in its sentences."""
    for plan in (replace(PLAN, control=None), replace(PLAN, control=None, sequential=True, cap=36, beta=0.05)):
        found = prospects.prospect(plan)
        assert found is not None
        told = {fact.label: (fact.value, fact.note) for fact in plans.marks(plan, found)}
        assert told["Control"] == ("none", "“close enough” cannot be said")
        said = plans.can_show(plan, found)
        assert said[-1].endswith("never “close enough”.")
        assert "can show that fewer" not in " ".join(said)
    assert told.get("Close enough") is None


def test_chances_stand_side_by_side_for_what_may_be_true() -> None:
    """Six people, three triangles each, limit 50 %: found from 10, close up to 6, up to 2 too few right (binomial tails
    of scipy at 1/3, 1/2, 2/3); the plan page and its first fact say the same of an identical pair."""
    found = prospects.prospect(PLAN)
    assert found is not None
    heads, rows = plans.chance_table(0.5, prospects.chances(found))
    assert heads[1:] == ["nobody notices", "25 % notice", "50 % notice"]
    cdf = [[stats.binom.cdf(x, 18, p) for x in (2, 6, 9)] for p in (1 / 3, 1 / 2, 2 / 3)]
    found_control = stats.binom.sf(5, 9, 0.8)  # 9 sets, found from 6
    different, close = [1 - at[2] for at in cdf], [(at[1] - at[0]) * found_control for at in cdf]
    expected = [different, close, [1 - one - other for one, other in zip(different, close, strict=True)]]
    for row, chances in zip(rows, expected, strict=True):
        shown = [0.0 if cell == "under 1" else float(cell) for cell in row[1:]]
        assert shown == pytest.approx([100 * chance for chance in chances], abs=0.51)
    note = {fact.label: fact.note for fact in plans.marks(PLAN, found)}["Close enough up to"]
    assert note.endswith(f"comes in {rows[1][1]} of 100 if nobody notices")


def test_a_plan_that_may_end_early_tells_its_cap() -> None:
    """Triangle, 5 % and 5 %, pd 50 %, six rounds of six: different from 19, same up to 18 (worked out apart)."""
    plan = replace(PLAN, beta=0.05, sequential=True, cap=36, control=replace(CONTROL, sets=12))
    found = prospects.prospect(plan)
    assert found is not None
    told = {fact.label: fact.value for fact in plans.marks(plan, found)}
    assert told["Answers"] == "up to 36"
    said = " ".join(plans.can_show(plan, found))
    assert "19 answers on average if nobody notices, after 19 if 50 % do, after 36 at the latest" in said
    assert "for these assessors only" in said
    assert "people like them" not in said, "a plan by rounds never speaks for others"
    assert told["Detectable at the cap from"] == "19 right"
    assert told["Close enough at the cap up to"] == "18 right"
    # 1 - .0177 - 0 (no count at this cap is undecided) times P(X >= 8 | 12, .8), by scipy
    _heads, rows = plans.chance_table(0.5, prospects.chances(found))
    assert rows[1][1] == f"{round(100 * (1 - 0.0177) * stats.binom.sf(7, 12, 0.8))}"
    assert (told["Rounds"], told["False “different”"], told["False “same”"]) == ("6", "1.8 %", "3.1 %")


def test_a_plan_over_doses_says_what_width_to_expect() -> None:
    """Eight people, six doses, three sets: about a factor 1.8 up and down (simulated beforehand)."""
    plan = AromaPlan("Mint", aim="dose", assessors=tuple("abcdefgh"), doses=(5, 10, 20, 40, 80, 160), trials_each=3)
    found = prospects.prospect(plan)
    assert found is not None
    said = plans.can_show(plan, found)
    assert "about a factor 1.8 up and down" in said[0]
    assert said[1].startswith("Take 5 people, 4 doses and 20 answers")
    assert plans.marks(plan, found) == ()


def test_nobody_named_is_no_prospect_and_nonsense_is_refused() -> None:
    assert prospects.prospect(AromaPlan("Mint")) is None
    with pytest.raises(BadInput, match="nobody tastes more than"):
        prospects.prospect(AromaPlan("Mint", assessors=SIX, trials_each=41))


def test_ways_to_an_answer_name_the_better_question_and_cost_in_order() -> None:
    """Chances of an answer are tails of scipy's binomial; a taste that the plan does not name is not asked by name."""
    result = judge_panel("triangle", (3,) * 6, (2, 1, 1, 1, 2, 1), 0.05, 0.5)
    assert {way.method for way in prospects.ways(PLAN, result)} == {"triangle"}
    ways = prospects.ways(replace(PLAN, nameable=True, note="mint"), result)
    costs = [way.people * way.trials_each for way in ways]
    assert costs == sorted(costs)
    named = [way for way in ways if way.method == "three-alternative"]
    assert named, "a taste that can be named is found with fewer cups"
    more = next(way for way in ways if (way.method, way.trials_each) == ("triangle", 6))
    mark = next(x for x in range(37) if stats.binom.sf(x - 1, 36, 1 / 3) <= 0.05)
    most = forced_choice.judge_totals("triangle", 36, 0, 0.05, 0.5).fewer_at_most
    assert most == max(x for x in range(37) if stats.binom.cdf(x, 36, 1 / 3) <= 0.05)
    close = judge_panel("triangle", (6,) * 6, (0,) * 6, 0.05, 0.5).similar.maximum_correct
    assert close is not None
    assert close < mark
    # One control set in four of all is twelve beside thirty-six; found from eight right, by eight in ten.
    held = stats.binom.sf(7, 12, 0.8)
    assert stats.binom.sf(7, 12, 1 / 3) <= 0.05 < stats.binom.sf(6, 12, 1 / 3)
    assert more.chances == pytest.approx(
        [
            stats.binom.sf(mark - 1, 36, p)
            + held * (stats.binom.cdf(min(close, mark - 1), 36, p) - stats.binom.cdf(most, 36, p))
            for p in (1 / 3, 1 / 2, 2 / 3)
        ],
        abs=1e-12,
    )
    assert named[0].surely < prospects.SURE, "with a control that has to be found, three sets each are not sure enough"
    assert [way.trials_each for way in named] == [3, 6]
    rows = plans.way_rows(PLAN, ways)
    assert any(row.what == "6 people, 6 sets each" and row.asks == "6 answers, 81 g" for row in rows)


def test_a_longer_plan_is_offered_that_decides_nine_times_in_ten() -> None:
    """Checked by playing it: 400 plans with nobody noticing, 1 in 10 undecided at most (3 standard errors)."""
    short = forced_choice.plan_sequential("triangle", 0.05, 0.05, 0.3, 24)
    cap = prospects.settling_cap(short)
    assert cap is not None
    assert cap > 24
    longer, chance = forced_choice.plan_sequential("triangle", 0.05, 0.05, 0.3, cap), random.Random(7)
    undecided = sum(_played(longer, chance) == "cannot tell" for _n in range(400))
    assert undecided / 400 <= 0.1 + 3 * (0.1 * 0.9 / 400) ** 0.5


def _played(plan: SequentialPlan, chance: random.Random) -> str:
    """One plan to its end, every answer a guess among three."""
    answers: list[list[int | None]] = [[int(chance.random() < 1 / 3)] for _answer in range(plan.cap)]
    found = judge(plan, answers)
    return "cannot tell" if found.reason == "between the marks" else found.standing
