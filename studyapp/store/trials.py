"""Forced-choice sets and their answers. What an assessor's page asks for selects codes only, never a sample."""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from sqlalchemy import Connection, and_, func, insert, select, update

from studyapp.records import CONTROL, Sitting
from studyapp.store import covers, events, schema
from studyapp.store.events import now
from studyapp.store.row_hashes import row_hash

_SET, _TRIAL = schema.trial_set.c, schema.trial.c


@dataclass(frozen=True, slots=True)
class Box:
    """What one box holds: `plain` the comparison, else the sample in question at its level (dose, batch, day, or
    `CONTROL`)."""

    id: str
    letter: str
    name: str
    plain: bool
    level: float | None


@dataclass(frozen=True, slots=True)
class BlindSet:
    """A set as its assessor may know it; `codes` in the order of tasting."""

    id: str
    position: int
    codes: tuple[str, ...]
    started_at: str | None
    finished_at: str | None
    outcome: str | None
    scored: bool = True  # every set counts; the steps of a sitting are read as those of servings are


@dataclass(frozen=True, slots=True)
class Answer:
    """One kept row: `choice` the codes named, None for a set that stays without an answer, for `reason`."""

    id: int
    set: str
    choice: tuple[str, ...] | None
    guess: bool
    reason: str | None
    nonce: str
    at: str


@dataclass(frozen=True, slots=True)
class KeyedSet:
    """A set with its key: `order` holds 0 for the plain cup and 1 for the other, in the order of tasting."""

    id: str
    level: float | None
    codes: tuple[str, ...]
    order: tuple[int, ...]


@dataclass(frozen=True, slots=True)
class Judged:
    """An answer with its key: `order` holds 0 for the plain cup and 1 for the other, `picked` the places named."""

    assessor: str
    seat: int
    level: float | None
    sitting: int
    position: int
    order: tuple[int, ...]
    picked: tuple[int, ...] | None
    guess: bool
    at: str

    @property
    def control(self) -> bool:
        """Whether its other cup was the positive control."""
        return self.level == CONTROL


# ---- boxes ---------------------------------------------------------------------------------------------------------
def add_boxes(tx: Connection, study: str, boxes: Sequence[Box]) -> None:
    """Keep what every box of a study holds."""
    names = ("id", "letter", "name", "plain", "level")
    rows = [{"study_id": study, **{name: getattr(box, name) for name in names}} for box in boxes]
    tx.execute(insert(schema.trial_sample), rows)
    covers.cover(tx, "samples named", "trial_sample", {"study_id": study}, study)


def boxes(tx: Connection, study: str) -> list[Box]:
    """The boxes of a study: the plain one first, then by level."""
    c = schema.trial_sample.c
    query = select(c.id, c.letter, c.name, c.plain, c.level).where(c.study_id == study)
    found = [Box(*row) for row in tx.execute(query)]
    return sorted(found, key=lambda box: (not box.plain, box.level or 0.0))


# ---- sets, blind ---------------------------------------------------------------------------------------------------
_BLIND = (_SET.id, _SET.position, _SET.codes, _SET.started_at, _SET.finished_at, _SET.outcome)


def _blind(row: Any) -> BlindSet:
    id_, position, codes, *rest = row
    return BlindSet(id_, position, tuple(json.loads(codes)), *rest)


def add_sets(tx: Connection, sitting: Sitting, rows: Sequence[dict[str, Any]]) -> None:
    """Keep the sets of a sitting: id, assessor_id, position, level, codes and samples (lists in order of tasting)."""
    listed = [
        {**row, "sitting_id": sitting.id, "codes": json.dumps(row["codes"]), "samples": json.dumps(row["samples"])}
        for row in rows
    ]
    tx.execute(insert(schema.trial_set), listed)
    covers.cover(tx, "sets dealt", "trial_set", {"sitting_id": sitting.id}, sitting.study)


def blind(tx: Connection, sitting: str, assessor: str) -> list[BlindSet]:
    """The sets of one assessor in one sitting, in order."""
    query = select(*_BLIND).where(_SET.sitting_id == sitting, _SET.assessor_id == assessor).order_by(_SET.position)
    return [_blind(row) for row in tx.execute(query)]


def blind_by_assessor(tx: Connection, sitting: str) -> dict[str, list[BlindSet]]:
    """The sets of a sitting in order, by assessor id."""
    query = (
        select(_SET.assessor_id, *_BLIND).where(_SET.sitting_id == sitting).order_by(_SET.assessor_id, _SET.position)
    )
    found: dict[str, list[BlindSet]] = {}
    for assessor, *row in tx.execute(query):
        found.setdefault(assessor, []).append(_blind(row))
    return found


def blind_of(tx: Connection, set_id: str, sitting: str, assessor: str) -> BlindSet | None:
    """One set, if it belongs to this assessor in this sitting."""
    query = select(*_BLIND).where(_SET.id == set_id, _SET.sitting_id == sitting, _SET.assessor_id == assessor)
    row = tx.execute(query).first()
    return _blind(row) if row else None


def level_of(tx: Connection, set_id: str) -> float | None:
    """The level of a set, for one whose level is the seconds at which its pieces are noticed."""
    return tx.execute(select(_SET.level).where(_SET.id == set_id)).scalar()


def steps(tx: Connection, set_id: str, kinds: Sequence[str]) -> list[str]:
    """When each step within a set was taken, in order, as the events of these kinds tell."""
    c = schema.event.c
    of = select(schema.sitting.c.study_id).join(schema.trial_set, _SET.sitting_id == schema.sitting.c.id)
    named = c.body.contains(f'"set":"{set_id}"', autoescape=True)
    query = select(c.body).where(c.study_id == of.where(_SET.id == set_id).scalar_subquery(), c.kind.in_(kinds), named)
    return [str(json.loads(row.body)["at"]) for row in tx.execute(query.order_by(c.seq))]


def start(tx: Connection, set_id: str) -> str | None:
    """Keep when a set was first offered, and return it; None when that was known."""
    at = now()
    done = tx.execute(
        update(schema.trial_set).where(_SET.id == set_id, _SET.started_at.is_(None)).values(started_at=at)
    )
    return at if done.rowcount else None


def finish(tx: Connection, set_id: str, outcome: str, at: str) -> None:
    """Close a set, once, at the time of its answer or of the event of this act."""
    tx.execute(
        update(schema.trial_set)
        .where(_SET.id == set_id, _SET.finished_at.is_(None))
        .values(finished_at=at, outcome=outcome)
    )


def codes_of_study(tx: Connection, study: str) -> dict[str, set[str]]:
    """Every code used so far in a study, by assessor."""
    query = (
        select(_SET.assessor_id, _SET.codes)
        .join(schema.sitting, schema.sitting.c.id == _SET.sitting_id)
        .where(schema.sitting.c.study_id == study)
    )
    used: dict[str, set[str]] = {}
    for row in tx.execute(query):
        used.setdefault(row.assessor_id, set()).update(json.loads(row.codes))
    return used


def cups_since(tx: Connection, assessor: str, since: str) -> int:
    """How many pieces of finished sets somebody has eaten since a time."""
    query = select(_SET.codes).where(
        _SET.assessor_id == assessor, _SET.finished_at >= since, _SET.started_at.is_not(None)
    )
    return sum(len(json.loads(row.codes)) for row in tx.execute(query))


# ---- answers -------------------------------------------------------------------------------------------------------
_COLUMNS = (_TRIAL.id, _TRIAL.set_id, _TRIAL.choice, _TRIAL.guess, _TRIAL.reason, _TRIAL.nonce, _TRIAL.at)


def _answer(row: Any) -> Answer:
    choice = None if row.choice is None else tuple(json.loads(row.choice))
    return Answer(row.id, row.set_id, choice, row.guess, row.reason, row.nonce, row.at)


def add_answer(
    tx: Connection,
    study: str,
    set_id: str,
    choice: Sequence[str] | None,
    guess: bool,
    reason: str | None,
    nonce: str,
    source: str | None = None,
) -> str:
    """Keep one answer, or that there is none, and its event; returns the time. `source` as of a score."""
    at = now()
    row: dict[str, Any] = {
        "set_id": set_id,
        "choice": None if choice is None else json.dumps(list(choice)),
        "guess": guess,
        "reason": reason,
        "nonce": nonce,
        "at": at,
        "source": source,
    }
    sha = row_hash("trial", row)
    done = tx.execute(insert(schema.trial).values(**row, sha256=sha))
    events.append(tx, "trial", {"trial": int((done.inserted_primary_key or (0,))[0]), "sha256": sha, "at": at}, study)
    return at


def answer_by_nonce(tx: Connection, nonce: str) -> Answer | None:
    """The answer kept under this nonce."""
    row = tx.execute(select(*_COLUMNS).where(_TRIAL.nonce == nonce)).first()
    return _answer(row) if row else None


def answer_of(tx: Connection, set_id: str) -> Answer | None:
    """The answer in force of a set: its newest row."""
    row = tx.execute(select(*_COLUMNS).where(_TRIAL.set_id == set_id).order_by(_TRIAL.id.desc()).limit(1)).first()
    return _answer(row) if row else None


def all_answers(tx: Connection) -> list[Answer]:
    """Every row in order."""
    return [_answer(row) for row in tx.execute(select(*_COLUMNS).order_by(_TRIAL.id))]


def answers_kept(tx: Connection, sitting: str, assessor: str) -> tuple[int, str | None]:
    """How many sets of an assessor hold an answer, and when the last one was kept."""
    newest = _newest(_SET.sitting_id == sitting, _SET.assessor_id == assessor)
    query = (
        select(func.count(), func.max(_TRIAL.at))
        .select_from(schema.trial)
        .join(newest, newest.c.id == _TRIAL.id)
        .where(_TRIAL.choice.is_not(None))
    )
    row = tx.execute(query).one()
    return int(row[0]), row[1]


def _newest(*sets: Any) -> Any:
    """The newest row of each set that the conditions pick: earlier ones are out of force."""
    return (
        select(func.max(_TRIAL.id).label("id"))
        .join(schema.trial_set, _SET.id == _TRIAL.set_id)
        .join(schema.sitting, schema.sitting.c.id == _SET.sitting_id)
        .where(*sets)
        .group_by(_TRIAL.set_id)
        .subquery()
    )


# ---- for leader and preparer ---------------------------------------------------------------------------------------
def open_sets(tx: Connection, sitting: str) -> list[str]:
    """Sets of a sitting that nobody has finished."""
    query = (
        select(_SET.id).where(_SET.sitting_id == sitting, _SET.finished_at.is_(None)).order_by(_SET.position, _SET.id)
    )
    return [row.id for row in tx.execute(query)]


def controls(tx: Connection, study: str) -> dict[str, str | None]:
    """How every set with the control came out, by its id; None while it is open."""
    query = (
        select(_SET.id, _SET.outcome)
        .join(schema.sitting, schema.sitting.c.id == _SET.sitting_id)
        .where(schema.sitting.c.study_id == study, _SET.level == CONTROL)
    )
    return {row.id: row.outcome for row in tx.execute(query)}


def _seat() -> Any:
    return and_(
        schema.seat.c.study_id == schema.sitting.c.study_id, schema.seat.c.assessor_id == schema.trial_set.c.assessor_id
    )


def cups(tx: Connection, sitting: str) -> list[tuple[int, int, str, tuple[str, ...]]]:
    """(position, seat, pseudonym, codes in order of tasting) of every set of a sitting; no sample."""
    query = (
        select(_SET.position, schema.seat.c.number, schema.assessor.c.pseudonym, _SET.codes)
        .join(schema.sitting, schema.sitting.c.id == _SET.sitting_id)
        .join(schema.seat, _seat())
        .join(schema.assessor, schema.assessor.c.id == _SET.assessor_id)
        .where(_SET.sitting_id == sitting)
        .order_by(_SET.position, schema.seat.c.number)
    )
    return [(row[0], row[1], row[2], tuple(json.loads(row[3]))) for row in tx.execute(query)]


def key(tx: Connection, sitting: str) -> list[tuple[int, int, tuple[str, ...], tuple[str, ...]]]:
    """(position, seat, codes, samples) of every set: what goes into which cup."""
    query = (
        select(_SET.position, schema.seat.c.number, _SET.codes, _SET.samples)
        .join(schema.sitting, schema.sitting.c.id == _SET.sitting_id)
        .join(schema.seat, _seat())
        .where(_SET.sitting_id == sitting)
        .order_by(_SET.position, schema.seat.c.number)
    )
    return [(r[0], r[1], tuple(json.loads(r[2])), tuple(json.loads(r[3]))) for r in tx.execute(query)]


def keyed(tx: Connection, sitting: str, assessor: str) -> list[KeyedSet]:
    """The sets of one assessor in one sitting with their key, in order; for studies whose answers are invented."""
    query = (
        select(_SET.id, _SET.level, _SET.codes, _SET.samples, schema.sitting.c.study_id)
        .join(schema.sitting, schema.sitting.c.id == _SET.sitting_id)
        .where(_SET.sitting_id == sitting, _SET.assessor_id == assessor)
        .order_by(_SET.position)
    )
    rows = list(tx.execute(query))
    plain = {box.id for box in boxes(tx, rows[0].study_id) if box.plain} if rows else set()
    return [KeyedSet(row.id, row.level, tuple(json.loads(row.codes)), _order(row.samples, plain)) for row in rows]


def _order(samples: str, plain: set[str]) -> tuple[int, ...]:
    return tuple(0 if sample in plain else 1 for sample in json.loads(samples))


def judged(tx: Connection, study: str) -> list[Judged]:
    """Every finished set of a study with its key, in the order in which a sequential plan reads them.

    That is by sitting, tray and seat, so that it was fixed by the seal and not by who was quicker.
    """
    plain = {box.id for box in boxes(tx, study) if box.plain}
    newest = _newest(schema.sitting.c.study_id == study)
    query = (
        select(
            schema.assessor.c.pseudonym,
            schema.seat.c.number.label("seat"),
            schema.sitting.c.number,
            *(_SET.level, _SET.position, _SET.codes, _SET.samples, _TRIAL.choice, _TRIAL.guess, _TRIAL.at),
        )
        .select_from(schema.trial)
        .join(newest, newest.c.id == _TRIAL.id)
        .join(schema.trial_set, _SET.id == _TRIAL.set_id)
        .join(schema.sitting, schema.sitting.c.id == _SET.sitting_id)
        .join(schema.seat, _seat())
        .join(schema.assessor, schema.assessor.c.id == _SET.assessor_id)
        .where(schema.sitting.c.study_id == study)
        .order_by(schema.sitting.c.number, _SET.position, schema.seat.c.number)
    )
    return [_judged(row, plain) for row in tx.execute(query)]


def _judged(row: Any, plain: set[str]) -> Judged:
    codes = json.loads(row.codes)
    order = _order(row.samples, plain)
    picked = None if row.choice is None else tuple(sorted(codes.index(code) for code in json.loads(row.choice)))
    return Judged(row.pseudonym, row.seat, row.level, row.number, row.position, order, picked, row.guess, row.at)
