"""What hours in the conche are worth in cocoa butter, in sentences."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import replace
from datetime import datetime
from typing import TYPE_CHECKING

from studyapp.batches import UNITS, Curve, Ladder, Reading, Rung, quantities
from studyapp.findings.days import day_of
from studyapp.findings.instruments import values
from studyapp.findings.numbers import decimal, listed, opening, rounded_down
from studyapp.findings.numbers import hours as as_hours
from studyapp.services.readings import Read
from studyapp.words import _, ngettext

if TYPE_CHECKING:
    import pandas as pd

    from analysis.instruments import ButterWorth


# ---- what was read ---------------------------------------------------------------------------------------------------
def with_kept(ladder: Ladder, read: Read) -> Ladder:
    """The ladder; where it holds nothing of the conched mass, with what was kept of that pull on its day by its
    instrument and method. Another day, instrument or method would move the answer by as much as it tells."""
    there = Read(
        tuple(one for one in read.values if _same_session(ladder, one)),
        tuple(one for one in read.curves if _same_session(ladder, one)),
    )
    named = dict.fromkeys(one.quantity for one in ladder.rungs)
    lacking = [name for name in named if not any(one.quantity == name and one.added is None for one in ladder.rungs)]
    kept = values(there)
    more = [Rung(name, None, value) for name in lacking for value in kept.get((name, ladder.conched_h), [])]
    return replace(ladder, rungs=(*ladder.rungs, *more))


def _same_session(ladder: Ladder, one: Reading | Curve) -> bool:
    at = datetime.fromisoformat(one.at.replace("Z", "+00:00")).astimezone()
    same = (one.hours, one.instrument, one.method) == (ladder.conched_h, ladder.instrument, ladder.method)
    return same and at.date().isoformat() == ladder.day


def unread(ladder: Ladder) -> list[str]:
    """Quantities of which the conched mass was not read in the session of the ladder."""
    names = dict.fromkeys(one.quantity for one in ladder.rungs)
    return [name for name in names if not any(one.quantity == name and one.added is None for one in ladder.rungs)]


def table(ladder: Ladder) -> pd.DataFrame:
    """The portions as `worths` takes them: added (NaN for the conched mass), quantity, value."""
    import pandas as pd

    rows = [(one.added, one.quantity, one.value) for one in ladder.rungs]
    return pd.DataFrame(rows, columns=["added", "quantity", "value"]).astype({"added": float})


# ---- what it is worth ------------------------------------------------------------------------------------------------
def worths(ladder: pd.DataFrame) -> dict[str, ButterWorth]:
    """Of each quantity of a ladder what the conched mass is worth. Raises ValueError: nothing of that mass was read."""
    from analysis.instruments import butter_worth

    found = {}
    for quantity, own in ladder.groupby("quantity", sort=True):
        steps, conched = own[own["added"].notna()], own[own["added"].isna()]
        if conched.empty:
            raise ValueError(f"{quantity}: no reading of the conched mass; write conched in its column added")
        found[str(quantity)] = butter_worth(steps["added"], steps["value"], conched["value"])
    return found


def counts(found: Mapping[str, ButterWorth]) -> str | None:
    """The quantity that counts: the one by which the mass is worth less; None where one of them carries no claim."""
    lows = {name: worth.low for name, worth in found.items()}
    known = {name: low for name, low in lows.items() if low is not None}
    return min(known, key=lambda name: known[name]) if len(known) == len(lows) and known else None


def headline(found: Mapping[str, ButterWorth], hour: float | None = None) -> str:
    """The answer in one sentence: what the hours save at least."""
    name = counts(found)
    if name is None:
        return next(
            (_("No claim: {why}.").format(why=why_not(one)) for one in found.values() if one.why_not), _nothing()
        )
    low = found[name].low or 0.0
    beyond = found[name].high is None and found[name].estimate is None
    texts = {"x": decimal(low) if beyond else rounded_down(low)[1], "h": as_hours(hour or 0.0)}
    if hour is None:
        told = _("These hours are worth at least {x} % cocoa butter.")
        return (_("These hours are worth more than {x} % cocoa butter.") if beyond else told).format(**texts)
    told = _("{h} hours are worth at least {x} % cocoa butter.")
    return (_("{h} hours are worth more than {x} % cocoa butter.") if beyond else told).format(**texts)


def _nothing() -> str:
    return _("No butter is shown to be saved.")


def why_not(one: ButterWorth) -> str:
    """Why a ladder carries no claim; empty where it carries one."""
    return {
        "too few readings": _("too few portions, or too few steps of butter"),
        "not falling": _("the mass did not get thinner with more butter"),
        "flat": _("the ladder is too flat for its spread"),
        "no spread": _("portions read all alike, so their spread is unknown"),
    }.get(one.why_not or "", "")


def says(name: str, one: ButterWorth) -> str:
    """One quantity: the estimate between its ends, or why there is none."""
    if one.why_not is not None:
        return _("{name}: no claim, {why}.").format(name=name, why=why_not(one))
    if one.estimate is None:
        beyond = one.low is not None
        told = _("{name}: more than the {x} % that the ladder reaches.") if beyond else _("{name}: no butter saved.")
        return told.format(name=name, x=decimal(one.low or 0.0))
    low = _("none") if one.low is None else _("{x} %").format(x=decimal(one.low, 2))
    high = _("more than the ladder reaches") if one.high is None else _("{x} %").format(x=decimal(one.high, 2))
    return _("{name}: like {x} % more butter, between {low} and {high} (90 of 100 such intervals hold it).").format(
        name=name, x=decimal(one.estimate, 2), low=low, high=high
    )


def money(found: Mapping[str, ButterWorth], mass_kg: float, price: float) -> str:
    """What at least so much butter costs in one batch; empty where nothing is shown."""
    name = counts(found)
    low = 0.0 if name is None else found[name].low or 0.0
    if low <= 0:
        return ""
    grams = 10 * low * mass_kg
    return _("In a batch of {kg} kg that is at least {g} g of butter, {sum} at {price} a kilogram.").format(
        kg=f"{mass_kg:g}", g=decimal(grams, 0), sum=decimal(grams / 1000 * price, 2), price=f"{price:g}"
    )


def caution() -> str:
    """How far such a claim reaches."""
    return _(
        "It holds for this mass, read on this occasion: a ladder of another day can be off by as much as it tells. "
        "Of two quantities the smaller counts."
    )


# ---- a page of it ----------------------------------------------------------------------------------------------------
def lede(ladder: Ladder, found: Mapping[str, ButterWorth]) -> str:
    """What was compared, and which answer counts."""
    told = _("Conched {h} h, the mass was read beside the {short} h mass with butter weighed in, in one session.")
    texts = {"h": as_hours(ladder.conched_h), "short": as_hours(ladder.short_h)}
    counting = counts(found)
    if counting is not None and (found[counting].low or 0.0) > 0:
        told = _("Conched {h} h, the mass flows like the {short} h mass with at least that much butter added.")
    if len(found) > 1:
        told = f"{told} {_('{list} were read; the smaller answer counts.')}"
    return told.format(list=opening(listed([_inside(name) for name in found])), **texts)


def _inside(name: str) -> str:
    """A quantity within a sentence."""
    return heading(name)[:1].lower() + heading(name)[1:]


def heading(name: str) -> str:
    """A quantity in words."""
    return quantities()[name]


def note(name: str, found: Mapping[str, ButterWorth]) -> str:
    """Beside a picture: whether its answer is the one that counts."""
    if found[name].why_not:
        return _("no claim")
    if counts(found) is None:
        return _("not enough for a claim")
    return _("counts") if counts(found) == name else _("larger, so not used")


def at_least(one: ButterWorth) -> str:
    """The end that decides, in words; empty where nothing is claimed."""
    if one.why_not or not one.low:
        return ""
    if one.estimate is None:
        return _("more than {x} %").format(x=decimal(one.low))
    return _("at least {x} %").format(x=rounded_down(one.low)[1])


def picture_says(name: str, ladder: Ladder, one: ButterWorth) -> str:
    """The picture of a quantity in one sentence."""
    texts = {"name": heading(name), "h": as_hours(ladder.conched_h), "short": as_hours(ladder.short_h)}
    if one.why_not or not at_least(one):
        told = _("{name}: the {h} h mass beside the {short} h mass with butter; {what}.")
        return told.format(what=why_not(one) or _("no butter is shown to be saved"), **texts)
    if one.estimate is None:
        told = _(
            "{name}: the {h} h mass is thinner than the {short} h mass with {x} % butter, the most that was added."
        )
        return told.format(x=decimal(one.low or 0.0), **texts)
    told = _("{name}: the {h} h mass reads like the {short} h mass with {x} % more butter, {least}.")
    return told.format(x=decimal(one.estimate), least=at_least(one), **texts)


def portions_say(ladder: Ladder) -> str:
    """How many fresh portions of the conched mass were read, and where and when."""
    read = [one.quantity for one in ladder.rungs if one.added is None]
    n = max(map(read.count, read), default=0)
    told = ngettext("{n} portion", "{n} portions", n).format(n=n)
    return ", ".join(part for part in (told, ladder.instrument, ladder.method, day_of(ladder.day)) if part)


def money_lines(ladder: Ladder, found: Mapping[str, ButterWorth], mass_kg: float | None) -> Iterator[tuple[str, str]]:
    """Butter and energy of one batch as label and value, as far as their prices are known."""
    grams, energy = _grams(found, mass_kg), _energy(ladder)
    if grams is not None:
        yield _("Butter not needed, a batch"), _("at least {g} g").format(g=decimal(grams, 0))
        if ladder.butter_kg is not None:
            label = _("At your price, {price} a kg").format(price=decimal(ladder.butter_kg, 2))
            yield label, _("at least {sum}").format(sum=decimal(grams / 1000 * ladder.butter_kg, 2))
    if energy is not None:
        label = _("Energy of the {h} h between, {kw} kWh each, at {price}").format(
            h=as_hours(ladder.conched_h - ladder.short_h),
            kw=decimal(ladder.kw or 0.0),
            price=decimal(ladder.kwh or 0.0, 2),
        )
        yield label, decimal(energy, 2)


def _grams(found: Mapping[str, ButterWorth], mass_kg: float | None) -> float | None:
    name = counts(found)
    return None if name is None or mass_kg is None else 10 * (found[name].low or 0.0) * mass_kg


def _energy(ladder: Ladder) -> float | None:
    if ladder.kw is None or ladder.kwh is None:
        return None
    return (ladder.conched_h - ladder.short_h) * ladder.kw * ladder.kwh


def money_says(ladder: Ladder, found: Mapping[str, ButterWorth], mass_kg: float | None) -> str:
    """Whether the butter that is shown pays for the energy of the hours; also where it does not."""
    grams, energy = _grams(found, mass_kg), _energy(ladder)
    if grams is None or energy is None or ladder.butter_kg is None:
        return _("Type the prices, and the batch's mass in its record, to see it in money.")
    told = _("For flow alone, the butter shown to be saved pays less than the energy of these hours.")
    if grams / 1000 * ladder.butter_kg >= energy:
        told = _("For flow alone, the butter shown to be saved pays for the energy of these hours.")
    return f"{told} {_('Flavour is another question.')}"


def does_not_hold(ladder: Ladder) -> tuple[str, ...]:
    """Where such a claim ends."""
    most = max((one.added for one in ladder.rungs if one.added is not None), default=0.0)
    return (
        _("Another day: the ladder and the conched mass must be read in one session."),
        _("Outside the ladder: then only “more than {x} %” is said.").format(x=as_hours(most)),
        _("Another recipe, fineness or lecithin: make a new ladder, about two hours of work."),
        _("It is about flow. What less butter or fewer hours do to flavour, only tasting tells."),
    )


def why_unread(ladder: Ladder) -> str:
    """What stands in the way of any claim: the conched mass was not read in that session."""
    told = _(
        "{list}: the {h} h mass was not read in the session of the ladder. Read three fresh portions of it on that day."
    )
    return told.format(list=listed([heading(name) for name in unread(ladder)]), h=as_hours(ladder.conched_h))


def axis(ladder: Ladder) -> str:
    """Below the pictures."""
    return _("cocoa butter added to the {h} h mass, %").format(h=as_hours(ladder.short_h))


def unit_of(name: str) -> str:
    """The unit of a quantity."""
    return UNITS[name]
