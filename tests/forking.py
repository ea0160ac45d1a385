"""Many servers without the price of many starts: one process imports the app once, and every server is a fork of it.

A fork runs the very `main` of the installed command, with the arguments, folder and environment that a started process
would have had; only the imports are shared. Run as a program this is the process that forks: it reads one request a
line and answers each in one line.
"""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
import tempfile
import time
from functools import cache
from pathlib import Path
from typing import Any, NoReturn

READY = "ready"


class Forked:
    """A forked command, as `subprocess.Popen` has it where tests ask: pid, poll, wait, signals and the exit code."""

    def __init__(self, parent: Parent, pid: int) -> None:
        """Known by its number to the process that forked it."""
        self.parent, self.pid = parent, pid
        self.returncode: int | None = None

    def poll(self) -> int | None:
        """The exit code, None while it runs."""
        if self.returncode is None:
            self.returncode = self.parent.ask(poll=self.pid)
        return self.returncode

    def wait(self, timeout: float | None = None) -> int:
        """Until it ends. Raises subprocess.TimeoutExpired."""
        until = None if timeout is None else time.monotonic() + timeout
        while (code := self.poll()) is None:
            if until is not None and time.monotonic() > until:
                raise subprocess.TimeoutExpired("studyapp", timeout or 0.0)
            time.sleep(0.02)
        return code

    def send_signal(self, number: int) -> None:
        """As if pressed or sent from outside."""
        if self.poll() is None:
            os.kill(self.pid, number)

    def kill(self) -> None:
        """Without a word."""
        self.send_signal(signal.SIGKILL)


class Parent:
    """The process that forks."""

    def __init__(self) -> None:
        """Started once; the imports take seconds."""
        command = [sys.executable, str(Path(__file__))]
        self.process = subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True)
        assert self._answer() == READY

    def fork(
        self,
        arguments: list[str],
        folder: Path,
        environment: dict[str, str],
        printed: Path,
        complained: Path | None = None,
    ) -> Forked:
        """Run `studyapp` with these arguments; what it prints is added to a file, or to one for each stream."""
        files = {"printed": str(printed), "complained": str(complained or printed)}
        return Forked(self, self.ask(arguments=arguments, folder=str(folder), environment=environment, **files))

    def ask(self, **request: Any) -> Any:
        """One request, one answer."""
        assert self.process.stdin is not None
        self.process.stdin.write(json.dumps(request) + "\n")
        self.process.stdin.flush()
        return self._answer()

    def _answer(self) -> Any:
        assert self.process.stdout is not None
        return json.loads(self.process.stdout.readline())

    def end(self) -> None:
        """No more forks."""
        self.process.kill()
        self.process.wait()


@cache
def parent() -> Parent:
    """The process that everything of this worker is forked from; it ends with the worker, whose pipe it reads."""
    return Parent()


def run(*command: str, folder: Path = Path("/")) -> subprocess.CompletedProcess[str]:
    """A command as somebody types it, to its end: a process of its own, with all that it says.

    Raises subprocess.TimeoutExpired after a minute.
    """
    with tempfile.TemporaryDirectory() as aside:
        said, complained = Path(aside, "said"), Path(aside, "complained")
        ended = parent().fork(list(command), folder, dict(os.environ), said, complained).wait(60)
        return subprocess.CompletedProcess(command, ended, said.read_text(), complained.read_text())


# ---- the process that forks ------------------------------------------------------------------------------------------
def _import_everything() -> None:
    """What a server and its pages load, in whatever order they would."""
    import importlib
    import pkgutil

    import uvicorn  # noqa: F401

    import analysis
    import studyapp

    for package in (studyapp, analysis):
        for module in pkgutil.walk_packages(package.__path__, f"{package.__name__}."):
            if "migrations" not in module.name and module.name != "studyapp.app":  # the app draws when it is imported
                importlib.import_module(module.name)


def _scan_once() -> None:
    """Streamlit reads what is told of every installed package when it starts, to find components in them: that is half
    of a start, and nothing is installed meanwhile."""
    from streamlit.components.v2 import manifest_scanner

    found = manifest_scanner.scan_component_manifests()
    manifest_scanner.scan_component_manifests = lambda *_workers: list(found)


def _cheapen() -> None:
    """A passphrase at its real cost takes half a second of a core; `tests/services/test_passphrases.py` pays it."""
    from studyapp.services import passphrases

    passphrases.TODAY = passphrases.Cost(2**10, 8, 1)


def _become(request: dict[str, Any]) -> NoReturn:
    """The command itself, in the new process."""
    os.setsid()
    for number, file in ((1, request["printed"]), (2, request["complained"])):
        os.dup2(os.open(file, os.O_WRONLY | os.O_CREAT | os.O_APPEND, 0o600), number)
    os.dup2(os.open(os.devnull, os.O_RDONLY), 0)
    os.chdir(request["folder"])
    os.environ.clear()
    os.environ.update(request["environment"])
    sys.argv = ["studyapp", *request["arguments"]]
    from studyapp.cli import main

    code = 0
    try:
        main()
    except SystemExit as ended:
        code = ended.code if isinstance(ended.code, int) else int(ended.code is not None)
    except BaseException:
        import traceback

        traceback.print_exc()
        code = 1
    finally:
        sys.stdout.flush()
        sys.stderr.flush()
        os._exit(code)


def _answered(request: dict[str, Any]) -> int | None:
    if "poll" in request:
        pid, status = os.waitpid(request["poll"], os.WNOHANG)
        return os.waitstatus_to_exitcode(status) if pid else None
    child = os.fork()
    if not child:
        _become(request)
    return child


def _serve() -> None:
    answers = os.fdopen(os.dup(1), "w")
    os.dup2(2, 1)  # nothing that a module prints is an answer
    _import_everything()
    _scan_once()
    _cheapen()
    print(json.dumps(READY), file=answers, flush=True)
    for line in sys.stdin:
        print(json.dumps(_answered(json.loads(line))), file=answers, flush=True)


if __name__ == "__main__":
    _serve()
