"""Servings and scores. What an assessor's page asks for selects codes and texts only, never a sample."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass
from typing import Any

from sqlalchemy import Connection, and_, bindparam, func, insert, select, update

from studyapp.records import Line, Sitting
from studyapp.store import covers, events, schema
from studyapp.store.events import now
from studyapp.store.row_hashes import row_hash


@dataclass(frozen=True, slots=True)
class BlindServing:
    """A serving as its assessor may know it."""

    id: str
    position: int
    code: str
    scored: bool
    started_at: str | None
    finished_at: str | None
    outcome: str | None


_BLIND = (
    schema.serving.c.id,
    schema.serving.c.position,
    schema.serving.c.code,
    schema.serving.c.scored,
    schema.serving.c.started_at,
    schema.serving.c.finished_at,
    schema.serving.c.outcome,
)


# Built once: every mark asks for these.
_BLIND_OF = select(*_BLIND).where(
    schema.serving.c.id == bindparam("serving"),
    schema.serving.c.sitting_id == bindparam("sitting"),
    schema.serving.c.assessor_id == bindparam("assessor"),
)
_SCORE = schema.score.c
_KEPT = (_SCORE.id, _SCORE.serving_id, _SCORE.attribute_id, _SCORE.value, _SCORE.reason, _SCORE.nonce, _SCORE.at)
_BY_NONCE = select(*_KEPT).where(schema.score.c.nonce == bindparam("nonce"))
_INSERT_SCORE = insert(schema.score)
_TOKEN, _HERE, _CUP, _LINE = schema.token.c, schema.sitting.c, schema.serving.c, schema.attribute.c
_SENT = schema.score.alias("sent")
_MARKING = (
    select(
        _HERE.study_id,
        _HERE.state,
        _CUP.id.label("cup"),
        _CUP.started_at,
        _CUP.finished_at,
        _LINE.id.label("line"),
        select(func.count())
        .where(_SCORE.serving_id == bindparam("serving"), _SCORE.attribute_id == bindparam("attribute"))
        .scalar_subquery()
        .label("marks"),
        _SENT.c.serving_id,
        _SENT.c.attribute_id,
        _SENT.c.at,
    )
    .select_from(schema.token)
    .join(schema.sitting, _HERE.id == _TOKEN.sitting_id)
    .outerjoin(
        schema.serving,
        (_CUP.id == bindparam("serving"))
        & (_CUP.sitting_id == _TOKEN.sitting_id)
        & (_CUP.assessor_id == _TOKEN.assessor_id),
    )
    .outerjoin(schema.attribute, (_LINE.id == bindparam("attribute")) & (_LINE.study_id == _HERE.study_id))
    .outerjoin(_SENT, _SENT.c.nonce == bindparam("nonce"))
    .where(_TOKEN.hash == bindparam("hash"), _TOKEN.kind == "seat", _TOKEN.ended_at.is_(None))
)


def blind(tx: Connection, sitting: str, assessor: str) -> list[BlindServing]:
    """The servings of one assessor in one sitting, in order."""
    query = (
        select(*_BLIND)
        .where(schema.serving.c.sitting_id == sitting, schema.serving.c.assessor_id == assessor)
        .order_by(schema.serving.c.position)
    )
    return [BlindServing(*row) for row in tx.execute(query)]


def blind_by_assessor(tx: Connection, sitting: str) -> dict[str, list[BlindServing]]:
    """The servings of a sitting in order, by assessor id."""
    query = (
        select(schema.serving.c.assessor_id, *_BLIND)
        .where(schema.serving.c.sitting_id == sitting)
        .order_by(schema.serving.c.assessor_id, schema.serving.c.position)
    )
    found: dict[str, list[BlindServing]] = {}
    for assessor, *row in tx.execute(query):
        found.setdefault(assessor, []).append(BlindServing(*row))
    return found


def blind_of(tx: Connection, serving: str, sitting: str, assessor: str) -> BlindServing | None:
    """One serving, if it belongs to this assessor in this sitting."""
    row = tx.execute(_BLIND_OF, {"serving": serving, "sitting": sitting, "assessor": assessor}).first()
    return BlindServing(*row) if row else None


def add(tx: Connection, sitting: Sitting, rows: list[dict[str, Any]]) -> None:
    """Keep the servings of a sitting: id, assessor_id, position, code, sample_id, replicate, scored."""
    tx.execute(insert(schema.serving), [{**row, "sitting_id": sitting.id} for row in rows])
    covers.cover(tx, "servings dealt", "serving", {"sitting_id": sitting.id}, sitting.study)


def start(tx: Connection, serving: str) -> str | None:
    """Keep when a serving was first offered, and return it; None when that was known."""
    at = now()
    done = tx.execute(
        update(schema.serving)
        .where(schema.serving.c.id == serving, schema.serving.c.started_at.is_(None))
        .values(started_at=at)
    )
    return at if done.rowcount else None


def finish(tx: Connection, serving: str, outcome: str, at: str) -> None:
    """Close a serving, once, at the time that the event of this act tells."""
    tx.execute(
        update(schema.serving)
        .where(schema.serving.c.id == serving, schema.serving.c.finished_at.is_(None))
        .values(finished_at=at, outcome=outcome)
    )


def of_code(tx: Connection, sitting: str, code: str) -> str | None:
    """The serving that was dealt under a code in a sitting."""
    c = schema.serving.c
    return tx.execute(select(c.id).where(c.sitting_id == sitting, c.code == code)).scalar()


def sample_of(tx: Connection, serving: str) -> str | None:
    """What a serving holds, for the server alone."""
    return tx.execute(select(schema.serving.c.sample_id).where(schema.serving.c.id == serving)).scalar()


def of_levels(tx: Connection, sitting: str, levels: tuple[float, ...]) -> list[BlindServing]:
    """The cups of some levels in a sitting."""
    query = (
        select(*_BLIND)
        .join(schema.sample, schema.sample.c.id == schema.serving.c.sample_id)
        .where(schema.serving.c.sitting_id == sitting, schema.sample.c.hours.in_(levels))
    )
    return [BlindServing(*row) for row in tx.execute(query)]


def offered_of_level(tx: Connection, sitting: str, level: float) -> list[tuple[str, list[str | None]]]:
    """Of each cup of a level that was offered in a sitting: when, and the reasons of its lines if all are missing."""
    found = []
    for cup in of_levels(tx, sitting, (level,)):
        if cup.started_at is not None and cup.scored:
            query = select(_SCORE.value, _SCORE.reason).where(_SCORE.serving_id == cup.id)
            rows = tx.execute(query).all()
            missing = [row.reason for row in rows] if all(row.value is None for row in rows) else []
            found.append((cup.started_at, missing))
    return found


def left_out(tx: Connection, sitting: str, level: float) -> bool:
    """Whether cups of a level were closed in a sitting since it was lost."""
    cups = [cup.id for cup in of_levels(tx, sitting, (level,))]
    query = select(_SCORE.id).where(_SCORE.serving_id.in_(cups), _SCORE.reason.like("lost: %"))
    return tx.execute(query.limit(1)).first() is not None


def codes_of_study(tx: Connection, study: str) -> dict[str, set[str]]:
    """Every code used so far in a study, by assessor."""
    query = (
        select(schema.serving.c.assessor_id, schema.serving.c.code)
        .join(schema.sitting, schema.sitting.c.id == schema.serving.c.sitting_id)
        .where(schema.sitting.c.study_id == study)
    )
    used: dict[str, set[str]] = {}
    for row in tx.execute(query):
        used.setdefault(row.assessor_id, set()).add(row.code)
    return used


def dealt(tx: Connection, study: str) -> Counter[tuple[int, str, str]]:
    """How many scored cups were dealt so far in a study, by sitting number, assessor id and sample id."""
    s = schema.serving.c
    query = (
        select(schema.sitting.c.number, s.assessor_id, s.sample_id)
        .join(schema.sitting, schema.sitting.c.id == s.sitting_id)
        .where(schema.sitting.c.study_id == study, s.scored)
    )
    return Counter((number, assessor, sample) for number, assessor, sample in tx.execute(query))


# ---- lines and scores ----------------------------------------------------------------------------------------------
def _newest(*servings: Any) -> Any:
    """The newest score of each line of the servings that the conditions pick: earlier ones are superseded."""
    return (
        select(func.max(schema.score.c.id).label("id"))
        .join(schema.serving, schema.serving.c.id == schema.score.c.serving_id)
        .join(schema.sitting, schema.sitting.c.id == schema.serving.c.sitting_id)
        .where(*servings)
        .group_by(schema.score.c.serving_id, schema.score.c.attribute_id)
        .subquery()
    )


def lines(tx: Connection, sitting: str, serving: str) -> tuple[Line, ...]:
    """The ballot of a serving with the marks kept so far."""
    newest = (
        select(schema.score.c.attribute_id, func.max(schema.score.c.id).label("id"))
        .where(schema.score.c.serving_id == serving)
        .group_by(schema.score.c.attribute_id)
        .subquery()
    )
    query = (
        select(
            schema.attribute.c.id,
            schema.attribute.c.name,
            schema.attribute.c.definition,
            schema.attribute.c.low_word,
            schema.attribute.c.high_word,
            schema.score.c.value,
        )
        .join(schema.sitting, schema.sitting.c.study_id == schema.attribute.c.study_id)
        .outerjoin(newest, newest.c.attribute_id == schema.attribute.c.id)
        .outerjoin(schema.score, schema.score.c.id == newest.c.id)
        .where(schema.sitting.c.id == sitting)
        .order_by(schema.attribute.c.position)
    )
    return tuple(Line(*row) for row in tx.execute(query))


@dataclass(frozen=True, slots=True)
class Marking:
    """All that decides about one mark: the sitting of the seat, the `cup` where it is this assessor's, the `line` where
    it is on the ballot, how many `marks` that line of it has, and the row that came under the same nonce before."""

    study: str
    state: str
    cup: str | None
    started_at: str | None
    finished_at: str | None
    line: str | None
    marks: int
    sent_serving: str | None
    sent_line: str | None
    sent_at: str | None


def marking(tx: Connection, token_hash: str, serving: str, line: str, nonce: str) -> Marking | None:
    """What decides about a mark, in one question; None where the token is worthless."""
    asked = {"hash": token_hash, "serving": serving, "attribute": line, "nonce": nonce}
    row = tx.execute(_MARKING, asked).first()
    return Marking(*tuple(row)) if row else None


@dataclass(frozen=True, slots=True)
class KeptScore:
    """One score row as kept."""

    id: int
    serving: str
    attribute: str
    value: float | None
    reason: str | None
    nonce: str
    at: str


def score_by_nonce(tx: Connection, nonce: str) -> KeptScore | None:
    """The score kept under this nonce."""
    row = tx.execute(_BY_NONCE, {"nonce": nonce}).first()
    return KeptScore(*row) if row else None


def add_score(
    tx: Connection,
    study: str,
    serving: str,
    attribute: str,
    value: float | None,
    reason: str | None,
    nonce: str,
    source: str | None = None,
) -> str:
    """Keep one score and its event; returns the time. An earlier score of the line is superseded, not changed. `source`
    is "paper" where it was typed from a ballot, None where a phone or the server made it."""
    at = now()
    names = {"serving_id": serving, "attribute_id": attribute}
    row = {**names, "value": value, "reason": reason, "nonce": nonce, "at": at, "source": source}
    sha = row_hash("score", row)
    result = tx.execute(_INSERT_SCORE, {**row, "sha256": sha})
    events.append(tx, "score", {"score": int((result.inserted_primary_key or (0,))[0]), "sha256": sha}, study)
    return at


def all_scores(tx: Connection) -> list[KeptScore]:
    """Every score row in order, superseded ones included."""
    return [KeptScore(*row) for row in tx.execute(select(*_KEPT).order_by(_SCORE.id))]


def marks_kept(tx: Connection, sitting: str, assessor: str) -> tuple[int, str | None]:
    """How many lines of an assessor hold a mark, and when the last one was kept."""
    newest = _newest(schema.serving.c.sitting_id == sitting, schema.serving.c.assessor_id == assessor)
    query = (
        select(func.count(), func.max(schema.score.c.at))
        .select_from(schema.score)
        .join(newest, newest.c.id == schema.score.c.id)
        .where(schema.score.c.value.is_not(None))
    )
    row = tx.execute(query).one()
    return int(row[0]), row[1]


# ---- for leader and preparer ---------------------------------------------------------------------------------------
def cups(tx: Connection, sitting: str) -> list[Any]:
    """position, number (seat), pseudonym, code of every cup of a sitting; no sample."""
    query = (
        select(schema.serving.c.position, schema.seat.c.number, schema.assessor.c.pseudonym, schema.serving.c.code)
        .join(schema.sitting, schema.sitting.c.id == schema.serving.c.sitting_id)
        .join(schema.seat, _seat_of_serving())
        .join(schema.assessor, schema.assessor.c.id == schema.serving.c.assessor_id)
        .where(schema.serving.c.sitting_id == sitting)
        .order_by(schema.serving.c.position, schema.seat.c.number)
    )
    return list(tx.execute(query))


def _seat_of_serving() -> Any:
    return and_(
        schema.seat.c.study_id == schema.sitting.c.study_id, schema.seat.c.assessor_id == schema.serving.c.assessor_id
    )


def key(tx: Connection, sitting: str) -> list[Any]:
    """position, number (seat), code, letter: what goes into which cup."""
    s = schema.serving.c
    query = (
        select(s.position, schema.seat.c.number, s.code, schema.sample.c.letter)
        .join(schema.sitting, schema.sitting.c.id == s.sitting_id)
        .join(schema.seat, _seat_of_serving())
        .join(schema.sample, schema.sample.c.id == s.sample_id)
        .where(s.sitting_id == sitting)
        .order_by(s.position, schema.seat.c.number)
    )
    return list(tx.execute(query))


def open_servings(tx: Connection, sitting: str) -> list[str]:
    """Scored servings of a sitting that nobody has finished."""
    query = select(schema.serving.c.id).where(
        schema.serving.c.sitting_id == sitting, schema.serving.c.scored, schema.serving.c.finished_at.is_(None)
    )
    return [row.id for row in tx.execute(query)]


def finished_since(tx: Connection, assessor: str, since: str) -> int:
    """How many pieces somebody was really served since a time: one that was never offered was not eaten."""
    c = schema.serving.c
    served = (c.assessor_id == assessor, c.finished_at >= since, c.started_at.is_not(None))
    query = select(func.count()).select_from(schema.serving).where(*served)
    return int(tx.execute(query).scalar_one())


def missing(tx: Connection, study: str, looks: int) -> list[Any]:
    """Lines in force without a mark up to a look: as `tidy`, and serving_id, attribute_id, reason, nonce."""
    return [row for row in _in_force(tx, study, looks) if row.score is None]


def tidy(tx: Connection, study: str, looks: int) -> list[Any]:
    """Scores in force up to a look: assessor (pseudonym), level, attribute, score, sitting, replicate, position; then
    what `missing` names."""
    return _in_force(tx, study, looks)


def _in_force(tx: Connection, study: str, looks: int) -> list[Any]:
    newest = _newest(schema.sitting.c.study_id == study, schema.sitting.c.look <= looks)
    s = schema.serving.c
    query = (
        select(
            schema.assessor.c.pseudonym.label("assessor"),
            schema.sample.c.hours.label("level"),
            schema.attribute.c.name.label("attribute"),
            schema.score.c.value.label("score"),
            schema.sitting.c.number.label("sitting"),
            s.replicate,
            s.position,
            _SCORE.serving_id,
            _SCORE.attribute_id,
            _SCORE.reason,
            _SCORE.nonce,
        )
        .join(newest, newest.c.id == schema.score.c.id)
        .join(schema.serving, s.id == schema.score.c.serving_id)
        .join(schema.sitting, schema.sitting.c.id == s.sitting_id)
        .join(schema.sample, schema.sample.c.id == s.sample_id)
        .join(schema.attribute, schema.attribute.c.id == schema.score.c.attribute_id)
        .join(schema.assessor, schema.assessor.c.id == s.assessor_id)
        .where(schema.sitting.c.study_id == study, schema.sitting.c.look <= looks, s.scored)
        .order_by(schema.attribute.c.position, schema.sitting.c.number, schema.assessor.c.pseudonym, s.position)
    )
    return list(tx.execute(query))
