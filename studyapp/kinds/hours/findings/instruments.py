"""What limits of instruments say beside flavour: from which hour each is kept, where one is open and why."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from studyapp.batches import shown_unit
from studyapp.findings.numbers import decimal, digits_of, hours, hours_list, listed, of_ten, opening, trimmed
from studyapp.words import _, ngettext

if TYPE_CHECKING:
    from analysis.instruments import GatePull, GateResult
    from analysis.stopping import Decision
    from analysis.stopping.gates import MoreRepeats

REASON = "limits of instruments"
_FINEST = 6


# ---- numbers ---------------------------------------------------------------------------------------------------------
def value_of(result: GateResult, value: float | None, pull: GatePull) -> str:
    """A mean or the end of its guard with its unit, as fine as the guard allows, and finer where it would look like the
    limit."""
    if value is None:
        return "–"
    reach = None if pull.end is None or pull.mean is None else abs(pull.end - pull.mean)
    digits = max(digits_of(reach or 0.0) - 1, 0)
    while digits < _FINEST and round(value, digits) == round(result.gate.limit, digits) and value != result.gate.limit:
        digits += 1
    return with_unit(decimal(value, digits), result.gate.unit)


def limit_of(result: GateResult) -> str:
    """The limit with its unit."""
    return with_unit(trimmed(result.gate.limit, _FINEST), result.gate.unit)


def with_unit(number: str, unit: str) -> str:
    """A number and its unit, if it has one."""
    return _("{n} {unit}").format(n=number, unit=shown_unit(unit)) if unit else number


def wanted(result: GateResult) -> str:
    """ "at most 4 Pa.s"."""
    told = _("at least {limit}") if result.gate.at_most is None else _("at most {limit}")
    return told.format(limit=limit_of(result))


def answer_words(result: GateResult, pull: GatePull) -> str:
    """How one pull stands under one limit, for tables and pictures."""
    if pull.inferred:
        return _("kept, taken from a shorter pull")
    if pull.answer == "passes":
        return _("kept")
    if pull.answer == "fails":
        return _("shown to fail") if pull.asked else _("shown to fail, not asked so long")
    why = {
        "not read": _("not read"),
        "too few repeats": _("open: too few portions"),
        "single reading": _("open: one portion only"),
        "spread unknown": _("open: too few portions in all to know their spread"),
        "no spread": _("open: portions read all alike, so the guard is unknown"),
        "within the guard": _("open: too near the limit"),
    }
    return why.get(pull.why or "", _("open"))


def limit_heads(one: GateResult) -> list[str]:
    """Above the columns of `limit_lines`."""
    end = _("at least") if one.gate.at_most is None else _("at most")
    return [_("hours"), _("mean"), end, _("portions"), _("verdict")]


def limit_lines(one: GateResult) -> list[list[str]]:
    """Every pull of one limit in one batch as a row, for screen, paper and command."""
    return [
        [
            hours(pull.hours),
            value_of(one, pull.mean, pull),
            value_of(one, pull.end, pull) if pull.answer != "fails" else "–",
            str(pull.repeats),
            answer_words(one, pull),
        ]
        for pull in one.pulls
    ]


def limit_heading(one: GateResult) -> str:
    """Name, limit and batch."""
    said = _("{name}: {wanted}").format(name=one.name, wanted=wanted(one))
    return _("{heading}, batch {batch}").format(heading=said, batch=one.batch) if one.batch else said


# ---- who decides -----------------------------------------------------------------------------------------------------
def by_name(decision: Decision, name: str | None) -> list[GateResult]:
    """A limit in every batch; none where the name is an attribute's."""
    return [one for one in decision.gates if one.name == name]


def ready(decision: Decision, name: str) -> float | None:
    """The shortest pull from which on an attribute, or a limit in every batch, is met; None where none is."""
    result = decision.attributes.get(name)
    if result is not None:
        return result.shortest_hours
    found = [one.shortest_hours for one in by_name(decision, name)]
    known = [hour for hour in found if hour is not None]
    return max(known) if known and len(known) == len(found) else None


def decides(decision: Decision) -> list[str]:
    """Beside a stop: which of flavour and instruments asks for the hour, and how near the limit is there."""
    if not decision.gates or decision.hours is None:
        return []
    every = by_name(decision, decision.binding)
    taste = decision.taste.hours if decision.taste is not None else None
    said = []
    if every and taste is not None and taste < decision.hours:
        sentence = _("Flavour is ready at {a} h, {name} at {b} h: {name} decides.")
        said = [sentence.format(a=hours(taste), b=hours(decision.hours), name=decision.binding)]
    if every:
        return [*said, _near(every, decision.hours)]
    kept = [_("{name} from {h} h on").format(name=name, h=hours(hour)) for name, hour in _kept(decision)]
    return [_("Limits of instruments are kept: {list}.").format(list=listed(kept))]


def assumed(decision: Decision) -> list[str]:
    """Answers that rest on the sealed word that a quantity cannot get worse with hours."""
    sentence = _(
        "{name} at {pulls} h was not read: it takes the answer of the next shorter pull, since it was sealed that it "
        "cannot get worse with hours."
    )
    found = {_named(one): [pull.hours for pull in one.pulls if pull.inferred] for one in decision.gates}
    return [sentence.format(name=name, pulls=hours_list(pulls)) for name, pulls in found.items() if pulls]


def _kept(decision: Decision) -> list[tuple[str, float]]:
    names = dict.fromkeys(one.name for one in decision.gates)
    return [(name, hour) for name in names if (hour := ready(decision, name)) is not None]


def _near(every: Sequence[GateResult], hour: float) -> str:
    """The mean that comes nearest to the limit, of all batches, and the end of its guard."""
    read = [(one, pull) for one in every for pull in one.pulls if pull.hours == hour and pull.end is not None]
    if not read:
        return ""
    one, pull = max(read, key=lambda pair: pair[0].gate.sign * (pair[1].end or 0.0))
    texts = {
        "name": opening(one.name),
        "h": hours(hour),
        "mean": value_of(one, pull.mean, pull),
        "end": value_of(one, pull.end, pull),
        "limit": limit_of(one),
        "n": len(every),
    }
    if one.gate.at_most is None:
        sentence = _("{name} at {h} h is {mean}, at least {end}, and the limit is {limit}.")
    elif len(every) > 1:
        sentence = _("At {h} h all {n} batches stay under {limit}, the nearest at {mean}, at most {end}.")
    else:
        sentence = _("{name} at {h} h is {mean}, at most {end}, and the limit is {limit}.")
    return sentence.format(**texts)


def still_better(decision: Decision) -> list[str]:
    """Limits that are not kept at the longest pull, but came nearer up to it."""
    said = []
    for one in decision.gates:
        if one.improving:
            before, last = one.pulls[-2:]
            sentence = _("{name} still came nearer to its limit of {limit}: {a} at {h1} h, {b} at {h2} h.")
            said.append(
                sentence.format(
                    name=_named(one),
                    limit=limit_of(one),
                    a=value_of(one, before.mean, before),
                    b=value_of(one, last.mean, last),
                    h1=hours(before.hours),
                    h2=hours(last.hours),
                )
            )
    return said


def _named(one: GateResult) -> str:
    if not one.batch:
        return opening(one.name)
    return _("{name} in batch {batch}").format(name=opening(one.name), batch=one.batch)


# ---- what stands in the way ------------------------------------------------------------------------------------------
def unsettled(decision: Decision) -> list[str]:
    """The limits that keep flavour's answer from being given, the names alone."""
    return list(dict.fromkeys(one.name for one in decision.gates if _in_the_way(decision, one)))


def _first(decision: Decision) -> float:
    """From which hour on a limit stands in the way of what flavour alone would say."""
    alone = decision.taste
    return decision.reference_hours if alone is None or alone.hours is None else alone.hours


def _in_the_way(decision: Decision, one: GateResult) -> list[GatePull]:
    first = _first(decision)
    return [pull for pull in one.pulls if pull.asked and pull.hours >= first and pull.answer != "passes"]


def why_limits(decision: Decision) -> list[str]:
    """`cannot tell` where flavour alone would have an answer."""
    alone = decision.taste
    said = []
    if alone is not None and alone.hours is not None:
        said.append(_("Flavour is ready at {h} h.").format(h=hours(alone.hours)))
    elif alone is not None and alone.verdict == "conche longer":
        said.append(_("By flavour alone, conching longer would pay."))
    for one in decision.gates:
        said += _stands(one, _in_the_way(decision, one))
    return [*said, *map(more_portions, decision.more_repeats)]


def _stands(one: GateResult, pulls: Sequence[GatePull]) -> list[str]:
    """What one limit lacks, the pulls that lack the same in one sentence."""
    if one.shortest_hours is None and all(pull.answer == "fails" for pull in one.pulls):
        return [_("{name}: no hour meets its limit of {limit}.").format(name=_named(one), limit=limit_of(one))]
    found: dict[str, list[float]] = {}
    again = [_turns(one)] if one.turns else []
    for pull in pulls:
        found.setdefault(answer_words(one, pull), []).append(pull.hours)
    sentence = _("{name} at {pulls} h: {what} ({wanted}).")
    said = [
        sentence.format(name=_named(one), pulls=hours_list(own), what=what, wanted=wanted(one))
        for what, own in found.items()
    ]
    return [*said, *again]


def _turns(one: GateResult) -> str:
    """A mass that keeps its limit and breaks it in longer hours stops nowhere, unless the limit ends before."""
    kept = min(pull.hours for pull in one.pulls if pull.answer == "passes")
    broken = min(pull.hours for pull in one.pulls if pull.answer == "fails" and pull.hours > kept)
    sentence = _(
        "{name} keeps its limit at {a} h and breaks it again at {b} h. No hour can be chosen then, unless a new study "
        "asks for it up to a shorter pull only."
    )
    return sentence.format(name=_named(one), a=hours(kept), b=hours(broken))


def more_portions(one: MoreRepeats) -> str:
    """What more readings of an open pull would do."""
    if one.chance is None:
        return ngettext(
            "Read {name} of {n} fresh portion of the {h} h pull.",
            "Read {name} of {n} fresh portions of the {h} h pull.",
            one.more,
        ).format(name=one.gate, n=one.more, h=hours(one.hours))
    return ngettext(
        "{n} more portion of the {h} h pull settles {name} there in about {k} cases.",
        "{n} more portions of the {h} h pull settle {name} there in about {k} cases.",
        one.more,
    ).format(n=one.more, h=hours(one.hours), name=one.gate, k=of_ten(one.chance))


def fails_at(decision: Decision, name: str, pulls: Sequence[float]) -> str:
    """At which pulls a limit is shown to be broken."""
    every = by_name(decision, name)
    sentence = _("{name} at {pulls} h: the limit, {wanted}, is broken.")
    return sentence.format(name=opening(name), pulls=hours_list(pulls), wanted=wanted(every[0]))


def tighter(decision: Decision) -> str:
    """With which limit a stop that an instrument decides would not stand."""
    every = by_name(decision, decision.binding)
    if not every or decision.hours is None:
        return ""
    chained = [
        (one, pull)
        for one in every
        for pull in one.pulls
        if pull.asked and pull.hours >= decision.hours and pull.end is not None
    ]
    if not chained:
        return ""
    one, pull = max(chained, key=lambda pair: pair[0].gate.sign * (pair[1].end or 0.0))
    if one.gate.at_most is None:
        sentence = _("A limit for {name} of {end} or more: then {h} h would not do.")
    else:
        sentence = _("A limit for {name} of {end} or less: then {h} h would not do.")
    return sentence.format(name=one.name, end=value_of(one, pull.end, pull), h=hours(decision.hours))


# ---- pictures --------------------------------------------------------------------------------------------------------
def in_line(one: GateResult, pull: GatePull) -> bool:
    """Whether a pull keeps its limit together with every longer one that is asked."""
    return one.shortest_hours is not None and pull.asked and pull.hours >= one.shortest_hours


def reading_says(one: GateResult, pull: GatePull) -> str:
    """One pull under one limit in one line, for a reader aloud."""
    sentence = _("{name}, {h} hours: {mean}, {what}")
    if pull.end is not None and pull.answer != "fails":
        sentence = _("{name}, {h} hours: {mean}, at most {end}, {what}")
        if one.gate.at_most is None:
            sentence = _("{name}, {h} hours: {mean}, at least {end}, {what}")
    return sentence.format(
        name=_named(one),
        h=hours(pull.hours),
        mean=value_of(one, pull.mean, pull),
        end=value_of(one, pull.end, pull),
        what=answer_words(one, pull),
    )


def limit_alt(decision: Decision, name: str) -> str:
    """The picture of one limit in one sentence."""
    every, hour = by_name(decision, name), ready(decision, name)
    texts = {"name": opening(name), "wanted": wanted(every[0]), "n": len(every)}
    if hour is None:
        return _("{name}: not shown to be {wanted} from any pull on.").format(**texts)
    said = _("{name}: {wanted} from {h} h on.")
    if len(every) > 1:
        said = _("{name}: {wanted} in all {n} batches from {h} h on.")
    return said.format(h=hours(hour), **texts)


def row_says(decision: Decision, name: str) -> str:
    """Beside a row: from which hour on it is ready, and whether it decides."""
    hour = ready(decision, name)
    if hour is None:
        return _("none of these yet")
    if decision.hours is not None and name == decision.binding:
        return _("decides: ready at {h} h").format(h=hours(hour))
    return _("ready at {h} h").format(h=hours(hour))
