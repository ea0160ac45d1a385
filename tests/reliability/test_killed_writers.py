"""A mark that was called saved is there after the plug was pulled (1,000 kills in a search, 60 otherwise)."""

from __future__ import annotations

import json
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

pytestmark = pytest.mark.reliability


def test_no_acknowledged_mark_is_lost_when_a_writer_is_killed(
    workshop: Any, hand: Any, draws: Callable[[int, int], int]
) -> None:
    """Kills at random moments of single-mark commits: none lost, the file sound, the chain unbroken each time."""
    kills = draws(60, 1000)
    here = hand.serving()
    url = workshop.store.url
    workshop.store.close()
    lines = ",".join(line.id for line in here.lines)
    command = [sys.executable, str(Path(__file__).with_name("killed_writer.py")), url, hand.token, here.serving, lines]
    done = subprocess.run([*command, str(kills), "20261125"], capture_output=True, text=True, timeout=300 + kills, check=False)
    assert done.returncode == 0, done.stderr
    report = json.loads(done.stdout)
    assert report["rounds"] == kills
    assert report["acknowledged"] >= 2 * kills
    assert report["lost"] == []
    assert report["unsound"] == []
