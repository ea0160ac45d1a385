"""The life of every pull: planned, taken, late, lost; noted at the conche by somebody who does not taste."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

from studyapp.calendars import after
from studyapp.errors import BadInput, NotAllowed
from studyapp.findings.numbers import hours as as_hours
from studyapp.kinds.hours.plan import KIND, HoursPlan, HoursStudy
from studyapp.records import PullNote, Staff
from studyapp.services import closing, leaving_out, losses
from studyapp.services.access import require, study_or_refuse, tastes
from studyapp.services.losses import check_time
from studyapp.services.seating import check_nonce
from studyapp.store import Store, servings, sittings
from studyapp.store import pulls as notes
from studyapp.words import _

# A pull is late from a tenth of its hour on, at the earliest after half an hour (common sense, no source).
LATE_SHARE, LEAST_LATE = 0.1, timedelta(minutes=30)
LONGEST_WORDS = 300


@dataclass(frozen=True, slots=True)
class PullLife:
    """One sealed pull, under its number in the store: when it was or is due (None before any hour zero is known), the
    note of its taking, those of its losses, and those of losses that another pull has `replaced`."""

    level: float
    hours: float
    due: datetime | None
    taken: PullNote | None
    lost: tuple[PullNote, ...] = ()
    replaced: tuple[PullNote, ...] = ()

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
    """Hour zero as noted, or else as planned, every sealed pull, ascending, and how many notes there are; of the batch
    at a `place` in the plan, which is named where there are several."""

    zero: datetime | None
    zero_noted: bool
    lives: tuple[PullLife, ...]
    count: int = 0
    place: int = 0
    batch: str = ""

    @property
    def next(self) -> PullLife | None:
        """The first that is neither taken nor lost."""
        return next((life for life in self.lives if life.open), None)


def is_late(hours: float, late: timedelta) -> bool:
    """Whether so much is beyond a tenth of the hour, and half an hour."""
    return abs(late) >= max(LEAST_LATE, timedelta(hours=LATE_SHARE * hours))


def pulls_of(store: Store, by: Staff, study_id: str) -> Pulls:
    """The life of every pull of a sealed study; of the first of several batches."""
    return by_batch(store, by, study_id)[0]


def by_batch(store: Store, by: Staff, study_id: str) -> tuple[Pulls, ...]:
    """The same of every batch."""
    require(by, "leader", "preparer")
    with store.read() as tx:
        study = study_or_refuse(tx, study_id, KIND)
        return tuple(_pulls(tx, study, place) for place in range(len(study.plan.named_batches) or 1))


def _pulls(tx: Any, study: HoursStudy, place: int) -> Pulls:
    plan, kept = study.plan, notes.in_force(tx, study.id)
    gone = notes.losses(kept)
    begins = plan.level(place, 0.0)
    noted = next((note.actual_at for note in kept if note.kind == "zero" and note.hours == begins), None)
    start = noted or plan.starts_at
    zero = datetime.fromisoformat(start) if start else None
    lives = []
    for hours in sorted(plan.hours_of_pulls):
        level = plan.level(place, hours)
        own = [note for note in kept if note.hours == level]
        taken = next((note for note in reversed(own) if note.kind in ("taken", "replaced")), None)
        lost = tuple(note for note in own if note in gone)
        replaced = tuple(note for note in own if note.kind == "lost" and note not in gone)
        lives.append(PullLife(level, hours, after(zero, hours) if zero else None, taken, lost, replaced))
    named = plan.batches[place] if plan.several else ""
    return Pulls(zero, noted is not None, tuple(lives), len(notes.of_study(tx, study.id)), place, named)


def pull_told(plan: HoursPlan, level: float) -> str:
    """A pull in words, with its batch where there are several."""
    place, hours = plan.pieces()[level]
    told = _("{h} h").format(h=as_hours(hours))
    return _("{batch}, {pull}").format(batch=plan.batches[place], pull=told) if plan.several else told


def lost_batches(plan: HoursPlan, gone: Collection[float]) -> frozenset[int]:
    """Places of the batches of which every pull is lost."""
    return frozenset({place for place, _h in plan.pieces().values()}) - {
        place for level, (place, _h) in plan.pieces().items() if level not in gone
    }


# ---- noting ----------------------------------------------------------------------------------------------------------
def note_pull(
    store: Store,
    by: Staff,
    study_id: str,
    level: float,
    actual_at: str,
    mass_g: float | None = None,
    temperature_c: float | None = None,
    words: str = "",
    nonce: str = "",
) -> None:
    """Keep when a pull was really taken, its mass in grams, its temperature in °C, and a few words; the same `nonce` of
    a phone twice is one note. One that was lost is replaced by it.

    Raises:
        BadInput: no planned pull, time, mass or temperature.
        NotAllowed: whoever notes tastes in the study, or the design has no place for a pull instead of a lost one.
    """
    if mass_g is not None and not 0 < mass_g < 1e6:
        raise BadInput(_("Fix the mass: write grams above 0."))
    if temperature_c is not None and not 0 <= temperature_c <= 200:
        raise BadInput(_("Fix the temperature: it lies between 0 and 200 °C."))
    if len(words) > LONGEST_WORDS:
        raise BadInput(_("Fix the note: at most {n} letters.").format(n=LONGEST_WORDS))
    check_time(actual_at)
    with store.write() as tx:
        study = _noting(tx, by, study_id, level)
        if nonce and notes.is_kept(tx, study.id, nonce):
            return
        kept = _pulls(tx, study, study.plan.pieces()[level][0])
        life = next(one for one in kept.lives if one.level == level)
        if life.gone:
            _refuse_replacement(tx, study, kept, life, datetime.fromisoformat(actual_at))
        more = {"mass_g": mass_g, "temperature_c": temperature_c, "words": words.strip() or None}
        notes.add(tx, study.id, "replaced" if life.gone else "taken", level, actual_at, by.id, nonce, **more)


def note_taken(store: Store, by: Staff, study_id: str, told: Mapping[str, Any]) -> None:
    """The same out of what a phone sends: hours, at, mass, degrees, words and nonce. Raises as `note_pull`."""
    check_nonce(told.get("nonce"))
    hours, mass, degrees = (told.get(name) for name in ("hours", "mass", "degrees"))
    if not isinstance(hours, int | float) or not all(isinstance(one, int | float | None) for one in (mass, degrees)):
        raise BadInput(_("Fix the mass: write grams above 0."))
    note_pull(store, by, study_id, float(hours), told["at"], mass, degrees, told["words"], told["nonce"])


def _refuse_replacement(tx: Any, study: HoursStudy, kept: Pulls, life: PullLife, at: datetime) -> None:
    """One more pull takes the place of a lost one as a pull of its real hour, where the sealed sequence of hours has
    room for it and no sitting has gone on without it. Raises NotAllowed elsewhere."""
    if study.state != "sealed":
        raise NotAllowed(_("Not done: the key is open, so what was lost can no longer be noted."))
    losses.refuse_left_out(tx, study.id, life.level)
    if kept.zero is None:
        raise NotAllowed(_("Not done: hour zero is not noted, so nobody can tell of which hour such a pull would be."))
    really = (at - kept.zero) / timedelta(hours=1)
    others = [(one.hours, one.hours + one.late / timedelta(hours=1)) for one in kept.lives if one.gone is None]
    beyond = [h for h, true in others if (h < life.hours and really <= true) or (h > life.hours and really >= true)]
    if beyond:
        raise NotAllowed(
            _(
                "Not done: taken then it is a {really} h pull, which the sealed order has no place for: the {other} h "
                "pull lies between. The loss stands."
            ).format(really=f"{really:.1f}".removesuffix(".0"), other=as_hours(beyond[0]))
        )


def note_zero(store: Store, by: Staff, study_id: str, actual_at: str, place: int = 0) -> None:
    """Keep when hour zero of the batch at this place of the plan really was."""
    check_time(actual_at)
    with store.write() as tx:
        study = _noting(tx, by, study_id, None)
        notes.add(tx, study.id, "zero", study.plan.level(place, 0.0), actual_at, by.id)


def note_lost(
    store: Store, by: Staff, study_id: str, level: float, reason: str, actual_at: str, sitting: int | None = None
) -> None:
    """Keep that a pull cannot be served, for a physical `reason`: in one sitting, or in every one that is left.

    Where some sittings have served it, it is lost in each of the others. Cups of open sittings are left out at once.

    Raises:
        BadInput: no planned pull, or a reason that is not on the list.
        NotAllowed: it was served there already, the key is open, or whoever notes tastes in the study.
    """
    with store.write() as tx:
        study = _noting(tx, by, study_id, level)
        losses.note(tx, by, study, level, pull_told(study.plan, level), reason, actual_at, sitting)


def note_batch_lost(store: Store, by: Staff, study_id: str, place: int, reason: str, actual_at: str) -> None:
    """Keep that none of several batches can be served at all; it steps out of the claim, and its sittings are over.

    Raises as `note_lost`; NotAllowed also where the plan names one batch alone, or any pull of it was served.
    """
    with store.write() as tx:
        study = _noting(tx, by, study_id, None)
        if not study.plan.several:
            raise NotAllowed(_("Not done: this study is of one batch. Note each pull that cannot be had."))
        every, levels = sittings.of_study(tx, study_id), _levels_of(study.plan, place)
        if any(losses.first_tasted(tx, one, level) for one in every for level in levels):
            raise NotAllowed(_("Not done: it was served already; it stays in the verdict, and does not pass."))
        for level in levels:
            if level not in losses.lost_as_a_whole(tx, study_id):
                losses.note(tx, by, study, level, pull_told(study.plan, level), reason, actual_at, None)
        for one in every:
            if one.state != "closed":
                leaving_out.close_lost(tx, one)
                if not servings.open_servings(tx, one.id):
                    closing.close_sitting(tx, by, one)


def _levels_of(plan: HoursPlan, place: int) -> list[float]:
    return [level for level, (batch, _hours) in plan.pieces().items() if batch == place]


def undo(store: Store, by: Staff, study_id: str, level: float | None, actual_at: str, place: int = 0) -> None:
    """Take back what was noted last of a pull, or hour zero (None) of the batch at this place of the plan; both notes
    stay in the record.

    Raises:
        NotAllowed: there is nothing to take back, or its cups were left out of a sitting already.
    """
    with store.write() as tx:
        study = _noting(tx, by, study_id, level)
        zero, at = level is None, study.plan.level(place, 0.0) if level is None else level
        kept = [note for note in notes.in_force(tx, study.id) if note.hours == at and (note.kind == "zero") == zero]
        if not kept:
            raise NotAllowed(_("Not done: nothing is noted there."))
        last = kept[-1]
        if last.kind == "lost":
            losses.refuse_left_out(tx, study.id, last.hours)
        every = sittings.of_study(tx, study.id)
        if last.kind == "replaced" and any(losses.first_tasted(tx, one, last.hours) for one in every):
            raise NotAllowed(_("Not done: it was served already."))
        notes.add(tx, study.id, "zero undone" if zero else "undone", last.hours, actual_at, by.id)


def _noting(tx: Any, by: Staff, study_id: str, level: float | None) -> HoursStudy:
    """The sealed study, once this member may note its pulls."""
    require(by, "leader", "preparer")
    study = study_or_refuse(tx, study_id, KIND)
    if level is not None and level not in study.plan.pieces():
        raise BadInput(_("Fix the pull: {h} h is not one of the planned pulls.").format(h=f"{level:g}"))
    if tastes(tx, by, study):
        raise NotAllowed(_("Not done: you taste in this study, so somebody else notes pulls."))
    return study


def last_noted(kept: Pulls) -> float | None:
    """The number of the pull that was noted last; None where none is."""
    every = [(life.level, (life.taken, *life.lost, *life.replaced)) for life in kept.lives]
    noted = [(note.at, level) for level, own in every for note in own if note is not None]
    return max(noted)[1] if noted else None
