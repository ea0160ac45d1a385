"""The server as a process: how it starts and ends, what it refuses at the door, what it writes into its log."""

from __future__ import annotations

import json
import shutil
import signal
import socket
import subprocess
import sys
import tempfile
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import httpx
import pytest

COMMAND = str(Path(sys.executable).with_name("studyapp"))


@pytest.fixture
def server(workshop: Any, run_server: Any) -> Any:
    """The installed command itself, started."""
    return run_server(installed=True)


def client(server: Any, **headers: str) -> httpx.Client:
    """A client that sends what a page of this server sends."""
    return httpx.Client(base_url=server.url, headers={"Origin": server.url, **headers}, trust_env=False)


@pytest.fixture
def seated(server: Any, workshop: Any) -> Iterator[Callable[..., httpx.Client]]:
    """Make clients that have opened a join link and agreed."""
    made: list[httpx.Client] = []

    def make(number: int = 0) -> httpx.Client:
        phone = client(server)
        made.append(phone)
        assert phone.get(workshop.link(number)).status_code == 303
        assert phone.post("/agree", json={}).status_code == 200
        return phone

    yield make
    for phone in made:
        phone.close()


def first_cup(phone: httpx.Client) -> dict[str, Any]:
    """Past the warm-up: the place of the first serving."""
    phone.post("/finish", json={"serving": phone.get("/place").json()["place"]["serving"]})
    place: dict[str, Any] = phone.get("/place").json()["place"]
    assert place["kind"] == "serving"
    return place


# ---- start and end ---------------------------------------------------------------------------------------------------
@pytest.mark.parametrize("how", [signal.SIGTERM, signal.SIGINT])
def test_it_ends_in_order(how: signal.Signals, server: Any) -> None:
    """A request to end and Ctrl-C are an ordinary end: exit 0, no traceback, the end in the log."""
    assert server.stop(how) == 0
    assert "Traceback" not in server.printed()
    assert [json.loads(line)["what"] for line in server.logged().splitlines()][-1] == "stopped"


def test_it_says_where_it_is(server: Any) -> None:
    """The address stands in the terminal, the foreign folder stays empty but for what its own account keeps there."""
    assert f"http://127.0.0.1:{server.port}" in server.printed()
    assert not list((server.folder / "elsewhere").glob("*.toml"))


def test_a_taken_port_is_one_sentence(tmp_path: Path) -> None:
    """Exit 2, a sentence on stderr, nothing on stdout, no store made."""
    with socket.create_server(("127.0.0.1", 0)) as taken:
        port = str(taken.getsockname()[1])
        store = tmp_path / "new.sqlite"
        command = [COMMAND, "run", "--host", "127.0.0.1", "--port", port, "--store", str(store)]
        ended = subprocess.run(command, cwd=tmp_path, capture_output=True, text=True, timeout=60)
    assert ended.returncode == 2
    assert ended.stderr.strip() == f"Not done: 127.0.0.1 port {port} cannot be used. Give another with --port."
    assert ended.stdout == ""
    assert not store.exists()


def test_a_store_that_cannot_be_opened_is_one_sentence(tmp_path: Path) -> None:
    """The store's own sentence, exit 2, before anything listens."""
    command = [COMMAND, "run", "--host", "127.0.0.1", "--port", "0", "--store", str(tmp_path / "no" / "x.sqlite")]
    ended = subprocess.run(command, cwd=tmp_path, capture_output=True, text=True, timeout=60)
    assert ended.returncode == 2
    assert ended.stderr.startswith("Not done: ")
    assert ended.stderr.count("\n") == 1
    assert ended.stdout == ""


# ---- the door --------------------------------------------------------------------------------------------------------
def test_another_page_changes_nothing(workshop: Any, seated: Any) -> None:
    """A POST from another page, or from nowhere, is refused before any service sees it."""
    phone = seated()
    place = first_cup(phone)
    body = {"serving": place["serving"], "line": place["lines"][0]["id"], "value": 5.0, "nonce": "a" * 32}
    for origin in ("http://evil.example", "null", "", "https://127.0.0.1"):
        answer = phone.post("/mark", json=body, headers={"Origin": origin})
        assert answer.status_code == 403, origin
        assert answer.json()["sentence"].startswith("Not done: this came from another page.")
    assert workshop.scores() == []


def test_a_socket_from_another_page_is_refused(server: Any, seated: Any) -> None:
    """Streamlit's socket is closed before Streamlit sees a foreign origin, whoever holds the browser."""
    from websockets.exceptions import InvalidStatus
    from websockets.sync.client import connect

    address = server.url.replace("http", "ws") + "/_stcore/stream"
    cookie = {"Cookie": f"seat={seated().cookies['seat']}"}
    for origin in ("http://evil.example", None):
        told: Any = {"origin": origin, "additional_headers": cookie, "proxy": None}
        with pytest.raises(InvalidStatus) as refused, connect(address, **told):
            pass
        assert refused.value.response.status_code == 403
    told = {"origin": server.url, "additional_headers": cookie, "proxy": None}
    with connect(address, **told) as opened:
        assert opened.close_code is None


def test_it_answers_to_its_own_names(server: Any) -> None:
    """A foreign name that resolves here is refused; a bare address cannot be such a name."""
    with client(server) as phone:
        for host, status in (("rebound.example", 421), ("localhost", 200), ("192.168.7.7", 200), ("[::1]", 200)):
            assert phone.get("/health", headers={"Host": f"{host}:{server.port}"}).status_code == status, host


NO_MARKS = (
    (b"serving=x", "application/x-www-form-urlencoded"),
    (b'{"serving": "x"}', "text/plain"),
    (b"[1]", "application/json"),
    (b"{", "application/json"),
    (b'{"serving": "x", "line": "y", "value": NaN, "nonce": "z"}', "application/json"),
    (b'{"serving": "x", "line": "y", "value": true, "nonce": "z"}', "application/json"),
    (b'{"serving": "x", "line": "y", "value": "5", "nonce": "z"}', "application/json"),
    (b'{"serving": 5, "line": "y", "value": 5, "nonce": "z"}', "application/json"),
    (b'{"serving": "' + b"x" * 9000 + b'"}', "application/json"),
    (b"[" * 8000, "application/json"),
)


def test_what_is_no_mark_is_refused_with_a_sentence(workshop: Any, seated: Any) -> None:
    """Wrong type, wrong shape, not a number, too long, too deep: 400 and a sentence, nothing kept."""
    phone = seated()
    for content, kind in NO_MARKS:
        answer = phone.post("/mark", content=content, headers={"Content-Type": kind})
        assert answer.status_code == 400, content[:60]
        assert answer.json()["sentence"].startswith("Not done: ")
    assert workshop.scores() == []


def test_a_mark_off_the_line_is_refused(workshop: Any, seated: Any) -> None:
    """The page cannot send it, so nobody else may."""
    phone = seated()
    place = first_cup(phone)
    for value in (-0.1, 10.1, -500, 1e300):
        body = {"serving": place["serving"], "line": place["lines"][0]["id"], "value": value, "nonce": "a" * 32}
        assert phone.post("/mark", json=body).status_code == 400, value
    assert workshop.scores() == []


def test_the_same_nonce_is_one_mark(workshop: Any, seated: Any) -> None:
    """A repeat gets the same answer and keeps nothing twice."""
    phone = seated()
    place = first_cup(phone)
    body = {"serving": place["serving"], "line": place["lines"][0]["id"], "value": 5.04, "nonce": "a" * 32}
    answers = [phone.post("/mark", json=body).json() for _time in range(3)]
    assert [answer["again"] for answer in answers] == [False, True, True]
    assert len({answer["at"] for answer in answers}) == 1
    assert [value for _code, _line, value, _reason in workshop.scores()] == [5.0]


def test_nobody_marks_for_another(server: Any, workshop: Any, seated: Any) -> None:
    """A phone without a seat, and another assessor's phone, are refused."""
    mine, other = seated(), seated(1)
    place = first_cup(mine)
    body = {"serving": place["serving"], "line": place["lines"][0]["id"], "value": 5, "nonce": "a" * 32}
    assert other.post("/mark", json=body).status_code == 409
    with client(server) as nobody:
        assert nobody.post("/mark", json=body).status_code == 403
    assert workshop.scores() == []


def test_guessing_join_codes_is_slowed_down(server: Any, workshop: Any) -> None:
    """Five wrong codes a minute, then even a right one waits."""
    with client(server) as guesser:
        statuses = [guesser.get(f"/join/WRONG{number:03}").status_code for number in range(6)]
        assert statuses == [404] * 5 + [429]
        assert guesser.get(workshop.link()).status_code == 429


def test_a_followed_link_gets_a_page(server: Any) -> None:
    """A person who opens a used-up link reads a sentence, not JSON."""
    with client(server, Accept="text/html,*/*") as phone:
        answer = phone.get("/join/NOTACODE")
    assert answer.status_code == 404
    assert answer.headers["content-type"].startswith("text/html")
    assert "this link is used up or mistyped" in answer.text


def test_the_list_of_studies_is_found_by_its_name(server: Any) -> None:
    """Every other page answers to its name in the address; this one leads to the root."""
    with client(server) as browser:
        found = browser.get("/studies")
    assert (found.status_code, found.headers["location"]) == (303, "/")


# ---- staff -----------------------------------------------------------------------------------------------------------
def test_signing_in_and_out(server: Any, workshop: Any) -> None:
    """The right passphrase sets a cookie that scripts cannot read; signing out ends it on the server too."""
    with client(server) as desk:
        wrong = desk.post("/sign-in", json={"name": "Ada", "passphrase": "a guess of mine"})
        assert wrong.status_code == 403
        answer = desk.post("/sign-in", json={"name": "Ada", "passphrase": workshop.passphrase})
        assert answer.status_code == 200
        set_cookie = answer.headers["set-cookie"]
        assert "staff=" in set_cookie
        assert "HttpOnly" in set_cookie
        assert "SameSite=lax" in set_cookie
        token = desk.cookies["staff"]
        assert desk.post("/sign-out", json={}).status_code == 200
        assert "staff" not in desk.cookies
    with client(server, Cookie=f"staff={token}") as thief:
        assert thief.get(f"/print/trays/{workshop.sitting.id}").status_code == 403


def test_papers_go_to_those_who_may_hold_them(server: Any, workshop: Any, seated: Any) -> None:
    """The preparer gets labels and the fill list; the leader gets no key; a seat and a stranger get nothing."""
    expected = {
        "Ben": {"labels": 200, "fill": 200, "nonsense": 404},
        "Ada": {"labels": 200, "fill": 403, "nonsense": 404},
    }
    for name, papers in expected.items():
        with client(server) as desk:
            desk.post("/sign-in", json={"name": name, "passphrase": workshop.passphrase})
            for paper, status in papers.items():
                answer = desk.get(f"/print/{paper}/{workshop.sitting.id}")
                assert answer.status_code == status, (name, paper)
                assert answer.content.startswith(b"%PDF-") == (status == 200)
                assert answer.headers["cache-control"] == "no-store"
    with client(server) as stranger:
        for phone in (stranger, seated()):
            assert phone.get(f"/print/labels/{workshop.sitting.id}").status_code == 403


def test_taking_a_seat_gives_up_the_staff_cookie(server: Any, workshop: Any) -> None:
    """One browser is one person at one job."""
    with client(server) as desk:
        desk.post("/sign-in", json={"name": "Ada", "passphrase": workshop.passphrase})
        desk.get(workshop.link())
        assert dict(desk.cookies).keys() == {"seat", "known", "device"}  # the last two open nothing


def test_under_tls_a_cookie_belongs_to_this_host_alone(tmp_path: Path, workshop: Any, run_server: Any) -> None:
    """With a certificate cookies are Secure and carry the prefix that no other program on this name can plant."""
    key, certificate = tmp_path / "key.pem", tmp_path / "certificate.pem"
    openssl = shutil.which("openssl")
    if openssl is None:
        pytest.skip("openssl is not installed")
    asked = ["req", "-x509", "-newkey", "rsa:2048", "-nodes", "-subj", "/CN=localhost", "-days", "2"]
    files = ["-keyout", str(key), "-out", str(certificate)]
    subprocess.run([openssl, *asked, *files], check=True, capture_output=True, timeout=60)
    environment = {"STUDYAPP_TLS_CERTIFICATE": str(certificate), "STUDYAPP_TLS_KEY": str(key)}
    served = run_server(environment=environment)
    with httpx.Client(base_url=served.url, headers={"Origin": served.url}, verify=False, trust_env=False) as phone:
        given = phone.get(workshop.link()).headers.get_list("set-cookie")
        (set_cookie,) = [each for each in given if each.startswith("__Host-seat=")]
        assert "Secure" in set_cookie
        assert phone.get("/place").json()["place"]["kind"] == "welcome"
        plain = {"Cookie": f"seat={phone.cookies['__Host-seat']}"}
    with httpx.Client(base_url=served.url, headers=plain, verify=False, trust_env=False) as planted:
        assert planted.get("/place").status_code == 403


# ---- the invented workshop -------------------------------------------------------------------------------------------
def test_the_demo_is_entered_by_role_and_leaves_nothing(run_server: Any) -> None:
    """Each role by a link, the assessor with a seat; its folder is gone when it ends."""
    before = set(Path(tempfile.gettempdir()).glob("studyapp-demo-*"))
    served = run_server(extra=("--demo",))
    made = set(Path(tempfile.gettempdir()).glob("studyapp-demo-*")) - before
    assert len(made) == 1
    with client(served) as visitor:
        for role, cookie in (("leader", "staff"), ("assessor", "seat"), ("preparer", "staff")):
            assert visitor.get(f"/demo/{role}").status_code == 303
            assert dict(visitor.cookies).keys() == {cookie}
    assert served.stop() == 0
    assert not any(folder.exists() for folder in made)


def test_the_demo_keeps_out_of_a_store_in_use(tmp_path: Path, workshop: Any) -> None:
    """Nobody's own studies can be opened without a passphrase by starting the demo on them."""
    command = [COMMAND, "run", "--demo", "--host", "127.0.0.1", "--port", "0"]
    command += ["--store", str(tmp_path / "studies.sqlite")]
    ended = subprocess.run(command, cwd=tmp_path, capture_output=True, text=True, timeout=60)
    assert ended.returncode == 2
    assert ended.stderr.startswith("Not done: --demo needs an empty store of its own.")


def test_the_demo_door_is_shut(server: Any) -> None:
    """Without --demo nobody enters without a passphrase."""
    with client(server) as desk:
        desk.get("/demo/leader")
        assert "staff" not in desk.cookies


# ---- the log ---------------------------------------------------------------------------------------------------------
def test_the_log_holds_no_score_token_or_name(server: Any, workshop: Any, seated: Any) -> None:
    """JSON lines only; joins and refusals are there, people's words are not."""
    phone = seated()
    place = first_cup(phone)
    body = {"serving": place["serving"], "line": place["lines"][0]["id"], "value": 7.3, "nonce": "feed" * 8}
    phone.post("/mark", json=body)
    phone.post("/note", json={"text": "the draught again"})
    phone.post("/sign-in", json={"name": "Ada", "passphrase": "a wrong passphrase"})
    entries = [json.loads(line) for line in server.logged().splitlines()]
    assert {"joined", "refused", "started"} <= {entry["what"] for entry in entries}
    told = repr(
        [{name: value for name, value in entry.items() if name != "at"} for entry in entries]
    )  # 7.3 s is a time
    secrets = (
        "Heron",
        "Ada",
        "7.3",
        "draught",
        "passphrase",
        "feedfeed",
        workshop.links[0].code,
        phone.cookies["seat"],
    )
    assert [secret for secret in secrets if secret in told] == []
