"""Calling the panel leader in a sitting: a code that is not on the page, a piece that is missing; and what was done.

A call is an event, and so is its answer: both stand in the record, and the leader's page shows what is open. Nothing
here reads which sample a code stands for.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from typing import Any

from studyapp.errors import BadInput, NotAllowed, OutOfDate
from studyapp.records import Event, Seat, Sitting, Staff
from studyapp.services import spares
from studyapp.services.access import require, sitting_or_refuse
from studyapp.services.seating import seat_or_refuse, sitting_of
from studyapp.store import Store, events, openings, servings, sittings, studies, trials
from studyapp.words import _

KINDS: Mapping[str, str] = {"code": "code reported", "piece": "piece missing", "another": "another piece"}
DONE = "call answered"
HOW: Mapping[str, tuple[str, ...]] = {
    "code reported": ("swapped", "tasted"),
    "piece missing": ("spare", "none left"),
    "another piece": ("spare", "none left"),
    "note": ("asked",),
}
# Nobody calls this often in a sitting; a phone gone wild is stopped here. Out of common sense, no source.
MOST_CALLS = 30
LENGTH = 3


@dataclass(frozen=True, slots=True)
class Call:
    """Something the leader must see to: its number, when, who; the code that was told and the one on the page; where
    the told code belongs (`owner`, `tray`), the `spare` that takes its place, and `how` it was answered, empty while it
    is open."""

    number: int
    at: str
    kind: str
    name: str
    code: str = ""
    own: str = ""
    owner: str = ""
    tray: int = 0
    how: str = ""
    spare: str = ""


# ---- an assessor calls -----------------------------------------------------------------------------------------------
def call(store: Store, seat_token: str | None, serving: str, what: str, code: str) -> bool:
    """Tell the leader; the serving stays open. The same call once more, while the first is open, is one call.

    True where a spare under a new code takes the place of a piece that is missing, or of which another is asked for.

    Raises:
        BadInput: there is no such call, the code has no three figures, or no other piece is left.
        NotAllowed: the token is worthless, the sitting is over, or this seat called too often.
        OutOfDate: the serving is finished, or not this assessor's.
    """
    code = code.strip()
    if what not in KINDS or len(code) != LENGTH or not code.isdigit():
        raise BadInput(_("Fix the code: type the three figures on the cup."))
    with store.write() as tx:
        seat = seat_or_refuse(tx, seat_token)
        sitting = sitting_of(tx, seat)
        own = _own_codes(tx, seat, serving)
        if sitting.state == "closed":
            raise NotAllowed(_("Not done: this tasting is over. Your marks so far are kept."))
        told = _told(tx, sitting, KINDS[what])
        if any("spare" in one.body and (one.body["serving"], one.body["code"]) == (serving, code) for one in told):
            return True
        mine = [one for one in _told(tx, sitting, *KINDS.values()) if one.body["assessor"] == seat.assessor]
        _refuse_call(what, code in own, code, len(mine))
        body = {"sitting": sitting.id, "assessor": seat.assessor, "serving": serving, "code": code, "own": own[0]}
        if any(one.body == body and one.kind == KINDS[what] for one in _open(tx, sitting, mine)):
            return False
        spare = None if what == "code" else _spare(tx, seat, sitting, serving, code)
        if what == "another" and spare is None:
            raise BadInput(_("Not done: no other piece of it is left."))
        events.append(tx, KINDS[what], body | ({"spare": spare} if spare else {}), sitting.study)
        return spare is not None


def _refuse_call(what: str, is_own: bool, code: str, calls: int) -> None:
    """A wrong code is another one than that of the page; a piece is that of the page. And enough is enough."""
    if is_own == (what == "code"):
        wrong = _("Code {code} is on this page.") if is_own else _("Code {code} is not on this page.")
        raise BadInput(wrong.format(code=code))
    if calls >= MOST_CALLS:
        raise NotAllowed(_("Not done: {n} calls are the most of one sitting. Speak up.").format(n=MOST_CALLS))


def _spare(tx: Any, seat: Seat, sitting: Sitting, serving: str, code: str) -> str | None:
    """Sets have no spares: another cup of one would be seen to be another."""
    cup = servings.blind_of(tx, serving, seat.sitting, seat.assessor)
    return spares.give(tx, seat, sitting, serving, code) if cup and cup.scored else None


def _own_codes(tx: Any, seat: Seat, serving: str) -> tuple[str, ...]:
    """The codes on the page of an open serving or set."""
    cup = servings.blind_of(tx, serving, seat.sitting, seat.assessor)
    each = trials.blind_of(tx, serving, seat.sitting, seat.assessor)
    here = cup or each
    if here is None or here.finished_at is not None:
        raise OutOfDate(_("Not done: this serving is closed. Open your link again; your marks are kept."))
    if cup:
        return (spares.code_now(tx, sitting_of(tx, seat), serving, cup.code),)
    return tuple(each.codes) if each else ()


# ---- the leader sees to it -------------------------------------------------------------------------------------------
def _told(tx: Any, sitting: Sitting, *kinds: str) -> list[Event]:
    return [one for one in events.of_kinds(tx, sitting.study, *kinds) if one.body.get("sitting") == sitting.id]


def _open(tx: Any, sitting: Sitting, told: Iterable[Event]) -> list[Event]:
    done = {one.body["call"] for one in _told(tx, sitting, DONE)}
    return [one for one in told if one.seq not in done]


def answer(store: Store, by: Staff, sitting_id: str, number: int, how: str) -> None:
    """Note what was done about a call, which makes a departure of it, but of a note; a repeat changes nothing.

    Raises:
        BadInput: there is no such call, or no such answer to it.
    """
    require(by, "leader")
    with store.write() as tx:
        sitting = sitting_or_refuse(tx, sitting_id)
        calls = _told(tx, sitting, *HOW)
        found = next((one for one in calls if one.seq == number), None)
        if found is None or how not in HOW[found.kind]:
            raise BadInput(_("Not noted: this call is not kept here. Open the sitting again."))
        if found in _open(tx, sitting, calls):
            body = {"sitting": sitting_id, "call": number, "how": how, "by": by.id}
            events.append(tx, DONE, body, sitting.study)
            if found.kind in KINDS.values():
                _depart(tx, by, sitting, replace(*_calls(tx, sitting, [found]), how=how))


def open_calls(store: Store, by: Staff, sitting_id: str) -> tuple[Call, ...]:
    """What is still to be seen to, wrong cups first, then the oldest first."""
    require(by, "leader")
    with store.read() as tx:
        sitting = sitting_or_refuse(tx, sitting_id)
        found = calls_now(tx, sitting)
    return tuple(sorted(found, key=lambda one: (one.kind != "code reported", one.number)))


def calls_now(tx: Any, sitting: Sitting) -> list[Call]:
    """The open calls of a sitting, within a transaction."""
    return _calls(tx, sitting, _open(tx, sitting, _told(tx, sitting, *HOW)))


def _calls(tx: Any, sitting: Sitting, told: Iterable[Event]) -> list[Call]:
    names = {assessor: name for _number, assessor, name in studies.seats(tx, sitting.study)}
    note_of = sittings.note_authors(tx, sitting.id)
    places = {row.code: (row.pseudonym, row.position) for row in servings.cups(tx, sitting.id)}
    places |= {code: (name, tray) for tray, _seat, name, codes in trials.cups(tx, sitting.id) for code in codes}
    found = []
    for one in told:
        body = {name: str(value) for name, value in one.body.items()}
        owner, tray = places.get(body.get("code", ""), ("", 0))
        name = names.get(body.get("assessor") or note_of.get(body.get("note", ""), ""), "")
        codes = body.get("code", ""), body.get("own", "")
        found.append(Call(one.seq, one.at, one.kind, name, *codes, owner, tray, spare=body.get("spare", "")))
    return found


# ---- in the record ---------------------------------------------------------------------------------------------------
def put_down(tx: Any, by: Staff, sitting: Sitting) -> None:
    """When a sitting closes: calls that nobody answered, and seats that went on to another phone, are departures."""
    left = _open(tx, sitting, _told(tx, sitting, *KINDS.values()))
    moved = [one for one in _told(tx, sitting, "joined") if "instead" in one.body]
    for one in _calls(tx, sitting, [*left, *moved]):
        _depart(tx, by, sitting, one)


def _depart(tx: Any, by: Staff, sitting: Sitting, one: Call) -> None:
    known = "results seen" if openings.of_study(tx, sitting.study) else "no results seen"
    studies.add_deviation(tx, sitting.study, sentence(one, sitting.label), known, by.id)


def sentence(one: Call, label: str) -> str:
    """A call as the record tells it."""
    said = {
        "code reported": _("{label}: {name} held a cup {code} where {own} was due."),
        "piece missing": _("{label}: {name} had no piece at {code}."),
        "another piece": _("{label}: {name} asked for another piece at {code}."),
        "joined": _("{label}: the tasting of {name} went on to another phone."),
    }[one.kind]
    instead = _("The spare {spare} took its place.").format(spare=one.spare) if one.spare else ""
    done = {
        "swapped": _("The cup was swapped before it was tasted."),
        "tasted": _("It was tasted."),
        "spare": instead or _("A spare was given."),
        "none left": _("None was left."),
    }.get(one.how, instead)
    return f"{said.format(label=label, name=one.name, code=one.code, own=one.own)} {done}".strip()
