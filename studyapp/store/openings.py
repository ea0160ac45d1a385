"""The key of a study: who asked for it, who opened it, who saw it. An opening counts as far as the chain bears it out,
so a state or a row that somebody edited in the file opens nothing."""

from __future__ import annotations

from collections.abc import Collection, Iterator
from typing import Any

from sqlalchemy import Connection, func, insert, select

from studyapp.records import Opening, Staff
from studyapp.store import covers, events, schema
from studyapp.store.events import now

ASKED, OPENED = "opening asked", "key opened"


# ---- what the chain says -------------------------------------------------------------------------------------------
def shut(tx: Connection, study: str) -> bool:
    """Whether the last thing the chain tells of the key is that it was sealed; what came from elsewhere came open."""
    last = ""
    for kind, _body in _told(tx, study, "sealed", "look planned", OPENED, "import begun"):
        last = last if (last, kind) == ("import begun", "sealed") else kind
    return last in ("sealed", "look planned")


def _told(tx: Connection, study: str, *kinds: str) -> Iterator[tuple[str, dict[str, Any]]]:
    """(kind, body) of those events of a study whose hash holds, in order."""
    for event in events.of_kinds(tx, study, *kinds):
        if events.link(event.seq, event.at, event.kind, event.study, event.body, event.prev) == event.hash:
            yield event.kind, event.body


def _borne_out(tx: Connection, study: str) -> set[int]:
    """The looks whose opening stands as its event covered it."""
    bodies = [body for _, body in _told(tx, study, OPENED, "imported") if body.get("table") == "opening"]
    return {body["where"]["look"] for body in bodies if covers.fits(body, covers.kept(tx, body))}


# ---- opening -------------------------------------------------------------------------------------------------------
def ask(tx: Connection, study: str, look: int, by: str) -> None:
    """Keep that somebody asks for the key."""
    events.append(tx, ASKED, {"look": look, "by": by}, study)


def asked_by(tx: Connection, study: str, look: int) -> str | None:
    """The account that asked last for the key of a look."""
    asked = [body["by"] for _, body in _told(tx, study, ASKED) if body["look"] == look]
    return asked[-1] if asked else None


def add(tx: Connection, study: str, look: int, by: Staff, second: Staff | None) -> None:
    """Keep who opened the key of a look: two accounts, or one alone."""
    name = by.name if second is None else f"{second.name}, {by.name}"
    values = {"by": by.id, "second": second.id if second else None, "name": name, "at": now()}
    tx.execute(insert(schema.opening).values(study_id=study, look=look, **values))
    covers.cover(tx, OPENED, "opening", {"study_id": study, "look": look}, study, look=look, by=by.id)


def of_study(tx: Connection, study: str) -> tuple[Opening, ...]:
    """Every opening that the chain bears out, by look."""
    c = schema.opening.c
    rows = tx.execute(select(schema.opening).where(c.study_id == study).order_by(c.look)).all()
    borne = _borne_out(tx, study) if rows else set()
    return tuple(Opening(row.look, row.name, row.at, row.second is None) for row in rows if row.look in borne)


def last_opened(tx: Connection, kinds: Collection[str], most: int, example: bool) -> list[tuple[str, int]]:
    """(id, last opened look) of the studies of these kinds whose key was opened last, the newest first."""
    query = (
        select(schema.opening.c.study_id, func.max(schema.opening.c.look))
        .join(schema.study, schema.study.c.id == schema.opening.c.study_id)
        .where(schema.study.c.kind.in_(kinds), schema.study.c.example.is_(example))
        .group_by(schema.opening.c.study_id)
        .order_by(func.max(schema.opening.c.at).desc(), schema.opening.c.study_id)
        .limit(most)
    )
    return [(row[0], row[1]) for row in tx.execute(query) if row[1] in _borne_out(tx, row[0])]


# ---- seeing --------------------------------------------------------------------------------------------------------
def note_view(tx: Connection, study: str, staff: str) -> bool:
    """Keep that a member has seen the key; False when it was known."""
    if has_seen(tx, study, staff):
        return False
    tx.execute(insert(schema.key_view).values(study_id=study, staff_id=staff, at=now()))
    covers.cover(tx, "key seen", "key_view", {"study_id": study, "staff_id": staff}, study, by=staff)
    return True


def has_seen(tx: Connection, study: str, staff: str) -> bool:
    """Whether it is kept that a member has seen the key."""
    c = schema.key_view.c
    return tx.execute(select(c.at).where(c.study_id == study, c.staff_id == staff)).first() is not None


def views(tx: Connection, study: str) -> list[tuple[str, str, str]]:
    """(time, name, role) of everybody who saw the key, in order."""
    c, who = schema.key_view.c, schema.staff.c
    query = select(c.at, who.name, who.role).join(schema.staff, who.id == c.staff_id).where(c.study_id == study)
    return [(row.at, row.name, row.role) for row in tx.execute(query.order_by(c.at, who.name))]


def has_seen_any(tx: Connection, staff: str) -> bool:
    """Whether a member has seen the key of any study."""
    return tx.execute(select(schema.key_view.c.at).where(schema.key_view.c.staff_id == staff)).first() is not None


def knows_samples(tx: Connection, study: str, member: Staff) -> bool:
    """Whether a member has seen the key, or the scores by sample, which every leader may read once a key is open."""
    return has_seen(tx, study, member.id) or (member.role == "leader" and bool(of_study(tx, study)))
