"""The part of the pull page that works without a connection: what is taken now, and what waits on the phone."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any

from studyapp.components import phone
from studyapp.kinds.hours.plan import HoursStudy
from studyapp.kinds.hours.setting_out import pulls
from studyapp.kinds.hours.setting_out.pulls import PullLife
from studyapp.records import Staff
from studyapp.words import _, ngettext

_TAKING = phone.page("taking", "taking/taking.css", "taking/taking.js")


def taking(
    by: Staff,
    study: HoursStudy,
    lives: Sequence[PullLife],
    due: Callable[[PullLife], str],
    count: int,
    step: str = "",
) -> None:
    """Draw the next of these pulls, `count` notes being known; `step` opens its form at once, "earlier" with the time
    it was due."""
    planned = {pull.hours: pull.mass_g for pull in study.plan.pulls}
    samples = [
        {
            "id": f"{study.id}/{life.level:.10g}",
            "hours": life.level,
            "name": pulls.pull_told(study.plan, life.level),
            "due": due(life),
            "at": life.due.isoformat(timespec="minutes") if life.due else "",
            "mass": planned[life.hours],
        }
        for life in lives
    ]
    where = ", ".join(part for part in (study.plan.title, study.plan.batch) if part)
    mark = f"{study.id} {step} {count} {samples[0]['id']} {samples[0]['due']}"
    told: dict[str, Any] = {
        "study": study.id,
        "open": step,
        "samples": samples,
        "longest": pulls.LONGEST_WORDS,
        "count": count,
    }
    told |= {"box": f"taken-{by.id}", "mark": mark, "where": _("{where}. Next pull").format(where=where)}
    phone.show(_TAKING, f"taking-{study.id}", told | {"words": _words()})


def _words() -> dict[str, Any]:
    waits = (
        ngettext(
            "Not sent yet. One pull waits on this phone and goes out by itself.",
            "Not sent yet. {n} pulls wait on this phone and go out by themselves.",
            n,
        ).format(n=n)
        for n in range(1, 10)
    )
    return {
        "now": _("Taken now, {time}"),
        "earlier": _("Taken earlier"),
        "taken": _("{name} pull, taken"),
        "at": _("Taken at"),
        "mass": _("Mass, g"),
        "degrees": _("Temperature, °C"),
        "note": _("Note"),
        "more": _("Temperature and a note"),
        "keep": _("Keep"),
        "back": _("Back"),
        "waits": list(waits),
    }
