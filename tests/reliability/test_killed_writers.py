"""A mark that was called saved is there after the plug was pulled (200 kills)."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest

pytestmark = pytest.mark.reliability
KILLS = 200


def test_no_acknowledged_mark_is_lost_when_a_writer_is_killed(workshop: Any, hand: Any) -> None:
    """200 kills at random moments of single-mark commits: none lost, the file sound, the chain unbroken each time."""
    here = hand.serving()
    url = workshop.store.url
    workshop.store.close()
    lines = ",".join(line.id for line in here.lines)
    command = [sys.executable, str(Path(__file__).with_name("killed_writer.py")), url, hand.token, here.serving, lines]
    done = subprocess.run([*command, str(KILLS), "20261125"], capture_output=True, text=True, timeout=280, check=False)
    assert done.returncode == 0, done.stderr
    report = json.loads(done.stdout)
    assert report["rounds"] == KILLS
    assert report["acknowledged"] >= 2 * KILLS
    assert report["lost"] == []
    assert report["unsound"] == []
