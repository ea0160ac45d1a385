"""A batch is written down, changed, given to a study and read by instruments; nothing of it is lost or unproven."""

from __future__ import annotations

from collections.abc import Callable
from contextlib import closing as shut
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from studyapp.batches import Curve, Draft, Happening, Making, Mill, Part, Phase, Reading
from studyapp.errors import BadInput, NotAllowed
from studyapp.services import batches, closing, machine_logs, packages, planning, readings, tasting, watching
from studyapp.services.checking import check
from studyapp.store import open_store
from studyapp.store.engine import sqlite_module
from tests.furnished import reached

MADE = Making(
    parts=(Part("cocoa", 72.0, "14"), Part("cane sugar", 25.7), Part("cocoa butter", 2.0, "", "phase 3")),
    roast="118 °C, 24 min",
    order="mill first",
    mill=Mill("ball mill", "6 mm", 90.0, 310.0, 11.2, "on", "off from 3 h"),
    contains="cocoa, cane sugar, lecithin (soya)",
    traces="hazelnut",
    happened=(Happening(14.0, 14.5, "lid open"),),
)
PHASES = (
    Phase("Fill", 0.0, 2.0, 50.0, 20.0, real_to_hours=2.4),
    Phase("Dry", 2.0, 10.0, 65.0, 45.0, 2.4, 10.9, 69.0, air="hot air 70 °C"),
)
DRAFT = Draft("Batch 33", "Dark 72 %", "small conche", "14", 10000.0, "2026-11-07T08:00", MADE, PHASES)
LOG = b"time,temp_2,speed\n" + b"".join(b"%d,%d,45\n" % (minute, 60 + minute % 3) for minute in range(0, 120, 2))
DOWN = Curve(14.0, 1, "down", ((50.0, 96.0), (20.0, 43.8), (5.0, 20.0)), "rotating cup", "40 °C")


def furnish(workshop: Any) -> str:
    """One batch of everything in the workshop's study; it was read before it belonged there, and after."""
    store, by = workshop.store, workshop.preparer
    id_ = batches.add(store, by, replace(DRAFT, phases=PHASES[:1]))
    batches.keep(store, by, id_, DRAFT)
    readings.keep(store, by, id_, [Reading(8.0, "moisture", 1.1, "oven", "103 °C"), DOWN])
    batches.join(store, workshop.leader, id_, workshop.study)
    batches.bring_log(store, by, id_, machine_logs.read(LOG.replace(b"time", b"minutes"), None).log)
    readings.keep(store, by, id_, [Reading(8.0, "moisture", 1.0, "oven", "103 °C")])
    batches.confirm_contents(store, by, id_)
    return id_


@pytest.fixture
def batch(workshop: Any) -> str:
    """The id of that batch."""
    return str(reached(workshop.store, lambda: furnish(workshop), "a batch of everything"))


def test_a_record_comes_back_as_it_was_kept(workshop: Any, batch: str) -> None:
    """Words, numbers, phases, log; of readings the last of each portion; and the record is sound."""
    found = batches.batch(workshop.store, workshop.leader, batch)
    assert replace(found.draft, made=replace(found.draft.made, confirmed="")) == DRAFT
    assert found.draft.made.confirmed.startswith("Ben, ")
    assert (found.study, found.zero) == (workshop.study, "2026-11-07T08:00")
    log = batches.log(workshop.store, workshop.leader, batch)
    assert log is not None
    assert (log.lines, log.left_out, log.columns["speed_rpm"][0]) == (60, 0, 45.0)
    told = readings.read(workshop.store, workshop.leader, batch)
    assert [(one.value, one.unit, one.by) for one in told.values] == [(1.0, "%", "Ben")]
    assert told.curves[0].points == DOWN.points
    assert check(str(workshop.store.engine.url.database)).sound


def test_a_batch_travels_with_its_study(workshop: Any, hands: list[Any], batch: str, tmp_path: Path) -> None:
    """Taken out, checked by itself, brought in elsewhere and taken out again: the same bytes. There it goes on."""
    for hand in hands:
        hand.taste_all(lambda place, line: (len(line) + 3 * place.number) % 10)
    watching.close_sitting(workshop.store, workshop.leader, workshop.sitting.id)
    closing.open_key(workshop.store, workshop.leader, workshop.study, "Nobody else leads here.")
    packages.take_out(workshop.store, workshop.study, tmp_path / "first")
    file = tmp_path / "other.sqlite"
    with shut(open_store(str(file))) as there:
        packages.bring_in(there, tmp_path / "first")
        packages.take_out(there, workshop.study, tmp_path / "second")
        written = [{one.name: one.read_bytes() for one in (tmp_path / name).iterdir()} for name in ("first", "second")]
        assert written[0] == written[1]
        assert check(str(file)).sound
        readings.keep(there, workshop.preparer, batch, [replace(DOWN, portion=2)])
        assert len(readings.read(there, workshop.preparer, batch).curves) == 2
        batches.keep(there, workshop.preparer, batch, replace(DRAFT, lot="15"))
        assert check(str(file)).sound


@pytest.mark.parametrize(
    "edit",
    [
        "UPDATE batch SET lot = '15'",
        "UPDATE batch SET made = replace(made, 'soya', 'none')",
        "UPDATE phase SET real_temperature_c = 65 WHERE position = 1",
        "UPDATE reading SET value = 0.9 WHERE number = 2",
        "DELETE FROM reading WHERE number = 2",
        "UPDATE flow_point SET stress_pa = 90 WHERE position = 0",
        "UPDATE machine_log SET points = replace(points, '60', '65')",
        'INSERT INTO machine_log SELECT batch_id, 9, points, "by", at FROM machine_log',
    ],
)
def test_whoever_edits_a_record_by_hand_is_found(workshop: Any, batch: str, edit: str) -> None:
    """Each cell that a verdict or an allergen line may rest on."""
    file = str(workshop.store.engine.url.database)
    with shut(sqlite_module().connect(file)) as connection:
        connection.execute(edit)
        connection.commit()
    assert batch
    assert not check(file).sound


def test_what_a_batch_contains_is_what_people_read(workshop: Any) -> None:
    """A draft without the line gets it; another spelling is no difference, another bag is; the preparer confirms."""
    store, leader = workshop.store, workshop.leader
    study = planning.start(store, leader, planning.study(store, leader, workshop.study).kind, workshop.plan)
    planning.keep_plan(store, leader, study, replace(workshop.plan, contains="", traces=""))
    id_ = batches.add(store, leader, DRAFT, study)
    draft, found = planning.study(store, leader, study), batches.batch(store, leader, id_)
    assert (draft.plan.contains, draft.plan.traces) == (MADE.contains, MADE.traces)
    assert not batches.contents_differ(draft, found)
    batches.keep(store, leader, id_, replace(DRAFT, made=replace(MADE, contains=f"{MADE.contains}, milk")))
    assert batches.contents_differ(draft, batches.batch(store, leader, id_))
    with pytest.raises(NotAllowed):
        batches.confirm_contents(store, leader, id_)


def test_a_confirmation_ends_when_the_list_changes(workshop: Any, batch: str) -> None:
    """Nobody has compared the new list with the bags."""
    batches.keep(workshop.store, workshop.preparer, batch, replace(DRAFT, made=replace(MADE, traces="")))
    assert batches.batch(workshop.store, workshop.preparer, batch).draft.made.confirmed == ""


def test_nothing_of_a_batch_reaches_who_tastes(workshop: Any, hands: list[Any], batch: str) -> None:
    """Their page holds the texts of the sealed plan alone."""
    page = repr(tasting.place(workshop.store, hands[0].token))
    told = ("Batch 33", "small conche", "118", "lid open", "soya", "rotating cup")
    assert batch
    assert [word for word in told if word in page] == []


@pytest.mark.parametrize(
    ("change", "said"),
    [
        (lambda d: replace(d, label=" "), "name of the batch"),
        (lambda d: replace(d, made=replace(d.made, parts=(Part("cocoa", 90.0), Part("sugar", 12.0)))), "more than 100"),
        (lambda d: replace(d, phases=(Phase("Dry", 4.0, 2.0),)), "Fix Dry: it ends before it begins"),
        (lambda d: replace(d, mass_g=float("nan")), "no number"),
        (lambda d: replace(d, started_at="yesterday"), "write it as"),
        (lambda d: replace(d, made=replace(d.made, tolerance_c="2")), "no number"),
    ],
)
def test_a_record_that_cannot_be_is_refused(workshop: Any, change: Callable[[Draft], Draft], said: str) -> None:
    """With the one thing to mend; nothing is kept."""
    with pytest.raises(BadInput, match=said):
        batches.add(workshop.store, workshop.leader, change(DRAFT))
    assert batches.everywhere(workshop.store, workshop.leader) == ()


# ---- readings --------------------------------------------------------------------------------------------------------
def test_an_odd_value_is_asked_about_and_never_filled_in(workshop: Any, batch: str) -> None:
    """16.9 Pa after 43.8 at half the rate: refused until somebody says that the instrument showed it."""
    store, by = workshop.store, workshop.preparer
    odd = replace(DOWN, portion=2, points=((50.0, 96.0), (20.0, 16.9), (10.0, 43.8)))
    with pytest.raises(BadInput, match=r"16\.9 Pa at 20 1/s is less than 43\.8 at 10 1/s.*Portion 1 had 43\.8 here"):
        readings.keep(store, by, batch, [odd])
    readings.keep(store, by, batch, [replace(odd, asked=True), Reading(8.0, "ph", 5.4, "probe", asked=True)])
    told = readings.read(store, by, batch)
    assert [(one.portion, one.asked) for one in told.curves] == [(1, False), (2, True)]
    assert [one.asked for one in told.values if one.quantity == "ph"] == [False]  # a usual value was never asked about
    readings.undo(store, by, batch, told.curves[1])
    assert len(readings.read(store, by, batch).curves) == 1


def test_a_table_of_readings_is_read_line_by_line(workshop: Any, batch: str) -> None:
    """Commas for points, tabs between cells; a cell that is no number is named by its line; all or nothing is kept."""
    head = "hours\tquantity\tvalue\tportion\tinstrument\tmethod\tshear_rate\tstress\tbranch\n"
    lines = "24\tmoisture\t0,7\t1\toven\t103 °C\t\t\t\n24\t\t\t1\tcup\t40 °C\t5\t32.1\tdown\n"
    lines += "24\t\t\t1\tcup\t40 °C\t10\t43.8\tdown\n"
    found = readings.from_file("bench.csv", (head + lines).encode())
    assert found[0] == Reading(24.0, "moisture", 0.7, "oven", "103 °C", 1)
    assert found[1] == Curve(24.0, 1, "down", ((5.0, 32.1), (10.0, 43.8)), "cup", "40 °C")
    readings.keep(workshop.store, workshop.leader, batch, found)
    with pytest.raises(BadInput, match=r"bench\.csv, row 3, column value: .*7o\.1"):
        readings.from_file("bench.csv", (head + lines.splitlines()[0] + "\n24\tph\t7o.1\t1\tx\t\t\t\t\n").encode())
    repeats = readings.from_file("b.csv", b"hours,quantity,value,instrument\n24,pH,5.4,probe\n24,pH,5.5,probe\n")
    assert [(one.quantity, one.portion) for one in repeats if isinstance(one, Reading)] == [("ph", 1), ("ph", 2)]


# ---- machine logs ----------------------------------------------------------------------------------------------------
def test_a_log_is_read_in_hours_after_hour_zero() -> None:
    """By hand: 10:00 is 2 h after 08:00; the bad line is named, an hour without lines is a gap, means are kept."""
    rows = ["time;Temp mass;rpm", "2026-11-07 10:00;60,0;45", "2026-11-07 10:00:30;62,0;45", "2026-11-07 10:01;7o.1;45"]
    rows += [f"2026-11-07 {11 + m // 60}:{m % 60:02d};61;45" for m in range(30)]
    found = machine_logs.read("\n".join(rows).encode(), "2026-11-07T08:00")
    assert found.taken == {"temperature_c": "Temp mass", "speed_rpm": "rpm"}
    assert found.bad == ((4, "7o.1"),)
    assert found.log.hours[0] == pytest.approx(2.0 + 15 / 3600, abs=1e-4)
    assert found.log.columns["temperature_c"][0] == 61.0
    assert (found.log.lines, found.log.left_out) == (33, 1)
    ((start, end),) = machine_logs.gaps(found.log)
    assert (start, end) == pytest.approx((2.0042, 3.0), abs=1e-3)
    assert machine_logs.settled(found.log, "temperature_c", 0.0, 1.0) is None
    assert machine_logs.settled(found.log, "temperature_c", 0.0, 3.2) == 61.0


@pytest.mark.parametrize(("first", "asked"), [("07:02", -58.0), ("08:00", None), ("09:00", 60.0), ("10:30", None)])
def test_a_clock_off_by_summer_time_is_asked_about(first: str, asked: float | None) -> None:
    """An hour, more or less; shifting it ends the question."""
    content = f"time,temperature\n2026-11-07 {first},60\n".encode()
    found = machine_logs.read(content, "2026-11-07T08:00")
    assert found.odd_start_min == (None if asked is None else pytest.approx(asked))
    if asked is not None:
        shifted = machine_logs.read(content, "2026-11-07T08:00", shift_h=-round(asked / 60))
        assert shifted.odd_start_min is None
        assert shifted.log.shift_h == -round(asked / 60)


def test_a_log_of_days_becomes_a_page() -> None:
    """24 h at ten seconds are 8,640 lines; means over whole minutes are 1,440, and no value is made up."""
    content = "hours,temp\n" + "\n".join(f"{second / 3600},{second % 7}" for second in range(0, 86400, 10))
    log = machine_logs.read(content.encode(), None).log
    assert (log.lines, len(log.hours), log.step_h) == (8640, 1440, 1 / 60)
    told = log.columns["temperature_c"]
    assert told[0] == pytest.approx((0 + 3 + 6 + 2 + 5 + 1) / 6, abs=1e-3)  # seconds 0 to 50, modulo seven, by hand
