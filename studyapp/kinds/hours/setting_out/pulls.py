"""The life of every pull: planned, taken, late, lost; noted at the conche by somebody who does not taste."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

from studyapp.calendars import after
from studyapp.errors import BadInput, NotAllowed
from studyapp.findings.numbers import hours as as_hours
from studyapp.kinds.hours.plan import KIND, HoursStudy
from studyapp.records import PullNote, Staff
from studyapp.services import losses
from studyapp.services.access import require, study_or_refuse
from studyapp.services.losses import check_time
from studyapp.store import Store, people, servings, sittings
from studyapp.store import pulls as notes
from studyapp.words import _

# A pull is late from a tenth of its hour on, at the earliest after half an hour (common sense, no source).
LATE_SHARE, LEAST_LATE = 0.1, timedelta(minutes=30)
LONGEST_WORDS = 300


@dataclass(frozen=True, slots=True)
class PullLife:
    """One sealed pull: when it was or is due (None before any hour zero is known), the note of its taking, and those
    of its losses."""

    hours: float
    due: datetime | None
    taken: PullNote | None
    lost: tuple[PullNote, ...] = ()

    @property
    def gone(self) -> PullNote | None:
        """The loss of it as a whole."""
        return next((note for note in self.lost if note.sitting is None), None)

    @property
    def open(self) -> bool:
        """Neither taken nor lost."""
        return self.taken is None and self.gone is None

    @property
    def late(self) -> timedelta:
        """How long after its hour it was taken; negative where before."""
        if self.taken is None or self.due is None:
            return timedelta(0)
        return datetime.fromisoformat(self.taken.actual_at) - self.due

    @property
    def is_late(self) -> bool:
        """So late, or early, that it is another pull than the plan has."""
        return is_late(self.hours, self.late)


@dataclass(frozen=True, slots=True)
class Pulls:
    """Hour zero as noted, or else as planned, and every sealed pull, ascending."""

    zero: datetime | None
    zero_noted: bool
    lives: tuple[PullLife, ...]

    @property
    def next(self) -> PullLife | None:
        """The first that is neither taken nor lost."""
        return next((life for life in self.lives if life.open), None)


def is_late(hours: float, late: timedelta) -> bool:
    """Whether so much is beyond a tenth of the hour, and half an hour."""
    return abs(late) >= max(LEAST_LATE, timedelta(hours=LATE_SHARE * hours))


def pulls_of(store: Store, by: Staff, study_id: str) -> Pulls:
    """The life of every pull of a sealed study."""
    require(by, "leader", "preparer")
    with store.read() as tx:
        return _pulls(tx, study_or_refuse(tx, study_id, KIND))


def _pulls(tx: Any, study: HoursStudy) -> Pulls:
    kept = notes.in_force(tx, study.id)
    noted = next((note.actual_at for note in kept if note.kind == "zero"), None)
    start = noted or study.plan.starts_at
    zero = datetime.fromisoformat(start) if start else None
    lives = []
    for pull in sorted(study.plan.pulls, key=lambda one: one.hours):
        own = [note for note in kept if note.hours == pull.hours]
        taken = next((note for note in own if note.kind == "taken"), None)
        lost = tuple(note for note in own if note.kind == "lost")
        lives.append(PullLife(pull.hours, after(zero, pull.hours) if zero else None, taken, lost))
    return Pulls(zero, noted is not None, tuple(lives))


# ---- noting ----------------------------------------------------------------------------------------------------------
def note_pull(
    store: Store,
    by: Staff,
    study_id: str,
    hours: float,
    actual_at: str,
    mass_g: float | None = None,
    temperature_c: float | None = None,
    words: str = "",
) -> None:
    """Keep when a pull was really taken, its mass in grams, its temperature in °C, and a few words.

    Raises:
        BadInput: no planned pull, time, mass or temperature.
        NotAllowed: whoever notes tastes in the study.
    """
    if mass_g is not None and not 0 < mass_g < 1e6:
        raise BadInput(_("Fix the mass: write grams above 0."))
    if temperature_c is not None and not 0 <= temperature_c <= 200:
        raise BadInput(_("Fix the temperature: it lies between 0 and 200 °C."))
    if len(words) > LONGEST_WORDS:
        raise BadInput(_("Fix the note: at most {n} letters.").format(n=LONGEST_WORDS))
    check_time(actual_at)
    with store.write() as tx:
        study = _noting(tx, by, study_id, hours)
        more = {"mass_g": mass_g, "temperature_c": temperature_c, "words": words.strip() or None}
        notes.add(tx, study.id, "taken", hours, actual_at, by.id, **more)


def note_zero(store: Store, by: Staff, study_id: str, actual_at: str) -> None:
    """Keep when hour zero really was."""
    check_time(actual_at)
    with store.write() as tx:
        study = _noting(tx, by, study_id, None)
        notes.add(tx, study.id, "zero", 0.0, actual_at, by.id)


def note_lost(
    store: Store, by: Staff, study_id: str, hours: float, reason: str, actual_at: str, sitting: int | None = None
) -> None:
    """Keep that a pull cannot be served, for a physical `reason`: in one sitting, or in every one that is left.

    Where some sittings have served it, it is lost in each of the others. Cups of open sittings are left out at once.

    Raises:
        BadInput: no planned pull, or a reason that is not on the list.
        NotAllowed: it was served there already, the key is open, or whoever notes tastes in the study.
    """
    with store.write() as tx:
        study = _noting(tx, by, study_id, hours)
        losses.note(tx, by, study, hours, _("{h} h").format(h=as_hours(hours)), reason, actual_at, sitting)


def undo(store: Store, by: Staff, study_id: str, hours: float | None, actual_at: str) -> None:
    """Take back what was noted last of a pull, or hour zero (None); both notes stay in the record.

    Raises:
        NotAllowed: there is nothing to take back, or its cups were left out of a sitting already.
    """
    with store.write() as tx:
        study = _noting(tx, by, study_id, hours)
        zero = hours is None
        kept = [note for note in notes.in_force(tx, study.id) if (note.kind == "zero") == zero]
        last = next((note for note in reversed(kept) if zero or note.hours == hours), None)
        if last is None:
            raise NotAllowed(_("Not done: nothing is noted there."))
        if last.kind == "lost" and any(
            servings.left_out(tx, one.id, last.hours) for one in sittings.of_study(tx, study.id)
        ):
            raise NotAllowed(_("Not done: a sitting has gone on without this pull, so the loss stands."))
        notes.add(tx, study.id, "zero undone" if zero else "undone", last.hours, actual_at, by.id)


def _noting(tx: Any, by: Staff, study_id: str, hours: float | None) -> HoursStudy:
    """The sealed study, once this member may note its pulls."""
    require(by, "leader", "preparer")
    study = study_or_refuse(tx, study_id, KIND)
    if hours is not None and hours not in {pull.hours for pull in study.plan.pulls}:
        raise BadInput(_("Fix the pull: {h} h is not one of the planned pulls.").format(h=f"{hours:g}"))
    tasting = {one.person for one in people.assessors(tx) if one.id in study.plan.assessors}
    if by.person and by.person in tasting:
        raise NotAllowed(_("Not done: you taste in this study, so somebody else notes pulls."))
    return study


def last_noted(kept: Pulls) -> float | None:
    """The pull that was noted last; None where none is."""
    noted = [(note.at, life.hours) for life in kept.lives for note in (life.taken, *life.lost) if note is not None]
    return max(noted)[1] if noted else None
