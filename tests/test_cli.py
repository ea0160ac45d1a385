"""The `studyapp` command as a shell sees it: help without weight, one sentence and exit 2 for what can be mended."""

from __future__ import annotations

import subprocess
import sys
from importlib.metadata import version

import click
import pytest
from click.testing import CliRunner

from studyapp import cli

COMMAND = [sys.executable, "-c", "from studyapp.cli import main; main()"]


def test_the_version_is_the_installed_one() -> None:
    """`studyapp --version`."""
    assert version("studyapp") in CliRunner().invoke(cli.group, ["--version"]).stdout


def test_help_lists_every_command_without_importing_one() -> None:
    """Help must not cost the seconds that statistics take to load."""
    program = (
        "import sys; from studyapp.cli import group; group.main(['--help'], standalone_mode=False);"
        "print('loaded', [m for m in ('numpy', 'pandas', 'scipy', 'streamlit', 'sqlalchemy') if m in sys.modules])"
    )
    told = subprocess.run([sys.executable, "-c", program], capture_output=True, text=True, check=True).stdout
    assert all(f"\n  {name} " in told for name in cli.commands())
    assert "loaded []" in told


@pytest.mark.parametrize("name", list(cli.commands()))
def test_every_command_in_the_table_exists_and_says_what_it_does(name: str) -> None:
    """A name in the table without a command would fail only when somebody calls it."""
    command = cli.group.get_command(click.Context(cli.group), name)
    assert isinstance(command, click.Command)
    assert CliRunner().invoke(cli.group, [name, "--help"]).exit_code == 0


@pytest.mark.parametrize("arguments", [["decid"], ["decide"], ["decide", "a.csv"], ["decide", "--colour"]])
def test_misuse_is_exit_2_with_nothing_on_stdout(arguments: list[str]) -> None:
    """Unknown commands and options, missing arguments."""
    result = CliRunner().invoke(cli.group, arguments)
    assert result.exit_code == 2
    assert result.stdout == ""
    assert result.stderr


@pytest.mark.parametrize(
    "arguments",
    [
        ["decid"],
        ["decide", "a.csv"],
        ["decide", "--colour"],
        ["run", "--port", "x"],
        ["decide", "a", "--rule", "b.toml"],
    ],
)
def test_what_a_person_can_mend_is_one_line_on_stderr(arguments: list[str]) -> None:
    """Whatever the command was: no usage lines around the sentence."""
    result = CliRunner().invoke(cli.group, arguments)
    assert (result.exit_code, result.stdout) == (2, "")
    assert len(result.stderr.splitlines()) == 1


def test_a_reader_that_leaves_early_sees_no_traceback() -> None:
    """`studyapp ... | head` closes the pipe before the answer is out."""
    process = subprocess.Popen([*COMMAND, "--help"], stdout=subprocess.PIPE, stderr=subprocess.PIPE)
    assert process.stdout is not None
    assert process.stderr is not None
    process.stdout.close()
    said = process.stderr.read()
    process.stderr.close()
    assert process.wait() in (0, 1)
    assert said == b""
