"""Run as a process of its own: fork a writer of marks, pull its plug, look what is left; again and again.

Usage: killed_writer.py STORE SEAT_TOKEN SERVING LINE,LINE ROUNDS SEED

The writer tells every mark that was acknowledged to this process over a pipe, outside the store. After each kill the
store must hold every one of them, be sound, and have an unbroken chain. Prints one JSON object.
"""

from __future__ import annotations

import json
import os
import random
import secrets
import signal
import sys
import time
from typing import Any

from studyapp.records import Mark
from studyapp.services import tasting
from studyapp.services.checking import check
from studyapp.store import open_store, read_store, servings


def write(url: str, token: str, serving: str, lines: list[str], pipe: int) -> None:
    """Keep marks as fast as they go, and tell each one after the store said that it is kept."""
    store = open_store(url)
    tasting.MOST_MARKS_A_LINE = 1_000_000  # no hand marks this fast
    for number in range(1_000_000):
        value = (number % 101) / 10
        nonce = secrets.token_hex(12)
        tasting.keep_mark(store, token, Mark(serving, lines[number % len(lines)], value, nonce))
        os.write(pipe, f"{nonce} {value}\n".encode())


def one_round(arguments: list[str], rng: random.Random) -> list[tuple[str, float]]:
    """Start a writer, wait for its first mark, kill it a moment later; the marks it was told are kept."""
    url, token, serving, lines = arguments
    reading, writing = os.pipe()
    child = os.fork()
    if child == 0:
        os.close(reading)
        write(url, token, serving, lines.split(","), writing)
    os.close(writing)
    told = os.read(reading, 65536)
    time.sleep(rng.uniform(0.0, 0.025))
    os.kill(child, signal.SIGKILL)
    while chunk := os.read(reading, 65536):
        told += chunk
    os.close(reading)
    os.waitpid(child, 0)
    whole = told.decode().split("\n")[:-1]
    return [(line.split()[0], float(line.split()[1])) for line in whole]


def kept(url: str) -> dict[str, Any]:
    """What the store holds now, by nonce."""
    store = read_store(url)
    with store.read() as tx:
        found = {row.nonce: row.value for row in servings.all_scores(tx)}
    store.close()
    return found


def main() -> None:
    """All rounds; the answer goes to stdout."""
    arguments, rounds, rng = sys.argv[1:5], int(sys.argv[5]), random.Random(int(sys.argv[6]))
    told: dict[str, float] = {}
    lost: list[str] = []
    unsound: list[str] = []
    for _ in range(rounds):
        told.update(one_round(arguments, rng))
        there = kept(arguments[0])
        lost += [nonce for nonce, value in told.items() if there.get(nonce) != value]
        unsound += [finding.sentence for finding in check(arguments[0]).findings if finding.level == "error"]
    print(json.dumps({"rounds": rounds, "acknowledged": len(told), "lost": lost, "unsound": unsound}))


if __name__ == "__main__":
    main()
