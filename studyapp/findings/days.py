"""Days as people read them."""

from __future__ import annotations

from studyapp.words import _


def month(number: int) -> str:
    """Short name of a month; 1 is January."""
    months = (
        _("Jan"), _("Feb"), _("Mar"), _("Apr"), _("May"), _("Jun"),
        _("Jul"), _("Aug"), _("Sep"), _("Oct"), _("Nov"), _("Dec"),
    )  # fmt: skip
    return months[number - 1]


def day_of(iso: str) -> str:
    """A day of the calendar with its year, for example 24 Nov 2026; what is no day stays as it is."""
    parts = iso[:10].split("-")
    if len(parts) != 3 or not all(part.isdigit() for part in parts) or not 1 <= int(parts[1]) <= 12:
        return iso
    return _("{day} {month} {year}").format(day=int(parts[2]), month=month(int(parts[1])), year=parts[0])
