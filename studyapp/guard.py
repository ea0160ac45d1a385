"""What every request must pass and every response carries: a name we answer to, the same origin for anything that
changes something, somebody we know for sockets and uploads, and headers that keep the page to itself.

The rules follow OWASP ASVS 5.0.0, sections 3.4, 3.5 and 4.4.
"""

from __future__ import annotations

import base64
import hashlib
import ipaddress
import json
import re
from collections import Counter
from collections.abc import Callable, Iterable, Mapping
from functools import lru_cache
from urllib.parse import urlsplit

from starlette.concurrency import run_in_threadpool
from starlette.datastructures import Headers
from starlette.requests import HTTPConnection
from starlette.responses import Response
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from studyapp.words import _

# Streamlit counts its sessions here for anybody who asks; that is nobody's business.
COUNTERS = "/_stcore/metrics"
UPLOADS = "/_stcore/upload_file/"
LARGEST_BODY = 65_536  # bytes; of an upload Streamlit asks its own limit
TABS = 12  # sockets of one member, or of all strangers of an empty store from one address
STRANGERS = 120  # sockets of all strangers, whatever addresses they come from: each keeps a page in memory
STRANGER = "at "  # before the address, in the name under which a stranger is counted
SAFE_METHODS = frozenset({"GET", "HEAD", "OPTIONS"})
# Files whose address changes with their content, or that never change: a phone may keep them.
LASTING = ("/static/", "/font/", "/component/", "/_stcore/bidi-components/")


def content_policy(inline_scripts: Iterable[str] = ()) -> str:
    """The content security policy. Only the page's own inline scripts may run, named by their hash; `blob:` is how
    Streamlit loads a component of this project."""
    hashes = "".join(f" 'sha256-{_digest(script)}'" for script in inline_scripts)
    return "; ".join(
        (
            "default-src 'self'",
            f"script-src 'self' blob:{hashes}",
            "style-src 'self' 'unsafe-inline'",
            "img-src 'self' data: blob:",
            "font-src 'self' data:",
            "worker-src 'self' blob:",
            "connect-src 'self'",
            "object-src 'none'",
            "base-uri 'none'",
            "frame-ancestors 'none'",
            "form-action 'self'",
        )
    )


def inline_scripts(page: str) -> tuple[str, ...]:
    """The texts of the inline scripts of an HTML page."""
    return tuple(re.findall(r"<script>(.*?)</script>", page, flags=re.DOTALL))


def _digest(script: str) -> str:
    return base64.b64encode(hashlib.sha256(script.encode()).digest()).decode()


class PrivateHeaders:
    """Puts the protecting headers on every response, whoever made it."""

    def __init__(self, app: ASGIApp, policy: str) -> None:
        self.app = app
        headers = {
            "Content-Security-Policy": policy,
            "X-Content-Type-Options": "nosniff",
            "Referrer-Policy": "no-referrer",
            "X-Frame-Options": "DENY",
            "Cross-Origin-Opener-Policy": "same-origin",
            "Cross-Origin-Resource-Policy": "same-origin",
            "Permissions-Policy": "camera=(), geolocation=(), microphone=(), payment=(), usb=()",
        }
        self.lasting = _raw(headers)
        self.fleeting = _raw(headers | {"Cache-Control": "no-store"})

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] != "http":
            await self.app(scope, receive, send)
            return
        own = self.lasting if scope["path"].startswith(LASTING) else self.fleeting

        async def sealed(message: Message) -> None:
            if message["type"] == "http.response.start":
                others = [each for each in message.get("headers", ()) if each[0].lower() not in own]
                message = {**message, "headers": [*others, *own.items()]}
            await send(message)

        await self.app(scope, receive, sealed)


def _raw(headers: Mapping[str, str]) -> dict[bytes, bytes]:
    """Headers as ASGI has them, made once: every answer carries them."""
    return {name.lower().encode(): value.encode() for name, value in headers.items()}


class OwnNames:
    """Answers only to names of this machine. A foreign name that resolves here is how another web page would reach in;
    a bare address cannot be such a name."""

    def __init__(self, app: ASGIApp, names: frozenset[str]) -> None:
        self.app = app
        self.names = names

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] == "lifespan" or self._ours(Headers(scope=scope).get("host", "")):
            await self.app(scope, receive, send)
            return
        sentence = _("Fix the address: this server does not go by that name. Use the address it printed at its start.")
        await _refuse(scope, receive, send, 421, sentence)

    def _ours(self, host: str) -> bool:
        name = urlsplit(f"//{host}").hostname or ""
        return name.lower() in self.names or _is_address(name)


@lru_cache(256)
def _is_address(name: str) -> bool:
    try:
        ipaddress.ip_address(name)
    except ValueError:
        return False
    return True


class SameOrigin:
    """Refuses whatever changes something, and every websocket, when it does not come from a page of this server.

    It stands before Streamlit, which on a foreign origin would ask an outside service for this machine's address and
    stand still meanwhile.
    """

    def __init__(self, app: ASGIApp) -> None:
        self.app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] == "http" and scope["path"].rstrip("/") == COUNTERS:
            await _refuse(scope, receive, send, 404, _("Not done: there is no such page."))
            return
        quiet = scope["type"] == "lifespan" or (scope["type"] == "http" and scope["method"] in SAFE_METHODS)
        if quiet or self._same(Headers(scope=scope)):
            await self.app(scope, receive, send)
            return
        sentence = _("Not done: this came from another page. Open your link again; your marks are kept.")
        await _refuse(scope, receive, send, 403, sentence)

    @staticmethod
    def _same(headers: Headers) -> bool:
        origin = urlsplit(headers.get("origin", ""))
        return bool(origin.netloc) and origin.netloc == headers.get("host")


class Sizes:
    """Refuses a body by the length that its head tells, before a byte of it is read."""

    def __init__(self, app: ASGIApp) -> None:
        self.app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] == "http" and not scope["path"].startswith(UPLOADS):
            told = Headers(scope=scope).get("content-length", "0")
            if not told.isdecimal() or len(told) > 9 or int(told) > LARGEST_BODY:
                await _refuse(scope, receive, send, 413, _("Not done: the text is too long. Shorten it."))
                return
        await self.app(scope, receive, send)


Who = Callable[[Mapping[str, str], bool], str | None]


class Members:
    """Sockets, uploads and drawn pages for whoever is signed in or seated, and only so many sockets for one of them. A
    stranger gets the page to sign in on, which needs none of these.

    `who` gives the name under which a browser with these cookies is counted, None for a stranger, empty where everybody
    may look around: in the invented workshop, and in a store that nobody runs yet. Its second argument says whether the
    connection is secret.
    """

    def __init__(self, app: ASGIApp, who: Who) -> None:
        self.app = app
        self.who = who
        self.sockets: Counter[str] = Counter()

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] == "websocket":
            await self._socket(scope, receive, send)
        elif scope["type"] == "http" and self._is_inside(scope) and await self._member(scope) is None:
            await self._shown_the_door(scope, receive, send)
        else:
            await self.app(scope, receive, send)

    @staticmethod
    def _is_inside(scope: Scope) -> bool:
        """An upload, a file that a page made, or a page: all of these stand right under the root."""
        path = scope["path"]
        page = path.count("/") == 1 and "text/html" in Headers(scope=scope).get("accept", "")
        return page or path.startswith((UPLOADS, "/media/"))

    async def _member(self, scope: Scope) -> str | None:
        asked = HTTPConnection(scope)
        secret = asked.url.scheme in ("https", "wss")
        found = await run_in_threadpool(self.who, asked.cookies, secret)
        return f"{STRANGER}{asked.client.host if asked.client else ''}" if found == "" else found

    async def _socket(self, scope: Scope, receive: Receive, send: Send) -> None:
        member = await self._member(scope)
        if member is None or self.sockets[member] >= TABS or self._is_crowded(member):
            await _refuse(scope, receive, send, 403, "")
            return
        self.sockets[member] += 1
        try:
            await self.app(scope, receive, send)
        finally:
            self.sockets[member] -= 1
            self.sockets += Counter()  # forget who left

    def _is_crowded(self, member: str) -> bool:
        """Whether strangers hold as many sockets as they get; a member's are not counted with theirs."""
        if not member.startswith(STRANGER):
            return False
        return sum(count for name, count in self.sockets.items() if name.startswith(STRANGER)) >= STRANGERS

    async def _shown_the_door(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["path"].count("/") == 1:
            await self.app({**scope, "path": "/door", "raw_path": b"/door"}, receive, send)
        else:
            await _refuse(scope, receive, send, 403, _("Not done: sign in first."))


async def _refuse(scope: Scope, receive: Receive, send: Send, status: int, sentence: str) -> None:
    """Say no, in the way this kind of connection allows."""
    if scope["type"] == "websocket":
        await receive()
        await send({"type": "websocket.close", "code": 1008})
        return
    body = json.dumps({"ok": False, "sentence": sentence})
    await Response(body, status, media_type="application/json")(scope, receive, send)
