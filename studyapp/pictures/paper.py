"""Pictures as SVG, for the typesetter: the same specifications as on the screen, laid out without a browser.

The converter carries its own JavaScript engine with the same drawing library as the browser. It reads no address, and
measures words with the typeface that travels with the app, so that a picture is the same on every machine. It is a
process of its own (`converter.py`), started when first asked, since starting it takes longer than a picture does.
"""

from __future__ import annotations

import atexit
import json
import subprocess
import sys
from collections.abc import Sequence
from pathlib import Path
from threading import Lock

from studyapp.assets import font_folder
from studyapp.pictures.marks import Picture

# Pixels across, for a third of an A4 page and for the whole: letters of 13 and 14 px then print at 7.6 and 8.2 pt.
THIRD, WHOLE = 270, 858


def svgs(pictures: Sequence[Picture], width: int) -> list[str]:
    """The pictures at a width in px, in their order; words stay text, the height is each picture's own.

    Raises:
        RuntimeError: the converter refused a picture or ended.
    """
    if not pictures:
        return []
    told = json.dumps([{**picture, "width": width} for picture in pictures])
    answer = json.loads(_CONVERTER.ask(told.encode()))
    if "refused" in answer:
        raise RuntimeError(f"the converter refused a picture: {answer['refused']}")
    drawn: list[str] = answer["svg"]
    return drawn


class _Converter:
    """The process, if there is one; one question at a time."""

    def __init__(self) -> None:
        self._lock = Lock()
        self._running: subprocess.Popen[bytes] | None = None

    def ask(self, line: bytes) -> bytes:
        """The answer to one line."""
        with self._lock:
            if self._running is None or self._running.poll() is not None:
                self._running = _started()
            assert self._running.stdin is not None
            assert self._running.stdout is not None
            self._running.stdin.write(line + b"\n")
            self._running.stdin.flush()
            answer = self._running.stdout.readline()
        if not answer:
            raise RuntimeError("the converter of pictures ended")
        return answer

    def end(self) -> None:
        """Let the process go; the next question starts another."""
        with self._lock:
            if self._running is not None:
                self._running.communicate()
                self._running = None


def _started() -> subprocess.Popen[bytes]:
    program = Path(__file__).with_name("converter.py")
    return subprocess.Popen(
        [sys.executable, "-P", str(program), str(font_folder())], stdin=subprocess.PIPE, stdout=subprocess.PIPE
    )


_CONVERTER = _Converter()
atexit.register(_CONVERTER.end)
