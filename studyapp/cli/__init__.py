"""The `studyapp` command: each subcommand is imported only when it is called, so that a plain answer comes at once."""

from __future__ import annotations

import importlib
import os
import sys
from collections.abc import Callable, Mapping
from importlib.metadata import version
from typing import IO, Any

import click

from studyapp import registry
from studyapp.errors import StudyError
from studyapp.registry import Command
from studyapp.words import _

# The matrices here are small: threads of the linear algebra library cost more than they bring, and wake every core.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")


class Refused(click.ClickException):
    """A StudyError as the shell sees it: its one sentence on stderr, exit 2."""

    exit_code = 2

    def show(self, file: IO[Any] | None = None) -> None:
        """Print the sentence alone."""
        click.echo(self.format_message(), file=file, err=file is None)


class Deferred(click.Group):
    """A group whose subcommands are imported when they are called; `found` gives them by name, in order."""

    def __init__(self, *args: Any, found: Callable[[], Mapping[str, Command]], **more: Any) -> None:
        """Everything else as click has it."""
        super().__init__(*args, **more)
        self.found = found

    def list_commands(self, ctx: click.Context) -> list[str]:
        """All names."""
        return list(self.found())

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        """Import the subcommand's module, and only that."""
        entry = self.found().get(cmd_name)
        if entry is None:
            return None
        module, _colon, attribute = entry.place.partition(":")
        command: click.Command = getattr(importlib.import_module(module), attribute)
        return command

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        """List the commands without importing them."""
        with formatter.section(_("Commands")):
            formatter.write_dl([(name, entry.help) for name, entry in self.found().items()])


def of_kinds(part: Callable[[registry.CommandsPart], Mapping[str, Command]]) -> dict[str, Command]:
    """The subcommands of every kind of study, by name."""
    return {name: entry for kind in registry.KINDS for name, entry in part(registry.commands(kind)).items()}


def commands() -> dict[str, Command]:
    """Every subcommand of `studyapp`, in the order of its help."""
    return {
        "run": Command("studyapp.cli.run:run", "Start the app for this network."),
        **of_kinds(lambda kind: kind.commands()),
        "plan": Command("studyapp.cli.plan:plan", "What a panel can show, before anybody tastes."),
        "butter": Command("studyapp.cli.butter:butter", "What hours in the conche are worth in cocoa butter."),
        "check": Command("studyapp.cli.record:check", "Verify the record, and its head against a printed one."),
        "export": Command("studyapp.cli.record:take_out", "Take a study out as tables that any program reads."),
        "import": Command("studyapp.cli.record:bring_in", "Bring such tables in again."),
        "backup": Command("studyapp.cli.record:backup", "Write a proven copy of the store while the app goes on."),
        "restore": Command("studyapp.cli.record:restore", "Put a backup in the place of the store."),
    }


class StudyGroup(Deferred):
    """Turns a StudyError of any subcommand into its sentence."""

    def invoke(self, ctx: click.Context) -> Any:
        """Run the subcommand; what a person can act on becomes one sentence."""
        try:
            return super().invoke(ctx)
        except StudyError as problem:
            raise Refused(" ".join(str(problem).split())) from problem
        except click.exceptions.NoArgsIsHelpError:
            raise
        except click.UsageError as problem:
            raise Refused(" ".join(problem.format_message().split())) from problem


@click.group(cls=StudyGroup, found=commands, context_settings={"help_option_names": ["-h", "--help"]})
@click.version_option(version("studyapp"), prog_name="studyapp")
def group() -> None:
    """Blind tastings that say when the conche can stop."""


def main() -> None:
    """Entry point of the installed command."""
    for stream in (sys.stdout, sys.stderr):
        if hasattr(stream, "reconfigure"):
            stream.reconfigure(errors="replace")  # a terminal without our letters still shows the sentence
    try:
        group()
    except BrokenPipeError:  # the reader, `head` for example, has had enough
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        sys.exit(1)
