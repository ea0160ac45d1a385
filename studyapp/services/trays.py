"""Trays on their way out: a second reading of each, several let go together, and what a typed code says of its cup.

What was read is told by events; the tray itself keeps its second person and its checks when it leaves.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any, Literal

from studyapp.errors import BadInput, NotAllowed
from studyapp.records import Event, Sitting, Staff, Tray, TrayCup
from studyapp.services import preparing, spares
from studyapp.services.access import require, sitting_or_refuse
from studyapp.services.calling import DONE
from studyapp.store import Store, events, servings, sittings, studies, trials
from studyapp.words import _, ngettext

READ = "labels_read"  # the check that each tray answers by itself
Says = Literal[
    "right", "other seat", "other tray", "served", "again", "other sitting", "unknown", "absent", "spare", "spare out"
]


@dataclass(frozen=True, slots=True)
class Reading:
    """When a second person read the labels of a tray, and who."""

    at: str
    second: str


@dataclass(frozen=True, slots=True)
class Kitchen:
    """The trays of a sitting as the kitchen works on them. Cups of who does not taste today are left out; `read` holds
    the second readings by tray, `cups_read` the codes that were read one by one, `ticked` and `second` what the last
    tray left with (`since` when), `wanted` the codes for which a new piece is wanted."""

    trays: tuple[Tray, ...]
    absent: tuple[str, ...]
    read: Mapping[int, Reading]
    cups_read: frozenset[str]
    ticked: frozenset[str]
    second: str
    since: str | None
    wanted: tuple[str, ...]

    def ready(self) -> tuple[int, ...]:
        """The trays that may leave together: read, and none before them left behind."""
        found = []
        for tray in self.trays:
            if tray.released_at is None:
                if tray.position not in self.read:
                    break
                found.append(tray.position)
        return tuple(found)

    def unread(self, position: int) -> int:
        """How many cups of a tray nobody has read by code."""
        (cups,) = (tray.cups for tray in self.trays if tray.position == position)
        return sum(cup.code not in self.cups_read for cup in cups)


def kitchen(store: Store, by: Staff, sitting_id: str) -> Kitchen:
    """The trays of a sitting, and how far they are."""
    require(by, "preparer", "leader")
    with store.read() as tx:
        return _kitchen(tx, sitting_or_refuse(tx, sitting_id))


def _kitchen(tx: Any, sitting: Sitting) -> Kitchen:
    kinds = ("labels read", "cup read", "piece missing", "another piece", "piece replaced", DONE)
    told = [one for one in events.of_kinds(tx, sitting.study, *kinds) if one.body["sitting"] == sitting.id]
    present = sittings.presences(tx, sitting.id)
    out = {id_ for id_, here in present.items() if here.declined_at or here.left_at}
    absent = tuple(sorted(name for _n, id_, name in studies.seats(tx, sitting.study) if id_ in out))
    trays = tuple(_without(tray, absent) for tray in preparing.trays_of(tx, sitting.id))
    read = {int(str(one.body["tray"])): Reading(one.at, str(one.body["second"])) for one in _of(told, "labels read")}
    cups_read = frozenset(str(one.body["code"]) for one in _of(told, "cup read"))
    first = next((one.second for one in read.values()), "")
    ticked, second, since = sittings.last_release(tx, sitting.id) or (frozenset(), first, None)
    return Kitchen(trays, absent, read, cups_read, ticked, second, since, _wanted(told))


def _of(told: Sequence[Event], kind: str) -> list[Event]:
    return [one for one in told if one.kind == kind]


def _wanted(told: Sequence[Event]) -> tuple[str, ...]:
    """Codes whose piece was missing, until the kitchen has filled another one or the leader has seen to it."""
    answered = {one.body["call"] for one in _of(told, DONE)}
    replaced = {one.body["code"] for one in _of(told, "piece replaced")}
    missing = [*_of(told, "piece missing"), *_of(told, "another piece")]
    codes = [str(one.body.get("spare") or one.body["code"]) for one in missing if one.seq not in answered]
    return tuple(code for code in codes if code not in replaced)


def _without(tray: Tray, absent: Sequence[str]) -> Tray:
    """A tray that is still in the kitchen needs no cup for who does not taste."""
    if tray.released_at is not None:
        return tray
    return Tray(tray.sitting, tray.position, tuple(cup for cup in tray.cups if cup.pseudonym not in absent))


# ---- a second reading, and out ---------------------------------------------------------------------------------------
def note_reading(store: Store, by: Staff, sitting_id: str, position: int, second: str) -> None:
    """A second person has read the labels of one tray now; a repeat changes nothing.

    Raises:
        BadInput: the second person is missing or oneself, or there is no such tray.
        NotAllowed: the sitting is closed.
    """
    require(by, "preparer")
    second = preparing.second_reader(by, second)
    with store.write() as tx:
        sitting = sitting_or_refuse(tx, sitting_id)
        if sitting.state == "closed":
            raise NotAllowed(_("Not noted: this sitting is closed."))
        here = _kitchen(tx, sitting)
        if position not in {tray.position for tray in here.trays}:
            raise BadInput(_("Not noted: there is no tray {n} in this sitting.").format(n=position))
        if position not in here.read:
            body = {"sitting": sitting_id, "tray": position, "second": second, "by": by.id}
            events.append(tx, "labels read", body, sitting.study)


def release_read(store: Store, by: Staff, sitting_id: str, ticked: frozenset[str]) -> tuple[int, ...]:
    """Let every tray go that was read, in order, none skipped; each with its own second person. Returns which.

    Raises:
        BadInput: a check is open, or no tray was read.
        NotAllowed: the sitting is over.
    """
    require(by, "preparer")
    with store.write() as tx:
        sitting = sitting_or_refuse(tx, sitting_id)
        here = _kitchen(tx, sitting)
        ready = here.ready()
        if not ready:
            raise BadInput(_("Not released: a second person reads the labels of the next tray first."))
        for position in ready:
            preparing.let_go(tx, by, sitting, position, ticked | {READ}, here.read[position].second)
        unread = {str(position): here.unread(position) for position in ready}
        events.append(tx, "trays let go", {"sitting": sitting_id, "unread cups": unread, "by": by.id}, sitting.study)
    return ready


# ---- a code that is typed or scanned ---------------------------------------------------------------------------------
@dataclass(frozen=True, slots=True)
class CodeAnswer:
    """What a code says: `seat` and `name` of its cup, `tray` where it belongs; `due` is the cup that is to be filled
    next, `at` when it was served, `label` the other sitting. `spare` is the one to take for a cup that is out, or of a
    spare that was given the code in whose place it went."""

    says: Says
    code: str
    tray: int = 0
    seat: int = 0
    name: str = ""
    due: TrayCup | None = None
    at: str = ""
    label: str = ""
    spare: str = ""


def check_code(store: Store, by: Staff, sitting_id: str, position: int, code: str) -> CodeAnswer:
    """Whether this cup belongs on the tray in hand at the place that is filled now; a right one is noted as read, and
    one for which a new piece is wanted as replaced."""
    require(by, "preparer")
    code = code.strip()
    with store.write() as tx:
        sitting = sitting_or_refuse(tx, sitting_id)
        here = _kitchen(tx, sitting)
        answer = _answer(tx, sitting, here, position, code)
        kind = {"right": "cup read", "again": "piece replaced"}.get(answer.says)
        if kind and sitting.state != "closed" and not (kind == "cup read" and code in here.cups_read):
            body = {"sitting": sitting_id, "tray": answer.tray, "code": code, "by": by.id}
            events.append(tx, kind, body, sitting.study)
    return answer


def _answer(tx: Any, sitting: Sitting, here: Kitchen, position: int, code: str) -> CodeAnswer:
    in_hand = next((tray for tray in here.trays if tray.position == position), None)
    left = [cup for cup in (in_hand.cups if in_hand else ()) if cup.code not in here.cups_read]
    due = left[0] if left else None
    for tray in preparing.trays_of(tx, sitting.id):
        for cup in tray.cups:
            if cup.code == code:
                says = _says(here, tray, cup, position, due)
                told = CodeAnswer(says, code, tray.position, cup.seat, cup.pseudonym, due, tray.released_at or "")
                return replace(told, spare=_spare_for(tx, sitting, code)) if says == "served" else told
    if code in spares.dealt(tx, sitting):
        return _of_spare(tx, sitting, here, position, code)
    label = _elsewhere(tx, sitting, code)
    return CodeAnswer("other sitting" if label else "unknown", code, position, due=due, label=label)


def _spare_for(tx: Any, sitting: Sitting, code: str) -> str:
    """The spare that may take the place of a cup of single servings; empty where there is none."""
    serving = servings.of_code(tx, sitting.id, code)
    return (spares.free(tx, sitting, serving) if serving else None) or ""


def _of_spare(tx: Any, sitting: Sitting, here: Kitchen, position: int, code: str) -> CodeAnswer:
    """A spare that waits, or the one that stands in the place of somebody's cup."""
    given = spares.given(tx, sitting).get(code)
    if given is None:
        return CodeAnswer("spare", code, position)
    seat, name = next((n, name) for n, id_, name in studies.seats(tx, sitting.study) if id_ == given["assessor"])
    says: Says = "again" if code in here.wanted else "spare out"
    return CodeAnswer(says, code, position, seat, name, spare=str(given["own"]))


def _says(here: Kitchen, tray: Tray, cup: TrayCup, position: int, due: TrayCup | None) -> Says:
    """What there is to say of a cup of this sitting while the tray at `position` is in hand."""
    if cup.code in here.wanted:
        return "again"
    if tray.released_at is not None:
        return "served"
    if cup.pseudonym in here.absent:
        return "absent"
    if tray.position != position:
        return "other tray"
    return "right" if due in (None, cup) or cup.code in here.cups_read else "other seat"


def _elsewhere(tx: Any, sitting: Sitting, code: str) -> str:
    """The label of another sitting of this study that has the code; empty when none has."""
    for other in sittings.of_study(tx, sitting.study):
        if other.id != sitting.id and code in _codes(tx, other.id):
            return other.label
    return ""


def _codes(tx: Any, sitting_id: str) -> set[str]:
    single = {row.code for row in servings.cups(tx, sitting_id)}
    sets = {code for row in trials.cups(tx, sitting_id) for code in row[3]}
    return single | sets | set(spares.dealt(tx, sitting_or_refuse(tx, sitting_id)))


def said(answer: CodeAnswer) -> tuple[str, str]:
    """The answer in two sentences: what the cup is, and what to do."""
    due = answer.due
    filling = _("You are filling seat {n}, code {code}.").format(n=due.seat, code=due.code) if due else ""
    sentences: dict[Says, tuple[str, str]] = {
        "right": (_("Right: tray {tray}, seat {seat}, {name}."), _("Not served before.")),
        "other seat": (_("{code} is on this tray, at seat {seat}."), filling + " " + _("Put it at its own place.")),
        "other tray": (_("{code} is on tray {tray}, at seat {seat}."), _("Take it off this tray.")),
        "served": (_("{code} was served already."), _("Take it off. It has left with tray {tray}.") + _instead(answer)),
        "spare": (_("{code} is a spare of this sitting."), _("Keep it aside until the panel leader asks for it.")),
        "spare out": (_("{code} is the spare that {name} has, seat {seat}."), _("It went in place of {spare}.")),
        "again": (_("A new piece for {name}: {code}, seat {seat}."), _("Fill it from the same box. It is noted.")),
        "absent": (_("{name} does not taste today."), _("Leave {code} out.")),
        "other sitting": (_("{code} is of {label}."), _("It cannot go out today. Look through this box for more.")),
        "unknown": (_("{code} is no code of this study."), filling + " " + _("Read the line under the number.")),
    }
    first, then = sentences[answer.says]
    values = {name: getattr(answer, name) for name in ("code", "tray", "seat", "name", "label", "spare")}
    return first.format(**values), then.format(**values).strip()


def _instead(answer: CodeAnswer) -> str:
    return " " + _("For {name} use the spare {spare}.") if answer.spare else ""


def names_of(positions: Sequence[int]) -> str:
    """Trays by number, for a button: "the warm-up tray", "trays 3 and 4", "trays 1 to 6"."""
    if positions == (0,):
        return _("the warm-up tray")
    first, last = positions[0], positions[-1]
    if first == 0:
        return ngettext("warm-up and tray {n}", "warm-up and trays 1 to {n}", last).format(n=last)
    if len(positions) == 1:
        return _("tray {n}").format(n=first)
    word = _("trays {a} and {b}") if len(positions) == 2 else _("trays {a} to {b}")
    return word.format(a=first, b=last)
