"""Somebody sets the clock of the machine: the record says so, and nobody's rest changes.

What is replaced here is the clock of the operating system, nothing of the app.
"""

from __future__ import annotations

import json
import os
import subprocess
import sys
import time
from dataclasses import replace
from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest

from studyapp.errors import NotAllowed, TooManyTries
from studyapp.kinds.hours.plan import HoursPlan
from studyapp.services import accounts, tasting, watching
from studyapp.services.checking import check
from studyapp.services.standing import moment
from studyapp.store import clock, events
from tests.conftest import PLAN

HOUR, DAY, REST = 3600, 86400, 240
# Back two hours, forward a day, both changes of daylight saving where the machine keeps local time, and small ones.
JUMPS = (-2 * HOUR, DAY, -HOUR, HOUR, -30 * DAY, 5)


@pytest.fixture
def plan() -> HoursPlan:
    """Rests of four minutes."""
    return replace(PLAN, rest_seconds=REST)


class Machine:
    """The clocks of the operating system, as somebody sets them and as time passes."""

    def __init__(self) -> None:
        """As they are."""
        self.set, self.passed = 0.0, 0.0

    def wall(self) -> float:
        """What the wall clock shows."""
        return time.time() + self.set + self.passed

    def ticks(self) -> float:
        """Seconds since the machine was started."""
        return time.clock_gettime(time.CLOCK_BOOTTIME) + self.passed


@pytest.fixture
def machine(monkeypatch: pytest.MonkeyPatch) -> Machine:
    """A machine whose clock a test may set; afterwards it is the real one again."""
    made = Machine()
    monkeypatch.setattr(clock, "wall", made.wall)
    monkeypatch.setattr(clock, "ticks", made.ticks)
    monkeypatch.setattr(clock._Anchor, "at", made.wall() - made.ticks())
    return made


def jumps(store: Any) -> list[dict[str, Any]]:
    """What the record tells of the clock."""
    with store.read() as tx:
        return [event.body for event in events.all_events(tx) if event.kind == "clock jumped"]


@pytest.mark.parametrize("jump", JUMPS)
def test_a_jump_moves_nobody_and_is_an_event(workshop: Any, hand: Any, machine: Machine, jump: int) -> None:
    """In the rest: the same end, the same time left, for the phone and for the leader; said once."""
    before = hand.serving()
    assert before.kind == "rest"
    machine.set = jump
    after = hand.place()
    assert (after.kind, after.ready_at) == ("rest", before.ready_at)
    assert abs(moment(after.now) - moment(before.now)) < timedelta(minutes=1)
    seat = watching.progress(workshop.store, workshop.leader, workshop.sitting.id).seats[0]
    assert (seat.kind, seat.ready_at, seat.look) == ("rest", before.ready_at, False)
    tasting.send_note(workshop.store, hand.token, "the clock on the wall has moved")
    tasting.send_note(workshop.store, hand.token, "still")
    (told,) = jumps(workshop.store)
    assert abs(told["seconds"] - jump) <= 1
    assert told["followed"] is False
    machine.passed = REST + 1
    assert hand.place().kind == "serving"
    assert check(workshop.store.url).sound


@pytest.mark.parametrize("jump", [-2 * HOUR, DAY])
def test_the_app_follows_once_no_sitting_is_open(workshop: Any, hand: Any, machine: Machine, jump: int) -> None:
    """Until the sitting closes times go on; after it they are those of the wall clock, in the order of the record."""
    hand.serving()
    machine.set = jump
    tasting.send_note(workshop.store, hand.token, "one")
    watching.close_sitting(workshop.store, workshop.leader, workshop.sitting.id, "enough")
    accounts.sign_in(workshop.store, "Ben", workshop.passphrase, "10.0.0.9")
    assert [told["followed"] for told in jumps(workshop.store)] == [False, True]
    assert abs(clock.now().timestamp() - machine.wall()) < 1
    accounts.sign_in(workshop.store, "Ben", workshop.passphrase, "10.0.0.9")
    assert len(jumps(workshop.store)) == 2
    assert check(workshop.store.url).sound


def test_a_system_that_does_not_number_its_starts_tells_a_jump_once(
    workshop: Any, hand: Any, machine: Machine, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    """Then a process knows only itself."""
    monkeypatch.setattr(clock, "BOOT_ID", tmp_path / "none")
    clock.boot.cache_clear()
    try:
        machine.set = DAY
        for text in ("one", "two", "three"):
            tasting.send_note(workshop.store, hand.token, text)
        assert len(jumps(workshop.store)) == 1
    finally:
        clock.boot.cache_clear()


def test_small_corrections_are_no_jump(workshop: Any, hand: Any, machine: Machine) -> None:
    """What a time service smooths away every day, and a leap second, fill no record."""
    machine.set = 1.0
    tasting.send_note(workshop.store, hand.token, "one")
    assert jumps(workshop.store) == []


def test_a_clock_set_back_locks_nobody_out(workshop: Any, machine: Machine) -> None:
    """Five wrong passphrases hold for a minute, not for the two hours that the clock went back."""
    watching.close_sitting(workshop.store, workshop.leader, workshop.sitting.id, "enough")
    for _ in range(5):
        with pytest.raises(NotAllowed):
            accounts.sign_in(workshop.store, "Ben", "a wrong passphrase", "10.0.0.9")
    with pytest.raises(TooManyTries):
        accounts.sign_in(workshop.store, "Ben", workshop.passphrase, "10.0.0.9")
    machine.set, machine.passed = -2 * HOUR, 61.0
    assert accounts.sign_in(workshop.store, "Ben", workshop.passphrase, "10.0.0.9")


# ---- a server that starts anew ---------------------------------------------------------------------------------------
AGAIN = """
import json, sys, time
real, set_ = time.time, float(sys.argv[3])
time.time = lambda: real() + set_
from studyapp.services import tasting
from studyapp.store import clock, open_store
if sys.argv[4] == "machine":
    clock.boot = lambda: "another start"
store = open_store(sys.argv[1])
here = tasting.place(store, sys.argv[2])
tasting.send_note(store, sys.argv[2], "back again")
print(json.dumps({"kind": here.kind, "now": here.now, "ready_at": here.ready_at}))
store.close()
"""


def after_a_restart(workshop: Any, hand: Any, jump: int, of: str, zone: str = "UTC") -> dict[str, Any]:
    """What the phone sees of a server that was started after the clock was set."""
    workshop.store.close()
    command = [sys.executable, "-c", AGAIN, workshop.store.url, hand.token, str(jump), of]
    environment = {**os.environ, "TZ": zone}
    done = subprocess.run(command, capture_output=True, text=True, timeout=60, check=True, env=environment)
    return dict(json.loads(done.stdout))


@pytest.mark.parametrize("jump", JUMPS)
def test_a_server_that_starts_anew_goes_on_in_the_time_of_the_sitting(workshop: Any, hand: Any, jump: int) -> None:
    """The machine kept running, so nothing is lost: the same rest, the same end, and the jump in the record."""
    before = hand.serving()
    again = after_a_restart(workshop, hand, jump, "server")
    assert (again["kind"], again["ready_at"]) == ("rest", before.ready_at)
    assert timedelta(0) <= moment(again["now"]) - moment(before.now) < timedelta(seconds=REST)
    (told,) = jumps(workshop.store)
    assert abs(told["seconds"] - jump) <= 1
    assert check(workshop.store.url).sound


@pytest.mark.parametrize("jump", [-2 * HOUR, -HOUR, -30 * DAY])
def test_a_machine_that_starts_anew_with_its_clock_set_back_holds_nobody_longer_than_a_rest(
    workshop: Any, hand: Any, jump: int
) -> None:
    """The time of the app is at least that of the last event."""
    before = hand.serving()
    again = after_a_restart(workshop, hand, jump, "machine")
    assert (again["kind"], again["ready_at"]) == ("rest", before.ready_at)
    assert moment(again["ready_at"]) - moment(again["now"]) <= timedelta(seconds=REST)


def test_another_time_zone_is_no_jump(workshop: Any, hand: Any) -> None:
    """Times are kept in UTC."""
    before = hand.serving()
    again = after_a_restart(workshop, hand, 0, "server", "Pacific/Kiritimati")
    assert (again["kind"], again["ready_at"]) == ("rest", before.ready_at)
    assert jumps(workshop.store) == []
