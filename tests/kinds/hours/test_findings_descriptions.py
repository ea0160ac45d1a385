"""Reruns beside a verdict are told, and never change it."""

from __future__ import annotations

from dataclasses import replace

from analysis.stopping.describe import Answer, Description, Habit
from studyapp.kinds.hours.findings import hours_finding
from tests.kinds.hours.decisions import decision, every_kind


def described(*hours: float | None) -> Description:
    """One answer an assessor: hours of a stop, None for `cannot tell`."""
    without = {
        f"a{n}": Answer("stop", hour) if hour is not None else Answer("cannot tell", None)
        for n, hour in enumerate(hours)
    }
    habits = {"acidity": Habit(4.0, None)}
    return Description(without, Answer("stop", 16.0), Answer("conche longer", None), habits)


def test_an_answer_that_stays_is_said_to_stay() -> None:
    """Eight reruns, one answer."""
    finding = hours_finding(decision(), description=described(*[12.0] * 8))
    assert finding.changes[-1] == "Leaving out any one assessor: 12 h, 8 times of 8."


def test_a_panel_of_five_is_told_that_it_needs_everyone() -> None:
    """Four assessors get no verdict by the rule (STOP rule, fewest assessors), which says nothing about the fifth."""
    five = replace(described(*[None] * 5), too_few_without=True)
    finding = hours_finding(decision(), description=five)
    assert finding.changes[-1] == "With one assessor less there would be no verdict: 5 are the fewest."


def test_an_answer_that_moves_is_counted() -> None:
    """The most frequent answer first."""
    finding = hours_finding(decision(), description=described(16.0, *[12.0] * 6, None))
    assert finding.changes[-1] == "Leaving out any one assessor: 12 h 6 times, 16 h 1 time and cannot tell 1 time."


def test_reruns_and_habits_stand_beside_the_verdict() -> None:
    """They are sentences for the table of numbers; headline and lede stay as they are."""
    plain, told = hours_finding(decision()), hours_finding(decision(), description=described(*[12.0] * 8))
    habit = (
        "Two habits on acidity, which do not guard against stopping too early: the first pull not told from the next "
        "is 4 h, the first not told from the longest is none."
    )
    assert told.beside[1:] == (
        "Without everyone's first serving: 16 h.",
        "With every assessor's scale stretched to the panel's: conche longer.",
        habit,
    )
    assert (told.headline, told.lede, told.facts) == (plain.headline, plain.lede, plain.facts)
    assert plain.beside == ()


def test_a_panel_that_cannot_tell_gets_no_promise_from_reruns() -> None:
    """After `cannot tell` the reruns stand with the numbers only."""
    finding = hours_finding(every_kind()["reference meets limits"], description=described(*[None] * 8))
    assert not any("Leaving out" in sentence for sentence in finding.changes)
    assert finding.beside[0] == "Leaving out any one assessor: cannot tell, 8 times of 8."
