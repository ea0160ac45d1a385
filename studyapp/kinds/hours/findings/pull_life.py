"""What is said of pulls as they were really taken: when, how late, what was lost, and what departed from the plan."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from datetime import datetime, timedelta

from studyapp.findings.losses import loss_reasons
from studyapp.findings.numbers import decimal, hours
from studyapp.kinds.hours.setting_out.pulls import PullLife, Pulls
from studyapp.words import _


def span(length: timedelta) -> str:
    """A length of time in the unit that people would use: "18 min", "3 h 57 min", "46 h"."""
    minutes = round(abs(length).total_seconds() / 60)
    whole, rest = divmod(minutes, 60)
    if not whole:
        return _("{n} min").format(n=rest)
    if not rest or whole >= 10:
        return _("{n} h").format(n=whole if rest < 30 else whole + 1)
    return _("{h} h {n} min").format(h=whole, n=rest)


def off_by(late: timedelta) -> str:
    """How far from its hour: "on time", "18 min late", "12 min early"; ten minutes are on time."""
    if abs(late) <= timedelta(minutes=10):
        return _("on time")
    return (_("{span} late") if late > timedelta(0) else _("{span} early")).format(span=span(late))


def taken_says(life: PullLife) -> str:
    """When a pull was taken, how far from its hour, and how much of it."""
    if life.taken is None:
        return ""
    at = datetime.fromisoformat(life.taken.actual_at)
    said = [at.strftime("%H:%M") if life.due and at.date() == life.due.date() else _time(life.taken.actual_at)]
    if life.due is not None and off_by(life.late) != _("on time"):
        said.append(off_by(life.late))
    if life.replaced:
        said.append(_("in place of the lost one"))
    if life.taken.mass_g is not None:
        said.append(_("{n} g").format(n=f"{life.taken.mass_g:g}"))
    return ", ".join(said)


def lost_says(life: PullLife) -> list[str]:
    """Each loss with its reason, and where; first those that were replaced."""
    said = []
    for note in (*life.replaced, *life.lost):
        why = loss_reasons().get(note.reason or "", note.reason or "")
        where = _("lost, {why}") if note.sitting is None else _("lost in sitting {n}, {why}")
        said.append(where.format(why=why, n=note.sitting))
    return said


def really(of_hours: float, late: timedelta) -> str:
    """The hour that a pull so late really has, in words."""
    true = of_hours + late.total_seconds() / 3600
    return decimal(true, 0 if true >= 10 else 1)


def late_says(of_hours: float, late: timedelta) -> str:
    """What a pull so late really is."""
    return _("The {h} h pull is {late}: it is a {really} h pull.").format(
        h=hours(of_hours), late=off_by(late), really=really(of_hours, late)
    )


def late_pulls(*every: Pulls) -> list[str]:
    """A sentence for each pull that was taken too late or too early; for plan, verdict and report."""
    return [said for kept in every for said in _of_batch(kept, _late(kept))]


def pull_departures(*every: Pulls) -> list[str]:
    """What departed from the plan at the conche, batch by batch."""
    return [said for kept in every for said in _of_batch(kept, _departures(kept))]


def _of_batch(kept: Pulls, said: Sequence[str]) -> list[str]:
    """The sentences with their batch where there are several."""
    return [_("{batch}: {said}").format(batch=kept.batch, said=one) if kept.batch else one for one in said]


def _late(kept: Pulls) -> list[str]:
    return [late_says(life.hours, life.late) for life in kept.lives if life.taken and life.is_late]


def _departures(kept: Pulls) -> list[str]:
    if kept.batch and all(life.gone for life in kept.lives):
        return [_lost_whole(kept)]
    noted = [
        _("{h} h: {lost}, noted by {who} at {time}.").format(
            h=hours(life.hours), lost=said, who=note.by, time=_time(note.actual_at)
        )
        for life in kept.lives
        for note, said in zip((*life.replaced, *life.lost), lost_says(life), strict=True)
    ]
    instead = [
        _("{h} h: replaced by one more pull, taken {time}; noted by {who}.").format(
            h=hours(life.hours), time=_time(life.taken.actual_at), who=life.taken.by
        )
        for life in kept.lives
        if life.taken is not None and life.replaced
    ]
    return [*_late(kept), *noted, *instead, *_nobody_noted(kept.lives)]


def _lost_whole(kept: Pulls) -> str:
    """One of several batches that never came to the table."""
    note = kept.lives[0].gone
    told = _("lost whole before anybody tasted it ({why}): nothing is said about it. Noted by {who} at {time}.")
    why = loss_reasons().get(note.reason or "", "") if note else ""
    return told.format(why=why, who=note.by if note else "", time=_time(note.actual_at) if note else "")


def _nobody_noted(lives: Iterable[PullLife]) -> list[str]:
    """Pulls of which nothing is noted although others are."""
    lives = list(lives)
    silent = [life.hours for life in lives if life.open]
    if not silent or len(silent) == len(lives):
        return []
    return [_("Nobody noted when the pull at {list} h was taken.").format(list=", ".join(map(hours, silent)))]


def _time(text: str) -> str:
    return datetime.fromisoformat(text).strftime("%d.%m. %H:%M")
