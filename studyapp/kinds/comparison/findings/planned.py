"""What a plan of a comparison can show, in sentences."""

from __future__ import annotations

from typing import TYPE_CHECKING

from studyapp.findings.numbers import of_ten, units
from studyapp.kinds.comparison.deciding.prospects import BATCH
from studyapp.methods import METHODS
from studyapp.words import _, ngettext

if TYPE_CHECKING:
    from studyapp.kinds.comparison.deciding.choices import Hint
    from studyapp.kinds.comparison.deciding.prospects import PlanPower
    from studyapp.records import Chance

# Fewer chances in 100 than this are said to be few, so that nobody tastes for nothing.
FEW = 0.5


def assumed() -> str:
    """What the chances rest on."""
    return _(
        "If the claims hold: alike makes, or better by one and a half margins where better is claimed. Spreads are "
        "those of ordinary panels; batches differ by {sd} units."
    ).format(sd=units(BATCH))


def hardly(power: PlanPower) -> str:
    """Said first where an answer will be rare; empty where it will not."""
    if power.own.share >= FEW:
        return ""
    return _("An answer is rare with this plan: {chance}. Fewer attributes, more people or wider margins help.").format(
        chance=of_ten(power.own.share)
    )


def others(power: PlanPower) -> list[tuple[str, Chance]]:
    """Other numbers of people, then of batches, each with its chance."""
    people = [(ngettext("{n} person", "{n} people", n).format(n=n), chance) for n, chance in power.people.items()]
    return people + [
        (
            _("1 batch of each: of these batches")
            if n == 1
            else _("{n} batches of each, a sitting each: of the make").format(n=n),
            chance,
        )
        for n, chance in power.batches.items()
    ]


def choice_told(hint: Hint) -> str:
    """Why a forced choice would answer better."""
    return _(
        "Is the only question whether they are the same? Then a forced choice answers better for as many pieces: "
        "“{test}” shows alike pairs to be the same in {same} and finds a difference of the margin in {noticed}; scores "
        "do so in {scores} and {told}."
    ).format(
        test=METHODS[hint.choice.test].title(),
        same=of_ten(hint.choice.same),
        noticed=of_ten(hint.choice.noticed),
        scores=of_ten(hint.scores.same),
        told=of_ten(hint.scores.noticed),
    )
