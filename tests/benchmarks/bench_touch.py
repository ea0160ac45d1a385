"""From touch to saved when a hundred assessors touch in one moment, through the real server and its store on disk.

Run `python tests/benchmarks/bench_touch.py`. Each round opens a hundred connections at once and sends one mark on each;
rounds alternate with as many requests for /health, which do nothing, in the same run. Client and server share the
machine's cores. The store is counted afterwards: an acknowledged mark that is missing, or there twice, ends in exit 1.
"""

from __future__ import annotations

import asyncio
import json
import os
import secrets
import socket
import subprocess
import sys
import tempfile
import time
from dataclasses import dataclass
from pathlib import Path
from statistics import quantiles

from studyapp.kinds.hours.plan import HoursPlan, Pull
from studyapp.records import Attribute, Staff
from studyapp.services import accounts, joining, panel, planning, preparing, tasting, watching
from studyapp.store import Store, open_store

ASSESSORS, ROUNDS = 100, 8
CHECKS = frozenset({"safe_food", "allergens_shown", "sound_pieces", "labels_read"})
LINES = ("Acidity", "Bitterness", "Astringency", "Off-notes")


@dataclass(frozen=True, slots=True)
class Phone:
    """A seated assessor: the cookie, the serving in front of them and the lines on it."""

    cookie: str
    serving: str
    lines: tuple[str, ...]


def furnish(store: Store) -> tuple[Phone, ...]:
    """Sealed studies with open sittings, two of them because one takes at most sixty; everybody at a serving."""
    leader = accounts.first_leader(store, "Ada", "a bench by the window")
    preparer = accounts.add_staff(store, leader, "Ben", "preparer", "a bench by the window")
    return tuple(phone for room in ("East", "West") for phone in room_of(store, leader, preparer, room))


def room_of(store: Store, leader: Staff, preparer: Staff, room: str) -> tuple[Phone, ...]:
    """One study with half of the assessors."""
    seated = tuple(panel.add_assessor(store, leader, f"{room} {number}").id for number in range(ASSESSORS // 2))
    plan = HoursPlan(
        title=room,
        question="When does it stop improving?",
        pulls=(Pull(8.0), Pull(16.0), Pull(24.0)),
        attributes=tuple(Attribute(name) for name in LINES),
        looks=1,
        sittings=1,
        rest_seconds=0,
        warm_up=False,
        contains="cocoa",
        assessors=seated,
    )
    study = planning.new_study(store, leader, "hours", plan.title)
    planning.keep_plan(store, leader, study, plan)
    planning.seal(store, leader, study, plan.title)
    sitting = preparing.sittings(store, leader, study)[0]
    for tray in preparing.trays(store, preparer, sitting.id):
        preparing.release_tray(store, preparer, sitting.id, tray.position, CHECKS, "Cleo")
    watching.open_sitting(store, leader, sitting.id)
    return tuple(seat(store, link.code) for link in joining.issue_links(store, leader, sitting.id))


def seat(store: Store, code: str) -> Phone:
    """Join, agree, look at the first serving."""
    token = joining.join(store, code, "bench", None)
    tasting.agree(store, token)
    place = tasting.place(store, token)
    return Phone(token, str(place.serving), tuple(line.id for line in place.lines))


def mark(phone: Phone, port: int, turn: int) -> bytes:
    """The request of one touch, as a phone sends it."""
    values = {"serving": phone.serving, "line": phone.lines[turn % len(phone.lines)], "value": 1.0 + turn}
    body = json.dumps({**values, "nonce": secrets.token_hex(16)}).encode()
    head = [
        "POST /mark HTTP/1.1",
        f"Host: 127.0.0.1:{port}",
        f"Origin: http://127.0.0.1:{port}",
        f"Cookie: seat={phone.cookie}",
        "Content-Type: application/json",
        f"Content-Length: {len(body)}",
        "Connection: close",
    ]
    return "\r\n".join(head).encode() + b"\r\n\r\n" + body


async def ask(port: int, request: bytes, start: asyncio.Event) -> tuple[float, bool]:
    """Milliseconds from touch to answer, connecting included, and whether it was 200."""
    await start.wait()
    begun = time.perf_counter()
    reader, writer = await asyncio.open_connection("127.0.0.1", port)
    writer.write(request)
    answer = await reader.read()
    took = (time.perf_counter() - begun) * 1000
    writer.close()
    return took, answer.startswith(b"HTTP/1.1 200")


async def burst(port: int, requests: list[bytes]) -> list[tuple[float, bool]]:
    """All requests in one moment."""
    start = asyncio.Event()
    waiting = [asyncio.create_task(ask(port, request, start)) for request in requests]
    await asyncio.sleep(0.2)
    start.set()
    return list(await asyncio.gather(*waiting))


def measure(port: int, phones: tuple[Phone, ...]) -> tuple[list[float], list[float], int]:
    """Times of marks, times of /health, acknowledged marks."""
    idle = f"GET /health HTTP/1.1\r\nHost: 127.0.0.1:{port}\r\nConnection: close\r\n\r\n".encode()
    asyncio.run(burst(port, [idle] * ASSESSORS))
    marks: list[float] = []
    health: list[float] = []
    acknowledged = 0
    for turn in range(ROUNDS):
        answers = asyncio.run(burst(port, [mark(phone, port, turn) for phone in phones]))
        marks += [took for took, _kept in answers]
        acknowledged += sum(kept for _took, kept in answers)
        health += [took for took, _kept in asyncio.run(burst(port, [idle] * ASSESSORS))]
    return marks, health, acknowledged


def tell(name: str, times: list[float]) -> tuple[float, float, float]:
    """One row of the table: p50, p95, p99 in ms."""
    cuts = quantiles(times, n=100)
    p50, p95, p99 = cuts[49], cuts[94], cuts[98]
    print(f"{name:<28}{p50:9.0f}{p95:9.0f}{p99:9.0f}{max(times):9.0f}")
    return p50, p95, p99


def started(folder: Path) -> tuple[subprocess.Popen[bytes], int]:
    """The server on a free port."""
    with socket.socket() as trial:
        trial.bind(("127.0.0.1", 0))
        port = int(trial.getsockname()[1])
    command = [str(Path(sys.executable).with_name("studyapp")), "run", "--host", "127.0.0.1", "--port", str(port)]
    environment = {**os.environ, "STUDYAPP_LOG_FILE": str(folder / "log.jsonl"), "HOME": str(folder)}
    quiet = subprocess.DEVNULL
    process = subprocess.Popen(
        [*command, "--store", str(folder / "s.sqlite")], cwd=folder, env=environment, stdout=quiet, stderr=quiet
    )
    until = time.monotonic() + 30
    while time.monotonic() < until and process.poll() is None:
        with socket.socket() as trial:
            if trial.connect_ex(("127.0.0.1", port)) == 0:
                return process, port
        time.sleep(0.05)
    process.kill()
    raise SystemExit("the server did not start")


def main() -> int:
    """Print the table; 1 when anything acknowledged is missing or doubled."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        store = open_store(str(folder / "s.sqlite"))
        phones = furnish(store)
        process, port = started(folder)
        try:
            marks, health, acknowledged = measure(port, phones)
        finally:
            process.terminate()
            process.wait(20)
        with store.read() as tx:
            kept = tx.exec_driver_sql("SELECT count(*) FROM score").scalar_one()
        store.close()
    print(f"{ASSESSORS} at once, {ROUNDS} rounds, ms{'':<5}{'p50':>9}{'p95':>9}{'p99':>9}{'worst':>9}")
    saved = tell("touch to saved", marks)
    idle = tell("GET /health", health)
    print(f"ratio{'':<23}" + "".join(f"{mine / other:9.1f}" for mine, other in zip(saved, idle, strict=True)))
    print(f"sent {len(marks)}, acknowledged {acknowledged}, in the store {kept}")
    return 0 if kept == acknowledged == len(marks) else 1


if __name__ == "__main__":
    sys.exit(main())
