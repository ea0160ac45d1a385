"""The dose from which, or the time until which, a chosen share notices: one fact each, with no more digits than hold.

The last digit of an estimate is the first that its nearer limit leaves open (JCGM 100:2008, 7.2.6); limits are rounded
outwards, so that no claim grows by rounding, and nothing leaves what was asked about.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from math import ceil, floor, log10
from typing import TYPE_CHECKING

from studyapp.findings.facts import Fact
from studyapp.findings.numbers import decimal, percent
from studyapp.words import _

if TYPE_CHECKING:
    from analysis.choice.threshold import DosePoint, ShareLevel

Named = Callable[[str], str]
ENOUGH = 1e-9


def noticed_facts(levels: Sequence[ShareLevel], asked: Sequence[float], fades: bool, named: Named) -> tuple[Fact, ...]:
    """One fact a share. `asked` are the levels asked about; `fades` says that later ones are noticed less, `named` puts
    the unit to a number."""
    return tuple(_fact(each, (min(asked), max(asked)), fades, named) for each in levels)


def _fact(level: ShareLevel, ends: tuple[float, float], fades: bool, named: Named) -> Fact:
    step = _step(level, ends)
    first, last = (named(decimal(end, 0 if float(end).is_integer() else 1)) for end in ends)
    told = level.estimate
    if told.value is not None:
        about = named(_rounded(told.value, step, round, ends))
        value = (_("until about {level}") if fades else _("from about {level} on")).format(level=about)
    elif told.where == "below":
        value = (_("not even until {level}") if fades else _("already at {level}")).format(level=first)
    else:
        value = (_("still at {level}") if fades else _("not up to {level}")).format(level=last)
    label = _("{share} still notice it") if fades else _("{share} notice it")
    return Fact(label.format(share=percent(level.share)), value, _limits(level, step, ends, named))


def _limits(level: ShareLevel, step: float, ends: tuple[float, float], named: Named) -> str:
    low = _end(level.low, "above", ends[1], _rounded_by(step, floor, ends), named, _("at least {level}"))
    high = _end(level.high, "below", ends[0], _rounded_by(step, ceil, ends), named, _("at most {level}"))
    if not low and not high:
        return _("no limit within what was asked about")
    return _("{low}, {high}").format(low=low or _("no lower limit"), high=high or _("no upper limit"))


def _end(point: DosePoint, beyond: str, end: float, rounded: Callable[[float], str], named: Named, said: str) -> str:
    """A limit; one shown to lie beyond the levels asked about is told at their end; empty where there is none."""
    if point.value is not None:
        return said.format(level=named(rounded(point.value)))
    return said.format(level=named(rounded(end))) if point.where == beyond else ""


def _step(level: ShareLevel, ends: tuple[float, float]) -> float:
    """The place of the last digit: the first digit of the distance to the nearer limit, or of the whole stretch."""
    at = level.estimate.value
    apart = [abs(at - limit.value) for limit in (level.low, level.high) if at is not None and limit.value is not None]
    return float(10.0 ** floor(log10(min((each for each in apart if each > 0), default=ends[1] - ends[0]))))


def _rounded_by(step: float, towards: Callable[[float], float], ends: tuple[float, float]) -> Callable[[float], str]:
    return lambda value: _rounded(value, step, towards, ends)


def _rounded(value: float, step: float, towards: Callable[[float], float], ends: tuple[float, float]) -> str:
    """`value` at the place of `step`, no farther than the levels asked about."""
    nudge = ENOUGH if towards is floor else -ENOUGH if towards is ceil else 0.0
    kept = min(max(towards(value / step + nudge) * step, ends[0]), ends[1])
    return decimal(kept, max(0, -floor(log10(step)), 0 if float(kept).is_integer() else 1))
