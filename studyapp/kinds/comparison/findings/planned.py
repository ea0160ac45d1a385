"""What a plan of a comparison can show, in sentences."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from studyapp.findings.numbers import decimal, hours, of_ten, units
from studyapp.findings.spreads import spreads_told
from studyapp.kinds.comparison.deciding.prospects import BAD, BATCH, BETTER, read_already
from studyapp.methods import METHODS
from studyapp.words import _, ngettext

if TYPE_CHECKING:
    from studyapp.kinds.comparison.deciding.choices import Hint
    from studyapp.kinds.comparison.deciding.prospects import Ends, PlanPower, Time
    from studyapp.kinds.comparison.plan import ComparisonPlan
    from studyapp.records import Chance
    from studyapp.services.spreads import Spreads

# Fewer chances in 100 than this are said to be few, so that nobody tastes for nothing.
FEW = 0.5


def assumed(
    spreads: Spreads, attributes: Sequence[str], batches: bool, plan: ComparisonPlan | None = None
) -> tuple[str, ...]:
    """What the chances rest on."""
    told = [
        _(
            "Shown: if the claims hold, with makes that are alike, or better by {n} margins where better is claimed."
        ).format(n=decimal(BETTER)),
        _("Found out: a make that is {n} margins worse on one attribute is shown not to be good enough.").format(
            n=decimal(BAD)
        ),
    ]
    if batches:
        told.append(_("Batches are taken to differ by {sd} units.").format(sd=units(BATCH)))
    if plan is not None and any(one.limited for one in plan.alike):
        told.append(_("Limits of instruments are taken as they were read.") if read_already(plan) else limits_assumed())
    return (*told, *spreads_told(spreads, attributes))


def limits_assumed() -> str:
    """What is taken of limits that nobody has read yet."""
    return _("Limits of instruments are assumed to be kept by far.")


def times(time: Time | None) -> list[tuple[str, Chance]]:
    """Chances where less time is claimed, each with its label: a sealed pair first, as it is proposed."""
    if time is None:
        return []
    pair = _("B after {short} h as good as A after {long} h, and A not").format(
        short=hours(time.short), long=hours(time.long)
    )
    if time.any is None:
        return [(_("less time shown"), time.pair)]
    return [(pair, time.pair), (_("A needs longer by any number of hours"), time.any)]


def time_told(time: Time | None) -> str:
    """That hours are rarely shown, and what is proposed in their place; empty where no hours are claimed."""
    if time is None or time.any is None:
        return ""
    pair = _("One sealed pair of times shows less time in {n} of 100.").format(n=round(100 * time.pair.share))
    return f"{hours_told(time.any, time.needed)} {pair}"


def hours_told(chance: Chance, needed: tuple[float, float]) -> str:
    """How often any number of hours is shown, were so many needed by the reference's make and by the other."""
    return _(
        "If the reference truly needs {a} h and the other {b} h, these pieces show that it needs longer by any number "
        "of hours in about {n} of 100 studies."
    ).format(a=decimal(needed[0]), b=decimal(needed[1]), n=round(100 * chance.share))


def hardly(power: PlanPower) -> str:
    """Said first where an answer will be rare; empty where it will not."""
    if power.own.shown.share >= FEW:
        return ""
    return _("An answer is rare with this plan: {chance}. Fewer attributes, more people or wider margins help.").format(
        chance=of_ten(power.own.shown.share)
    )


def heads() -> list[str]:
    """Above `others`."""
    return [_("with"), _("shown"), _("cannot tell"), _("found out")]


def others(power: PlanPower) -> list[list[str]]:
    """Other numbers of people, then of batches, each with its chances of each outcome in 100."""
    people = [
        [ngettext("{n} person", "{n} people", n).format(n=n), *_shares(chances)] for n, chances in power.people.items()
    ]
    return people + [[_batches(n), *_shares(chances)] for n, chances in power.batches.items()]


def _batches(n: int) -> str:
    if n == 1:
        return _("1 batch of each, of these batches alone")
    return _("{n} batches of each, a sitting each, of the make").format(n=n)


def _shares(chances: Ends) -> list[str]:
    return [f"{round(100 * one.share)}" for one in (chances.shown, chances.open, chances.missed)]


def two_batches() -> str:
    """Why two batches are not offered."""
    return _("In 100 such studies. Two batches of each bear no claim on the make: they look alike by chance too often.")


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
