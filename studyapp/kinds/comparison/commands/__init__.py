"""What the command line can do with scores of makes."""

from __future__ import annotations

from studyapp.registry import Command

HERE = "studyapp.kinds.comparison.commands"


def commands() -> dict[str, Command]:
    """Subcommands of `studyapp`."""
    return {"compare": Command(f"{HERE}.compare:compare", "Makes told apart, from a file of scores and a rule.")}


def plans() -> dict[str, Command]:
    """Subcommands of `studyapp plan`."""
    return {"compare": Command(f"{HERE}.plan:plan_compare", "What a panel can show about makes.")}
