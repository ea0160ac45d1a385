"""From touch to saved when everybody touches in one moment, through the real server and its store on disk.

Run `python tests/benchmarks/bench_touch.py [PHONES]`, 100 where nothing is said. Each round opens a connection for each
phone at once and sends one mark on each; rounds alternate with as many requests for /health, which do nothing, in the
same run. Then all follow their links in one moment, and come again when they are told to. The server has one core and
the client another, where the system lets a process choose. The store is counted afterwards: an acknowledged mark that
is missing, or there twice, ends in exit 1.
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

PHONES, ROUNDS, ROOM = 100, 8, 50
LINGERS = 2.0  # seconds until a client closes what it has opened
CHECKS = frozenset({"safe_food", "allergens_shown", "sound_pieces", "labels_read"})
LINES = ("Acidity", "Bitterness", "Astringency", "Off-notes")


@dataclass(frozen=True, slots=True)
class Phone:
    """A seated assessor: the code of their link, the cookie, the serving in front of them and the lines on it."""

    code: str
    cookie: str
    serving: str
    lines: tuple[str, ...]


def furnish(store: Store, phones: int) -> tuple[Phone, ...]:
    """Sealed studies with open sittings, several of them because one takes at most sixty; everybody at a serving."""
    leader = accounts.first_leader(store, "Ada", "a bench by the window")
    preparer = accounts.add_staff(store, leader, "Ben", "preparer", "a bench by the window")
    rooms = [(f"Room {first // ROOM}", min(ROOM, phones - first)) for first in range(0, phones, ROOM)]
    return tuple(phone for room, seats in rooms for phone in room_of(store, leader, preparer, room, seats))


def room_of(store: Store, leader: Staff, preparer: Staff, room: str, seats: int) -> tuple[Phone, ...]:
    """One study with some of the assessors."""
    seated = tuple(panel.add_assessor(store, leader, f"{room} {number}").id for number in range(seats))
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
    return Phone(code, token, str(place.serving), tuple(line.id for line in place.lines))


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
    ]
    return "\r\n".join(head).encode() + b"\r\n\r\n" + body


async def ask(port: int, request: bytes, start: asyncio.Event) -> tuple[float, bool]:
    """Milliseconds from touch to answer, connecting included, and whether it was 200."""
    await start.wait()
    begun = time.perf_counter()
    reader, writer = await asyncio.open_connection("127.0.0.1", port)
    writer.write(request)
    head = await reader.readuntil(b"\r\n\r\n")
    await reader.readexactly(int(head.lower().split(b"content-length: ")[1].split(b"\r\n")[0]))
    took = (time.perf_counter() - begun) * 1000
    asyncio.get_running_loop().call_later(LINGERS, writer.close)  # a browser keeps its connection for a while
    return took, head.startswith(b"HTTP/1.1 200")


async def burst(port: int, requests: list[bytes]) -> list[tuple[float, bool]]:
    """All requests in one moment."""
    start = asyncio.Event()
    waiting = [asyncio.create_task(ask(port, request, start)) for request in requests]
    await asyncio.sleep(0.2)
    start.set()
    found = list(await asyncio.gather(*waiting))
    await asyncio.sleep(1.5 * LINGERS)
    return found


async def follow(port: int, code: str, start: asyncio.Event) -> tuple[float, float, int]:
    """Follow a link until it gives a seat: seconds until then, the longest answer, how often told to wait."""
    await start.wait()
    begun, longest, told = time.perf_counter(), 0.0, 0
    request = f"GET /join/{code} HTTP/1.1\r\nHost: 127.0.0.1:{port}\r\nConnection: close\r\n\r\n".encode()
    while True:
        asked = time.perf_counter()
        reader, writer = await asyncio.open_connection("127.0.0.1", port)
        writer.write(request)
        answer = (await reader.read()).decode()
        writer.close()
        longest = max(longest, time.perf_counter() - asked)
        if answer.startswith("HTTP/1.1 303"):
            return time.perf_counter() - begun, longest, told
        if not answer.startswith("HTTP/1.1 503"):
            raise SystemExit(f"a join was answered {answer[:40]!r}")
        told += 1
        await asyncio.sleep(int(answer.lower().split("retry-after: ")[1].split("\r\n")[0]))


async def joins(port: int, phones: tuple[Phone, ...]) -> list[tuple[float, float, int]]:
    """All links in one moment."""
    start = asyncio.Event()
    waiting = [asyncio.create_task(follow(port, phone.code, start)) for phone in phones]
    await asyncio.sleep(0.2)
    start.set()
    return list(await asyncio.gather(*waiting))


def spent(process: int) -> float:
    """Milliseconds of processor time of a process so far, which a busy machine does not lengthen; 0 where unknown."""
    try:
        fields = Path(f"/proc/{process}/stat").read_text().rsplit(")", 1)[1].split()
    except OSError:
        return 0.0
    return 1000 * (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")


def measure(process: int, port: int, phones: tuple[Phone, ...]) -> tuple[list[float], list[float], int, float]:
    """Times of marks, times of /health, acknowledged marks, the server's processor time for one of them."""
    idle = f"GET /health HTTP/1.1\r\nHost: 127.0.0.1:{port}\r\n\r\n".encode()
    asyncio.run(burst(port, [idle] * len(phones)))
    marks: list[float] = []
    health: list[float] = []
    acknowledged, work = 0, 0.0
    for turn in range(ROUNDS):
        before = spent(process)
        answers = asyncio.run(burst(port, [mark(phone, port, turn) for phone in phones]))
        work += spent(process) - before
        marks += [took for took, _kept in answers]
        acknowledged += sum(kept for _took, kept in answers)
        health += [took for took, _kept in asyncio.run(burst(port, [idle] * len(phones)))]
    return marks, health, acknowledged, work / len(marks)


def apart(server: int) -> bool:
    """One core for the server, another for us; whether the machine has two to give."""
    cores = sorted(os.sched_getaffinity(0)) if hasattr(os, "sched_setaffinity") else []
    if len(cores) > 1:
        for number in map(int, os.listdir(f"/proc/{server}/task")):
            os.sched_setaffinity(number, {cores[0]})
        os.sched_setaffinity(0, {cores[1]})
    return len(cores) > 1


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


def main(phones: int = PHONES) -> int:
    """Print the table; 1 when anything acknowledged is missing or doubled."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        store = open_store(str(folder / "s.sqlite"))
        seated = furnish(store, phones)
        process, port = started(folder)
        cores = "a core each" if apart(process.pid) else "one core for both"
        try:
            marks, health, acknowledged, work = measure(process.pid, port, seated)
            joined = asyncio.run(joins(port, seated))
        finally:
            process.terminate()
            process.wait(20)
        with store.read() as tx:
            kept = tx.exec_driver_sql("SELECT count(*) FROM score").scalar_one()
        store.close()
    print(f"{phones} at once, {ROUNDS} rounds, {cores}, load {os.getloadavg()[0]:.0f}")
    print(f"{'ms':<28}{'p50':>9}{'p95':>9}{'p99':>9}{'worst':>9}")
    saved = tell("touch to saved", marks)
    idle = tell("GET /health", health)
    print(f"ratio{'':<23}" + "".join(f"{mine / other:9.1f}" for mine, other in zip(saved, idle, strict=True)))
    tell("link to seat", [1000 * took for took, _longest, _told in joined])
    tell("one answer on the way there", [1000 * longest for _took, longest, _told in joined])
    print(f"processor time of the server for one mark {work:.1f} ms")
    print(f"told to wait {sum(told for _took, _longest, told in joined)} times")
    print(f"sent {len(marks)}, acknowledged {acknowledged}, in the store {kept}")
    return 0 if kept == acknowledged == len(marks) else 1


if __name__ == "__main__":
    sys.exit(main(*map(int, sys.argv[1:])))
