"""Who is where in a sitting, as rows and dots; there is no score in it to show."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import datetime

from studyapp.components import look
from studyapp.components.moments import clock, countdown, minutes_since
from studyapp.records import Progress, Seated, Tray
from studyapp.words import _, ngettext


def summary(progress: Progress) -> str:
    """The sitting in one or two sentences."""
    if all(seat.kind == "nothing" for seat in progress.seats):
        return _("Nobody has opened the link yet.")
    kept = sets_saved(progress) if serves_sets(progress) else _servings_saved(progress)
    parts = [kept, _not_judged(progress.missing), *_counted(progress.seats)]
    return " ".join(part for part in parts if part)


def _servings_saved(progress: Progress) -> str:
    return _("{saved} of {of} servings saved.").format(saved=progress.saved - progress.missing, of=progress.of)


def _not_judged(missing: int) -> str:
    """Servings that are behind without marks; they are not among the saved ones."""
    return ngettext("{n} stays missing.", "{n} stay missing.", missing).format(n=missing) if missing else ""


def sets_saved(progress: Progress) -> str:
    """How many sets have their answer; not which answer."""
    return _("{saved} of {of} sets answered.").format(saved=progress.saved - progress.missing, of=progress.of)


def serves_sets(progress: Progress) -> bool:
    """A set puts several cups before one seat."""
    return any(len({cup.seat for cup in tray.cups}) < len(tray.cups) for tray in progress.trays)


def not_finished(progress: Progress) -> str:
    """What becomes of servings or sets that are open when a sitting is closed."""
    left = progress.of - progress.saved
    if not serves_sets(progress):
        if not left:
            return _("Every serving is saved. The links of this sitting end now.")
        return _("{n} servings are not finished. They stay missing, and the report says why.").format(n=left)
    if not left:
        return _("Every set has its answer. The links of this sitting end now.")
    return ngettext(
        "{n} set has no answer. It stays missing, and the report says why.",
        "{n} sets have no answer. They stay missing, and the report says why.",
        left,
    ).format(n=left)


def _counted(seats: Iterable[Seated]) -> list[str]:
    kinds = [seat.kind for seat in seats]
    resting, waiting = kinds.count("rest"), kinds.count("waiting")
    said = []
    if resting:
        said.append(ngettext("{n} person rests.", "{n} people rest.", resting).format(n=resting))
    if waiting:
        said.append(ngettext("{n} person waits for a tray.", "{n} people wait for a tray.", waiting).format(n=waiting))
    return said


def rows(progress: Progress, now: datetime | None = None) -> str:
    """A row a person: name, a dot a serving, and words; then what the dots mean."""
    lines = (look.row(look.strong(seat.pseudonym), dots(seat), _words(seat, now)) for seat in progress.seats)
    legend = " ".join(
        [
            look.chip("disc", _("saved"), "quiet"),
            look.chip("dot", _("tasting now"), "quiet"),
            look.chip("ring", _("to come"), "quiet"),
        ]
    )
    return look.rows(lines, "seats open") + f'<p class="say small legend">{legend}</p>'


def dots(seat: Seated) -> str:
    """One dot a scored serving: saved, missing, tasting now, to come."""
    if seat.kind == "left":
        return look.chip("dash", _("no servings"), "quiet")
    now = seat.kind in ("serving", "trial")
    kept = seat.saved - seat.missing
    kinds = ["saved"] * kept + ["missing"] * seat.missing + (["now"] if now and seat.saved < seat.of else [])
    kinds += ["open"] * (seat.of - len(kinds))
    said = _("{saved} of {of} saved").format(saved=kept, of=seat.of)
    drawn = "".join(f'<i class="{kind}"></i>' for kind in kinds)
    return f'<span class="dots" role="img" aria-label="{look.plain(said)}">{drawn}</span>'


def _words(seat: Seated, now: datetime | None) -> str:
    said = look.plain(where(seat, now))
    return said + " " + look.chip("triangle", _("needs you"), "copper") if seat.look else said


def where(seat: Seated, now: datetime | None = None) -> str:
    """Where one person is, in words."""
    minutes = minutes_since(seat.since, now)
    if seat.called == "code reported":
        return _("holds a code that is not on the page")
    if seat.called == "another piece":
        return _("asks for another piece")
    if seat.called == "piece missing":
        return _("has no sound piece")
    if seat.silent:
        return _("phone silent for {n} min").format(n=seat.silent)
    sentences = {
        "nothing": _("has not opened the link yet"),
        "welcome": _("reads the first page"),
        "warm_up": _("tasting the warm-up piece"),
        "serving": _("tasting serving {n}, since {minutes} min") if minutes else _("tasting serving {n}"),
        "trial": _("tasting set {n}, since {minutes} min") if minutes else _("tasting set {n}"),
        "rest": _("resting, {left} left"),
        "waiting": _("waits for tray {tray}, since {minutes} min") if minutes else _("waits for tray {tray}"),
        "paused": _("paused"),
        "done": _("finished at {time}") if seat.since else _("done"),
        "stopped": _("stopped at {time}"),
        "left": _("not today, said so at {time}"),
    }
    return sentences[seat.kind].format(
        n=seat.saved + 1,
        minutes=minutes,
        left=countdown(seat.ready_at, now),
        tray=_tray_name(seat.waits_for_tray),
        time=clock(seat.since),
    )


def trays(progress: Progress) -> str:
    """Each tray: out since when, due now, or still in the kitchen; then how many deviations are noted."""
    due = {seat.waits_for_tray for seat in progress.seats if seat.waits_for_tray is not None}
    lines = [look.row(look.plain(tray_title(tray.position)), _tray_state(tray, due)) for tray in progress.trays]
    noted = ngettext("{n} noted", "{n} noted", progress.deviations).format(n=progress.deviations)
    return look.rows([*lines, look.row(look.plain(_("Departures")), look.plain(noted))])


def tray_title(position: int) -> str:
    """What a tray is called."""
    return _("Warm-up tray") if position == 0 else _("Tray {n}").format(n=position)


def _tray_name(position: int | None) -> str:
    return _("warm-up") if position == 0 else str(position)


def _tray_state(tray: Tray, due: set[int]) -> str:
    if tray.released_at:
        return look.plain(_("out since {time}").format(time=clock(tray.released_at)))
    if tray.position in due:
        return look.chip("triangle", _("due now"), "copper")
    return look.plain(_("in the kitchen"))
