"""A page costs the same with ten or ten thousand studies in the store: no statement walks a table that grows."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest
from sqlalchemy import event

from studyapp.kinds.hours import deciding
from studyapp.services import accounts, closing, joining, planning, preparing, tasting, watching

GROWING = {"study", "sitting", "serving", "score", "event", "token", "presence", "tray", "note", "join_code", "seat"}
GROWING |= {
    "sample",
    "attribute",
    "deviation",
    "signature",
    "opening",
    "decision",
    "pull_note",
    "photo",
    "key_view",
    "trial",
}
GROWING |= {"trial_set", "trial_sample"}
# The newest event is found by walking the chain backwards for one step.
ONE_STEP = "ORDER BY event.seq DESC"


def walked(store: Any, act: Callable[[], object]) -> list[str]:
    """Statements of an act that walk a growing table from end to end, as SQLite itself plans them."""
    seen: dict[str, Any] = {}

    def note(_connection: Any, _cursor: Any, statement: str, parameters: Any, _context: Any, many: bool) -> None:
        if statement.lstrip().upper().startswith(("SELECT", "UPDATE", "DELETE")) and not many:
            seen[statement] = parameters

    event.listen(store.engine, "before_cursor_execute", note)
    try:
        act()
    finally:
        event.remove(store.engine, "before_cursor_execute", note)
    found = []
    with store.read() as tx:
        for statement, parameters in seen.items():
            plan = [str(row[3]) for row in tx.exec_driver_sql(f"EXPLAIN QUERY PLAN {statement}", parameters)]
            scans = {step.split()[1] for step in plan if step.startswith("SCAN ")}
            if scans & GROWING and ONE_STEP not in statement:
                found.append(f"{statement}\n{plan}")
    assert seen
    return found


ACTS: dict[str, Callable[[Any, Any], object]] = {
    "an assessor's page": lambda w, h: tasting.place(w.store, h.token),
    "a mark": lambda _w, h: h.mark(h.place().serving, h.place().lines[0].id, 5.0),
    "the next serving": lambda w, h: tasting.cannot_judge(w.store, h.token, h.place().serving, "broken", "n" * 24),
    "a note": lambda w, h: tasting.send_note(w.store, h.token, "grainy"),
    "joining": lambda w, _h: joining.join(w.store, w.links[1].code, "10.0.0.7", None),
    "links": lambda w, _h: joining.issue_links(w.store, w.leader, w.sitting.id),
    "a study": lambda w, _h: planning.study(w.store, w.leader, w.study),
    "the watch page": lambda w, _h: watching.progress(w.store, w.leader, w.sitting.id),
    "the change counter": lambda w, _h: watching.change_counter(w.store),
    "deviations": lambda w, _h: watching.deviations(w.store, w.leader, w.study),
    "a deviation": lambda w, _h: watching.note_deviation(w.store, w.leader, w.study, "Warm."),
    "open sittings": lambda w, _h: preparing.sittings(w.store, w.preparer),
    "the sittings of a study": lambda w, _h: preparing.sittings(w.store, w.preparer, w.study),
    "trays": lambda w, _h: preparing.trays(w.store, w.preparer, w.sitting.id),
    "the key": lambda w, _h: preparing.fill_rows(w.store, w.preparer, w.sitting.id),
    "quantities": lambda w, _h: preparing.quantities(w.store, w.preparer, w.study),
    "closing": lambda w, _h: watching.close_sitting(w.store, w.leader, w.sitting.id, "late"),
    "who is signed in": lambda w, _h: accounts.everybody(w.store, w.leader),
    "one's own account": lambda w, _h: accounts.own(w.store, w.preparer),
    "a first passphrase": lambda w, _h: accounts.give_passphrase(w.store, w.leader, w.preparer.id, w.passphrase),
    "the end of an account": lambda w, _h: accounts.end_account(w.store, w.leader, w.preparer.id),
    "signatures": lambda w, _h: closing.signatures(w.store, w.leader, w.study),
}


@pytest.mark.parametrize("name", ACTS)
def test_a_page_reads_by_index_only(workshop: Any, hand: Any, name: str) -> None:
    """Statements are caught on their way and explained by the database."""
    hand.serving()
    assert walked(workshop.store, lambda: ACTS[name](workshop, hand)) == []


def test_the_verdict_reads_its_own_study_only(workshop: Any, hands: list[Any]) -> None:
    """Scores, openings and signatures of other studies are not walked."""
    for number, hand in enumerate(hands):
        hand.taste_all(lambda place, _line, n=number: (place.number + n) % 10)

    def open_and_read() -> None:
        closing.open_key(workshop.store, workshop.leader, workshop.study, "Ada")
        deciding.scores(workshop.store, workshop.leader, workshop.study)

    assert walked(workshop.store, open_and_read) == []


def test_the_test_itself_sees_a_walk(workshop: Any) -> None:
    """A statement without an index is caught, so an empty list means something."""

    def walk() -> None:
        with workshop.store.read() as tx:
            tx.exec_driver_sql("SELECT * FROM serving WHERE outcome = 'missing'").all()

    assert len(walked(workshop.store, walk)) == 1
