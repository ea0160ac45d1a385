"""The `studyapp` command: each subcommand is imported only when it is called, so that a plain answer comes at once."""

from __future__ import annotations

import importlib
import os
import sys
from importlib.metadata import version
from typing import IO, Any, NamedTuple

import click

from studyapp.errors import StudyError
from studyapp.words import _

# The matrices here are small: threads of the linear algebra library cost more than they bring, and wake every core.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")


class Entry(NamedTuple):
    """Where a subcommand lives and the line that the help shows without importing it."""

    place: str
    help: str


COMMANDS = {
    "run": Entry("studyapp.cli.run:run", "Start the app for this network."),
    "decide": Entry("studyapp.cli.decide:decide", "The shortest acceptable hours, from a file of scores and a rule."),
    "choice": Entry("studyapp.cli.choice:choice", "Is it noticed? A forced-choice test, both ways."),
    "threshold": Entry("studyapp.cli.choice:threshold", "From what dose on is it noticed?"),
    "carryover": Entry("studyapp.cli.choice:carryover", "How long does it linger in plain batches?"),
    "plan": Entry("studyapp.cli.plan:plan", "What a panel can show, before anybody tastes."),
    "check": Entry("studyapp.cli.record:check", "Verify the record, and its head against a printed one."),
    "export": Entry("studyapp.cli.record:take_out", "Take a study out as tables that any program reads."),
    "import": Entry("studyapp.cli.record:bring_in", "Bring such tables in again."),
    "backup": Entry("studyapp.cli.record:backup", "Write a proven copy of the store while the app goes on."),
    "restore": Entry("studyapp.cli.record:restore", "Put a backup in the place of the store."),
}


class Refused(click.ClickException):
    """A StudyError as the shell sees it: its one sentence on stderr, exit 2."""

    exit_code = 2

    def show(self, file: IO[Any] | None = None) -> None:
        """Print the sentence alone."""
        click.echo(self.format_message(), file=file, err=file is None)


class StudyGroup(click.Group):
    """Finds subcommands in COMMANDS and turns a StudyError into its sentence."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        """All names, in the order of the table."""
        return list(COMMANDS)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        """Import the subcommand's module, and only that."""
        entry = COMMANDS.get(cmd_name)
        if entry is None:
            return None
        module, _colon, attribute = entry.place.partition(":")
        command: click.Command = getattr(importlib.import_module(module), attribute)
        return command

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        """List the commands without importing them."""
        with formatter.section(_("Commands")):
            formatter.write_dl([(name, entry.help) for name, entry in COMMANDS.items()])

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


@click.group(cls=StudyGroup, context_settings={"help_option_names": ["-h", "--help"]})
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
