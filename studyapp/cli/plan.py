"""`studyapp plan`: what a panel can show, before anybody tastes."""

from __future__ import annotations

import click

from studyapp.cli import Deferred, of_kinds


@click.group(cls=Deferred, found=lambda: of_kinds(lambda kind: kind.plans()))
def plan() -> None:
    """What a panel can show, before anybody tastes."""
