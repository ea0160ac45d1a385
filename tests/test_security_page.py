"""The page on security names a test for each thing it claims, and each of these tests exists."""

from __future__ import annotations

import re
from pathlib import Path

import studyapp

ROOT = Path(studyapp.__file__).parents[1]
PAGE = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8").split("## Security")[1].split("\n## ")[0]
ROWS = [line for line in PAGE.splitlines() if line.startswith("| ") and not line.startswith(("| items", "| ---"))]


def test_every_row_names_tests_that_exist() -> None:
    """No row without one, no name that nothing bears."""
    there = {
        name
        for file in (ROOT / "tests").rglob("test_*.py")
        for name in re.findall(r"^def (test_\w+)\(", file.read_text(encoding="utf-8"), flags=re.MULTILINE)
    }
    assert len(ROWS) > 20
    for row in ROWS:
        named = re.findall(r"`(test_\w+)`", row.split("|")[3])
        assert named, row
        assert set(named) <= there, set(named) - there
