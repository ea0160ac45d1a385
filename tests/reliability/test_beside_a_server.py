"""Commands beside a running server lose nothing, and the app never opens its own store as a plain file.

The trap (sqlite.org/howtocorrupt.html, section 2.2): closing any handle on a file drops all POSIX locks the process
holds on it; another program may then throw the log of an open store away, with answers in it.
"""

from __future__ import annotations

import ast
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest

import studyapp
from studyapp.services.checking import check
from studyapp.store import read_store, servings

pytestmark = pytest.mark.reliability
ROOT = Path(studyapp.__file__).parent
STUDYAPP = Path(sys.executable).with_name("studyapp")
MARKS = 50

# What may open a file at all, and why it can never be the store. A new entry needs such a reason.
OPENS = {
    "arguments.py": "files of answers that a person names, hashed by a command of its own process",
    "assets/__init__.py": "fonts and the icon that come with the app",
    "cli/__init__.py": "the null device, when the reader of a pipe has gone",
    "kinds/comparison/commands/compare.py": "the report a person names, written as a new file",
    "kinds/hours/commands/decide.py": "the report a person names, written as a new file",
    "components/look.py": "the style sheet that comes with the app",
    "components/phone/__init__.py": "a script that comes with the app",
    "routes.py": "the page of refusals that comes with the app",
    "kinds/hours/pages/bring.py": "an uploaded file under a name of our own",
    "server.py": "the page that comes with Streamlit",
    "services/points.py": "a point and its key, in a folder of their own beside the store",
    "services/toml_files.py": "a rule that a person brings",
    "services/package_files.py": "tables of a study, in a folder that a person names",
    "store/clock.py": "the number of this start of the machine",
    "store/place.py": "the mount table; a new file; a copy that nobody has open yet; a store that is being replaced",
}
NAMES = {"open", "fdopen", "read_bytes", "read_text", "write_bytes", "write_text", "FileResponse", "sendfile", "memmap"}
COPIES = {"copy", "copy2", "copyfile", "copyfileobj", "copytree", "move"}


def opened_in(file: Path) -> set[str]:
    """Calls in a module that open or copy files, by name."""
    calls = [node.func for node in ast.walk(ast.parse(file.read_text())) if isinstance(node, ast.Call)]
    plain = {call.id for call in calls if isinstance(call, ast.Name)}
    attributes = {call.attr for call in calls if isinstance(call, ast.Attribute)}
    copied = {
        call.attr
        for call in calls
        if isinstance(call, ast.Attribute) and isinstance(call.value, ast.Name) and call.value.id == "shutil"
    }
    return (plain | attributes) & NAMES | copied & COPIES


def test_only_known_modules_open_files() -> None:
    """Each of them has a reason why its file can never be the store; nothing copies files at all."""
    found = {str(file.relative_to(ROOT)): opened_in(file) for file in sorted(ROOT.rglob("*.py"))}
    assert {name for name, calls in found.items() if calls} == set(OPENS)
    assert not [name for name, calls in found.items() if calls & COPIES]


def run(*command: str) -> str:
    """A command that must succeed."""
    done = subprocess.run([str(STUDYAPP), *command], capture_output=True, text=True, timeout=60, check=False)
    assert done.returncode == 0, done.stderr
    return done.stdout


@pytest.mark.parametrize("what", ["check", "backup", "read", "open"])
def test_no_mark_is_lost_by_a_program_beside_the_server(workshop: Any, hand: Any, tmp_path: Path, what: str) -> None:
    """50 marks around a second program that opens and closes the store; then the server is killed; all are there."""
    here = hand.serving()
    url = workshop.store.url
    workshop.store.close()
    file = str(tmp_path / "studies.sqlite")
    beside = {
        "check": lambda: run("check", "--store", file),
        "backup": lambda: run("backup", str(tmp_path / "copy.sqlite"), "--store", file),
        "read": lambda: read_store(url).close(),
        "open": lambda: subprocess.run(
            [sys.executable, "-c", f"from studyapp.store import open_store; open_store({file!r}).close()"], check=True
        ),
    }[what]
    script = str(Path(__file__).with_name("marking_server.py"))
    command = [sys.executable, script, url, hand.token, here.serving, here.lines[0].id]
    server = subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True)
    told = []
    try:
        for number in range(MARKS):
            told.append(_ask(server, "mark"))
            if number == MARKS // 5:
                assert _ask(server, "check") == "True"
                beside()
    finally:
        server.kill()
        server.wait()
        _close(server)
    store = read_store(url)
    with store.read() as tx:
        kept = {row.nonce for row in servings.all_scores(tx)}
    store.close()
    assert len(told) == MARKS
    assert set(told) <= kept
    assert check(url).sound


def _ask(server: Any, order: str) -> str:
    server.stdin.write(f"{order}\n")
    server.stdin.flush()
    answer = server.stdout.readline().strip()
    assert answer, f"the server ended with {server.wait()}"
    return str(answer)


def _close(server: Any) -> None:
    for pipe in (server.stdin, server.stdout):
        if not pipe.closed:
            pipe.close()
