"""Slow and many connections, by real sockets: against the limits alone, with short times, and against the server."""

from __future__ import annotations

import contextlib
import resource
import socket
import threading
import time
from collections.abc import Iterator
from typing import Any

import httpx
import pytest
import uvicorn

from studyapp import connections

HEAD = b"POST /mark HTTP/1.1\r\nHost: 127.0.0.1\r\nContent-Type: application/json\r\n"
ELSEWHERE = "127.0.0.2"  # the whole of 127/8 is this machine; only 127.0.0.1 may be a proxy


async def echo(scope: Any, receive: Any, send: Any) -> None:
    """Take the body, then send what the path asks for: `/large` is more than any buffer between two sockets holds."""
    more = True
    while more:
        heard = await receive()
        more = heard.get("more_body", False)
    body = b"x" * (50_000_000 if scope["path"] == "/large" else 2)
    await send({"type": "http.response.start", "status": 200, "headers": [(b"content-length", b"%d" % len(body))]})
    await send({"type": "http.response.body", "body": body})


@pytest.fixture
def port(monkeypatch: pytest.MonkeyPatch) -> Iterator[int]:
    """A bare server under the limits, with times that a test can wait for."""
    monkeypatch.setattr(connections, "HEAD_SECONDS", 0.5)
    monkeypatch.setattr(connections, "BODY_SECONDS", 0.5)
    monkeypatch.setattr(connections, "TAKING_SECONDS", 0.5)
    monkeypatch.setitem(uvicorn.config.HTTP_PROTOCOLS, "auto", "")
    monkeypatch.setattr(connections, "OF_ONE", 5)
    connections.guard()
    server = uvicorn.Server(uvicorn.Config(echo, log_level="critical", lifespan="off"))
    with socket.create_server(("127.0.0.1", 0)) as listening:
        running = threading.Thread(target=server.run, kwargs={"sockets": [listening]})
        running.start()
        yield int(listening.getsockname()[1])
        server.should_exit = True
        running.join()


def opened(port: int, source: str = "127.0.0.1") -> socket.socket:
    """A connection of ours."""
    return socket.create_connection(("127.0.0.1", port), 10, (source, 0))


def ended(connection: socket.socket, drip: bytes, seconds: float) -> bytes | None:
    """What the server said before it ended the connection, while we send a byte now and then; None if it did not."""
    until, heard = time.monotonic() + seconds, b""
    connection.settimeout(0.1)
    while time.monotonic() < until:
        try:
            connection.sendall(drip)
            got = connection.recv(4096)
        except TimeoutError:
            continue
        except OSError:
            return heard
        if not got:
            return heard
        heard += got
    return None


@pytest.mark.parametrize(
    ("begun", "drip"),
    [
        pytest.param(b"", b"", id="nothing at all"),
        pytest.param(b"GET / HTTP/1.1\r\nX-A: ", b"a", id="a head without an end"),
        pytest.param(HEAD + b"Content-Length: 900\r\n\r\n{", b"a", id="a body byte by byte"),
        pytest.param(HEAD + b"Transfer-Encoding: chunked\r\n\r\n", b"1\r\na\r\n", id="a body in chunks"),
        pytest.param(b"GET / HTTP/1.1\r\nHost: a\r\n\r\nGET / HT", b"", id="a second head after an answer"),
    ],
)
def test_a_request_that_never_becomes_whole_is_ended(port: int, begun: bytes, drip: bytes) -> None:
    """It goes on sending, and is ended all the same; a fast one beside it is answered."""
    with opened(port) as slow:
        slow.sendall(begun)
        heard = ended(slow, drip, 15)
        assert heard is not None
        assert b"408" in heard or b"200 OK" in heard
    assert httpx.post(f"http://127.0.0.1:{port}/mark", content=b"x" * 60_000, trust_env=False).status_code == 200


def test_an_answer_that_nobody_takes_is_given_up(port: int) -> None:
    """Who asks for much and reads nothing does not keep it in our memory."""
    with opened(port) as lazy:
        lazy.sendall(b"GET /large HTTP/1.1\r\nHost: a\r\n\r\n")
        time.sleep(3)
        lazy.settimeout(10)
        taken = 0
        with contextlib.suppress(OSError):
            while got := lazy.recv(1 << 20):
                taken += len(got)
    assert taken < 50_000_000


def test_one_address_holds_its_share_and_no_more(port: int) -> None:
    """The sixth is told when to come again; a proxy on this machine stands for many; who leaves makes room."""
    with contextlib.ExitStack() as held:
        for _ in range(connections.OF_ONE):
            held.enter_context(opened(port, ELSEWHERE))
        last = held.enter_context(opened(port, ELSEWHERE))
        assert b"503" in last.recv(100)
        assert httpx.get(f"http://127.0.0.1:{port}/", trust_env=False).status_code == 200
    with opened(port, ELSEWHERE) as again:
        again.sendall(b"GET / HTTP/1.1\r\nHost: a\r\n\r\n")
        assert b"200 OK" in again.recv(100)


def test_a_head_without_measure_is_refused(port: int) -> None:
    """A megabyte of names and values: answered 400, long before it is all sent."""
    with opened(port) as large:
        with contextlib.suppress(OSError):
            large.sendall(b"GET / HTTP/1.1\r\n" + b"X-A: a\r\n" * 131_072)
        with contextlib.suppress(OSError):
            assert b"400" in large.recv(100)


@pytest.mark.parametrize(
    ("address", "counted"),
    [
        ("192.0.2.7", "192.0.2.7"),
        ("::ffff:192.0.2.7", "192.0.2.7"),
        ("2001:db8:1:2:3:4:5:6", "2001:db8:1:2::"),
        ("2001:db8:1:2:ffff::1", "2001:db8:1:2::"),
        ("::1", "::1"),
        ("", ""),
    ],
)
def test_an_ipv6_address_counts_with_its_64_bits(address: str, counted: str) -> None:
    """One machine is given 2**64 of them at once (RFC 4291, section 2.5.1): they are one guesser."""
    assert connections.network(address) == counted


# ---- the server itself -----------------------------------------------------------------------------------------------
def test_who_tastes_goes_on_while_somebody_holds_connections(server: Any, workshop: Any) -> None:
    """Two hundred slow ones from one address: all ended in time, most refused at once, and a phone joins meanwhile."""
    held = [opened(server.port, ELSEWHERE) for _ in range(200)]
    for each in held:
        with contextlib.suppress(OSError):
            each.sendall(HEAD)
    with httpx.Client(base_url=server.url, headers={"Origin": server.url}, trust_env=False, timeout=20) as phone:
        assert phone.get(workshop.link()).status_code == 303
        assert phone.post("/agree", json={}).status_code == 200
    said = [ended(each, b"", 2 * connections.HEAD_SECONDS + 10) for each in held]
    for each in held:
        each.close()
    assert None not in said
    assert sum(b"408" in (answer or b"") for answer in said) == connections.OF_ONE


def test_it_may_open_as_many_files_as_the_system_lets_it(run_server: Any, workshop: Any) -> None:
    """Started with room for 150 files and leave to ask for 2,000, it serves 300 connections at once."""
    before = resource.getrlimit(resource.RLIMIT_NOFILE)
    resource.setrlimit(resource.RLIMIT_NOFILE, (150, before[1]))
    try:
        served = run_server(installed=True)
    finally:
        resource.setrlimit(resource.RLIMIT_NOFILE, before)
    with contextlib.ExitStack() as held:
        for _ in range(300):
            held.enter_context(opened(served.port))
        assert httpx.get(f"{served.url}/health", trust_env=False, timeout=10).status_code == 200
