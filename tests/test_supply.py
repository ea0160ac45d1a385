"""What the app is made of is written down: every package it needs, with a hash and a licence, and its own licence."""

from __future__ import annotations

import json
import re
import tomllib
from importlib.metadata import requires, version
from pathlib import Path

import pytest
from packaging.requirements import Requirement

import studyapp

ROOT = Path(studyapp.__file__).parents[1]
LOCK = ROOT / ".ci" / "requirements.lock"
PROJECT = tomllib.loads((ROOT / "pyproject.toml").read_text())["project"]
LOCKED = dict(re.findall(r"^([\w.-]+)==(\S+) --hash=sha256:[0-9a-f]{64}$", LOCK.read_text(), flags=re.M))


def plain(name: str) -> str:
    """Names of packages are compared as PEP 503 says."""
    return re.sub(r"[-_.]+", "-", name).lower()


PINNED = {plain(name): version for name, version in LOCKED.items()}


@pytest.mark.parametrize("line", [*PROJECT["dependencies"], *PROJECT["optional-dependencies"]["postgres"]])
def test_every_declared_package_is_locked_within_its_bounds(line: str) -> None:
    """A lower bound that is raised must reach the lock too."""
    wanted = Requirement(line)
    if wanted.marker is None or wanted.marker.evaluate():
        assert wanted.specifier.contains(PINNED[plain(wanted.name)])


def test_what_a_locked_package_needs_is_locked_too() -> None:
    """The list is closed: with it pip installs without asking for anything else."""
    same = [name for name, pinned in PINNED.items() if version(name) == pinned]
    assert same, "write the lock anew: python .ci/lock"
    for name in same:
        for line in requires(name) or ():
            needed = Requirement(line)
            if needed.marker is None or needed.marker.evaluate({"extra": ""}):
                assert plain(needed.name) in PINNED, f"{name} needs {needed.name}"


def test_the_list_of_components_is_the_lock() -> None:
    """CycloneDX 1.5: type, name and version of each, here with its hash and licence."""
    listed = json.loads((ROOT / ".ci" / "sbom.json").read_text())
    assert (listed["bomFormat"], listed["specVersion"]) == ("CycloneDX", "1.5")
    assert {one["name"]: one["version"] for one in listed["components"]} == LOCKED
    assert all(one["hashes"][0]["alg"] == "SHA-256" and one["licenses"] for one in listed["components"])


def test_the_licences_travel_with_the_package() -> None:
    """The text itself, of the app and of its typeface."""
    assert [Path(name).exists() for name in map(str, (ROOT / file for file in PROJECT["license-files"]))] == [
        True,
        True,
    ]
    assert (ROOT / "studyapp" / "LICENSE.txt").read_text().startswith("MIT License")
