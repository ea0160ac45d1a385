"""Numbers as people read them: one decimal on scales, whole per cent, hours without a trailing zero.

A decimal sign belongs to a language, so it comes from the catalogue, not from the server's locale.
"""

from __future__ import annotations

from collections.abc import Sequence
from decimal import ROUND_FLOOR, Decimal
from math import floor, log10

from studyapp.words import _

_FINEST = 4


def decimal(value: float, digits: int = 1) -> str:
    """A number with so many decimals and a true minus sign; a rounded zero has no sign."""
    text = f"{value:.{digits}f}"
    negative = text.startswith("-") and float(text) != 0
    whole, _dot, part = text.lstrip("-").partition(".")
    if part:
        # Translators: a number such as 4.5; write "{whole},{part}" where a comma is the custom.
        whole = _("{whole}.{part}").format(whole=whole, part=part)
    return f"−{whole}" if negative else whole


def units(value: float) -> str:
    """A score, a difference or a margin in scale units."""
    return decimal(value, 1)


def digits_of(half_width: float, otherwise: int = 3) -> int:
    """Decimals that leave the half width two significant digits (JCGM 100:2008, 7.2.6, from memory)."""
    return otherwise if half_width <= 0 else min(max(1 - floor(log10(half_width)), 0), 6)


def trimmed(value: float, digits: int) -> str:
    """A number with at most so many decimals, none of them a zero at the end."""
    text = decimal(round(value, digits), digits)
    return text.rstrip("0").rstrip(".,") if round(value, digits) != round(value) else decimal(value, 0)


def beside(value: float, bound: float) -> str:
    """A value to be read against a bound: one decimal, or more where one would make two different numbers look alike.

    0.98 against 1.0 is "0.98", so that no sentence says "at most 1.0, and the margin is 1.0".
    """
    for digits in range(1, _FINEST):
        if value == bound or round(value, digits) != round(bound, digits):
            return decimal(value, digits)
    return decimal(value, _FINEST)


def rounded_down(value: float) -> tuple[float, str]:
    """A number cut to hundredths, never above `value`, and its words: what holds up to the number told then holds."""
    cut = Decimal(repr(float(value))).quantize(Decimal("0.01"), ROUND_FLOOR)
    return float(cut), decimal(float(cut), 1 if cut == round(cut, 1) else 2)


def hours(value: float) -> str:
    """Hours without a trailing zero: 12, 7.5."""
    return decimal(value, 0) if float(value).is_integer() else decimal(value, 2 if round(value, 1) != value else 1)


def hours_list(values: Sequence[float]) -> str:
    """Hours in a row: "4, 8 and 12"."""
    return listed([hours(value) for value in values])


def listed(words: Sequence[str]) -> str:
    """Words in a row: "a", "a and b", "a, b and c"."""
    if len(words) < 2:
        return "".join(words)
    # Translators: joins the last two of a list.
    return _("{first} and {last}").format(first=", ".join(words[:-1]), last=words[-1])


def percent(share: float) -> str:
    """A share as whole per cent: 0.38 is "38 %"."""
    return _("{number} %").format(number=round(share * 100))


def of_studies(share: float) -> str:
    """A small chance as a count: 0.05 is "5 of 100", 0.025 is "25 of 1000"."""
    whole = round(share * 100, 6).is_integer()
    count, total = (share * 100, 100) if whole else (share * 1000, 1000)
    return _("{count} of {total}").format(count=round(count), total=total)


SMALLEST_P = 0.0001
# Below this a chance is "fewer than 1 of 10".
SELDOM = 0.1


def of_ten(share: float) -> str:
    """A chance as a count of ten, rounded down, never promising more than nine."""
    if share < SELDOM:
        return _("fewer than 1 of 10")
    return _("{count} of 10").format(count=min(9, floor(round(share * 10, 9))))


def or_dash(value: float | None, digits: int) -> str:
    """A number with so many decimals, or a dash for one that does not exist."""
    return "–" if value is None else decimal(value, digits)


def p_value(value: float | None) -> str:
    """A chance as a test gives it, for the tables of numbers alone."""
    return _("below 0.0001") if value is not None and value < SMALLEST_P else or_dash(value, 4)


def count_of(value: float) -> int:
    """The number that chooses singular or plural for hours; a fraction is plural."""
    return int(value) if float(value).is_integer() else 2


def opening(name: str) -> str:
    """A name at the start of a sentence."""
    return name[:1].upper() + name[1:]


def interval_share(level: float) -> int:
    """Per cent of the two-sided interval that belongs to a one-sided level: 90 for 0.05."""
    return round((1 - 2 * level) * 100)
