"""Who gets past the door of a running server: sockets, uploads, sizes, crowds of joins and of guesses."""

from __future__ import annotations

import asyncio
import contextlib
import gzip
import re
import socket
from collections.abc import Callable
from typing import Any

import httpx
import pytest
from websockets.exceptions import InvalidStatus
from websockets.sync.client import connect

from studyapp import guard
from studyapp.server import Listening, _options
from studyapp.services import accounts, joining, passphrases
from studyapp.store import people
from tests.conftest import REAL_COST, Hand, apart


def client(server: Any, **headers: str) -> httpx.Client:
    """A browser at a page of this server."""
    told = {"Origin": server.url, **headers}
    return httpx.Client(base_url=server.url, headers=told, trust_env=False, timeout=60)


def knock(server: Any, cookie: str) -> int:
    """The status of asking for a socket with that cookie; 101 when it is given."""
    told: Any = {"origin": server.url, "additional_headers": {"Cookie": cookie}, "proxy": None}
    try:
        with connect(server.url.replace("http", "ws") + "/_stcore/stream", **told):
            return 101
    except InvalidStatus as refused:
        return refused.response.status_code


@pytest.fixture
def staff(workshop: Any) -> str:
    """The cookie of a leader."""
    return f"staff={accounts.sign_in(workshop.store, 'Ada', workshop.passphrase, '10.0.0.9')}"


# ---- sockets and uploads ---------------------------------------------------------------------------------------------
def test_only_members_get_a_socket(server: Any, hand: Hand, staff: str) -> None:
    """Staff and seats do; nobody, a made-up token, and a token that has ended do not."""
    assert [knock(server, cookie) for cookie in (f"seat={hand.token}", staff)] == [101, 101]
    assert [knock(server, cookie) for cookie in ("", "seat=made-up", f"staff={hand.token}")] == [403, 403, 403]
    accounts.sign_out(hand.store, staff.removeprefix("staff="))
    assert knock(server, staff) == 403


def test_one_member_gets_so_many_sockets(server: Any, hand: Hand) -> None:
    """A phone that opens sockets without end is stopped; another phone is not."""
    told: Any = {"origin": server.url, "additional_headers": {"Cookie": f"seat={hand.token}"}, "proxy": None}
    with contextlib.ExitStack() as held:
        for _ in range(guard.TABS):
            held.enter_context(connect(server.url.replace("http", "ws") + "/_stcore/stream", **told))
        assert knock(server, f"seat={hand.token}") == 403


def test_only_members_upload(server: Any, hand: Hand, staff: str) -> None:
    """A stranger's file is refused unread; for a member it is Streamlit that finds no such page to upload to."""
    file = {"file": ("scores.csv", b"assessor,hours\n" * 100, "text/csv")}
    found = []
    for cookie in ("", f"seat={hand.token}", staff):
        with client(server, Cookie=cookie) as browser:
            answers = [browser.put("/_stcore/upload_file/a-session/a-file", files=file), browser.get("/media/a.csv")]
            found.append(["sign in first" in answer.text for answer in answers])
    assert found == [[True, True], [False, False], [False, False]]


def test_a_stranger_signs_in_without_a_socket(server: Any) -> None:
    """Every page is the same plain form, with its scripts from here; it names no study."""
    with client(server, Accept="text/html,*/*") as browser:
        pages = [browser.get(path) for path in ("/", "/plan?study=abc", "/decide")]
        assert {page.status_code for page in pages} == {200}
        assert len({page.text for page in pages}) == 1
        assert '"path": "/sign-in"' in pages[0].text
        for script in ("open.js", "form.js"):
            answer = browser.get(f"/door/{script}")
            assert (answer.status_code, answer.headers["content-type"].split(";")[0]) == (200, "text/javascript")
        assert browser.get("/door/credentials.css").status_code == 404


def test_an_empty_store_may_be_looked_at(run_server: Any) -> None:
    """Nobody runs studies yet, so the first page must draw."""
    assert knock(run_server(), "") == 101


# ---- sizes -----------------------------------------------------------------------------------------------------------
def test_strangers_of_many_addresses_share_their_sockets() -> None:
    """In a store without a leader, and in the invented workshop, nobody is known: a crowd of addresses holds so many
    sockets and no more, and a member still gets one."""
    held: list[str] = []

    async def page(scope: Any, _receive: Any, _send: Any) -> None:
        held.append(scope["client"][0])
        await asyncio.sleep(60)

    async def crowd() -> None:
        door = guard.Members(page, lambda cookies, _secret: cookies.get("name", ""))

        async def nothing(*_message: Any) -> dict[str, str]:
            return {"type": "websocket.connect"}

        def knock(number: int, headers: list[tuple[bytes, bytes]]) -> Any:
            scope = {
                "type": "websocket",
                "scheme": "ws",
                "path": "/",
                "headers": headers,
                "client": (f"10.0.{number}", 1),
            }
            return asyncio.create_task(door({**scope, "server": ("h", 1), "query_string": b""}, nothing, nothing))

        knocks = [knock(number, []) for number in range(3 * guard.STRANGERS)]
        while sum(each.done() for each in knocks) < 2 * guard.STRANGERS:
            await asyncio.sleep(0.01)
        assert len(held) == guard.STRANGERS
        member = knock(0, [(b"cookie", b"name=Ada")])
        while len(held) == guard.STRANGERS:
            await asyncio.sleep(0.01)
        for each in [*knocks, member]:
            each.cancel()

    apart(crowd())


@pytest.mark.parametrize("told", ["70000", "99999999999999999999"])
def test_a_body_is_refused_by_the_length_it_tells(server: Any, told: str) -> None:
    """Nothing of it need be sent: 413 comes at once."""
    head = f"POST /sign-in HTTP/1.1\r\nHost: localhost\r\nOrigin: http://localhost\r\nContent-Length: {told}\r\n\r\n"
    with socket.create_connection(("127.0.0.1", server.port), 10) as sender:
        sender.sendall(head.encode())
        assert sender.recv(4096).startswith(b"HTTP/1.1 413 ")


def test_scripts_of_the_pages_are_sent_small(server: Any) -> None:
    """The same bytes, in less than half of the length; who cannot read gzip gets them as they are."""
    with client(server) as browser:
        page = browser.get("/static/../", headers={"Accept": "*/*"}).text
        script = next(iter(re.findall(r'src="\./(static/js/[^"]+\.js)"', page)))
        small = [browser.get(f"/{script}", headers={"Accept-Encoding": "gzip"}) for _time in range(2)]
        plain = browser.get(f"/{script}", headers={"Accept-Encoding": "identity"})
    assert "content-encoding" not in plain.headers
    for answer in small:
        assert answer.headers["content-encoding"] == "gzip"
        assert answer.headers["cache-control"] == plain.headers["cache-control"]
        assert answer.content == plain.content
        assert int(answer.headers["content-length"]) < len(plain.content) / 2
    assert len(gzip.compress(plain.content)) < len(plain.content) / 2


# ---- crowds ----------------------------------------------------------------------------------------------------------
async def crowd(server: Any, count: int, ask: Callable[[httpx.AsyncClient, int], Any]) -> list[httpx.Response]:
    """So many requests in one moment."""
    limits = httpx.Limits(max_connections=count)
    told = {"Origin": server.url}
    async with httpx.AsyncClient(
        base_url=server.url, limits=limits, headers=told, trust_env=False, timeout=60
    ) as phones:
        return list(await asyncio.gather(*(ask(phones, number) for number in range(count))))


def test_joins_of_one_moment_wait_or_are_told_to(server: Any, workshop: Any) -> None:
    """Of 200 at once each is seated or gets a page that comes again by itself; after so many turns all are seated."""

    def join(phones: httpx.AsyncClient, number: int) -> Any:
        return phones.get(workshop.link(number % 5), headers={"Accept": "text/html"})

    left, told = 200, []
    for _turn in range(8):
        answers = apart(crowd(server, left, join))
        told += [answer for answer in answers if answer.status_code == 503]
        left -= sum(answer.status_code == 303 for answer in answers)
        if not left:
            break
    assert left == 0
    assert told
    for answer in told:
        seconds = int(answer.headers["retry-after"])
        assert 1 <= seconds <= 60
        assert f'<meta http-equiv="refresh" content="{seconds}">' in answer.text
        assert "Please wait" in answer.text


def test_a_crowd_of_guesses_does_not_hold_up_a_mark(server: Any, workshop: Any, hand: Hand) -> None:
    """Sixty sign-ins at once from one address: most are told to wait at once, and a phone is served beside them."""

    def guess(phones: httpx.AsyncClient, number: int) -> Any:
        if number == 59:
            return phones.get("/place", headers={"Cookie": f"seat={hand.token}"})
        return phones.post("/sign-in", json={"name": f"Eve {number}", "passphrase": "a guess of mine"})

    answers = apart(crowd(server, 60, guess))
    assert answers[-1].status_code == 200
    assert {answer.status_code for answer in answers[:-1]} <= {403, 429, 503}
    waiting = [answer for answer in answers if answer.status_code in (429, 503)]
    assert len(waiting) >= 54
    assert all("retry-after" in answer.headers for answer in waiting)


# ---- passphrases at their real cost ----------------------------------------------------------------------------------
@pytest.fixture
def kept(workshop: Any) -> Callable[[], str]:
    """What the store keeps of the leader's passphrase."""

    def read() -> str:
        with workshop.store.read() as tx:
            return people.secret(tx, workshop.leader.id) or ""

    return read


def test_a_cheap_hash_becomes_a_dear_one_at_the_next_sign_in(run_server: Any, workshop: Any, kept: Any) -> None:
    """The installed server hashes at N = 2**17, r = 8, p = 1, as OWASP's Password Storage Cheat Sheet recommends."""
    assert kept().startswith(f"scrypt:{passphrases.TODAY.n}:")
    told = {"name": "Ada", "passphrase": workshop.passphrase}
    with client(run_server(installed=True)) as desk:
        assert desk.post("/sign-in", json=told).status_code == 200
        assert kept().startswith("scrypt:131072:8:1$")
        assert (REAL_COST.n, REAL_COST.r, REAL_COST.p) == (2**17, 8, 1)
        assert desk.post("/sign-in", json=told).status_code == 200


def test_guessing_from_elsewhere_shuts_nobody_out_who_was_here_before(server: Any, workshop: Any) -> None:
    """A browser that Ada has signed in with is heard while her account is being guessed at from many addresses."""
    told = {"name": "Ada", "passphrase": workshop.passphrase}
    with client(server) as desk:
        assert desk.post("/sign-in", json=told).status_code == 200
        assert desk.post("/sign-out", json={}).status_code == 200
        for number in range(accounts.ALL):
            with contextlib.suppress(Exception):
                accounts.sign_in(workshop.store, "Ada", "a guess of mine", f"10.0.1.{number}")
        with client(server) as stranger:
            assert stranger.post("/sign-in", json=told).status_code == 429
        assert desk.post("/sign-in", json=told).status_code == 200
    assert joining.seat_of(workshop.store, desk.cookies["known"]) is None


def test_a_page_that_went_away_is_let_go_within_a_quarter_of_an_hour() -> None:
    """Streamlit keeps it so many seconds; a frame from a phone may be 2 MB, not 25."""
    options = _options(Listening("127.0.0.1", 8501, demo=False, log_file=None))
    assert options["server.disconnectedSessionTTL"] <= 900
    assert options["server.maxWidgetStateSize"] <= 2
