"""Scripts that are sent compressed: whole, whoever left half way before."""

from __future__ import annotations

import asyncio
import zlib
from typing import Any

from studyapp.smaller import Smaller
from tests.conftest import apart

SCRIPT = b"const pull = 12;" * 1_000
HALF = len(SCRIPT) // 2


async def files(scope: Any, receive: Any, send: Any) -> None:
    """As servers of files do it: in parts, and no further once the reader has left."""
    length = str(len(SCRIPT)).encode()
    await send({"type": "http.response.start", "status": 200, "headers": [(b"content-length", length)]})
    await send({"type": "http.response.body", "body": SCRIPT[:HALF], "more_body": True})
    if (await receive())["type"] != "http.disconnect":
        await send({"type": "http.response.body", "body": SCRIPT[HALF:]})


async def asked(app: Smaller, leaves: bool) -> bytes:
    """What somebody hears who stays, or leaves while the file is sent."""
    heard: list[Any] = []

    async def receive() -> Any:
        return {"type": "http.disconnect" if leaves else "http.request"}

    async def send(message: Any) -> None:
        heard.append(message)

    headers = [(b"accept-encoding", b"gzip")]
    await app({"type": "http", "method": "GET", "path": "/static/js/chart.js", "headers": headers}, receive, send)
    await asyncio.sleep(0)
    return b"".join(message.get("body", b"") for message in heard)


def test_half_a_script_is_never_kept_for_the_others() -> None:
    app = Smaller(files)
    assert apart(asked(app, leaves=True)) == SCRIPT[:HALF]
    assert app.kept == {}
    assert zlib.decompress(apart(asked(app, leaves=False)), 31) == SCRIPT
    assert zlib.decompress(apart(asked(app, leaves=True)), 31) == SCRIPT
