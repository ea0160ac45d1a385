"""The appointments of an aroma study in words, for screen and file."""

from __future__ import annotations

from studyapp import calendars
from studyapp.calendars import Appointment
from studyapp.findings.numbers import hours
from studyapp.kinds.aroma.findings.verdicts import unit_word
from studyapp.kinds.aroma.plan import AromaPlan
from studyapp.kinds.aroma.rule import control
from studyapp.words import _, ngettext


def in_words(one: Appointment, plan: AromaPlan) -> tuple[str, str]:
    """What is to be done, and what to mind."""
    if one.kind not in ("infuse", "plain", "blank", "control"):
        return calendars.in_words(one)
    return _made(one, plan), _(
        "Hot air and hot mass burn, and dry plant matter can catch fire: guards on, air drawn off, never alone, as the "
        "machine's manual and site rules say."
    )


def _made(one: Appointment, plan: AromaPlan) -> str:
    level = int(one.level or 0)
    if one.kind == "blank":
        return _("blank: the same hot air, no plant")
    if one.kind == "control":
        return _("control: {holds}").format(holds=control.made(plan))
    if one.kind == "plain" and plan.aim == "linger":
        return ngettext("plain batch after {n} day", "plain batch after {n} days", level).format(n=level)
    if one.kind == "plain":
        return _("plain batch +{n}").format(n=level)
    if one.level is None:
        return _("infuse")
    return _("infuse, {n} {unit}").format(n=hours(one.level), unit=unit_word(plan.dose_unit))


def age(days: int) -> str:
    """What makes the samples comparable."""
    return ngettext(
        "All samples are tempered together for each sitting, so that every piece is {n} day old when it is tasted.",
        "All samples are tempered together for each sitting, so that every piece is {n} days old when it is tasted.",
        days,
    ).format(n=days)
