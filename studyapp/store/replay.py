"""The state that the events give: what moved on with the work, built anew from the chain, cell by cell.

Covers prove what stands once it is written. How far something went is told by events of their own: who agreed and
when, which serving was offered and finished, whether a sitting is open, how far a study is, who may lead or taste.
Here these events are read in order, and what they leave behind is what the tables must hold.

Events of an earlier version say that something happened and not to the second when: the row was written within the
same act. Such a time holds within `NEAR_SECONDS`, and is counted among what cannot be proved any closer.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any

from sqlalchemy import Connection, select

from studyapp.store import clock, events, schema
from studyapp.store.scope import EVERYTHING, Scope

NEAR_SECONDS = 60  # one act took seconds at most, on the slowest disk; no source
SIGNED = 2  # from that many signatures on a look is decided
Body = Mapping[str, Any]
Event = tuple[int, str, str, str | None, Body, str]
Key = tuple[str, ...]
Cells = dict[str, Any]


@dataclass(frozen=True, slots=True)
class Near:
    """A time that an event of an earlier version tells by its own."""

    at: str

    def holds(self, found: Any) -> bool:
        """Whether the row was written within the act that the event is about."""
        try:
            both = [datetime.strptime(str(text), clock.FORMAT) for text in (self.at, found)]
        except ValueError:
            return False
        return abs((both[0] - both[1]).total_seconds()) <= NEAR_SECONDS


@dataclass(frozen=True, slots=True)
class Hashed:
    """A text of which an event tells only the salted hash."""

    salt: str
    sha256: str

    def holds(self, found: Any) -> bool:
        """Whether this is the text."""
        return isinstance(found, str) and events.salted(self.salt, found) == self.sha256


@dataclass
class State:
    """What the events say of each row, by table and key, and the numbers of events that make no sense."""

    fixed: Fixed
    rows: dict[str, dict[Key, Cells]] = field(default_factory=lambda: defaultdict(dict))
    signed: dict[tuple[str, Any], int] = field(default_factory=lambda: defaultdict(int))
    imported: set[str] = field(default_factory=set)
    senseless: list[int] = field(default_factory=list)

    def put(self, table: str, key: Key, **cells: Any) -> None:
        """Some cells of a row, which appears with them."""
        self.rows[table].setdefault(key, {}).update(cells)

    def move(self, table: str, key: Key, **cells: Any) -> None:
        """Some cells of a row that is known; one that came with an imported study is not."""
        if key in self.rows[table]:
            self.put(table, key, **cells)

    def cell(self, table: str, key: Key, name: str) -> Any:
        """What a cell holds so far."""
        return self.rows[table].get(key, {}).get(name)


@dataclass(frozen=True, slots=True)
class Fixed:
    """Rows that other parts of the check prove: servings and sets by sitting, and the answers by number."""

    servings: Mapping[str, tuple[tuple[str, str, bool], ...]]  # sitting -> (id, assessor, scored)
    sets: Mapping[str, tuple[str, ...]]
    answers: Mapping[int, tuple[str, bool, str]]  # trial -> (set, answered, at)
    scored: Mapping[str, bool]


def fixed(tx: Connection, scope: Scope = EVERYTHING) -> Fixed:
    """What the events of a scope refer to."""
    s, t, a = schema.serving.c, schema.trial_set.c, schema.trial.c
    cups, each = scope.rows(schema.serving), scope.rows(schema.trial_set)
    servings: dict[str, list[tuple[str, str, bool]]] = defaultdict(list)
    for sitting, *row in tx.execute(select(s.sitting_id, s.id, s.assessor_id, s.scored).where(cups)):
        servings[sitting].append((row[0], row[1], row[2]))
    sets: dict[str, list[str]] = defaultdict(list)
    for sitting, id_ in tx.execute(select(t.sitting_id, t.id).where(each)):
        sets[sitting].append(id_)
    answers = {
        row.id: (row.set_id, row.choice is not None, row.at)
        for row in tx.execute(select(a.id, a.set_id, a.choice, a.at).where(scope.rows(schema.trial)))
    }
    return Fixed(
        {sitting: tuple(rows) for sitting, rows in servings.items()},
        {sitting: tuple(rows) for sitting, rows in sets.items()},
        answers,
        {id_: scored for rows in servings.values() for id_, _assessor, scored in rows},
    )


def replayed(told: Iterable[Event], known: Fixed) -> State:
    """Every event in order."""
    state = State(known)
    for seq, at, kind, study, body, _hash in told:
        act = ACTS.get(kind)
        if act is None:
            continue
        try:
            act(state, body["at"] if "at" in body else Near(at), study or "", body)
        except (KeyError, TypeError):  # written by no version of the app
            state.senseless.append(seq)
    return state


# ---- studies ---------------------------------------------------------------------------------------------------------
def _drafted(state: State, at: Any, study: str, body: Body) -> None:
    state.put("study", (study,), state="draft", look=0, created_by=body["by"], created_at=at)
    unsealed: Cells = {"seal": None, "sealed_at": None, "sealed_by": None, "key_seed": None}
    told = {name: body[name] for name in ("example", "kind") if name in body}
    state.put("study", (study,), **unsealed, **told)


def _sealed(state: State, _at: Any, study: str, body: Body) -> None:
    """The seal itself, its time and the kind are held against the event where the plan is."""
    row = state.rows["study"].setdefault((study,), {})
    for name in ("seal", "sealed_at", "kind", "key_seed"):
        row.pop(name, None)
    if "seed" in body:
        row["key_seed"] = Hashed(study, body["seed"])
    if study not in state.imported:
        row |= {"state": "sealed", "look": 1, "sealed_by": body["by"]}


def _look_planned(state: State, _at: Any, study: str, body: Body) -> None:
    state.put("study", (study,), state="sealed", look=body["look"])


def _key_opened(state: State, _at: Any, study: str, _body: Body) -> None:
    state.put("study", (study,), state="opened")


def _signed(state: State, _at: Any, study: str, body: Body) -> None:
    if study in state.imported:  # the first of two may have been given elsewhere
        state.rows["study"].get((study,), {}).pop("state", None)
        return
    state.signed[study, body["look"]] += 1
    if state.signed[study, body["look"]] >= SIGNED:
        state.put("study", (study,), state="decided")


def _imported(state: State, _at: Any, study: str, _body: Body) -> None:
    state.imported.add(study)


# ---- sittings --------------------------------------------------------------------------------------------------------
def _sitting_planned(state: State, _at: Any, _study: str, body: Body) -> None:
    state.put("sitting", (body["where"]["id"],), state="planned", opened_at=None, closed_at=None, starts_at=None)
    for id_, _assessor, _scored in state.fixed.servings.get(body["where"]["id"], ()):
        state.put("serving", (id_,), started_at=None, finished_at=None, outcome=None)
    for id_ in state.fixed.sets.get(body["where"]["id"], ()):
        state.put("trial_set", (id_,), started_at=None, finished_at=None, outcome=None)


def _sitting_open(state: State, at: Any, _study: str, body: Body) -> None:
    key = (body["sitting"],)
    state.move("sitting", key, state="open", opened_at=state.cell("sitting", key, "opened_at") or at)


def _sitting_paused(state: State, _at: Any, _study: str, body: Body) -> None:
    state.move("sitting", (body["sitting"],), state="paused")


def _sitting_closed(state: State, at: Any, _study: str, body: Body) -> None:
    state.move("sitting", (body["sitting"],), state="closed", closed_at=at)
    if body.get("missing"):
        for id_, _assessor, scored in state.fixed.servings.get(body["sitting"], ()):
            if scored:
                _finish(state, "serving", id_, at, "missing")
    if body.get("not needed"):
        for id_ in state.fixed.sets.get(body["sitting"], ()):
            _finish(state, "trial_set", id_, at, "not needed")


def _finish(state: State, table: str, id_: str, at: Any, outcome: str) -> None:
    """Once: what was finished before stays."""
    if state.cell(table, (id_,), "finished_at") is None:
        state.move(table, (id_,), finished_at=at, outcome=outcome)


# ---- what an assessor does -------------------------------------------------------------------------------------------
def _joined(state: State, _at: Any, _study: str, body: Body) -> None:
    key = (body["sitting"], body["assessor"])
    if key not in state.rows["presence"] and key[:1] in state.rows["sitting"]:
        state.put("presence", key, agreed_at=None, declined_at=None, left_at=None, kept=None)


def _agreed(state: State, at: Any, study: str, body: Body) -> None:
    _joined(state, at, study, body)
    state.move("presence", (body["sitting"], body["assessor"]), agreed_at=at, declined_at=None)


def _sat_out(state: State, at: Any, study: str, body: Body) -> None:
    _joined(state, at, study, body)
    state.move("presence", (body["sitting"], body["assessor"]), declined_at=at)


def _left(state: State, at: Any, study: str, body: Body) -> None:
    _joined(state, at, study, body)
    state.move("presence", (body["sitting"], body["assessor"]), left_at=at, kept=body["kept"])
    for id_, assessor, _scored in state.fixed.servings.get(body["sitting"], ()):
        if assessor == body["assessor"]:
            _finish(state, "serving", id_, at, "missing")


def _serving_offered(state: State, at: Any, _study: str, body: Body) -> None:
    state.move("serving", (body["serving"],), started_at=at)


def _serving_finished(state: State, at: Any, _study: str, body: Body) -> None:
    _finish(state, "serving", body["serving"], at, "judged" if state.fixed.scored[body["serving"]] else "warm-up")


def _serving_missing(state: State, at: Any, _study: str, body: Body) -> None:
    _finish(state, "serving", body["serving"], at, "missing")


def _set_offered(state: State, at: Any, _study: str, body: Body) -> None:
    state.move("trial_set", (body["set"],), started_at=at)


def _answered(state: State, at: Any, study: str, body: Body) -> None:
    """The first answer closes its set, at the time of its own row, which is hashed."""
    if study in state.imported or body["trial"] not in state.fixed.answers:
        return  # told by the import; or the missing row is named elsewhere
    set_id, answered, written = state.fixed.answers[body["trial"]]
    exact = "at" in body
    _finish(state, "trial_set", set_id, written if exact else Near(written), "answered" if answered else "missing")


def _noted(state: State, at: Any, _study: str, body: Body) -> None:
    who = {"assessor_id": body["assessor"]} if "assessor" in body else {}
    state.put("note", (body["note"],), sitting_id=body["sitting"], at=at, **who)


# ---- batches ---------------------------------------------------------------------------------------------------------
def _batch_kept(state: State, _at: Any, study: str, body: Body) -> None:
    """The whole of what stands, so that every earlier state of the record can be read from the chain."""
    told = {name: body[name] for name in ("label", "recipe", "machine", "lot", "started_at", "made", "phases")}
    mass = None if body["mass_g"] is None else float(body["mass_g"])
    state.put("batch", (body["batch"],), study_id=study or None, mass_g=mass, **told)


# ---- people ----------------------------------------------------------------------------------------------------------
def _tied(id_: str, person: str | None) -> Hashed | None:
    return None if person is None else Hashed(id_, person)


def _staff_added(state: State, at: Any, study: str, body: Body) -> None:
    id_ = body["staff"]
    named = {"name": Hashed(id_, body["name"]), "person_id": _tied(id_, body["person"])} if "name" in body else {}
    state.put("staff", (id_,), role=body["role"], ended_at=None, created_at=at, **named)
    _passphrase(state, at, study, body)


def _passphrase(state: State, _at: Any, _study: str, body: Body) -> None:
    """Of one that an earlier version set, nothing is told."""
    key = (body["staff"],)
    state.rows["staff"].get(key, {}).pop("secret", None)
    if "secret" in body:
        state.put("staff", key, secret=Hashed(body["staff"], body["secret"]))


def _signed_in(state: State, at: Any, study: str, body: Body) -> None:
    if "secret" in body:  # the same passphrase under a hash of today's cost
        _passphrase(state, at, study, body)


def _tastes_as(state: State, _at: Any, _study: str, body: Body) -> None:
    state.put("staff", (body["staff"],), person_id=_tied(body["staff"], body["person"]))


def _account_ended(state: State, at: Any, _study: str, body: Body) -> None:
    state.put("staff", (body["staff"],), ended_at=at)


def _account_back(state: State, at: Any, study: str, body: Body) -> None:
    state.put("staff", (body["staff"],), ended_at=None)
    _passphrase(state, at, study, body)


def _assessor_added(state: State, at: Any, _study: str, body: Body) -> None:
    id_ = body["assessor"]
    named: Cells = {"pseudonym": Hashed(id_, body["pseudonym"])} if "pseudonym" in body else {}
    if "person" in body:
        named["person_id"] = _tied(id_, body["person"])
    state.put("assessor", (id_,), may_taste=True, created_at=at, **named)


def _staff_brought_in(state: State, at: Any, _study: str, body: Body) -> None:
    id_ = body["staff"]
    named = {"name": Hashed(id_, body["name"]), "person_id": None}
    state.put("staff", (id_,), role=body["role"], secret="", created_at=at, ended_at=at, **named)


def _assessor_brought_in(state: State, at: Any, _study: str, body: Body) -> None:
    name = Hashed(body["assessor"], body["pseudonym"])
    state.put("assessor", (body["assessor"],), may_taste=body["may"], pseudonym=name, person_id=None, created_at=at)


def _may_taste(state: State, _at: Any, _study: str, body: Body) -> None:
    state.put("assessor", (body["assessor"],), may_taste=body["may"])


def _erased(state: State, at: Any, _study: str, body: Body) -> None:
    key = (body["assessor"],)
    state.put("assessor", key, may_taste=False)
    state.put("erased", key, times=[*(state.cell("erased", key, "times") or []), at])


ACTS: dict[str, Callable[[State, Any, str, Body], None]] = {
    "draft": _drafted,
    "sealed": _sealed,
    "look planned": _look_planned,
    "key opened": _key_opened,
    "signed": _signed,
    "import begun": _imported,
    "sitting planned": _sitting_planned,
    clock.OPENED: _sitting_open,
    "sitting paused": _sitting_paused,
    "sitting closed": _sitting_closed,
    "joined": _joined,
    "agreed": _agreed,
    "sat out": _sat_out,
    "left": _left,
    "serving offered": _serving_offered,
    "serving finished": _serving_finished,
    "serving missing": _serving_missing,
    "set offered": _set_offered,
    "trial": _answered,
    "note": _noted,
    "batch kept": _batch_kept,
    "staff added": _staff_added,
    "tastes as": _tastes_as,
    "account ended": _account_ended,
    "account brought back": _account_back,
    "passphrase given": _passphrase,
    "passphrase changed": _passphrase,
    "signed in": _signed_in,
    "staff brought in": _staff_brought_in,
    "assessor added": _assessor_added,
    "assessor brought in": _assessor_brought_in,
    "may taste": _may_taste,
    "person erased": _erased,
}
