"""Every use case that writes fails at its n-th statement, for every n: the store is as before, nothing in between.

The list of use cases is read from the source of the services, so that a new one without a fault test fails here.
"""

from __future__ import annotations

import ast
import json
import secrets
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from sqlalchemy import event
from sqlalchemy.exc import OperationalError

import studyapp
from studyapp.assets import icon
from studyapp.batches import Ladder, Log, Reading, Rung
from studyapp.errors import StoreProblem
from studyapp.kinds.aroma import deciding as aroma_deciding
from studyapp.kinds.aroma.plan import AromaPlan
from studyapp.kinds.comparison import setting_out as comparison_pieces
from studyapp.kinds.hours import deciding, setting_out
from studyapp.kinds.hours.deciding import book
from studyapp.kinds.hours.plan import HoursPlan, Pull
from studyapp.kinds.hours.setting_out import pulls
from studyapp.records import Attribute, Mark, Staff
from studyapp.services import (
    accounts,
    batches,
    calling,
    closing,
    first_code,
    joining,
    ladders,
    packages,
    panel,
    paper_entry,
    photos,
    planning,
    preparing,
    readings,
    tasting,
    ties,
    trays,
    trying,
    unread,
    watching,
)
from studyapp.services.checking import check
from studyapp.store import Store, open_store, schema
from studyapp.store.engine import sqlite_module
from tests.conftest import CHECKS, another_leader
from tests.kinds.aroma.aroma_kitchen import CHECKS as AROMA_CHECKS
from tests.kinds.aroma.aroma_kitchen import PLAN, Kitchen, draft, sealed
from tests.kinds.aroma.test_control import ROUNDS, until_it_ends
from tests.kinds.comparison.test_losing import AT
from tests.kinds.comparison.test_losing import PLAN as MAKES
from tests.services.test_batches import DOWN, DRAFT
from tests.services.test_batches import furnish as furnish_batch_in

pytestmark = pytest.mark.reliability
PHRASE = "a bench by the window"
LADDER = Ladder(
    12.0,
    24.0,
    "2026-11-25",
    "cup",
    "own",
    tuple(Rung("viscosity at 40 1/s", at, 3.0 - (at or 0) / 9) for at in (0, 2, None)),
)
MOIST = Reading(24.0, "moisture", 0.8, "oven", "103 °C")
MEANS = {0.0: 7.0, 8.0: 4.6, 24.0: 4.0}


# ---- which use cases write -----------------------------------------------------------------------------------------
def functions() -> dict[str, ast.FunctionDef]:
    """Every function of the services by module and name."""
    found = {}
    app = Path(studyapp.__file__).parent
    for file in sorted(
        [
            *app.glob("services/*.py"),
            *app.glob("kinds/*/setting_out.py"),
            *app.glob("kinds/*/setting_out/*.py"),
            *app.glob("kinds/*/deciding/*.py"),
        ]
    ):
        name = file.parent.name if file.stem == "__init__" else file.stem
        for node in ast.parse(file.read_text()).body:
            if isinstance(node, ast.FunctionDef):
                found[f"{name}.{node.name}"] = node
    return found


def called(node: ast.FunctionDef) -> set[str]:
    """Bare names of everything a function calls."""
    calls = [each.func for each in ast.walk(node) if isinstance(each, ast.Call)]
    return {call.id for call in calls if isinstance(call, ast.Name)} | {
        call.attr for call in calls if isinstance(call, ast.Attribute)
    }


def handed_on(node: ast.FunctionDef) -> set[str]:
    """Bare names of everything that a function hands its store to."""
    calls = [each for each in ast.walk(node) if isinstance(each, ast.Call) and each.args]
    to = [each.func for each in calls if isinstance(each.args[0], ast.Name) and each.args[0].id == "store"]
    return {func.id for func in to if isinstance(func, ast.Name)} | {
        func.attr for func in to if isinstance(func, ast.Attribute)
    }


def writers() -> set[str]:
    """Public functions that open a write transaction, themselves or through another function."""
    known = functions()
    opens = {"write", "write_together"}
    writing = {name for name, node in known.items() if called(node) & opens and "store" in ast.unparse(node)}
    while True:
        short = {name.split(".")[1] for name in writing}
        more = {name for name, node in known.items() if handed_on(node) & short and _takes_store(node)} - writing
        if not more:
            return {name for name in writing if not name.split(".")[1].startswith("_")}
        writing |= more


def _takes_store(node: ast.FunctionDef) -> bool:
    return bool(node.args.args) and node.args.args[0].arg == "store"


# ---- faults --------------------------------------------------------------------------------------------------------
@contextmanager
def failing(store: Store, number: int) -> Iterator[list[str]]:
    """The n-th statement of write transactions fails as on a broken disk; the commit is the last statement."""
    seen: list[str] = []

    def strike(what: str) -> None:
        seen.append(what)
        if len(seen) == number:
            raise OperationalError(what, {}, sqlite_module().OperationalError("disk I/O error"))

    def before(connection: Any, _cursor: Any, statement: str, *_rest: Any) -> None:
        if connection.get_execution_options().get("writes"):
            strike(statement)

    def commit(connection: Any) -> None:
        if connection.get_execution_options().get("writes"):
            strike("COMMIT")

    event.listen(store.engine, "before_cursor_execute", before)
    event.listen(store.engine, "commit", commit)
    try:
        yield seen
    finally:
        event.remove(store.engine, "before_cursor_execute", before)
        event.remove(store.engine, "commit", commit)


def picture(store: Store) -> dict[str, list[tuple[Any, ...]]]:
    """Every row of every table."""
    with store.read() as tx:
        return {
            name: sorted((tuple(row) for row in tx.execute(table.select())), key=repr)
            for name, table in schema.metadata.tables.items()
        }


# ---- one way into each use case --------------------------------------------------------------------------------------
@pytest.fixture
def plan() -> HoursPlan:
    """Two looks, so that the whole path can be walked."""
    return HoursPlan(
        "Two looks",
        question="Is 8 h enough?",
        pulls=tuple(Pull(hours) for hours in MEANS),
        attributes=(Attribute("Acidity"), Attribute("Fruit", decides=False)),
        sittings=1,
        rest_seconds=0,
        contains="cocoa",
    )


class Case:
    """A workshop on the way to one use case."""

    def __init__(self, workshop: Any, hands: list[Any]) -> None:
        """Everybody has joined."""
        self.w, self.hands, self.store = workshop, hands, workshop.store
        self.leader, self.preparer, self.study = workshop.leader, workshop.preparer, workshop.study

    def draft(self) -> str:
        """A draft ready for its seal."""
        return planning.copy(self.store, self.leader, self.study)

    def planned(self) -> Any:
        """A sealed study's planned sitting."""
        id_ = self.draft()
        planning.seal(self.store, self.leader, id_, planning.study(self.store, self.leader, id_).plan.title)
        return preparing.sittings(self.store, self.preparer, id_)[0]

    def read(self) -> Any:
        """A planned sitting whose first trays were read."""
        sitting = self.planned()
        trays.note_reading(self.store, self.preparer, sitting.id, 0, "Cleo")
        return sitting

    def called(self) -> int:
        """The number of an open call: a piece is missing."""
        here = self.serving()
        calling.call(self.store, self.hands[0].token, here.serving, "piece", here.code)
        return calling.open_calls(self.store, self.leader, self.w.sitting.id)[0].number

    def heron(self) -> str:
        """The id of an assessor."""
        return next(a.id for a in panel.assessors(self.store, self.leader) if a.pseudonym == "Heron")

    def serving(self) -> Any:
        """The first assessor before a scored serving."""
        return self.hands[0].serving()

    def marked(self) -> Any:
        """A serving with every line marked."""
        here = self.serving()
        for line in here.lines:
            self.hands[0].mark(here.serving, line.id, 5.0)
        return here

    def served(self, apart: float = 1.0) -> None:
        """Everybody has tasted; where they stand so far apart at 8 h, the answer stays open."""
        key = preparing.levels_by_code(self.store, self.preparer, self.w.sitting.id)
        for number, hand in enumerate(self.hands):
            hand.taste_all(
                lambda place, _line, n=number: MEANS[key[place.code]] + apart * (n - 2) * (key[place.code] == 8.0)
            )

    def taken_out(self) -> Path:
        """A decided study as tables of the first format, which brings no events to prove before each of some hundred
        statements; and an empty store to bring it into."""
        self.opened()
        here = Path(self.store.engine.url.database or "").parent
        packages.take_out(self.store, self.study, here / "tables")
        described = json.loads((here / "tables" / "datapackage.json").read_text())
        del described["studyapp:record"]
        (here / "tables" / "datapackage.json").write_text(json.dumps(described))
        self.store = open_store(str(here / "empty.sqlite"))
        return here / "tables"

    def opened(self) -> None:
        """The key of the first look is open."""
        self.served()
        closing.open_key(self.store, self.leader, self.study, "Ada")


def _decided(case: Case) -> None:
    case.opened()
    closing.sign(case.store, case.leader, case.study, "ran the test")
    closing.sign(case.store, another_leader(case.store, case.leader), case.study, "decides")


def _chose(case: Case) -> None:
    """A signed verdict that names a shorter hour."""
    case.served(apart=0.1)
    closing.open_key(case.store, case.leader, case.study, "Ada")
    closing.sign(case.store, case.leader, case.study, "ran the test")
    closing.sign(case.store, another_leader(case.store, case.leader), case.study, "decides")


def furnish_batch(case: Case) -> str:
    """A batch of everything."""
    return furnish_batch_in(case.w)


def _two_lead(case: Case) -> None:
    case.served()
    another_leader(case.store, case.leader)


def _read_by_another(case: Case) -> Staff:
    case.opened()
    return another_leader(case.store, case.leader)


def _empty(case: Case) -> str:
    """An empty store, and the code for its first leader."""
    file = Path(case.store.engine.url.database or "").with_name("empty.sqlite")
    case.store = open_store(str(file))
    return str(first_code.make(case.store))


def _first_leader(case: Case) -> Callable[[], object]:
    _empty(case)
    return lambda: accounts.first_leader(case.store, "Eve", PHRASE)


def _undone(case: Case) -> Callable[[], object]:
    pulls.note_pull(case.store, case.preparer, case.study, 8.0, "2026-11-24 10:41")
    return lambda: pulls.undo(case.store, case.preparer, case.study, 8.0, "2026-11-24 10:41")


SENT = {"hours": 8, "at": "2026-11-24 10:41", "mass": 220, "degrees": None, "words": "", "nonce": "n" * 32}


def _photo_erased(case: Case) -> Callable[[], object]:
    photos.keep(case.store, case.preparer, case.study, 8.0, icon())
    (kept,) = photos.of_study(case.store, case.preparer, case.study)
    return lambda: photos.erase(case.store, case.preparer, case.study, kept.id)


def _mark(case: Case) -> Callable[[], object]:
    here = case.serving()
    mark = Mark(here.serving, here.lines[0].id, 5.0, secrets.token_hex(12))
    return lambda: tasting.keep_mark(case.store, case.hands[0].token, mark)


def _offer(case: Case) -> Callable[[], object]:
    here = case.marked()
    tasting.finish_serving(case.store, case.hands[0].token, here.serving)
    with case.store.write() as tx:
        tx.exec_driver_sql("UPDATE serving SET started_at = NULL WHERE finished_at IS NULL")
    return lambda: tasting.place(case.store, case.hands[0].token)


def _second_tray(case: Case) -> Callable[[], object]:
    sitting = case.planned()
    return lambda: preparing.release_tray(case.store, case.preparer, sitting.id, 0, CHECKS, "Cleo")


def _after(step: Callable[[Case], object], act: Callable[[Case], object]) -> Callable[[Case], Callable[[], object]]:
    def ready(case: Case) -> Callable[[], object]:
        step(case)
        return lambda: act(case)

    return ready


def _with(step: Callable[[Case], Any], act: Callable[[Case, Any], object]) -> Callable[[Case], Callable[[], object]]:
    def ready(case: Case) -> Callable[[], object]:
        found = step(case)
        return lambda: act(case, found)

    return ready


def _now(act: Callable[[Case], object]) -> Callable[[Case], Callable[[], object]]:
    return lambda case: lambda: act(case)


def _makes(case: Case) -> str:
    """A sealed comparison beside the other study."""
    plan = replace(MAKES, assessors=case.w.plan.assessors)
    study = planning.start(case.store, case.leader, "comparison", plan)
    planning.seal(case.store, case.leader, study, plan.title)
    return study


def _two_batches(case: Case) -> str:
    """A sealed study of two batches beside the other one."""
    plan = replace(
        case.w.plan, title="Two batches", claim="each of these batches", batches=("A", "B"), sittings=2, looks=1
    )
    study = planning.start(case.store, case.leader, "hours", plan)
    planning.seal(case.store, case.leader, study, plan.title)
    return study


def _make_lost(case: Case) -> str:
    study = _makes(case)
    comparison_pieces.note_lost(case.store, case.preparer, study, 21.0, "dropped", AT)
    return study


def _aroma(case: Case) -> Kitchen:
    """An aroma study beside the other one, of one set each."""
    return sealed(_aroma_draft(case))


def _aroma_draft(case: Case) -> Kitchen:
    return draft(case.store, case.leader, case.preparer, replace(PLAN, trials_each=1, sets_a_sitting=1))


def _aroma_served(case: Case) -> Kitchen:
    kitchen = _aroma(case)
    kitchen.taste_all(lambda _name, _level, _number: True)
    return kitchen


def _aroma_opened(case: Case) -> Kitchen:
    kitchen = _aroma_served(case)
    closing.open_key(kitchen.store, kitchen.leader, kitchen.study, "Ada")
    return kitchen


def _choice(case: Case) -> Callable[[], object]:
    kitchen = _aroma(case)
    taster = kitchen.serve(kitchen.sittings()[0])[0]
    here = taster.place()
    return lambda: trying.keep_choice(case.store, taster.token, here.trial, (here.cups[0],), True, "n" * 24)


def _control_left(case: Case) -> Callable[[], object]:
    """A plan by rounds has come to its end, and sets of its control are left."""
    kitchen = sealed(draft(case.store, case.leader, case.preparer, replace(ROUNDS, cap=30)))
    leader = until_it_ends(kitchen, lambda seat: seat < 1, True)
    return lambda: aroma_deciding.serve_control(case.store, leader, kitchen.study)


def _step(case: Case) -> Callable[[], object]:
    """The first piece of an aftertaste is eaten."""
    alone = {"aim": "aftertaste", "method": "two-alternative", "nameable": True, "note": "mint", "batches": (30,)}
    plan = replace(PLAN, trials_each=1, sets_a_sitting=1, rest_seconds=30, **alone)
    kitchen = sealed(draft(case.store, case.leader, case.preparer, plan))
    taster = kitchen.serve(kitchen.sittings()[0])[0]
    here = taster.place()
    return lambda: trying.take_step(case.store, taster.token, here.trial or "", 1, 0.0)


def _first_entry(case: Case, mark: float = 5.0, by: Staff | None = None) -> str:
    """Somebody has typed a paper ballot with the same mark on every line; whose it is."""
    here = paper_entry.ballots(case.store, case.leader, case.w.sitting.id)[0]
    typed = {field: mark for item in here.items for field in item.fields if not field.endswith("/why")}
    paper_entry.enter(case.store, by or case.leader, case.w.sitting.id, here.assessor, typed)
    return here.assessor


def _second_entry(case: Case) -> Callable[[], object]:
    _first_entry(case)
    return lambda: _first_entry(case, 5.0, case.preparer)


def _paper_differs(case: Case) -> tuple[str, dict[str, int]]:
    who = _first_entry(case)
    _first_entry(case, 6.0, case.preparer)
    left = paper_entry.differences(case.store, case.leader, case.w.sitting.id, who)
    return who, {one.field: 1 for one in left}


CASES: dict[str, Callable[[Case], Callable[[], object]]] = {
    "closing.open_key, sets": _with(_aroma_served, lambda c, k: closing.open_key(c.store, c.leader, k.study, "Ada")),
    "closing.sign, sets": _with(_aroma_opened, lambda c, k: closing.sign(c.store, c.leader, k.study, "ran the test")),
    "planning.keep_plan, sets": _with(
        _aroma_draft, lambda c, k: planning.keep_plan(c.store, c.leader, k.study, AromaPlan("Other"))
    ),
    "planning.new_study, sets": _now(lambda c: planning.new_study(c.store, c.leader, "aroma", "Mint")),
    "planning.seal, sets": _with(_aroma_draft, lambda c, k: planning.seal(c.store, c.leader, k.study, k.plan.title)),
    "preparing.fill_rows, sets": _with(
        _aroma, lambda c, k: preparing.fill_rows(c.store, c.preparer, k.sittings()[0].id)
    ),
    "preparing.quantities, sets": _with(_aroma, lambda c, k: preparing.quantities(c.store, c.preparer, k.study)),
    "preparing.release_tray, sets": _with(
        _aroma,
        lambda c, k: preparing.release_tray(c.store, c.preparer, k.sittings()[0].id, 1, AROMA_CHECKS, "Cleo"),
    ),
    "deciding.serve_control": _control_left,
    "trying.keep_choice": _choice,
    "trying.take_step": _step,
    "accounts.enter_demo": _now(lambda c: accounts.enter_demo(c.store, "leader")),
    "accounts.first_leader": _first_leader,
    "joining.demo_seat": _now(lambda c: joining.demo_seat(c.store, "hours")),
    "accounts.add_staff": _now(lambda c: accounts.add_staff(c.store, c.leader, "Dora", "preparer", PHRASE)),
    "accounts.change_passphrase": _with(
        lambda c: accounts.sign_in(c.store, "Ada", PHRASE, "10.0.0.9"),
        lambda c, t: accounts.change_passphrase(c.store, t, PHRASE, "a stool by the stove", "10.0.0.9"),
    ),
    "accounts.end_account": _now(lambda c: accounts.end_account(c.store, c.leader, c.preparer.id)),
    "accounts.give_passphrase": _now(
        lambda c: accounts.give_passphrase(c.store, c.leader, c.preparer.id, "a stool by the stove")
    ),
    "accounts.count_wrong": _now(lambda c: accounts.count_wrong(c.store, "join", "10.0.0.9")),
    "accounts.sign_in": _now(lambda c: accounts.sign_in(c.store, "Ada", PHRASE, "10.0.0.9")),
    "accounts.sign_out": _with(
        lambda c: accounts.sign_in(c.store, "Ada", PHRASE, "10.0.0.9"), lambda c, t: accounts.sign_out(c.store, t)
    ),
    "batches.add": _now(lambda c: batches.add(c.store, c.preparer, replace(DRAFT, label="Batch 34"), c.study)),
    "batches.keep": _with(furnish_batch, lambda c, id_: batches.keep(c.store, c.preparer, id_, DRAFT)),
    "batches.join": _with(
        lambda c: batches.add(c.store, c.preparer, DRAFT),
        lambda c, id_: batches.join(c.store, c.leader, id_, c.study),
    ),
    "batches.confirm_contents": _with(
        lambda c: batches.add(c.store, c.preparer, DRAFT),
        lambda c, id_: batches.confirm_contents(c.store, c.preparer, id_),
    ),
    "batches.bring_log": _with(
        furnish_batch, lambda c, id_: batches.bring_log(c.store, c.leader, id_, Log((0.0, 1.0), {}, 1.0, 2))
    ),
    "readings.keep": _with(
        furnish_batch, lambda c, id_: readings.keep(c.store, c.leader, id_, [replace(DOWN, portion=2), MOIST])
    ),
    "readings.undo": _with(furnish_batch, lambda c, id_: readings.undo(c.store, c.leader, id_, DOWN)),
    "ladders.keep": _with(furnish_batch, lambda c, id_: ladders.keep(c.store, c.leader, id_, LADDER)),
    "book.confirm": _after(_chose, lambda c: book.confirm(c.store, c.leader, c.study)),
    "book.note_card": _after(_decided, lambda c: book.note_card(c.store, c.leader, c.study, 8.0)),
    "book.keep_prices": _now(lambda c: book.keep_prices(c.store, c.leader, c.study, book.Prices(40.0, 6.5))),
    "calling.call": _with(
        Case.serving, lambda c, here: calling.call(c.store, c.hands[0].token, here.serving, "piece", here.code)
    ),
    "calling.answer": _with(
        Case.called, lambda c, number: calling.answer(c.store, c.leader, c.w.sitting.id, number, "spare")
    ),
    "closing.ask_for_key": _after(_two_lead, lambda c: closing.ask_for_key(c.store, c.leader, c.study)),
    "closing.note_reader": _with(_read_by_another, lambda c, ida: closing.note_reader(c.store, ida, c.study)),
    "first_code.make": _with(_empty, lambda c, _code: first_code.make(c.store)),
    "first_code.begin": _with(_empty, lambda c, code: first_code.begin(c.store, code, "Eve", PHRASE, "10.0.0.9")),
    "ties.tie": _with(Case.heron, lambda c, id_: ties.tie(c.store, c.leader, c.preparer.id, id_)),
    "closing.open_key": _after(Case.served, lambda c: closing.open_key(c.store, c.leader, c.study, "Ada")),
    "deciding.plan_next_sitting": _after(
        Case.opened, lambda c: deciding.plan_next_sitting(c.store, c.leader, c.study, None)
    ),
    "closing.sign": _after(Case.opened, lambda c: closing.sign(c.store, c.leader, c.study, "ran the test")),
    "joining.issue_links": _now(lambda c: joining.issue_links(c.store, c.leader, c.w.sitting.id)),
    "joining.issue_link": _now(lambda c: joining.issue_link(c.store, c.leader, c.w.sitting.id, "Heron")),
    "joining.join": _now(lambda c: joining.join(c.store, c.w.links[0].code, "10.0.0.9", None)),
    "packages.bring_in": _with(Case.taken_out, lambda c, folder: packages.bring_in(c.store, folder)),
    "panel.add_assessor": _now(lambda c: panel.add_assessor(c.store, c.leader, "Kite", "A. Name", "kite@example.org")),
    "panel.erase_person": _with(Case.heron, lambda c, id_: panel.erase_person(c.store, c.leader, id_)),
    "panel.set_may_taste": _with(Case.heron, lambda c, id_: panel.set_may_taste(c.store, c.leader, id_, False)),
    "planning.copy": _now(Case.draft),
    "planning.start": _now(lambda c: planning.start(c.store, c.leader, "hours", HoursPlan("Third"))),
    "planning.keep_plan": _with(
        Case.draft, lambda c, id_: planning.keep_plan(c.store, c.leader, id_, HoursPlan("Other"))
    ),
    "planning.new_study": _now(lambda c: planning.new_study(c.store, c.leader, "hours", "Third")),
    "unread.keep_texts": _with(Case.draft, lambda c, id_: unread.keep_texts(c.store, c.leader, id_, {"pulls": "8h"})),
    "pulls.note_pull": _now(
        lambda c: setting_out.note_pull(c.store, c.preparer, c.study, 8.0, "2026-11-24 10:41", 3900.0)
    ),
    "pulls.note_taken": _now(lambda c: pulls.note_taken(c.store, c.preparer, c.study, SENT)),
    "pulls.note_zero": _now(lambda c: pulls.note_zero(c.store, c.preparer, c.study, "2026-11-24 10:41")),
    "pulls.note_lost": _now(
        lambda c: pulls.note_lost(c.store, c.preparer, c.study, 8.0, "dropped", "2026-11-24 10:41")
    ),
    "pulls.note_batch_lost": _with(
        _two_batches,
        lambda c, id_: pulls.note_batch_lost(c.store, c.preparer, id_, 1, "dropped", "2026-11-24 10:41"),
    ),
    "pulls.undo": _undone,
    "setting_out.note_lost": _with(
        _makes, lambda c, id_: comparison_pieces.note_lost(c.store, c.preparer, id_, 21.0, "dropped", AT)
    ),
    "setting_out.undo_lost": _with(
        _make_lost, lambda c, id_: comparison_pieces.undo_lost(c.store, c.preparer, id_, 21.0, AT)
    ),
    "photos.keep": _now(lambda c: photos.keep(c.store, c.preparer, c.study, 8.0, icon())),
    "photos.erase": _photo_erased,
    "planning.seal": _with(Case.draft, lambda c, id_: planning.seal(c.store, c.leader, id_, "Two looks, again")),
    "preparing.fill_rows": _now(lambda c: preparing.fill_rows(c.store, c.preparer, c.w.sitting.id)),
    "preparing.spare_rows": _now(lambda c: preparing.spare_rows(c.store, c.preparer, c.w.sitting.id)),
    "preparing.boxes": _now(lambda c: preparing.boxes(c.store, c.preparer, c.study)),
    "preparing.levels_by_code": _now(lambda c: preparing.levels_by_code(c.store, c.preparer, c.w.sitting.id)),
    "preparing.quantities": _now(lambda c: preparing.quantities(c.store, c.preparer, c.study)),
    "preparing.release_tray": _second_tray,
    "trays.note_reading": _with(
        Case.planned, lambda c, sitting: trays.note_reading(c.store, c.preparer, sitting.id, 0, "Cleo")
    ),
    "trays.check_code": _with(
        Case.planned,
        lambda c, sitting: trays.check_code(
            c.store, c.preparer, sitting.id, 0, preparing.trays(c.store, c.preparer, sitting.id)[0].cups[0].code
        ),
    ),
    "trays.release_read": _with(
        Case.read,
        lambda c, sitting: trays.release_read(c.store, c.preparer, sitting.id, CHECKS - {"labels_read"}),
    ),
    "tasting.agree": _now(lambda c: tasting.agree(c.store, c.hands[0].token)),
    "tasting.cannot_judge": _with(
        Case.serving, lambda c, here: tasting.cannot_judge(c.store, c.hands[0].token, here.serving, "broken", "n" * 24)
    ),
    "tasting.finish_serving": _with(
        Case.marked, lambda c, here: tasting.finish_serving(c.store, c.hands[0].token, here.serving)
    ),
    "tasting.keep_mark": _mark,
    "tasting.leave": _with(Case.marked, lambda c, _here: tasting.leave(c.store, c.hands[0].token, False)),
    "tasting.place": _offer,
    "tasting.send_note": _now(lambda c: tasting.send_note(c.store, c.hands[0].token, "grainy")),
    "tasting.sit_out": _now(lambda c: tasting.sit_out(c.store, c.hands[0].token)),
    "watching.close_sitting": _with(
        Case.serving, lambda c, _here: watching.close_sitting(c.store, c.leader, c.w.sitting.id, "fire drill")
    ),
    "watching.note_deviation": _now(lambda c: watching.note_deviation(c.store, c.leader, c.study, "Warm room.")),
    "watching.open_sitting": _with(
        Case.planned, lambda c, sitting: watching.open_sitting(c.store, c.leader, sitting.id)
    ),
    "watching.pause": _now(lambda c: watching.pause(c.store, c.leader, c.w.sitting.id)),
    "paper_entry.enter": _second_entry,
    "paper_entry.settle": _with(
        _paper_differs,
        lambda c, left: paper_entry.settle(c.store, c.leader, c.w.sitting.id, *left, "looked"),
    ),
    "paper_entry.keep_alone": _with(
        _first_entry, lambda c, who: paper_entry.keep_alone(c.store, c.leader, c.w.sitting.id, who, "nobody is here")
    ),
    "watching.resume": _after(
        lambda c: watching.pause(c.store, c.leader, c.w.sitting.id),
        lambda c: watching.resume(c.store, c.leader, c.w.sitting.id),
    ),
}


def test_every_use_case_that_writes_has_a_fault_test() -> None:
    """A new write without one breaks the build."""
    assert {case.partition(",")[0] for case in CASES} == writers()


def _works(act: Callable[[], object]) -> bool:
    """Whether a use case went through; if it did not, a person reads one sentence."""
    try:
        act()
    except StoreProblem as problem:
        return not str(problem).startswith("Not done: ")
    return True


@pytest.mark.parametrize("name", sorted(CASES))
def test_a_use_case_is_kept_whole_or_not_at_all(
    workshop: Any, hands: list[Any], name: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """It fails at statement 1, 2, ... and at the commit: nothing changed, one sentence; then it works at once."""
    monkeypatch.setenv("STUDYAPP_DEMO", "1")
    case = Case(workshop, hands)
    act = CASES[name](case)
    before = picture(case.store)
    statements = 0
    for number in range(1, 1000):
        with failing(case.store, number) as seen:
            if _works(act):
                break
        statements = len(seen)
        assert picture(case.store) == before, f"statement {number}: {seen[-1]}"
    assert statements >= 3
    assert seen[-1] == "COMMIT"
    assert picture(case.store) != before
    assert check(case.store.url).sound
    case.store.close()
