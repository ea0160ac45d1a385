"""The hours book: what is known of a recipe on a machine, from its signed verdicts; a card that was printed of it.

The hour in use is the shortest that some verdict chose and that no later study of the same recipe and machine failed to
show. A study that did not show it takes it back for new batches; what was said of the batches before stands.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import asdict, dataclass, replace
from datetime import date
from typing import TYPE_CHECKING, Any

from studyapp import registry
from studyapp.batches import Batch, finite
from studyapp.errors import BadInput, NotAllowed, NotFound
from studyapp.kinds.hours.deciding import signed
from studyapp.kinds.hours.deciding.courses import Course, course_of, on_average
from studyapp.kinds.hours.plan import KIND, Confirms, HoursStudy
from studyapp.kinds.hours.rule.confirming import draft_of
from studyapp.records import Staff
from studyapp.services import names, planning
from studyapp.services.access import require, study_or_refuse
from studyapp.store import Store, events, sittings, studies
from studyapp.store import batches as kept_batches
from studyapp.words import _

if TYPE_CHECKING:
    from analysis.stopping import Decision

PRICED, CARD = "prices kept", "card printed"


@dataclass(frozen=True, slots=True)
class Entry:
    """One signed study: its verdict, the batches it is about (none where nobody recorded one), the time of its last
    signature, its sittings, and the hour of the last card that was printed of it."""

    study: HoursStudy
    decision: Decision
    batches: tuple[Batch, ...]
    signed_at: str
    sittings: int
    card: float | None = None

    @property
    def signed_on(self) -> str:
        """The day of its last signature."""
        return self.signed_at[:10]

    @property
    def labels(self) -> tuple[str, ...]:
        """What its batches are called."""
        return tuple(one.draft.label for one in self.batches) or (self.study.plan.batch or self.study.plan.title,)

    @property
    def lots(self) -> tuple[str, ...]:
        """The cocoa lots of its batches."""
        return tuple(dict.fromkeys(one.draft.lot for one in self.batches if one.draft.lot))

    @property
    def heard(self) -> bool:
        """Whether the panel found its control; one that did not says nothing of any hour, for or against."""
        return self.decision.control_found

    def showed(self, hour: float) -> bool | None:
        """Whether this study showed an hour; None where it was not asked, where a confirmation left it open, or where
        the panel was not awake."""
        if not self.heard:
            return None
        if self.decision.confirms is None:
            return self.decision.passes.get(hour)
        found = {"confirmed": True, "not confirmed": False}
        return found.get(self.decision.verdict) if hour == self.decision.confirms else None


@dataclass(frozen=True, slots=True)
class Book:
    """The entries of a recipe on a machine, the first signed first, and batches that no study has tasted yet;
    `unsigned` confirmations that are opened and wait for signatures; what all batches of the hour's course say
    `on_average`, None where that was not sealed, or not asked."""

    recipe: str
    machine: str
    entries: tuple[Entry, ...]
    waiting: tuple[Batch, ...] = ()
    unsigned: tuple[HoursStudy, ...] = ()
    on_average: Decision | None = None

    @property
    def course(self) -> Course | None:
        """Everything that was asked about the hour in use, or the one taken back."""
        hour = self.in_use if self.in_use is not None else (self.withdrawn or (None,))[0]
        return course_of(self.entries, self.unsigned, hour)

    @property
    def in_use(self) -> float | None:
        """The hour in use; None while none is."""
        kept = [hour for hour in self._chosen() if all(one.showed(hour) is not False for one in self.entries)]
        return min(kept, default=None)

    @property
    def withdrawn(self) -> tuple[float, Entry] | None:
        """The shortest hour that was chosen and taken back, with the study that did not show it; None while an hour is
        in use."""
        if self.in_use is not None:
            return None
        for hour in sorted(self._chosen()):
            for one in self.entries:
                if one.showed(hour) is False:
                    return hour, one
        return None

    @property
    def longest(self) -> float:
        """To which one conches where no hour is in use."""
        return max(one.decision.reference_hours for one in self.entries)

    def _chosen(self) -> list[float]:
        stops = [one.decision.hours for one in self.entries if one.decision.verdict == "stop"]
        return [hour for hour in stops if hour is not None]

    @property
    def bearing(self) -> tuple[Entry, ...]:
        """The entries that bear the hour in use."""
        return tuple(one for one in self.entries if self.in_use is not None and one.showed(self.in_use))

    @property
    def chosen_by(self) -> Entry | None:
        """The last of the entries that chose the hour in use itself: its limits and margins hold there."""
        return next((one for one in reversed(self.bearing) if one.decision.hours == self.in_use), None)

    @property
    def ends_on(self) -> str:
        """A year after the last signature that bears the hour in use."""
        last = date.fromisoformat(max((one.signed_on for one in self.bearing), default=self.entries[-1].signed_on))
        return last.replace(year=last.year + 1, day=min(last.day, 28)).isoformat()

    @property
    def outdated(self) -> Entry | None:
        """A study whose printed card says another hour than the one in use."""
        now = self.longest if self.in_use is None else self.in_use
        return next((one for one in reversed(self.entries) if one.card not in (None, now)), None)


def books(store: Store, by: Staff) -> tuple[Book, ...]:
    """A book for every recipe and machine of which something is signed, by name."""
    require(by, "leader")
    with store.read() as tx:
        every = [registry.study_of(one) for one in studies.all_studies(tx) if one.kind == KIND]
        kept = [one for one in every if one.state == "decided"]
        unsigned = [one for one in every if one.state == "opened" or (one.state == "sealed" and one.look > 1)]
        entries = sorted((_entry(tx, study) for study in kept), key=lambda one: one.signed_at)
        free = [one for one in kept_batches.everywhere(tx) if one.study is None]
    named: dict[tuple[str, str], list[Entry]] = {}
    for one in entries:
        named.setdefault(_key(one.study.plan.recipe, one.study.plan.machine), []).append(one)
    return tuple(_book(found, free, unsigned) for _name, found in sorted(named.items()))


def _key(recipe: str, machine: str) -> tuple[str, str]:
    return names.alike(recipe), names.alike(machine)


def _book(found: Sequence[Entry], free: Sequence[Batch], unsigned: Sequence[HoursStudy]) -> Book:
    plan = found[-1].study.plan
    waiting = [one for one in free if _key(one.draft.recipe, one.draft.machine) == _key(plan.recipe, plan.machine)]
    mine = _key(plan.recipe, plan.machine)
    open_ = [one for one in unsigned if one.plan.confirms and _key(one.plan.recipe, one.plan.machine) == mine]
    return Book(plan.recipe, plan.machine, tuple(found), tuple(waiting), tuple(open_))


def _entry(tx: Any, study: HoursStudy) -> Entry:
    document = studies.decision_document(tx, study.id, study.look)
    if document is None:
        raise NotFound(_("Not done: the signed verdict of {study} is not kept here.").format(study=study.plan.title))
    signed_at = studies.signatures(tx, study.id, study.look)[-1].at
    printed = events.of_kinds(tx, study.id, CARD)
    card = float(str(printed[-1].body["hours"])) if printed else None
    count = len(sittings.of_study(tx, study.id))
    batches = kept_batches.of_study(tx, study.id)
    return Entry(study, signed.decision_from(document), batches, signed_at, count, card)


def book_of(store: Store, by: Staff, study_id: str) -> Book:
    """The book in which a study stands. Raises NotFound for one that is not signed."""
    for one in books(store, by):
        if study_id in {entry.study.id for entry in one.entries}:
            return replace(one, on_average=on_average(store, by, one.course) if one.course else None)
    raise NotFound(_("Not done: this study is not signed yet, so no book holds it."))


def confirm(store: Store, by: Staff, study_id: str) -> str:
    """A draft that asks the next batch for the hour of a signed study's book: the one in use, or the one taken back.

    Raises:
        NotFound: the study is not signed. NotAllowed: no shorter hour was ever chosen.
    """
    found = book_of(store, by, study_id)
    if found.course is None:
        raise NotAllowed(_("Not done: no shorter hour was chosen yet, so there is none to confirm."))
    hour, origin = found.course.hours, found.course.origin
    batch = found.waiting[0].draft.label if found.waiting else ""
    confirms = Confirms(hour, origin.study.id)
    plan = draft_of(origin.study.plan, confirms, origin.decision.reference_hours, batch)
    return planning.copy(store, by, origin.study.id, plan, _("confirm {h} h").format(h=f"{hour:g}"))


def note_card(store: Store, by: Staff, study_id: str, hour: float) -> int:
    """Write down that a process card was printed, and with which hour; the number of the card."""
    require(by, "leader")
    with store.write() as tx:
        study = study_or_refuse(tx, study_id, KIND)
        if study.state != "decided":
            raise NotAllowed(_("Not done: a card is printed of a signed verdict."))
        events.append(tx, CARD, {"by": by.id, "hours": hour}, study_id)
        return len(events.of_kinds(tx, study_id, CARD))


# ---- what it is worth ------------------------------------------------------------------------------------------------
@dataclass(frozen=True, slots=True)
class Prices:
    """What a workshop pays, in its own currency, and how often it conches. `kw`: power of the conche; `minutes`: of
    people saved with a shorter batch; `second_grade`: lost on a batch that has to be sold as second grade."""

    batches_a_year: float = 40.0
    machine_hour: float | None = None
    kwh: float | None = None
    kw: float | None = None
    person_hour: float | None = None
    minutes: float = 0.0
    mass_kg: float | None = None
    reading: float = 0.0
    second_grade: float = 0.0


@dataclass(frozen=True, slots=True)
class Payoff:
    """Saved a batch and spent on knowing, as (label code, how many, price, money); `pays`: the batch that pays for the
    tasting, None where none within `MOST_BATCHES` does; `risk`: lost a batch on average by the sealed error."""

    hours: float
    saved: tuple[tuple[str, float, float, float], ...]
    spent: tuple[tuple[str, float, float, float], ...]
    pays: int | None
    pays_late: int | None
    risk: float

    @property
    def a_batch(self) -> float:
        """Saved with each batch."""
        return sum(line[-1] for line in self.saved)

    @property
    def cost(self) -> float:
        """Spent on the tastings."""
        return sum(line[-1] for line in self.spent)

    def after(self, batches: float, careful: bool = False) -> float:
        """Saved after so many batches; `careful` takes off what the sealed error costs on average."""
        return batches * (self.a_batch - (self.risk if careful else 0.0))


MOST_BATCHES = 400


def prices(store: Store, by: Staff, found: Book) -> Prices:
    """The prices that were typed last for a book, in whichever of its studies."""
    require(by, "leader")
    with store.read() as tx:
        told = [one for entry in found.entries for one in events.of_kinds(tx, entry.study.id, PRICED)]
    known: Mapping[str, Any] = max(told, key=lambda one: one.seq).body if told else {}
    return Prices(**{name: known[name] for name in Prices.__dataclass_fields__ if known.get(name) is not None})


def keep_prices(store: Store, by: Staff, study_id: str, typed: Prices) -> None:
    """Keep what was typed, in the record of the study. Raises BadInput for what is no price."""
    require(by, "leader")
    for value in asdict(typed).values():
        finite(value, least=0.0)
    if typed.batches_a_year <= 0:
        raise BadInput(_("Fix the batches a year: at least one is needed."))
    with store.write() as tx:
        study_or_refuse(tx, study_id, KIND)
        events.append(tx, PRICED, {"by": by.id, **asdict(typed)}, study_id)


def worth(found: Book, typed: Prices) -> Payoff | None:
    """What the hour in use saves against what it took to know; None without an hour in use or a machine's price."""
    if found.in_use is None or typed.machine_hour is None:
        return None
    hours = found.longest - found.in_use
    saved = (
        ("machine", hours, typed.machine_hour),
        ("energy", hours * (typed.kw or 0.0), typed.kwh or 0.0),
        ("people", typed.minutes / 60, typed.person_hour or 0.0),
    )
    lines = tuple((name, many, price, many * price) for name, many, price in saved if many and price)
    spent = tuple((name, many, price, many * price) for name, many, price in _spent(found, typed) if many and price)
    risk = found.bearing[-1].decision.alpha * typed.second_grade if found.bearing else 0.0
    told = Payoff(hours, lines, spent, None, None, risk)
    return Payoff(hours, lines, spent, _paid(told, careful=False), _paid(told, careful=True), risk)


def _spent(found: Book, typed: Prices) -> Iterator[tuple[str, float, float]]:
    people, grams, read = 0.0, 0.0, 0
    for one in found.entries:
        plan = one.study.plan
        pieces = len(plan.pulls) * plan.replicates + plan.warm_up
        people += one.sittings * len(plan.assessors) * min(pieces, plan.palate) * (plan.rest_seconds / 3600 + 2 / 60)
        grams += one.sittings * len(plan.assessors) * min(pieces, plan.palate) * plan.piece_g
        read += sum(pull.repeats for gate in one.decision.gates for pull in gate.pulls)
    yield "people", people, typed.person_hour or 0.0
    yield "mass", grams / 1000, typed.mass_kg or 0.0
    yield "readings", float(read), typed.reading


def _paid(told: Payoff, *, careful: bool) -> int | None:
    return next((n for n in range(1, MOST_BATCHES + 1) if told.after(n, careful) >= told.cost), None)
