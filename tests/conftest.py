"""A real server and a real browser for every test that wants them, and a small workshop to serve.

The server is the installed command, started from a folder that has nothing to do with the project; it is always
stopped, and its log is printed when it does not come up.
"""

from __future__ import annotations

import asyncio
import json
import os
import re
import secrets
import signal
import socket
import ssl
import subprocess
import sys
import tempfile
import time
import urllib.error
import urllib.request
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

import pytest
from hypothesis import settings

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # as the command does, before anything imports numpy

os.environ["XDG_DATA_HOME"] = tempfile.mkdtemp(prefix="studyapp-tests-")  # no test leaves anything in this account

from studyapp import words
from studyapp.kinds.hours.plan import HoursPlan, Pull
from studyapp.records import Attribute, JoinLink, Mark, Place, Sitting, Staff
from studyapp.services import accounts, joining, panel, passphrases, planning, preparing, tasting, watching
from studyapp.store import Store
from tests.forking import Forked, parent
from tests.furnished import furnished, reached
from tests.words.second_language import made_ready

# Hundreds of tests make accounts, and a passphrase at its real cost takes half a second. An installed server, started
# and not forked, keeps the real one.
REAL_COST = passphrases.TODAY
passphrases.TODAY = passphrases.Cost(2**10, 8, 1)

CHROMIUM = Path("/usr/bin/chromium")
FLAGS = ["--no-sandbox", "--disable-gpu", "--disable-quic", "--disable-background-networking"]
CHECKS = frozenset({"safe_food", "allergens_shown", "sound_pieces", "labels_read"})

# Every run draws the same examples (with one version of hypothesis), so that a change passes or fails for what it
# changes. The search for new ones, `--hypothesis-profile=search -m hypothesis`, draws at random, so many times over.
settings.register_profile("same", derandomize=True, deadline=None)
settings.register_profile("search", derandomize=False, deadline=None, print_blob=True)
settings.load_profile("same")
SEARCHES = 20


def pytest_generate_tests(metafunc: pytest.Metafunc) -> None:
    """In a search every property test is drawn anew many times; a test says itself how many examples a draw has."""
    drawn = getattr(metafunc.function, "is_hypothesis_test", False)
    if drawn and _searching(metafunc.config):
        metafunc.fixturenames.append("search")
        metafunc.parametrize("search", range(SEARCHES))


def _searching(config: pytest.Config) -> bool:
    return bool(config.getoption("--hypothesis-profile") == "search")


@pytest.fixture
def draws(request: pytest.FixtureRequest) -> Callable[[int, int], int]:
    """How many a simulation draws: the first number in every run, the second in a search.

    The search is `-m simulation --hypothesis-profile=search`, by the option that property tests are searched with.
    """
    return lambda always, searched: searched if _searching(request.config) else always


# ---- the server ------------------------------------------------------------------------------------------------------
def free_port() -> int:
    """A port nobody listens on."""
    with socket.socket() as trial:
        trial.bind(("127.0.0.1", 0))
        return int(trial.getsockname()[1])


def _start(arguments: list[str], folder: Path, environment: dict[str, str], printed: Path) -> subprocess.Popen[bytes]:
    command = [str(Path(sys.executable).with_name("studyapp")), *arguments]
    with printed.open("ab") as out:
        return subprocess.Popen(command, cwd=folder, env=environment, stdout=out, stderr=out)


@dataclass
class Server:
    """`studyapp run` as a process of its own. `extra` stands in its command in place of the store. With `installed` it
    is the command itself, started; else a fork of a process that has imported the app, which spares that time."""

    folder: Path
    port: int
    extra: tuple[str, ...] = ()
    environment: dict[str, str] = field(default_factory=dict)
    installed: bool = False
    process: Forked | subprocess.Popen[bytes] | None = None

    @property
    def url(self) -> str:
        """Where it listens."""
        return f"http{'s' if 'STUDYAPP_TLS_KEY' in self.environment else ''}://127.0.0.1:{self.port}"

    @property
    def store_file(self) -> Path:
        """Its store."""
        return self.folder / "studies.sqlite"

    @property
    def log_file(self) -> Path:
        """Its log of JSON lines."""
        return self.folder / "log.jsonl"

    def start(self) -> Server:
        """Start it and wait until it answers."""
        arguments = ["run", "--host", "127.0.0.1", "--port", str(self.port)]
        arguments += self.extra or ("--store", str(self.store_file))
        foreign = self.folder / "elsewhere"
        foreign.mkdir(exist_ok=True)
        environment = {**os.environ, "STUDYAPP_LOG_FILE": str(self.log_file), "HOME": str(foreign), **self.environment}
        printed = self.folder / "printed.txt"
        self.process = (_start if self.installed else parent().fork)(arguments, foreign, environment, printed)
        self._wait()
        return self

    def _wait(self) -> None:
        until = time.monotonic() + 90  # filling the invented workshop takes seconds, on a busy machine many
        while time.monotonic() < until:
            if self.process is None or self.process.poll() is not None:
                break
            if self.healthy():
                return
            time.sleep(0.05)
        self.stop()
        raise AssertionError(f"the server did not start:\n{self.printed()}\n{self.logged()}")

    def healthy(self) -> bool:
        """True when it answers."""
        try:
            trusting = ssl._create_unverified_context()
            with urllib.request.urlopen(f"{self.url}/health", timeout=2, context=trusting) as answer:
                return bool(answer.status == 200)
        except (urllib.error.URLError, OSError):
            return False

    def printed(self) -> str:
        """What it wrote to the terminal."""
        return (self.folder / "printed.txt").read_text(errors="replace")

    def first_code(self) -> str:
        """The code it printed last for its first leader."""
        return re.findall("[2-9A-Z]{4}-[2-9A-Z]{4}-[2-9A-Z]{4}", self.printed())[-1]

    def logged(self) -> str:
        """Its log."""
        return self.log_file.read_text() if self.log_file.exists() else ""

    def kill(self) -> None:
        """Pull the plug."""
        self._signal(signal.SIGKILL)

    def stop(self, how: signal.Signals = signal.SIGTERM) -> int:
        """End it in an orderly way; the exit code."""
        return self._signal(how)

    def _signal(self, how: signal.Signals) -> int:
        if self.process is None:
            return 0
        if self.process.poll() is None:
            self.process.send_signal(how)
            try:
                self.process.wait(20)
            except subprocess.TimeoutExpired:
                self.process.kill()
                self.process.wait(5)
        return int(self.process.returncode)


@pytest.fixture
def run_server(tmp_path: Path) -> Iterator[Callable[..., Server]]:
    """Start servers in the test's folder; all are stopped when it ends."""
    started: list[Server] = []

    def run(**more: Any) -> Server:
        started.append(Server(tmp_path, free_port(), **more))
        return started[-1].start()

    yield run
    for each in started:
        each.stop()


@pytest.fixture(scope="module")
def demo(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Server]:
    """The invented workshop, served once for a module whose tests leave it as it is: filling it takes seconds."""
    served = Server(tmp_path_factory.mktemp("demo"), free_port(), ("--demo",)).start()
    yield served
    served.stop()


@pytest.fixture
def server(workshop: Workshop, run_server: Callable[..., Server]) -> Server:
    """A started server on the workshop's store."""
    return run_server()


# ---- the workshop ----------------------------------------------------------------------------------------------------
@dataclass
class Workshop:
    """One sealed study with an open sitting whose trays are all out, and a link for each assessor."""

    store: Store
    leader: Staff
    preparer: Staff
    study: str
    sitting: Sitting
    links: tuple[JoinLink, ...]
    plan: HoursPlan
    passphrase: str = field(default="a bench by the window", repr=False)

    def link(self, number: int = 0) -> str:
        """The path of an assessor's join link."""
        return f"/join/{self.links[number].code}"

    def scores(self) -> list[tuple[str, str, float | None, str | None]]:
        """Every score row, oldest first: code, line, value, reason. Read beside the running server."""
        with self.store.read() as tx:
            rows = tx.exec_driver_sql(
                "SELECT serving.code, attribute.name, score.value, score.reason FROM score"
                " JOIN serving ON serving.id = score.serving_id JOIN attribute ON attribute.id = score.attribute_id"
                " ORDER BY score.id"
            ).all()
        return [tuple(row) for row in rows]

    def secrets(self) -> dict[str, str]:
        """Ids of samples and of the study, by what they are: no browser may ever get one."""
        with self.store.read() as tx:
            samples = tx.exec_driver_sql("SELECT id FROM sample").scalars().all()
        return {f"sample {number}": str(found) for number, found in enumerate(samples)} | {"study": self.study}


# Words that must never reach an assessor: they are planted everywhere a study keeps something of its own.
CANARIES = ("Quittentorte", "Zirbelnuss", "Pfauenfeder", "Drehmaschine", "Nullpunkt")
PLAN = HoursPlan(
    title=f"{CANARIES[0]} study",
    question=f"When is {CANARIES[1]} done?",
    recipe=f"{CANARIES[1]} 72",
    batch=f"{CANARIES[2]} 9",
    machine=CANARIES[3],
    hour_zero=CANARIES[4],
    pulls=(Pull(17.25, mass_g=3911.27), Pull(33.75, mass_g=3922.83), Pull(61.5, mass_g=3933.59)),
    attributes=(
        Attribute("Acidity", "sharp, like lemon or vinegar"),
        Attribute("Bitterness", "like strong coffee, back of the tongue"),
        Attribute("Astringency", "mouth feels dry and rough", decides=False),
    ),
    looks=1,
    sittings=1,
    replicates=1,
    rest_seconds=0,
    warm_up=True,
    contains="cocoa, cane sugar, cocoa butter",
    traces="milk, hazelnut and almond",
)
NAMES = ("Heron", "Lark", "Wren", "Tern", "Siskin", "Plover", "Dipper", "Rook")


@pytest.fixture
def plan() -> HoursPlan:
    """The plan that `workshop` seals; override it in a module for another one."""
    return PLAN


@pytest.fixture
def seats() -> int:
    """How many assessors `workshop` has; override it like `plan`."""
    return 5


@pytest.fixture
def workshop(tmp_path: Path, plan: HoursPlan, seats: int) -> Iterator[Workshop]:
    """A workshop in a store of its own."""
    store, made = furnished(tmp_path / "studies.sqlite", furnish, plan, seats)
    try:
        yield made
    finally:
        store.close()


def furnish(store: Store, plan: HoursPlan, assessors: int) -> Workshop:
    """Staff, assessors, a sealed study, an open sitting, every tray released."""
    leader = accounts.first_leader(store, "Ada", Workshop.passphrase)
    preparer = accounts.add_staff(store, leader, "Ben", "preparer", "given for a start")
    own_passphrase(store, "Ben", "given for a start", Workshop.passphrase)
    names = NAMES if assessors <= len(NAMES) else [f"Seat {number}" for number in range(assessors)]
    seated = tuple(panel.add_assessor(store, leader, name).id for name in names[:assessors])
    study = planning.new_study(store, leader, "hours", plan.title)
    sealed = replace(plan, assessors=seated)
    planning.keep_plan(store, leader, study, sealed)
    planning.seal(store, leader, study, plan.title)
    sitting = preparing.sittings(store, leader, study)[0]
    for tray in preparing.trays(store, preparer, sitting.id):
        preparing.release_tray(store, preparer, sitting.id, tray.position, CHECKS, "Cleo")
    watching.open_sitting(store, leader, sitting.id)
    return Workshop(store, leader, preparer, study, sitting, joining.issue_links(store, leader, sitting.id), sealed)


def own_passphrase(store: Store, name: str, given: str, own: str) -> None:
    """Sign in for the first time and choose a passphrase, which everybody must before anything else."""
    token = accounts.sign_in(store, name, given, "10.0.0.7")
    accounts.sign_out(store, accounts.change_passphrase(store, token, given, own, "10.0.0.7"))


def another_leader(store: Store, leader: Staff) -> Staff:
    """A second panel leader, with an account of her own, made after the key was opened where one opens it alone."""
    return accounts.add_staff(store, leader, "Ida", "leader", Workshop.passphrase)


def apart(work: Any) -> Any:
    """Run it in a thread of its own: a browser that was opened before keeps a loop running in this one."""
    with ThreadPoolExecutor(1) as thread:
        return thread.submit(asyncio.run, work).result()


# ---- the hands -------------------------------------------------------------------------------------------------------
class Hand:
    """One assessor with a phone."""

    def __init__(self, store: Store, token: str) -> None:
        """The phone has joined already."""
        self.store, self.token = store, token

    def place(self) -> Place:
        """What the phone shows."""
        return tasting.place(self.store, self.token)

    def mark(self, serving: str, line: str, value: float) -> str:
        """Mark one line; returns the nonce."""
        nonce = secrets.token_hex(12)
        tasting.keep_mark(self.store, self.token, Mark(serving, line, value, nonce))
        return nonce

    def serving(self) -> Place:
        """Agree, drink the warm-up away and stand before the next scored serving."""
        tasting.agree(self.store, self.token)
        here = self.place()
        if here.kind == "warm_up":
            assert here.serving is not None
            tasting.finish_serving(self.store, self.token, here.serving)
            here = self.place()
        return here

    def taste_all(self, value_of: Callable[[Place, str], float] = lambda _place, _line: 5.0) -> int:
        """Mark every line of every serving; returns how many marks."""
        marks = 0
        here = self.serving()
        while here.kind == "serving" and here.serving is not None:
            for line in here.lines:
                self.mark(here.serving, line.id, value_of(here, line.name))
                marks += 1
            tasting.finish_serving(self.store, self.token, here.serving)
            here = self.place()
        return marks


@pytest.fixture
def hand(workshop: Workshop) -> Hand:
    """The first assessor of the workshop, joined."""
    return Hand(workshop.store, joining.join(workshop.store, workshop.links[0].code, "10.0.0.7", None))


@pytest.fixture
def hands(workshop: Workshop) -> list[Hand]:
    """Every assessor of the workshop, joined."""

    def join() -> list[str]:
        return [joining.join(workshop.store, link.code, "10.0.0.7", None) for link in workshop.links]

    return [Hand(workshop.store, token) for token in reached(workshop.store, join, "everybody has joined")]


# ---- the browser -----------------------------------------------------------------------------------------------------
@pytest.fixture(scope="session")
def chromium() -> Iterator[Any]:
    """One Chromium for the whole run. Without it the test is skipped, but never on the machine that checks changes."""
    if not CHROMIUM.exists():
        if os.environ.get("CI") == "true":
            pytest.fail(f"{CHROMIUM} is missing")
        pytest.skip(f"{CHROMIUM} is not installed")
    from playwright.sync_api import sync_playwright

    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=str(CHROMIUM), args=FLAGS)
        yield browser
        browser.close()


@dataclass
class Heard:
    """All that a page asked for, was told and wrote, for tests that look for what must not be there."""

    requests: list[str] = field(default_factory=list)
    frames: list[bytes] = field(default_factory=list)
    headers: list[str] = field(default_factory=list)
    console: list[str] = field(default_factory=list)

    def outside(self, own: str) -> list[str]:
        """Requests that left this server."""
        inner = (own, own.replace("http", "ws", 1), "data:", "blob:")
        return [url for url in self.requests if not url.startswith(inner)]

    def everything(self) -> bytes:
        """One heap of bytes to search."""
        texts = "\n".join([*self.requests, *self.headers, *self.console])
        return b"\n".join([texts.encode(), *self.frames])


@pytest.fixture
def phone(chromium: Any) -> Iterator[Callable[..., tuple[Any, Heard]]]:
    """Make a phone: a fresh browser profile with one page, and what it hears."""
    contexts = []

    def make(width: int = 390, scheme: str = "light", **more: Any) -> tuple[Any, Heard]:
        size = {"width": width, "height": 844 if width < 600 else 900}
        context = chromium.new_context(viewport=size, color_scheme=scheme, has_touch=width < 600, **more)
        contexts.append(context)
        page = context.new_page()
        return page, listen(page)

    yield make
    for context in contexts:
        context.close()


def listen(page: Any) -> Heard:
    """Write down what a page asks and hears."""
    heard = Heard()
    page.on("request", lambda request: heard.requests.append(request.url))
    page.on("response", lambda answer: heard.headers.append(json.dumps(dict(answer.headers))))
    page.on("console", lambda line: heard.console.append(line.text))

    def socket_opened(opened: Any) -> None:
        heard.requests.append(opened.url)
        opened.on("framereceived", lambda frame: heard.frames.append(_bytes(frame)))

    page.on("websocket", socket_opened)
    return heard


def _bytes(frame: str | bytes) -> bytes:
    return frame.encode() if isinstance(frame, str) else frame


# ---- a second language ---------------------------------------------------------------------------------------------
@pytest.fixture
def second_language(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[None]:
    """A compiled catalogue beside the package, spoken for one test."""
    made_ready(tmp_path, "fr")
    monkeypatch.setattr(words, "FOLDER", str(tmp_path))
    for kept in (words._catalogue, words._languages):
        kept.cache_clear()
    before = words.language()
    words.speak("fr")
    yield
    words.speak(before)
    for kept in (words._catalogue, words._languages):
        kept.cache_clear()
