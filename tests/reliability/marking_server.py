"""Run as a process of its own: hold a store open as the server does and keep marks, one for each line on stdin.

Usage: marking_server.py STORE SEAT_TOKEN SERVING LINE

Answers each line with the nonce of the mark once it is kept. Any open() of the store's own file by Python code in this
process ends it with exit code 3: closing such a handle would drop the locks that SQLite holds here.
"""

from __future__ import annotations

import os
import secrets
import sys

from studyapp.records import Mark
from studyapp.services import tasting
from studyapp.services.checking import check
from studyapp.store import open_store


def main() -> None:
    """Keep marks until stdin ends."""
    url, token, serving, line = sys.argv[1:5]
    store = open_store(url)
    file = os.path.realpath(store.engine.url.database or "")

    def watch(what: str, arguments: tuple[object, ...]) -> None:
        if what == "open" and os.path.realpath(str(arguments[0])) in (file, f"{file}-wal", f"{file}-shm"):
            os._exit(3)

    sys.addaudithook(watch)
    for number, order in enumerate(sys.stdin):
        if order.strip() == "check":
            print(check(url).sound, flush=True)
            continue
        nonce = secrets.token_hex(12)
        tasting.keep_mark(store, token, Mark(serving, line, (number % 101) / 10, nonce))
        print(nonce, flush=True)


if __name__ == "__main__":
    main()
