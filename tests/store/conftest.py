"""A PostgreSQL server of our own for the tests that need one: started once, on a free port, and always stopped."""

from __future__ import annotations

import os
import pwd
import shutil
import signal
import socket
import subprocess
import tempfile
import time
import uuid
from collections.abc import Iterator
from pathlib import Path

import pytest


def binaries() -> Path | None:
    """The folder of the newest server that is installed."""
    found = sorted(Path("/usr/lib/postgresql").glob("*/bin/initdb"))
    return found[-1].parent if found else None


@pytest.fixture(scope="session")
def postgres_server() -> Iterator[str]:
    """The address of a running server. Without one the test is skipped, but never on a machine that checks changes."""
    if binaries() is None:
        if os.environ.get("CI") == "true":
            pytest.fail("PostgreSQL is missing")
        pytest.skip("PostgreSQL is not installed")
    yield from served()


def served() -> Iterator[str]:
    """The address of a server that runs as long as this goes on."""
    server = Served()
    try:
        server.start()
        yield server.url
    finally:
        server.remove()


class Served:
    """A cluster of its own with its server, which a test may stop as a pulled plug does and start again."""

    def __init__(self) -> None:
        """An empty cluster, its server not yet started."""
        found = binaries()
        assert found is not None, "PostgreSQL is not installed"
        self.programs = found
        # The server refuses to run as the administrator, so it runs as the account that Debian made for it.
        user = ["setpriv", "--reuid=postgres", "--regid=postgres", "--clear-groups"]
        self.as_user = user if os.geteuid() == 0 else []
        self.folder = Path(tempfile.mkdtemp(prefix="pg", dir="/tmp"))
        if self.as_user:
            account = pwd.getpwnam("postgres")
            os.chown(self.folder, account.pw_uid, account.pw_gid)
        with socket.socket() as trial:
            trial.bind(("127.0.0.1", 0))
            self.port = trial.getsockname()[1]
        self.data = str(self.folder / "data")
        self.running: subprocess.Popen[bytes] | None = None
        _run([*self.as_user, str(found / "initdb"), "-D", self.data, "-A", "trust", "-U", "postgres", "-E", "UTF8"])

    @property
    def url(self) -> str:
        """Where it listens."""
        return f"postgresql://postgres@127.0.0.1:{self.port}"

    def start(self) -> None:
        """Start it and wait until it answers."""
        options = ["-c", "listen_addresses=127.0.0.1", "-c", "fsync=off"]
        # The signal ends it with us, even when this run is killed.
        command = [*(self.as_user or ["setpriv"]), "--pdeathsig=QUIT", str(self.programs / "postgres"), "-D", self.data]
        command += [*options, "-p", str(self.port), "-k", str(self.folder)]
        self.running = subprocess.Popen(command, cwd="/tmp", stderr=subprocess.DEVNULL)
        _wait(str(self.programs / "pg_isready"), self.port)

    def stop_at_once(self) -> None:
        """As `stop -m immediate`: no farewell to anybody, recovery at the next start."""
        if self.running is not None:
            self.running.send_signal(signal.SIGQUIT)
            self.running.wait(30)

    def remove(self) -> None:
        """Stop it and take its cluster away."""
        self.stop_at_once()
        shutil.rmtree(self.folder)


def _wait(ready: str, port: int) -> None:
    until = time.monotonic() + 30
    while subprocess.run([ready, "-q", "-h", "127.0.0.1", "-p", str(port)], check=False).returncode:
        assert time.monotonic() < until, "PostgreSQL did not start"
        time.sleep(0.05)


def _run(command: list[str]) -> None:
    subprocess.run(command, check=True, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL, cwd="/tmp")


@pytest.fixture
def postgres(postgres_server: str) -> str:
    """The address of an empty database."""
    import psycopg

    name = f"t{uuid.uuid4().hex}"
    with psycopg.connect(f"{postgres_server}/postgres", autocommit=True) as connection:
        connection.execute(f"CREATE DATABASE {name}")
    return f"{postgres_server}/{name}"
