"""The time of the app: it runs on by itself and does not jump when somebody sets the clock of the machine.

Rests and time-outs compare times of this clock with each other. It is the machine's count of seconds since its start
(which goes on while the machine sleeps) plus an anchor, once taken from the wall clock. When the wall clock is set, the
record says so; as long as a sitting is open the app stays on its own time, and takes over the new one afterwards.

A server that starts anew while a sitting is open finds the anchor in the record and goes on in the same time, if the
machine was not restarted as well. Else the wall clock is all there is; then the app's time is at least that of the last
event, so that a clock set back holds nobody longer than one whole rest. A clock set forward between cannot be told from
a long pause.
"""

from __future__ import annotations

import json
import secrets
import sys
import time
from collections.abc import Mapping
from datetime import UTC, datetime
from functools import cache
from pathlib import Path
from typing import Any

from sqlalchemy import Connection, func, select

from studyapp.store import schema

TOLERATED_SECONDS = 2.0  # a leap second is no jump, nor is what a time service smooths away
FORMAT = "%Y-%m-%dT%H:%M:%SZ"
BOOT_ID = Path("/proc/sys/kernel/random/boot_id")  # on Linux
JUMPED, OPENED = "clock jumped", "sitting open"
wall = time.time  # the clock of the machine, which somebody may set


def ticks() -> float:
    """Seconds since a moment that stays the same until the machine is started anew; sleep counts.

    https://man7.org/linux/man-pages/man2/clock_gettime.2.html, CLOCK_BOOTTIME.
    """
    if sys.platform == "linux":
        return time.clock_gettime(time.CLOCK_BOOTTIME)
    return time.monotonic()


@cache
def boot() -> str:
    """Which start of the machine the ticks count from; where the system does not tell, this process alone."""
    try:
        return BOOT_ID.read_text(encoding="ascii").strip()[:13]
    except OSError:
        return secrets.token_hex(6)


class _Anchor:
    """What the wall clock showed at tick 0, as far as this process believes it."""

    at = wall() - ticks()


def seconds() -> float:
    """The present moment in seconds since 1970."""
    return _Anchor.at + ticks()


def now() -> datetime:
    """The present moment in UTC."""
    return datetime.fromtimestamp(seconds(), UTC)


def ahead() -> float:
    """Seconds by which the wall clock is ahead of the app's time."""
    return wall() - seconds()


def has_jumped() -> bool:
    """Whether the wall clock was set while this process ran."""
    return abs(ahead()) >= TOLERATED_SECONDS


def anchor(of_wall: bool = False) -> dict[str, Any]:
    """The anchor as the record keeps it, of the app's time or of what the wall clock shows now, and how many seconds
    the wall clock is ahead of it."""
    ahead_of_it, at = (0.0, wall() - ticks()) if of_wall else (ahead(), _Anchor.at)
    return {"boot": boot(), "ms": round(1000 * at), "ahead": round(ahead_of_it)}


def take_over(kept: Mapping[str, Any]) -> None:
    """Go on in the time of a kept anchor."""
    _Anchor.at = kept["ms"] / 1000


# ---- what the record knows -------------------------------------------------------------------------------------------
def told(tx: Connection) -> dict[str, Any]:
    """The last event that names an anchor of this start of the machine; empty when there is none."""
    seqs = [
        tx.execute(select(func.max(schema.event.c.seq)).where(schema.event.c.kind == kind)).scalar() or 0
        for kind in (JUMPED, OPENED)
    ]
    found = tx.execute(select(schema.event.c.body).where(schema.event.c.seq == max(seqs))).scalar()
    body: dict[str, Any] = json.loads(found) if found else {}
    return body if body.get("clock", {}).get("boot") == boot() else {}


def is_needed(tx: Connection) -> bool:
    """Whether a rest may be running: a sitting is open or paused."""
    c = schema.sitting.c
    return tx.execute(select(c.id).where(c.state.in_(("open", "paused"))).limit(1)).first() is not None


def resume(tx: Connection) -> None:
    """Go on in the time of a sitting that was open when the last server ended."""
    if not is_needed(tx):
        return
    if known := told(tx):
        take_over(known["clock"])
        return
    last = tx.execute(select(schema.event.c.at).order_by(schema.event.c.seq.desc()).limit(1)).scalar()
    try:
        behind = datetime.strptime(str(last), FORMAT).replace(tzinfo=UTC).timestamp() - seconds()
    except ValueError:  # the check names such an event; the app starts all the same
        return
    _Anchor.at += max(0.0, behind)
