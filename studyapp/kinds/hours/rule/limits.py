"""Limits of instruments in a plan: what is to mend, how they read, and as the statistics take them."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import TYPE_CHECKING

from studyapp.batches import shown_unit
from studyapp.findings.numbers import trimmed
from studyapp.kinds.hours.plan import Limit
from studyapp.records import Problem
from studyapp.words import _, ngettext

if TYPE_CHECKING:
    from analysis.instruments import Gate

MOST_LIMITS = 5
_FINEST = 6


def limit_problems(limits: Sequence[Limit], pulls: Sequence[float], attributes: Sequence[str]) -> Iterator[Problem]:
    """Everything to mend or to think about, of every limit."""
    if len(limits) > MOST_LIMITS:
        told = _("Fix the limits: at most {n}; each of them must be kept at every pull.")
        yield Problem("limits", told.format(n=MOST_LIMITS))
    names = [one.name.strip().casefold() for one in (*limits,)] + [name.strip().casefold() for name in attributes]
    for one in limits:
        if names.count(one.name.strip().casefold()) > 1:
            yield Problem("limits", _("Fix {name}: the name stands there twice.").format(name=one.name))
        yield from _own(one, pulls)


def _own(one: Limit, pulls: Sequence[float]) -> Iterator[Problem]:
    if (one.at_most is None) == (one.at_least is None):
        yield Problem("limits", _("Fix {name}: it needs one limit, at most or at least.").format(name=one.name))
        return
    if not one.instrument.strip() or not one.method.strip():
        told = _("Fix {name}: name instrument and method; any other reads otherwise and does not count.")
        yield Problem("limits", told.format(name=one.name))
    if one.until is not None and one.until not in pulls:
        yield Problem("limits", _("Fix {name}: it ends at one of the pulls.").format(name=one.name))
    if one.repeats < 2 and one.sd is None:
        told = _("Fix {name}: a single portion needs a spread that is known beforehand; else read two or more.")
        yield Problem("limits", told.format(name=one.name))
    try:
        gate_of(one)
    except ValueError as wrong:
        yield Problem("limits", _("Fix {name}: {what}.").format(name=one.name, what=str(wrong).partition(": ")[2]))
        return
    if turns(one) and one.until is None:
        told = _(
            "Careful: {name} may rise again in long hours. If it then breaks its limit at any longer pull, no hour can "
            "be chosen, unless the limit ends before."
        )
        yield Problem("limits", told.format(name=one.name), blocks=False)


def turns(one: Limit) -> bool:
    """Whether the quantity may get worse again with hours."""
    return one.quantity.casefold().startswith(("viscosity", "stress"))


def gate_of(one: Limit) -> Gate:
    """The limit as the statistics take it. Raises ValueError: what is impossible about it."""
    from analysis.instruments import Gate, check_gates

    gate = Gate(
        quantity=one.quantity,
        unit=one.unit,
        at_most=one.at_most,
        at_least=one.at_least,
        instrument=one.instrument,
        method=one.method,
        log=turns(one),
        uncertainty=one.uncertainty,
        repeats=one.repeats,
        monotone=one.monotone,
        until=one.until,
        sd=one.sd,
        df=one.df,
    )
    check_gates({one.name: gate})
    return gate


def wanted(one: Limit) -> str:
    """ "at most 4 Pa.s"."""
    bound = one.at_least if one.at_most is None else one.at_most
    told = _("at least {n} {unit}") if one.at_most is None else _("at most {n} {unit}")
    return told.format(n="?" if bound is None else trimmed(bound, _FINEST), unit=shown_unit(one.unit)).rstrip()


def limit_sentence(one: Limit) -> str:
    """One limit as the sealed rule reads."""
    said = ngettext(
        "{name} decides too: {wanted}, by more than its guard, in the mean of {n} fresh portion of every pull from the "
        "chosen one on; read with {instrument}, {method}.",
        "{name} decides too: {wanted}, by more than its guard, in the mean of {n} fresh portions of every pull from "
        "the chosen one on; read with {instrument}, {method}.",
        one.repeats,
    ).format(name=one.name, wanted=wanted(one), n=one.repeats, instrument=one.instrument, method=one.method)
    more = []
    if one.until is not None:
        told = _("It is asked up to {h} h, and no longer pull is chosen.")
        more.append(told.format(h=trimmed(one.until, 2)))
    if one.monotone:
        more.append(_("It cannot get worse with hours: a pull not read takes the answer of the next shorter one."))
    return " ".join([said, *more])
