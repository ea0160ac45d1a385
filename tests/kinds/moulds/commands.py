"""Nothing on the command line."""

from __future__ import annotations

from studyapp.registry import Command


def commands() -> dict[str, Command]:
    """None."""
    return {}


def plans() -> dict[str, Command]:
    """None."""
    return {}
