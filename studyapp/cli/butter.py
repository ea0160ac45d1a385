"""`studyapp butter`: what hours in the conche are worth in cocoa butter, from a ladder of additions."""

from __future__ import annotations

from dataclasses import asdict
from pathlib import Path

import click

from studyapp.arguments import Number, as_json, made_from, wrapped
from studyapp.errors import BadInput
from studyapp.words import _


@click.command
@click.argument("ladder", type=click.Path(path_type=Path))
@click.option("--mass", type=Number(), help="Mass of a batch, kg.")
@click.option("--price", type=Number(), help="Price of a kilogram of cocoa butter.")
@click.option("--json", "json_wanted", is_flag=True, help="Print one JSON object instead of sentences.")
def butter(ladder: Path, mass: float | None, price: float | None, json_wanted: bool) -> None:
    """Butter that a conched mass saves, from LADDER: columns added (per cent, or conched), quantity, value."""
    from analysis.files import ScoreError
    from analysis.files.ladders import read_ladder
    from studyapp.findings import butter as findings

    if (mass is None) != (price is None):
        raise BadInput(_("Fix --mass: give --mass and --price together, or neither."))
    try:
        found = findings.worths(read_ladder(ladder))
    except ScoreError as problem:
        raise BadInput(str(problem)) from problem
    except ValueError as problem:
        raise BadInput(_("{name}, {problem}.").format(name=ladder.name, problem=problem)) from problem
    if json_wanted:
        document = {name: asdict(worth) for name, worth in found.items()}
        click.echo(as_json({"quantities": document, "counts": findings.counts(found), **made_from(ladder)}))
        return
    said = [findings.headline(found), *(findings.says(name, worth) for name, worth in found.items())]
    if mass is not None and price is not None:
        said.append(findings.money(found, mass, price))
    click.echo("\n\n".join(wrapped(sentence) for sentence in [*said, findings.caution()] if sentence))
