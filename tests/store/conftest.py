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


def _binaries() -> Path | None:
    """The folder of the newest server that is installed."""
    found = sorted(Path("/usr/lib/postgresql").glob("*/bin/initdb"))
    return found[-1].parent if found else None


@pytest.fixture(scope="session")
def postgres_server() -> Iterator[str]:
    """The address of a running server. Without one the test is skipped, but never on a machine that checks changes."""
    if _binaries() is None:
        if os.environ.get("CI") == "true":
            pytest.fail("PostgreSQL is missing")
        pytest.skip("PostgreSQL is not installed")
    yield from served()


def served() -> Iterator[str]:
    """The address of a server that runs as long as this goes on."""
    binaries = _binaries()
    assert binaries is not None, "PostgreSQL is not installed"
    # The server refuses to run as the administrator, so it runs as the account that Debian made for it.
    as_user = ["setpriv", "--reuid=postgres", "--regid=postgres", "--clear-groups"] if os.geteuid() == 0 else []
    folder = Path(tempfile.mkdtemp(prefix="pg", dir="/tmp"))
    if as_user:
        account = pwd.getpwnam("postgres")
        os.chown(folder, account.pw_uid, account.pw_gid)
    with socket.socket() as trial:
        trial.bind(("127.0.0.1", 0))
        port = trial.getsockname()[1]
    data, options = str(folder / "data"), ["-c", "listen_addresses=127.0.0.1", "-c", "fsync=off"]
    _run([*as_user, str(binaries / "initdb"), "-D", data, "-A", "trust", "-U", "postgres", "-E", "UTF8"])
    # The signal ends it with us, even when this run is killed.
    command = [*(as_user or ["setpriv"]), "--pdeathsig=QUIT", str(binaries / "postgres"), "-D", data, *options]
    server = subprocess.Popen([*command, "-p", str(port), "-k", str(folder)], cwd="/tmp", stderr=subprocess.DEVNULL)
    try:
        _wait(str(binaries / "pg_isready"), port)
        yield f"postgresql://postgres@127.0.0.1:{port}"
    finally:
        server.send_signal(signal.SIGQUIT)
        server.wait(30)
        shutil.rmtree(folder)


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
