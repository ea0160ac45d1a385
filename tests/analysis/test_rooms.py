"""The statistics in rooms: few enough to guess from outside, each with a chapter at its door and an example."""

from __future__ import annotations

import doctest
import importlib
from pathlib import Path

import pytest

import analysis

ROOT = Path(analysis.__file__).parent
ROOMS = sorted(path.name for path in ROOT.iterdir() if (path / "__init__.py").exists())


def test_there_are_rooms_and_no_module_beside_them() -> None:
    """At most nine, and nothing lies in the hall."""
    assert 1 < len(ROOMS) <= 9
    assert [path.name for path in ROOT.glob("*.py")] == ["__init__.py"]


@pytest.mark.parametrize("room", ROOMS)
def test_the_example_on_the_door_runs(room: str) -> None:
    """Every room says in its docstring what it answers, and shows it."""
    face = importlib.import_module(f"analysis.{room}")
    found = doctest.testmod(face)
    assert found.attempted > 0
    assert found.failed == 0
    assert len(face.__doc__ or "") > 300


@pytest.mark.parametrize("room", ROOMS)
def test_a_face_offers_what_it_names(room: str) -> None:
    """Nothing in `__all__` is missing, nothing private stands there."""
    face = importlib.import_module(f"analysis.{room}")
    assert face.__all__
    assert all(hasattr(face, name) and not name.startswith("_") for name in face.__all__)
