"""What the command line can do with scores of conching hours."""

from __future__ import annotations

from studyapp.registry import Command

HERE = "studyapp.kinds.hours.commands"


def commands() -> dict[str, Command]:
    """Subcommands of `studyapp`."""
    return {
        "decide": Command(f"{HERE}.decide:decide", "The shortest acceptable hours, from a file of scores and a rule.")
    }


def plans() -> dict[str, Command]:
    """Subcommands of `studyapp plan`."""
    return {"hours": Command(f"{HERE}.plan:plan_hours", "What a panel can show about conching hours.")}
