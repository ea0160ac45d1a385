"""Streamlit's own scripts and sheets, sent compressed: 2.8 MB of the first visit of every phone become 0.9.

They never change while a server runs, so each is compressed once and kept; Streamlit compresses the rest itself.
"""

from __future__ import annotations

import zlib
from typing import Any

from starlette.concurrency import run_in_threadpool
from starlette.datastructures import Headers, MutableHeaders
from starlette.types import ASGIApp, Message, Receive, Scope, Send

FOLDER, KINDS = "/static/", (".js", ".css", ".svg", ".json")
LEAST, KEPT = 1_024, 32_000_000  # bytes: of a file worth the work, and of all that is kept


class Smaller:
    """Answers for files under `FOLDER` with what was compressed before, where the browser takes it."""

    def __init__(self, app: ASGIApp) -> None:
        self.app = app
        self.kept: dict[str, tuple[list[tuple[bytes, bytes]], bytes]] = {}

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if not self._is_wanted(scope):
            await self.app(scope, receive, send)
            return
        path = scope["path"]
        if path not in self.kept:
            heard: list[Message] = []

            async def hear(message: Message) -> None:
                heard.append(message)

            await self.app(scope, receive, hear)
            start, body = heard[0], b"".join(message.get("body", b"") for message in heard[1:])
            if not _is_whole(start, body) or len(body) < LEAST or self._size() > KEPT:
                for message in heard:
                    await send(message)
                return
            self.kept[path] = await run_in_threadpool(_compressed, start, body)
        headers, body = self.kept[path]
        await send({"type": "http.response.start", "status": 200, "headers": list(headers)})
        await send({"type": "http.response.body", "body": body})

    @staticmethod
    def _is_wanted(scope: Scope) -> bool:
        if scope["type"] != "http" or scope["method"] != "GET" or not scope["path"].startswith(FOLDER):
            return False
        asked = Headers(scope=scope)
        conditional = "range" in asked or "if-none-match" in asked or "if-modified-since" in asked
        return scope["path"].endswith(KINDS) and "gzip" in asked.get("accept-encoding", "") and not conditional

    def _size(self) -> int:
        return sum(len(body) for _headers, body in self.kept.values())


def _is_whole(start: Message, body: bytes) -> bool:
    """Whether it is all of a file: of one whose reader leaves half way only a part is ever sent."""
    told = Headers(raw=list(start["headers"])).get("content-length")
    return bool(start["status"] == 200) and told == str(len(body))


def _compressed(start: Any, body: bytes) -> tuple[list[tuple[bytes, bytes]], bytes]:
    """Head and body of the compressed answer (RFC 9110, section 8.4.1.3)."""
    small = zlib.compress(body, 6, 31)
    message = {"headers": list(start["headers"])}
    headers = MutableHeaders(raw=message["headers"])
    headers["Content-Encoding"], headers["Content-Length"], headers["Vary"] = "gzip", str(len(small)), "Accept-Encoding"
    return message["headers"], small
