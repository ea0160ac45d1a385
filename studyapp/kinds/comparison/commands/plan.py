"""`studyapp plan makes`: what a panel can show about makes, before anybody tastes."""

from __future__ import annotations

from pathlib import Path

import click

from studyapp.arguments import Number, Whole, as_json
from studyapp.errors import BadInput
from studyapp.words import _


@click.command("makes")
@click.option("--rule", required=True, type=click.Path(path_type=Path), help="The rule, RULE.toml.")
@click.option("--makes", type=Whole(), default=2, show_default=True, help="How many are compared, with the reference.")
@click.option("--assessors", type=Whole(), default=8, show_default=True, help="How many people taste.")
@click.option("--sittings", type=Whole(), default=2, show_default=True, help="Sittings before the verdict.")
@click.option("--servings", type=Whole(), default=1, show_default=True, help="Servings of each piece in a sitting.")
@click.option("--batches", type=Whole(), default=1, show_default=True, help="Batches of each, for a claim on the make.")
@click.option("--worse", type=Number(), default=0.0, show_default=True, help="By how much every make is truly worse.")
@click.option("--batch-sd", type=Number(), default=0.3, show_default=True, help="What a batch does, scale units.")
@click.option("--studies", type=Whole(), default=4000, show_default=True, help="Simulated studies.")
@click.option("--json", "json_wanted", is_flag=True, help="Print one JSON object instead of sentences.")
def plan_makes(
    rule: Path,
    makes: int,
    assessors: int,
    sittings: int,
    servings: int,
    batches: int,
    worse: float,
    batch_sd: float,
    studies: int,
    json_wanted: bool,
) -> None:
    """Chances of each verdict over simulated studies with ordinary spreads."""
    from analysis.comparing.chances import MakeDesign, MakeTruth, outcomes
    from studyapp.kinds.comparison.files.rules import read_rule

    sealed = read_rule(rule).rule
    design = MakeDesign(assessors, sittings, servings, batches)
    batch = batch_sd if sealed.claim == "make" else 0.0
    truths = {name: MakeTruth((worse,) * (makes - 1), batch=batch) for name in sealed.attributes}
    try:
        found = outcomes(sealed, truths, design, studies, 1)
    except ValueError as wrong:
        raise BadInput(f"{wrong}.") from wrong
    chances = {verdict: found.chance(0, verdict) for verdict in ("shown", "not good enough", "cannot tell")}
    if json_wanted:
        click.echo(as_json({"make": chances, "all_shown": found.all_shown, "studies": found.studies}))
        return
    sentence = _("{verdict}: {n} of 100 studies")
    lines = [sentence.format(verdict=verdict, n=round(100 * share)) for verdict, share in chances.items()]
    click.echo("\n".join([*lines, _("every make shown: {n} of 100").format(n=round(100 * found.all_shown))]))
