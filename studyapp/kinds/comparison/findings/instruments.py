"""What limits of instruments say of makes: each by itself, never weighed against flavour."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import TYPE_CHECKING

from studyapp.batches import shown_unit
from studyapp.findings.numbers import digits_of, hours, opening, trimmed
from studyapp.words import _

if TYPE_CHECKING:
    from analysis.comparing import Compared, GateOfMake
    from analysis.instruments import Gate

_FINEST = 6


def wanted(name: str, gate: Gate) -> str:
    """A limit in words, such as "viscosity, at most 2.2 Pa.s"."""
    told = _("{name}, at least {limit}") if gate.at_most is None else _("{name}, at most {limit}")
    return told.format(name=opening(name), limit=_with_unit(trimmed(gate.limit, _FINEST), gate.unit))


def value(one: GateOfMake, gate: Gate, unit: bool = False) -> str:
    """What was read of one make in one batch, with the end that decides where the limit is not shown kept."""
    if one.mean is None:
        return _("not read")
    digits = digits_of(abs(one.end - one.mean)) if one.end is not None else 3
    mean = trimmed(one.mean, digits)
    told = mean if not unit else _with_unit(mean, gate.unit)
    if one.answer == "passes" or one.end is None:
        return told
    end = trimmed(one.end, digits)
    sentence = (
        _("{mean}, down to {end}") if (gate.at_most is None) != (one.answer == "fails") else _("{mean}, up to {end}")
    )
    return sentence.format(mean=told, end=end)


def _with_unit(number: str, unit: str) -> str:
    return f"{number} {shown_unit(unit)}".strip()


def told(one: GateOfMake, gate: Gate) -> str:
    """One limit of one make in a clause, for the lede."""
    name = (
        opening(one.name)
        if not one.batch
        else _("{name} of batch {batch}").format(name=opening(one.name), batch=one.batch)
    )
    why = {
        "not read": _("was not read"),
        "too few repeats": _("was read from too few portions"),
        "single reading": _("was read from one portion only"),
        "spread unknown": _("was read from too few portions in all to know their spread"),
        "no spread": _("read alike in all portions, so its guard is unknown"),
    }
    if one.why in why:
        return f"{name} {why[one.why]}"
    limit = _with_unit(trimmed(gate.limit, _FINEST), gate.unit)
    return _("{name} is {value} against a limit of {limit}").format(name=name, value=value(one, gate), limit=limit)


def worst(every: Sequence[GateOfMake], name: str) -> GateOfMake:
    """The batch of a make that stands worst under a limit."""
    return max((one for one in every if one.name == name), key=lambda one: one.p)


def reached(found: Compared) -> Iterator[str]:
    """From which hour each make keeps a limit, where it was read at several: described, never subtracted."""
    for name in found.gates:
        parts = [
            _("{make} needs {h} h").format(make=one.make, h=hours(one.hours))
            if one.hours is not None
            else _("{make} has not reached the limit at {h} h").format(make=one.make, h=hours(one.longest))
            for one in found.reached
            if one.name == name
        ]
        if parts:
            yield _("{name}: {parts}.").format(name=opening(name), parts=", ".join(parts))


def rows(found: Compared) -> list[tuple[str, list[tuple[str, str]]]]:
    """Each limit in words, with (answer as a code, what was read) of every make, the reference first."""
    every = {found.reference: found.reference_gates, **{name: make.gates for name, make in found.makes.items()}}
    return [
        (wanted(name, gate), [_cell([one for one in own if one.name == name], gate) for own in every.values()])
        for name, gate in found.gates.items()
    ]


def _cell(own: Sequence[GateOfMake], gate: Gate) -> tuple[str, str]:
    if not own:
        return "open", "–"
    answers = [one.answer for one in own]
    answer = "fails" if "fails" in answers else "passes" if set(answers) == {"passes"} else "open"
    return answer, "; ".join(value(one, gate) for one in own)


def answer_words(answer: str) -> str:
    """How a make stands to a limit."""
    return {"passes": _("kept"), "fails": _("shown to fail")}.get(answer, _("open"))


def heads(found: Compared) -> list[str]:
    """Above `table`."""
    return [_("limit"), found.reference, *found.makes]


def table(found: Compared) -> list[list[str]]:
    """The limits as text, heads first."""
    return [
        heads(found),
        *([limit, *(f"{answer_words(answer)}: {read}" for answer, read in cells)] for limit, cells in rows(found)),
    ]
