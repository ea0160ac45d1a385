"""What instruments read, in words: a value a quantity and pull over fresh portions, and how sure it is."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence
from typing import TYPE_CHECKING

from studyapp.batches import UNITS, Curve, Reading, quantities, shown_unit
from studyapp.findings.numbers import decimal, listed
from studyapp.services.readings import CURVE, Read
from studyapp.words import _

if TYPE_CHECKING:
    from analysis.instruments import Casson

FROM_CURVES = {"viscosity at 40 1/s": 40.0, "stress at 5 1/s": 5.0}
BENDS = 0.05  # a square term seen at this level is said
_DIGITS = {"viscosity at 40 1/s": 2, "moisture": 2, "ph": 2}


def values(read: Read) -> dict[tuple[str, float], list[float]]:
    """The values of every quantity and pull, one a fresh portion; read off the way down of a flow curve where it was
    not read by itself."""
    found: dict[tuple[str, float], list[float]] = defaultdict(list)
    for one in read.values:
        found[one.quantity, one.hours].append(one.value)
    for quantity in FROM_CURVES:
        for curve in read.curves:
            if curve.branch == "down" and not any(
                (one.quantity, one.hours) == (quantity, curve.hours) for one in read.values
            ):
                value = read_off(curve, quantity)
                if value is not None:
                    found[quantity, curve.hours].append(value)
    return dict(found)


def read_off(curve: Curve, quantity: str) -> float | None:
    """Stress at 5 or viscosity at 40 1/s off one branch; None outside the rates that were measured."""
    from analysis.instruments import stress_at, viscosity_at

    rates, stresses = zip(*curve.points, strict=True)
    if min(stresses) < 0:
        return None
    return (viscosity_at if quantity.startswith("viscosity") else stress_at)(rates, stresses, FROM_CURVES[quantity])


def read_with(read: Read, quantity: str) -> str:
    """Instrument and method behind a quantity; those of the flow curves where it was read off them."""
    used = read.used(quantity)
    if quantity in FROM_CURVES and not used[0]:
        used = read.used(CURVE)
    return ", ".join(part for part in used if part)


def summary(read: Read) -> Mapping[tuple[str, str], Mapping[float, str]]:
    """The mean of every quantity, with its unit, by pull; in the order in which quantities are asked."""
    found = values(read)
    shown: dict[tuple[str, str], dict[float, str]] = {}
    for quantity, unit in UNITS.items():
        told = {hour: shown_value(quantity, ones) for (name, hour), ones in found.items() if name == quantity}
        if told:
            shown[quantity, shown_unit(unit)] = told
    return shown


def shown_value(quantity: str, ones: list[float]) -> str:
    """The mean of the portions, with the decimals that the instrument bears."""
    return decimal(sum(ones) / len(ones), _DIGITS.get(quantity, 1))


# ---- sentences -------------------------------------------------------------------------------------------------------
def one_says(one: Reading | Curve) -> str:
    """One kept portion in words, with its mark where it was asked about."""
    if isinstance(one, Curve):
        said = _("flow curve, {n} points").format(n=len(one.points))
    else:
        said = f"{quantities()[one.quantity]} {one.value:g} {shown_unit(one.unit)}".strip()
    return _("{what} (asked about)").format(what=said) if one.asked else said


def curves_say(read: Read, hour: float) -> Iterator[str]:
    """Casson's line through the ways down of a pull, what was read off them with its interval, and where a line does
    not fit."""
    from analysis.instruments import casson

    down = [one for one in read.curves if one.hours == hour and one.branch == "down"]
    fits: list[tuple[int, Casson]] = []
    for one in down:
        try:
            fits.append((one.portion, casson(*zip(*one.points, strict=True))))
        except ValueError:
            yield _("Portion {n} has too few points between 5 and 50 1/s for a line.").format(n=one.portion)
    if fits:
        yield from _over_portions(_("Casson yield"), "Pa", [fit.yield_pa for _n, fit in fits])
        yield from _over_portions(_("Casson plastic viscosity"), "Pa.s", [fit.plastic_pa_s for _n, fit in fits])
    bent = [str(portion) for portion, fit in fits if fit.bend_p is not None and fit.bend_p < BENDS]
    if bent:
        yield _("A line does not fit portion {n}: its points bend.").format(n=listed(bent))
    yield from _gaps(read, hour)


def _over_portions(what: str, unit: str, told: Sequence[float]) -> Iterator[str]:
    from analysis.instruments import over_portions

    if min(told) <= 0:
        return
    found = over_portions(told)
    value = _("{what} {value} {unit}").format(what=what, value=decimal(found.estimate, 2), unit=unit)
    if found.low is None or found.high is None:
        yield _("{value}; one portion has no interval.").format(value=value)
        return
    ends = {"low": decimal(found.low, 2), "high": decimal(found.high, 2)}
    said = _("{value}, 90 % interval {low} to {high}, from {n} portions.")
    yield said.format(value=value, n=found.portions, **ends)


def _gaps(read: Read, hour: float) -> Iterator[str]:
    """By how much the way up lies above the way down, portion by portion."""
    import pandas as pd

    from analysis.instruments import gap

    for portion in sorted({one.portion for one in read.curves if one.hours == hour}):
        rows = [
            (rate, stress, one.branch)
            for one in read.curves
            if (one.hours, one.portion) == (hour, portion)
            for rate, stress in one.points
        ]
        table = pd.DataFrame(rows, columns=["shear_rate", "stress", "branch"])
        told = [(rate, gap(table, rate)) for rate in (5.0, 40.0)]
        for rate, found in told:
            if found is not None:
                said = _("Portion {n}: the way up lies {share} % above the way down at {rate} 1/s.")
                yield said.format(n=portion, share=decimal(found, 0), rate=f"{rate:g}")


def flow_says(curves: Sequence[Curve]) -> str:
    """What the picture of flow curves says."""
    told = [
        _("portion {n} from {low} Pa at {slow} 1/s to {high} Pa at {fast} 1/s").format(
            n=one.portion,
            low=decimal(points[0][1]),
            slow=f"{points[0][0]:g}",
            high=decimal(points[-1][1]),
            fast=f"{points[-1][0]:g}",
        )
        for one in curves
        if (points := sorted(one.points))
    ]
    return _("Stress against shear rate, both on roots: {curves}.").format(curves=listed(told))
