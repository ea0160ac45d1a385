"""Ballots that come back on paper: two people type each of them without seeing the other's, what differs is settled by
name and reason, and the scores go into the record under their source.

What was typed is an event, and so is how it was settled: both stand in the chain and travel with the study. Nothing
here reads which sample a code stands for.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Literal

from studyapp.errors import BadInput, NotAllowed, OutOfDate
from studyapp.methods import METHODS
from studyapp.records import SCALE_HIGH, SCALE_LOW, Line, SetsPlan, Sitting, Staff, Study
from studyapp.services import trying, watching
from studyapp.services.access import require, sitting_or_refuse, study_or_refuse
from studyapp.services.seating import own_nonce
from studyapp.store import Store, events, people, servings, sittings, studies, trials
from studyapp.words import _

ENTERED, KEPT = "paper entered", "paper kept"
SOURCE = "paper"
# Why nothing is marked; the first two happen before anything is tasted.
STOPPED = "stopped"
REASONS = ("piece missing", "wrong code", "could not judge", STOPPED)
BLANK = "blank on paper"
LONGEST_REASON = 200
Typed = Mapping[str, Any]
State = Literal["open", "once", "differs", "kept", "phone"]


@dataclass(frozen=True, slots=True)
class Item:
    """One serving or set of a ballot: its `fields`, by the name under which each is typed; of a serving a line each and
    why it has no mark, of a set the choice among `codes`, of which `pick` are named."""

    id: str
    number: int
    codes: tuple[str, ...]
    lines: tuple[Line, ...] = ()
    pick: int = 0

    @property
    def fields(self) -> tuple[str, ...]:
        """The names of what is typed."""
        if self.pick:
            return (choice_of(self.id),)
        return (*(mark_of(self.id, line.id) for line in self.lines), why_of(self.id))


@dataclass(frozen=True, slots=True)
class PaperBallot:
    """The ballot of one assessor in a sitting: what is not kept yet, who typed it, and whether this member did."""

    assessor: str
    pseudonym: str
    state: State
    items: tuple[Item, ...]
    by: tuple[str, ...] = ()
    mine: bool = False


@dataclass(frozen=True, slots=True)
class Difference:
    """A field that two people typed differently: of which item and line (empty: why it has no mark, or the choice)."""

    field: str
    item: Item
    line: str
    typed: tuple[Any, Any]


def mark_of(serving: str, line: str) -> str:
    """The name of a mark."""
    return f"{serving}/{line}"


def why_of(serving: str) -> str:
    """The name of the reason why a serving has no mark."""
    return f"{serving}/why"


def choice_of(set_id: str) -> str:
    """The name of a choice."""
    return f"{set_id}/choice"


# ---- reading ---------------------------------------------------------------------------------------------------------
def ballots(store: Store, by: Staff, sitting_id: str) -> tuple[PaperBallot, ...]:
    """The ballot of everybody in a sitting, by name; never what somebody else typed."""
    require(by, "leader", "preparer")
    with store.read() as tx:
        sitting = sitting_or_refuse(tx, sitting_id)
        study = study_or_refuse(tx, sitting.study)
        seats = sorted(studies.seats(tx, sitting.study), key=lambda seat: seat[2])
        return tuple(_ballot(tx, by, study, sitting, assessor, name) for _n, assessor, name in seats)


def _ballot(tx: Any, by: Staff, study: Study[Any], sitting: Sitting, assessor: str, name: str) -> PaperBallot:
    items, typed = _items(tx, study, sitting, assessor), _typed(tx, sitting, assessor)
    kept = any(one.body["assessor"] == assessor for one in _told(tx, sitting, KEPT))
    state: State = "open"
    if not items:
        state = "kept" if kept else "phone"
    elif typed:
        state = "once" if len(typed) == 1 else "differs"
    names = tuple(member.name for who in typed if (member := people.member(tx, who)) is not None)
    return PaperBallot(assessor, name, state, items, names, by.id in typed)


def _items(tx: Any, study: Study[Any], sitting: Sitting, assessor: str) -> tuple[Item, ...]:
    """What no phone and no paper has finished."""
    if isinstance(study.plan, SetsPlan):
        pick = METHODS[study.plan.method].picks
        sets = enumerate(trials.blind(tx, sitting.id, assessor), 1)
        return tuple(Item(one.id, n, one.codes, pick=pick) for n, one in sets if one.finished_at is None)
    cups = [cup for cup in servings.blind(tx, sitting.id, assessor) if cup.scored and cup.finished_at is None]
    return tuple(Item(cup.id, cup.position, (cup.code,), servings.lines(tx, sitting.id, cup.id)) for cup in cups)


def _told(tx: Any, sitting: Sitting, kind: str) -> list[Any]:
    return [one for one in events.of_kinds(tx, sitting.study, kind) if one.body.get("sitting") == sitting.id]


def _typed(tx: Any, sitting: Sitting, assessor: str) -> dict[str, Typed]:
    """What each account typed last, in the order of their first entries."""
    found: dict[str, Typed] = {}
    for one in _told(tx, sitting, ENTERED):
        if one.body["assessor"] == assessor:
            found[one.body["by"]] = one.body["typed"]
    return found


def differences(store: Store, by: Staff, sitting_id: str, assessor: str) -> tuple[Difference, ...]:
    """What two people typed differently; nothing while only one has."""
    require(by, "leader", "preparer")
    with store.read() as tx:
        sitting = sitting_or_refuse(tx, sitting_id)
        study = study_or_refuse(tx, sitting.study)
        return _differences(_items(tx, study, sitting, assessor), _typed(tx, sitting, assessor))


def _differences(items: tuple[Item, ...], typed: Mapping[str, Typed]) -> tuple[Difference, ...]:
    if len(typed) < 2:
        return ()
    one, other = list(typed.values())[:2]
    names = {mark_of(item.id, line.id): line.name for item in items for line in item.lines}
    return tuple(
        Difference(field, item, names.get(field, ""), (one.get(field), other.get(field)))
        for item in items
        for field in item.fields
        if one.get(field) != other.get(field)
    )


# ---- typing ----------------------------------------------------------------------------------------------------------
def enter(store: Store, by: Staff, sitting_id: str, assessor: str, typed: Typed) -> bool:
    """Keep what this account reads on a ballot. The second account whose entry agrees puts the ballot into the record;
    True then. An account that types again before that replaces its own entry.

    Raises:
        BadInput: a mark off the line, a choice that does not answer the question, or a field of another ballot.
        NotAllowed: the sitting is not open, two others have typed it, or it needs the phone.
        OutOfDate: nothing is open on this ballot.
    """
    require(by, "leader", "preparer")
    with store.write() as tx:
        sitting, study, items = _open(tx, sitting_id, assessor)
        read = _read(study, items, typed)
        before = _typed(tx, sitting, assessor)
        if by.id not in before and len(before) > 1:
            raise NotAllowed(_("Not done: two people have typed this ballot. Settle what differs."))
        body = {"sitting": sitting_id, "assessor": assessor, "by": by.id, "typed": read}
        events.append(tx, ENTERED, body, sitting.study)
        both = {**before, by.id: read}
        agreed = len(both) > 1 and not _differences(items, both)
        if agreed:
            _keep(tx, by, sitting, assessor, items, read, {"entries": list(both)})
        return agreed


def settle(store: Store, by: Staff, sitting_id: str, assessor: str, chosen: Typed, reason: str) -> None:
    """Keep a ballot that two people typed differently: `chosen` holds, for each field that differs, which of the two
    entries holds (0 or 1).

    Raises:
        BadInput: a difference is not settled, or there is no reason.
        NotAllowed: the sitting is not open, or nobody else has typed it.
        OutOfDate: nothing is open on this ballot.
    """
    require(by, "leader", "preparer")
    said = _reason(reason)
    with store.write() as tx:
        sitting, _study, items = _open(tx, sitting_id, assessor)
        typed = _typed(tx, sitting, assessor)
        left = _differences(items, typed)
        if not left:
            raise NotAllowed(_("Not done: nothing differs on this ballot. A second person types it first."))
        if any(one.field not in chosen or chosen[one.field] not in (0, 1) for one in left):
            raise BadInput(_("Fix the ballot: choose one of the two for everything that differs."))
        settled = {one.field: one.typed[chosen[one.field]] for one in left}
        held = {**next(iter(typed.values())), **settled}
        told = {"entries": list(typed)[:2], "settled": settled, "reason": said}
        _keep(tx, by, sitting, assessor, items, held, told)


def keep_alone(store: Store, by: Staff, sitting_id: str, assessor: str, reason: str) -> None:
    """Keep a ballot that one person alone has typed; the reason stands among the departures.

    Raises:
        BadInput: there is no reason.
        NotAllowed: the sitting is not open, or not exactly one person has typed it.
        OutOfDate: nothing is open on this ballot.
    """
    require(by, "leader", "preparer")
    said = _reason(reason)
    with store.write() as tx:
        sitting, study, items = _open(tx, sitting_id, assessor)
        typed = _typed(tx, sitting, assessor)
        if len(typed) != 1:
            raise NotAllowed(_("Not done: this is for a ballot that one person has typed."))
        names = {id_: name for _n, id_, name in studies.seats(tx, sitting.study)}
        told = _("{label}: the paper ballot of {name} was typed by one person alone: {reason}")
        sentence = told.format(label=sitting.label, name=names[assessor], reason=said)
        studies.add_deviation(tx, sitting.study, sentence, watching.known_now(tx, study), by.id)
        _keep(tx, by, sitting, assessor, items, next(iter(typed.values())), {"entries": list(typed), "reason": said})


def _reason(text: str) -> str:
    text = text.strip()
    if not text or len(text) > LONGEST_REASON:
        raise BadInput(_("Fix the reason: write 1 to {n} letters.").format(n=LONGEST_REASON))
    return text


def _open(tx: Any, sitting_id: str, assessor: str) -> tuple[Sitting, Study[Any], tuple[Item, ...]]:
    sitting = sitting_or_refuse(tx, sitting_id)
    study = study_or_refuse(tx, sitting.study)
    if sitting.state not in ("open", "paused"):
        raise NotAllowed(_("Not done: ballots are typed while their sitting is open, before it is closed."))
    if isinstance(study.plan, SetsPlan) and study.plan.longest_wait:
        raise NotAllowed(_("Not done: pieces that are noticed at their second need the phone."))
    items = _items(tx, study, sitting, assessor)
    if not items:
        raise OutOfDate(_("Not done: everything on this ballot is kept already."))
    return sitting, study, items


# ---- what may be typed -----------------------------------------------------------------------------------------------
def _read(study: Study[Any], items: tuple[Item, ...], typed: Typed) -> dict[str, Any]:
    """Every field of the ballot, empty where nothing stands on the paper; refused if one cannot be."""
    known = {field for item in items for field in item.fields}
    if not typed.keys() <= known:
        raise BadInput(_("Not done: this is not the ballot of this person. Open it again."))
    read = {field: typed.get(field) for field in known}
    for item in items:
        if item.pick:
            _read_choice(study, item, read)
        else:
            _read_marks(item, read)
    return read


def _read_choice(study: Study[Any], item: Item, read: dict[str, Any]) -> None:
    picked = read[choice_of(item.id)]
    if picked:
        codes = trying.as_codes(picked)
        trying.check_choice(METHODS[study.plan.method], item.codes, codes)
        picked = list(codes)
    read[choice_of(item.id)] = picked or None


def _read_marks(item: Item, read: dict[str, Any]) -> None:
    marks = [read[mark_of(item.id, line.id)] for line in item.lines]
    for value in marks:
        fits = isinstance(value, int | float) and math.isfinite(value) and SCALE_LOW <= value <= SCALE_HIGH
        if value is not None and not fits:
            raise BadInput(_("Fix code {code}: a mark lies between 0 and 100 mm.").format(code=item.codes[0]))
    why = read[why_of(item.id)] or None
    if why is not None and (why not in REASONS or any(value is not None for value in marks)):
        raise BadInput(_("Fix code {code}: it has marks, or a reason why it has none.").format(code=item.codes[0]))
    read[why_of(item.id)] = why


# ---- into the record -------------------------------------------------------------------------------------------------
def _keep(
    tx: Any, by: Staff, sitting: Sitting, assessor: str, items: tuple[Item, ...], held: Typed, told: dict[str, Any]
) -> None:
    """The scores or answers, and how they came: who typed, who settled."""
    at = events.now()
    present = sittings.presence(tx, sitting.id, assessor)
    if present is None or not present.agreed_at:  # who gave a ballot back had read what is in it
        sittings.keep_presence(tx, sitting.id, assessor, agreed_at=at, declined_at=None)
        body = {"sitting": sitting.id, "assessor": assessor, "source": SOURCE, "at": at}
        events.append(tx, "agreed", body, sitting.study)
    body = {"sitting": sitting.id, "assessor": assessor, "by": by.id, **told}
    events.append(tx, KEPT, body, sitting.study)
    for item in items:
        (_keep_set if item.pick else _keep_serving)(tx, sitting, item, held)


def _keep_serving(tx: Any, sitting: Sitting, item: Item, held: Typed) -> None:
    study, served = sitting.study, {"serving": item.id}
    if started := servings.start(tx, item.id):
        events.append(tx, "serving offered", {**served, "at": started}, study)
    marks = {line.id: held.get(mark_of(item.id, line.id)) for line in item.lines}
    why = held.get(why_of(item.id)) or BLANK
    for line, value in marks.items():
        # who stopped gave up on no cup for its taste: such rows carry the number that leaving gives
        number = own_nonce("left" if why == STOPPED else SOURCE, item.id, line)
        servings.add_score(tx, study, item.id, line, value, why if value is None else None, number, SOURCE)
    judged = any(value is not None for value in marks.values())
    at = events.now()
    servings.finish(tx, item.id, "judged" if judged else "missing", at)
    events.append(tx, "serving finished" if judged else "serving missing", {**served, "at": at}, study)


def _keep_set(tx: Any, sitting: Sitting, item: Item, held: Typed) -> None:
    if started := trials.start(tx, item.id):
        events.append(tx, "set offered", {"set": item.id, "at": started}, sitting.study)
    picked = held.get(choice_of(item.id))
    number, why = own_nonce(SOURCE, item.id), None if picked else BLANK
    at = trials.add_answer(tx, sitting.study, item.id, picked, False, why, number, SOURCE)
    trials.finish(tx, item.id, "answered" if picked else "missing", at)
