"""How long and how many: limits of single connections, below anything that knows a request.

uvicorn gives a request without an end all the time in the world, and takes connections until the process may open no
more files. Here a head must be whole after some seconds, a body as fast as a slow network sends it, and an answer must
be taken; one address cannot hold more than its share. These are the three slow attacks (head, body, reading) that every
guide to web servers names; the figures are ours, no source.
"""

from __future__ import annotations

import asyncio
import ipaddress
import sys
from collections import Counter
from functools import lru_cache
from typing import Any, ClassVar, cast

import h11
import uvicorn.config
from uvicorn.protocols.http.h11_impl import H11Protocol

HEAD_SECONDS = 10  # until the head of a request is whole
BODY_SECONDS, SLOWEST = 20, 50_000  # until a body is whole: so long, and one more for so many bytes
TAKING_SECONDS = 60  # until what was sent has been taken
LARGEST_HEAD = 16_384  # bytes
MOST, OF_ONE = 8_192, 128  # connections: in all, and of one address; a phone opens about ten
SPARE_FILES = 200  # for the connections of the store, the log and whatever is read
OURSELVES = ("127.0.0.1", "::1", "")  # a proxy on this machine stands for everybody and has limits of its own
LATE = b"HTTP/1.1 408 Request Timeout\r\nConnection: close\r\nContent-Length: 0\r\n\r\n"
FULL = b"HTTP/1.1 503 Service Unavailable\r\nConnection: close\r\nRetry-After: 5\r\nContent-Length: 0\r\n\r\n"


def open_files() -> int:
    """Raise what this process may open as far as the system lets it; how many that is."""
    if sys.platform == "win32":
        return MOST + SPARE_FILES
    import resource

    soft, hard = resource.getrlimit(resource.RLIMIT_NOFILE)
    wanted = 65_536 if hard == resource.RLIM_INFINITY else hard
    if soft != resource.RLIM_INFINITY and soft < wanted:
        resource.setrlimit(resource.RLIMIT_NOFILE, (wanted, hard))
    return wanted


@lru_cache(4_096)
def network(address: str) -> str:
    """What stands for one machine: its address, or of an IPv6 one the 64 bits that are given out together."""
    try:
        found = ipaddress.ip_address(address)
    except ValueError:
        return address
    if isinstance(found, ipaddress.IPv4Address) or found.is_loopback:
        return str(found)
    return str(found.ipv4_mapped or ipaddress.ip_network((found, 64), strict=False).network_address)


def guard() -> None:
    """Give every connection of the server that starts next these limits."""
    Guarded.most = max(16, min(MOST, open_files() - SPARE_FILES))
    Guarded.of_one = min(OF_ONE, Guarded.most // 2)
    uvicorn.config.HTTP_PROTOCOLS["auto"] = f"{__name__}:{Guarded.__name__}"


class Gathered:
    """A transport that sends what is written in one turn of the loop in one go: uvicorn writes the head of an answer
    and its body apart, and each would be a packet and a call of the system of its own."""

    def __init__(self, plain: asyncio.Transport, loop: asyncio.AbstractEventLoop) -> None:
        """Everything but writing and closing is done by the `plain` one."""
        self.plain, self._loop = plain, loop
        self._parts: list[bytes] = []

    def __getattr__(self, name: str) -> Any:
        return getattr(self.plain, name)

    def write(self, data: bytes) -> None:
        """Send soon; a large answer at once, so that whoever does not take it is noticed."""
        if data and not self._parts:
            self._loop.call_soon(self.flush)
        if data:
            self._parts.append(data)
        if len(data) > LARGEST_HEAD:
            self.flush()

    def flush(self) -> None:
        """Send what was written."""
        parts, self._parts = self._parts, []
        if parts:
            self.plain.write(b"".join(parts))

    def close(self) -> None:
        """Send what was written, then close."""
        self.flush()
        self.plain.close()


class Guarded(H11Protocol):
    """One connection. A socket that grows out of it is another protocol's, but still counted among all."""

    most, of_one = MOST, OF_ONE
    held: ClassVar[Counter[str]] = Counter()

    def __init__(self, config: Any, *rest: Any, **more: Any) -> None:
        config.h11_max_incomplete_event_size = LARGEST_HEAD
        super().__init__(config, *rest, **more)
        self._address: str | None = None
        self._phase: tuple[Any, Any] | None = None
        self._until: asyncio.TimerHandle | None = None
        self._taking: asyncio.TimerHandle | None = None

    def connection_made(self, transport: asyncio.Transport) -> None:  # type: ignore[override]
        super().connection_made(transport)
        self.transport = cast(Any, Gathered(transport, self.loop))
        address = network(self.client[0]) if self.client else ""
        crowded = address not in OURSELVES and self.held[address] >= self.of_one
        if crowded or len(self.connections) > self.most:
            transport.write(FULL)
            transport.close()
            return
        self._address = address
        self.held[address] += 1
        self._watch()

    def connection_lost(self, exc: Exception | None) -> None:
        self._let_go()
        super().connection_lost(exc)

    def data_received(self, data: bytes) -> None:
        if self.transport.is_closing():
            return
        super().data_received(data)
        self._watch()

    def handle_websocket_upgrade(self, event: h11.Request) -> None:
        self._let_go()
        self.transport = cast(Any, self.transport).plain
        super().handle_websocket_upgrade(event)

    def pause_writing(self) -> None:
        super().pause_writing()
        self._taking = self.loop.call_later(TAKING_SECONDS, self.transport.abort)

    def resume_writing(self) -> None:
        super().resume_writing()
        if self._taking is not None:
            self._taking.cancel()
            self._taking = None

    # ---- the wait for a head and for a body --------------------------------------------------------------------------
    def _watch(self) -> None:
        """A timer for each head and each body, begun with it and not by every byte of it."""
        phase = (self.conn.their_state, self.cycle)
        if phase == self._phase or self.transport.is_closing() or self.transport.get_protocol() is not self:
            return
        self._phase = phase
        if self._until is not None:
            self._until.cancel()
        seconds = self._patience()
        self._until = self.loop.call_later(seconds, self._too_slow) if seconds else None

    def _patience(self) -> float | None:
        """Seconds for what is awaited from the other side, None when nothing is."""
        if self.conn.their_state is h11.IDLE:
            return HEAD_SECONDS
        if self.conn.their_state is h11.SEND_BODY:
            told = dict(self.headers).get(b"content-length", b"0")
            return BODY_SECONDS + (int(told) if len(told) < 12 else 0) / SLOWEST
        return None

    def _too_slow(self) -> None:
        answered = self.cycle is not None and self.cycle.response_started and not self.cycle.response_complete
        if not answered:
            self.transport.write(LATE)
        self.transport.close()

    def _let_go(self) -> None:
        for timer in (self._until, self._taking):
            if timer is not None:
                timer.cancel()
        if self._address is not None:
            self.held[self._address] -= 1
            if not self.held[self._address]:
                del self.held[self._address]
            self._address = None
