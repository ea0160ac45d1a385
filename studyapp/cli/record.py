"""`studyapp check` and its kin: the record seen from outside the app."""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

import click

from studyapp.arguments import store_url
from studyapp.settings import default_folder
from studyapp.words import _, ngettext

store_option = click.option("--store", metavar="URL", help="The store; by default the one of this account.")


@click.command
@click.argument("package", required=False, type=click.Path(path_type=Path))
@store_option
@click.option("--head", metavar="HASH", help="A head printed earlier, on a seal or a report.")
@click.option("--whole", is_flag=True, help="Prove everything once more, also what is as the last check proved it.")
def check(package: Path | None, store: str | None, head: str | None, whole: bool) -> None:
    """Verify the record, or the PACKAGE that `export` wrote; exit 1 when something does not hold."""
    from studyapp.services import checking, package_check

    if package is None:
        with _shares(_("Checking")) as heard:
            report = checking.check(store_url(store), head, default_folder(), whole, heard)
    else:
        report = package_check.check(package, head)
    for finding in report.findings:
        click.echo(finding.sentence, err=finding.level != "info")
    if not report.sound:
        sys.exit(1)
    sentence = ngettext("Sound: {n} event, head {head}.", "Sound: {n} events, head {head}.", report.events).format(
        n=report.events, head=report.head or _("none")
    )
    click.echo(sentence)


@contextmanager
def _shares(label: str) -> Iterator[Callable[[float], None]]:
    """A bar for who sits at a terminal; it takes the share that is done."""
    with click.progressbar(length=100, label=label, file=sys.stderr, hidden=not sys.stderr.isatty()) as bar:
        yield lambda share: bar.update(int(100 * share) - bar.pos)
        bar.update(100 - bar.pos)


@click.command
@click.argument("file", type=click.Path(path_type=Path))
@store_option
def backup(file: Path, store: str | None) -> None:
    """Write a proven copy of the store to FILE while the app goes on."""
    from studyapp.services.backups import backup as copy_store

    head = copy_store(store_url(store), file)
    click.echo(_("Kept: {file} verifies, head {head}.").format(file=file, head=head))
    click.echo(_("It holds names of people: keep it safe, and for 90 days at most."))


@click.command
@click.argument("file", type=click.Path(path_type=Path))
@store_option
def restore(file: Path, store: str | None) -> None:
    """Put the backup FILE in the place of the store; the app must be stopped."""
    from studyapp.services.backups import restore as put_back

    done = put_back(file, store_url(store))
    click.echo(_("Restored from {file}.").format(file=file))
    if done.old is not None:
        click.echo(_("The store before it is kept as {old}.").format(old=done.old))
    for sentence in done.careful:
        click.echo(sentence, err=True)


@click.command("export")
@click.argument("study")
@click.argument("folder", type=click.Path(path_type=Path))
@store_option
def take_out(study: str, folder: Path, store: str | None) -> None:
    """Take STUDY (its id or title) out into FOLDER: CSV tables and datapackage.json."""
    from studyapp.services import packages
    from studyapp.store import read_store

    opened = read_store(store_url(store))
    try:
        files = packages.take_out(opened, packages.find(opened, study), folder)
    finally:
        opened.close()
    click.echo(
        ngettext("{n} file in {folder}.", "{n} files in {folder}.", len(files)).format(n=len(files), folder=folder)
    )


@click.command("import")
@click.argument("folder", type=click.Path(path_type=Path))
@store_option
def bring_in(folder: Path, store: str | None) -> None:
    """Bring a study from FOLDER into the store, as `export` wrote it."""
    from studyapp.services import packages
    from studyapp.store import open_store

    opened = open_store(store_url(store))
    try:
        study = packages.bring_in(opened, folder)
    finally:
        opened.close()
    click.echo(_("Kept as study {study}.").format(study=study))
