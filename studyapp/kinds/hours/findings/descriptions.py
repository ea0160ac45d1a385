"""What stands beside a verdict and never changes it: one assessor less, no first servings, own gains, two habits."""

from __future__ import annotations

from collections import Counter
from typing import TYPE_CHECKING

from studyapp.findings.numbers import decimal, hours, listed, opening
from studyapp.words import _, ngettext

if TYPE_CHECKING:
    from analysis.stopping.agreement import Agreement
    from analysis.stopping.describe import Answer, Description, Habit


def left_out(description: Description | None) -> str:
    """How the answer moves when any one assessor is left out; empty when that was not tried."""
    if description is None or not description.without:
        return ""
    if description.too_few_without:
        return _("With one assessor less there would be no verdict: {n} are the fewest.").format(
            n=len(description.without)
        )
    counted = Counter(_answer(answer) for answer in description.without.values())
    if len(counted) == 1:
        [(answer, number)] = counted.items()
        return _("Leaving out any one assessor: {answer}, {n} times of {n}.").format(answer=answer, n=number)
    answers = [
        ngettext("{answer} {n} time", "{answer} {n} times", number).format(answer=answer, n=number)
        for answer, number in counted.most_common()
    ]
    return _("Leaving out any one assessor: {answers}.").format(answers=listed(answers))


def beside(description: Description | None) -> tuple[str, ...]:
    """Reruns and habits in sentences, for the numbers below a verdict."""
    if description is None:
        return ()
    said = [left_out(description)]
    if description.first_left_out is not None:
        said.append(_("Without everyone's first serving: {answer}.").format(answer=_answer(description.first_left_out)))
    if description.own_gains is not None:
        said.append(
            _("With every assessor's scale stretched to the panel's: {answer}.").format(
                answer=_answer(description.own_gains)
            )
        )
    said += [_agreed(name, agreed) for name, agreed in description.agreements.items()]
    said += [_habit(name, habit) for name, habit in description.habits.items()]
    return tuple(sentence for sentence in said if sentence)


def _answer(answer: Answer) -> str:
    if answer.verdict == "confirmed":
        return _("confirmed")
    if answer.hours is not None:
        return _("{h} h").format(h=hours(answer.hours))
    return {
        "conche longer": _("conche longer"),
        "no hour fits": _("no hour fits"),
        "not confirmed": _("not confirmed"),
    }.get(answer.verdict, _("cannot tell"))


def _agreed(name: str, agreed: Agreement) -> str:
    return _(
        "{name}: the means of these {n} assessors agree by {mean}, 95 % interval {low} to {high}; 1 is full agreement."
    ).format(
        name=opening(name),
        n=agreed.assessors,
        mean=decimal(agreed.mean, 2),
        low=decimal(agreed.low, 2),
        high=decimal(agreed.high, 2),
    )


def _habit(name: str, habit: Habit) -> str:
    return _(
        "Two habits on {name}, which do not guard against stopping too early: the first pull not told from the next "
        "is {next}, the first not told from the longest is {longest}."
    ).format(name=name, next=_pull(habit.next_pull), longest=_pull(habit.tukey))


def _pull(hour: float | None) -> str:
    return _("none") if hour is None else _("{h} h").format(h=hours(hour))
