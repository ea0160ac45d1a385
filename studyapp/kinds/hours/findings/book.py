"""The hours book in words: the hour in use, what may be said and of what, what ends an entry, and what it is worth."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date

from studyapp.findings import Fact, decimal, of_studies
from studyapp.findings import hours as as_hours
from studyapp.findings.days import day_of
from studyapp.findings.numbers import listed, opening, trimmed
from studyapp.kinds.hours.deciding.book import Book, Entry, Payoff
from studyapp.kinds.hours.findings.instruments import ready
from studyapp.kinds.hours.rule.confirming import fades
from studyapp.words import _, ngettext


def h(hour: float) -> str:
    """An hour with its unit."""
    return _("{h} h").format(h=as_hours(hour))


def name(found: Book) -> str:
    """What the book is about."""
    return ", ".join(part for part in (found.recipe, found.machine) if part) or _("no recipe named")


def headline(found: Book) -> str:
    """The hour in use, or back to the longest."""
    if found.in_use is not None:
        return _("{h} hours.").format(h=as_hours(found.in_use))
    if found.withdrawn:
        return _("Back to {h} hours, for now.").format(h=as_hours(found.longest))
    return _("{h} hours: no shorter hour is shown yet.").format(h=as_hours(found.longest))


def lede(found: Book) -> str:
    """Who chose the hour, who confirmed it or did not, and what follows for new batches."""
    if found.in_use is not None:
        chose = [label for one in found.bearing for label in one.labels]
        told = _("Shown in {batches}. Any other cocoa lot: {longest}, until one batch is confirmed.")
        return told.format(batches=listed(chose), longest=h(found.longest))
    if found.withdrawn is None:
        return _("What was tasted so far chose no shorter hour.")
    hour, entry = found.withdrawn
    told = _(
        "{hour} was chosen and {batch} did not show it. So {hour} is taken back for new batches until another is "
        "tasted; what was said of the batches before stands."
    )
    return told.format(hour=h(hour), batch=listed(entry.labels))


def facts(found: Book) -> tuple[Fact, ...]:
    """Hour in use, what decided it, evidence, and until when it holds."""
    used = found.longest if found.in_use is None else found.in_use
    last = found.chosen_by or found.entries[-1]
    batches = sum(len(one.labels) for one in found.entries)
    sittings = sum(one.sittings for one in found.entries)
    people = sorted({len(one.study.plan.assessors) for one in found.entries})
    taken = (
        _("{h} h taken back on {day}").format(h=as_hours(found.withdrawn[0]), day=day_of(found.withdrawn[1].signed_on))
        if (found.withdrawn)
        else ""
    )
    return (
        Fact(_("Hour in use"), h(used), taken),
        Fact(
            _("Decided the hour"),
            decided_by(last) if found.chosen_by else "–",
            _("signed on {day}").format(day=day_of(last.signed_on)),
        ),
        Fact(
            _("Evidence"),
            ngettext("{n} batch, {m} sittings", "{n} batches, {m} sittings", batches).format(n=batches, m=sittings),
            _("{n} people").format(n=" to ".join(str(one) for one in {people[0]: 0, people[-1]: 0})),
        ),
        Fact(_("Look at it again"), day_of(found.ends_on), next_batch(found)),
    )


def decided_by(entry: Entry) -> str:
    """What asked for the longest pull, with its hour."""
    binding = entry.decision.binding
    if not binding or entry.decision.hours is None:
        return "–"
    return _("{what}, {hour}").format(what=opening(binding), hour=h(entry.decision.hours))


def next_batch(found: Book) -> str:
    """The batch that may confirm the hour."""
    return found.waiting[0].draft.label if found.waiting else _("a batch of a new lot")


def said_of(found: Book) -> Iterator[tuple[str, str, str]]:
    """What may be said, and of what: sign, words, hour."""
    for one in found.entries:
        hour = one.decision.hours
        if one.decision.confirms is not None:
            yield _confirmed(one, one.decision.confirms)
        elif one.decision.verdict == "stop" and hour is not None:
            yield (
                "disc",
                _("{claim}: {batches}; stands").format(claim=claim_words(one), batches=listed(one.labels)),
                h(hour),
            )
        elif found.withdrawn and found.withdrawn[1] is one:
            yield (
                "cross",
                _("New batches, any lot: {batch} did not show it").format(batch=listed(one.labels)),
                h(found.longest),
            )
        elif not one.heard:
            yield (
                "dash",
                _("{batches}: the panel did not find its control").format(batches=listed(one.labels)),
                _("nothing"),
            )
        else:
            yield "ring", _("{batches}: no shorter hour is shown").format(batches=listed(one.labels)), h(found.longest)
    yield from _of_all(found)
    yield "dash", _("Other recipes, other machines: nothing is known from here"), _("not asked")


def _confirmed(entry: Entry, hour: float) -> tuple[str, str, str]:
    """What a batch said that was asked for an hour chosen before."""
    batches, longest = listed(entry.labels), h(entry.decision.reference_hours)
    showed = entry.showed(hour)
    if showed:
        return "disc", _("This batch: {batches} confirmed it").format(batches=batches), h(hour)
    if showed is None:
        return "ring", _("{batches} left {hour} open").format(batches=batches, hour=h(hour)), longest
    told = _("New batches, any lot: {batch} did not confirm {hour}")
    return "cross", told.format(batch=batches, hour=h(hour)), longest


def _of_all(found: Book) -> Iterator[tuple[str, str, str]]:
    """What may be said of all batches together that were opened about one hour."""
    course = found.course
    if course is None or not course.opened:
        return
    texts = {"n": len(course.labels), "batches": listed(course.labels), "m": course.left_open}
    if course.in_each:
        yield "disc", _("Each of these {n} batches: {batches}").format(**texts), h(course.hours)
    elif not course.failed:
        told = ngettext(
            "Each of these batches: not said, {m} that was opened left it open",
            "Each of these batches: not said, {m} that were opened left it open",
            course.left_open,
        )
        yield "ring", told.format(**texts), h(found.longest)
    if found.on_average is not None:
        told = _("This recipe and machine, on average over {n} batches").format(**texts)
        shown = found.on_average.verdict == "confirmed"
        yield (
            "disc" if shown else "ring",
            told if shown else _("{told}: not shown").format(told=told),
            h(course.hours if shown else found.longest),
        )


def widest_claim(found: Book) -> str:
    """The widest claim that the evidence bears."""
    course = found.course
    if found.on_average is not None and found.on_average.verdict == "confirmed":
        return _("This recipe and machine, on average")
    if course is not None and course.in_each:
        return _("Each of these {n} batches").format(n=len(course.labels))
    return claim_words(found.bearing[-1])


def what_it_said(entry: Entry) -> str:
    """What a batch said of hours, in two words."""
    decision = entry.decision
    if not entry.heard:
        return _("control not found")
    if decision.confirms is not None:
        verdicts = {"confirmed": _("confirmed {hour}"), "not confirmed": _("did not confirm {hour}")}
        return verdicts.get(decision.verdict, _("left {hour} open")).format(hour=h(decision.confirms))
    return _("chose no hour") if decision.hours is None else _("chose {hour}").format(hour=h(decision.hours))


def kept_pieces(found: Book, today: date) -> str:
    """What a piece that was kept of the first batch may tell; empty where nobody chose an hour."""
    if found.course is None:
        return ""
    weeks = max((today - date.fromisoformat(found.course.origin.signed_on)).days // 7, 0)
    told = ngettext(
        "A piece that was kept of {batch} is {n} week older: it only describes, and widens nothing.",
        "A piece that was kept of {batch} is {n} weeks older: it only describes, and widens nothing.",
        weeks,
    )
    return told.format(batch=listed(found.course.origin.labels), n=weeks)


def claim_words(entry: Entry) -> str:
    """Of what a verdict is said, from the claim that was sealed."""
    return {
        "this batch": _("This batch"),
        "each of these batches": _("Each of these batches"),
        "recipe and machine": _("This recipe and machine, on average"),
    }[entry.decision.claim]


def ends_when(found: Book) -> tuple[str, ...]:
    """What ends an entry."""
    return (
        _("another cocoa lot, until one batch is confirmed"),
        _("butter, lecithin or sugar changed by more than 1 %"),
        _("another programme, speed or load"),
        _("a year without a confirmation: {day}").format(day=day_of(found.ends_on)),
    )


def how_to_confirm(found: Book) -> str:
    """Three pieces, one hour, one test."""
    used = found.in_use if found.in_use is not None else (found.withdrawn or (found.longest, None))[0]
    shortest = min(min(one.decision.passes) for one in found.entries)
    told = _(
        "Conche {batch} to {longest} once more. Taste three pieces: {hour}, its own {longest}, and {control} to show "
        "that the panel is awake."
    )
    if found.course is not None and fades(found.course.origin.study.plan):
        told = f"{told} {_('A note can fade, so the pull just shorter comes as a fourth.')}"
    return told.format(batch=next_batch(found), longest=h(found.longest), hour=h(used), control=h(shortest))


def picture_says(found: Book) -> str:
    """What the picture of the batches says."""
    told = []
    for one in found.entries:
        said = _("{batches} {what}") if one.heard else _("{batches} did not find its control")
        told.append(said.format(batches=listed(one.labels), what=what_it_said(one)))
    return _("Batches down, hours across: {told}.").format(told="; ".join(told))


# ---- worth -----------------------------------------------------------------------------------------------------------
def worth_headline(found: Payoff | None, most: int) -> str:
    """The batch that pays for the tastings."""
    if found is None:
        return _("Cannot say: no price of a machine hour.")
    if found.pays is None or found.pays > most:
        return _("Not within {n} batches.").format(n=most)
    return ngettext("Yes, with the first batch.", "Yes, once {n} batches are made so.", found.pays).format(n=found.pays)


def worth_lede(found: Payoff, book: Book, batches: float) -> str:
    """What is saved and spent, in one paragraph."""
    used = book.longest if book.in_use is None else book.in_use
    told = _(
        "{hour} instead of {longest} saves {n} machine hours a batch. The tastings cost {cost}. After {batches} "
        "batches, a year, {saved} are saved"
    ).format(
        hour=h(used),
        longest=h(book.longest),
        n=as_hours(found.hours),
        cost=decimal(found.cost, 0),
        batches=as_hours(batches),
        saved=decimal(found.after(batches), 0),
    )
    if not found.risk:
        return f"{told}."
    least = decimal(found.after(batches, careful=True), 0)
    return _("{told}, {least} with what a wrong hour costs on average.").format(told=told, least=least)


def worth_says(found: Payoff, batches: float) -> str:
    """What the picture of savings says."""
    told = _("Saved over batches reaches {saved} after {n}; the tastings cost {cost}.")
    return told.format(saved=decimal(found.after(batches), 0), n=as_hours(batches), cost=decimal(found.cost, 0))


def lines_of(lines: tuple[tuple[str, float, float, float], ...]) -> Iterator[tuple[str, str]]:
    """Sums as label and money."""
    words = {
        "machine": _("Machine, {n} h at {price}"),
        "energy": _("Energy, {n} kWh at {price}"),
        "people": _("People, {n} h at {price}"),
        "mass": _("Mass, {n} kg at {price}"),
        "readings": _("Readings, {n} at {price}"),
    }
    for code, many, price, money in lines:
        yield words[code].format(n=trimmed(many, 1), price=decimal(price, 2)), decimal(money, 2)
    yield _("Together"), decimal(sum(line[-1] for line in lines), 2)


def what_can_go_wrong(book: Book) -> str:
    """The risk, in numbers, and what no rule sees."""
    alpha = book.entries[-1].decision.alpha
    return _(
        "Were {hour} truly too short, the rule would still have said stop in at most {risk} such studies. Should one "
        "batch in five go wrong by itself, a tasting of few batches will often not see it. So a batch is confirmed "
        "with each new lot."
    ).format(hour=h(book.longest if book.in_use is None else book.in_use), risk=of_studies(alpha))


# ---- the card --------------------------------------------------------------------------------------------------------
def never_below(entry: Entry) -> str:
    """The hour at which flavour alone is ready, where a limit asks for more; empty otherwise."""
    hours = [ready(entry.decision, one) for one in entry.decision.attributes]
    known = [hour for hour in hours if hour is not None]
    if not known or entry.decision.hours is None or max(known) >= entry.decision.hours:
        return ""
    return _("{hour}, even if it flows: flavour is not ready before").format(hour=h(max(known)))
