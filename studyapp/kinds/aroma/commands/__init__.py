"""What the command line can do with forced-choice answers."""

from __future__ import annotations

from studyapp.registry import Command

HERE = "studyapp.kinds.aroma.commands"


def commands() -> dict[str, Command]:
    """Subcommands of `studyapp`."""
    return {
        "choice": Command(f"{HERE}.choice:choice", "Is it noticed? A forced-choice test, both ways."),
        "threshold": Command(f"{HERE}.choice:threshold", "From what dose on is it noticed?"),
        "carryover": Command(f"{HERE}.choice:carryover", "How long does it linger in plain batches?"),
    }


def plans() -> dict[str, Command]:
    """Subcommands of `studyapp plan`."""
    return {
        "choice": Command(f"{HERE}.plan:plan_choice", "What a panel finds and shows by a forced-choice test."),
        "sequential": Command(f"{HERE}.plan:plan_sequential", "Lines to decide by before all have tasted."),
    }
