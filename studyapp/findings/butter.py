"""What hours in the conche are worth in cocoa butter, in sentences."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING

from studyapp.findings.numbers import decimal, rounded_down
from studyapp.words import _

if TYPE_CHECKING:
    import pandas as pd

    from analysis.instruments import ButterWorth


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


def headline(found: Mapping[str, ButterWorth]) -> str:
    """The answer in one sentence: what the hours save at least."""
    name = counts(found)
    if name is None:
        return (
            _("No claim: not every ladder carries one.") if any(one.why_not for one in found.values()) else _nothing()
        )
    low = found[name].low or 0.0
    if found[name].high is None and found[name].estimate is None:
        return _("These hours are worth more than {x} % cocoa butter.").format(x=decimal(low))
    return _("These hours are worth at least {x} % cocoa butter.").format(x=rounded_down(low)[1])


def _nothing() -> str:
    return _("No butter is shown to be saved.")


def says(name: str, one: ButterWorth) -> str:
    """One quantity: the estimate between its ends, or why there is none."""
    if one.why_not is not None:
        why = {
            "too few readings": _("too few portions, or too few steps of butter"),
            "not falling": _("the mass did not get thinner with more butter"),
            "flat": _("the ladder is too flat for its spread"),
            "no spread": _("portions read all alike, so their spread is unknown"),
        }[one.why_not]
        return _("{name}: no claim, {why}.").format(name=name, why=why)
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
