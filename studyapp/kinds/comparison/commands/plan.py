"""`studyapp plan compare`: what a panel can show about makes, before anybody tastes."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

import click

from studyapp.arguments import Number, Whole, as_json, needed, store_url, wrapped
from studyapp.errors import BadInput
from studyapp.records import SCALE_HIGH, SCALE_LOW
from studyapp.words import _, ngettext

if TYPE_CHECKING:
    from analysis.comparing import MakeRule
    from analysis.comparing.chances import MakeDesign, MakeTruth, Outcomes
    from analysis.planning import GateTruth
    from studyapp.records import Chance
    from studyapp.services.spreads import Spreads

MOST_MAKES, MOST_PEOPLE, MOST_REPLICATES, MOST_BATCHES, MOST_STUDIES = 4, 200, 20, 20, 200_000
VERDICTS = ("shown", "not good enough", "cannot tell")


@click.command("compare")
@click.option("--makes", type=Whole(), default=2, show_default=True, help="How many are compared, with the reference.")
@click.option("--assessors", type=Whole(), help="How many people taste.")
@click.option("--replicates", type=Whole(), default=2, show_default=True, help="Servings of each piece to a person.")
@click.option("--batches", type=Whole(), default=1, show_default=True, help="Batches of each, for a claim on the make.")
@click.option("--margin", type=Number(), help="One attribute wanted lower, no worse by this margin.")
@click.option("--rule", "rule_file", type=click.Path(path_type=Path), help="Instead of a margin: the RULE.toml.")
@click.option("--worse", type=Number(), default=0.0, show_default=True, help="By how much every make is truly worse.")
@click.option("--batch-sd", type=Number(), default=0.3, show_default=True, help="What a batch does, scale units.")
@click.option("--store", metavar="URL", help="Take the spreads of the panel of this store.")
@click.option("--studies", type=Whole(), default=4000, show_default=True, help="How many studies to simulate.")
@click.option("--seed", type=Whole(), default=1, show_default=True, help="The same seed gives the same chances.")
@click.option("--json", "json_wanted", is_flag=True, help="Print one JSON object instead of sentences.")
def plan_compare(
    makes: int,
    assessors: int | None,
    replicates: int,
    batches: int,
    margin: float | None,
    rule_file: Path | None,
    worse: float,
    batch_sd: float,
    store: str | None,
    studies: int,
    seed: int,
    json_wanted: bool,
) -> None:
    """Chances of each verdict over simulated studies: a sitting for each serving, or for each batch."""
    from analysis.comparing.chances import outcomes
    from studyapp.services.spreads import ASSUMED, of_store_at

    people = needed(assessors, "--assessors", _("how many people taste"))
    for value, option, least, most in (
        (makes, "--makes", 2, MOST_MAKES),
        (people, "--assessors", 2, MOST_PEOPLE),
        (replicates, "--replicates", 1, MOST_REPLICATES),
        (batches, "--batches", 1, MOST_BATCHES),
        (studies, "--studies", 1, MOST_STUDIES),
    ):
        if not least <= value <= most:
            told = _("Fix {option}: write a whole number from {least} to {most}.")
            raise BadInput(told.format(option=option, least=least, most=most))
    rule = _rule(rule_file, margin, batches, replicates)
    makes = 2 if rule.pulls or rule.faster else makes
    spreads = ASSUMED if store is None else of_store_at(store_url(store))
    design = _design(rule, people, replicates, batches)
    truths = _truths(rule, (worse,) * (makes - 1), batch_sd, spreads)
    try:
        found = outcomes(rule, truths, design, studies, seed, limits=_limits(rule, makes))
    except ValueError as wrong:
        raise BadInput(f"{wrong}.") from wrong
    hours = _hours(rule, design, truths, studies, seed)
    click.echo(_json(found, hours, seed) if json_wanted else _told(found, rule, design, spreads, hours, seed))


def _rule(file: Path | None, margin: float | None, batches: int, replicates: int) -> MakeRule:
    """The rule of a file, or one attribute with a margin, as the app would seal it."""
    from analysis.comparing import MakeClaim, MakeRule

    if (file is None) == (margin is None):
        raise BadInput(_("Fix --rule: give either --rule with a RULE.toml or --margin with a number."))
    if file is not None:
        from studyapp.kinds.comparison.files.rules import read_rule

        return read_rule(file).rule
    assert margin is not None
    if not 0 < margin <= SCALE_HIGH - SCALE_LOW:
        told = _("Fix --margin: it must be above 0 and at most {n}. Give the largest worsening you would still sell.")
        raise BadInput(told.format(n=f"{SCALE_HIGH - SCALE_LOW:g}"))
    rule = MakeRule("A", {"flavour": MakeClaim("lower", margin)}, "control")
    if batches > 1:
        return replace(rule, claim="make")
    return replace(rule, adjust=("sitting:hours",)) if replicates > 1 else rule


def _design(rule: MakeRule, people: int, replicates: int, batches: int) -> MakeDesign:
    """One serving of each piece a sitting; over several batches one sitting a batch with all its servings."""
    from analysis.comparing.chances import MakeDesign
    from analysis.comparing.rule import FEWEST_BATCHES

    if rule.claim != "make":
        if batches > 1:
            raise BadInput(_("Fix --batches: the rule claims something of one batch of each alone."))
        return MakeDesign(people, replicates)
    if batches < FEWEST_BATCHES:
        told = _("Fix --batches: a claim on the make needs {n} batches of each or more.")
        raise BadInput(told.format(n=FEWEST_BATCHES))
    return MakeDesign(people, batches, replicates, batches)


def _truths(rule: MakeRule, worse: tuple[float, ...], batch_sd: float, spreads: Spreads) -> dict[str, MakeTruth]:
    from analysis.comparing.chances import MakeTruth
    from analysis.planning import AttributeTruth
    from studyapp.kinds.comparison.deciding.prospects import courses

    batch = batch_sd if rule.claim == "make" else 0.0
    known = {name: AttributeTruth((0.0, 0.0), **spreads.deviations(name)) for name in rule.attributes}
    if not rule.pulls:
        return {name: MakeTruth(worse, own, batch) for name, own in known.items()}
    slow, fast, _needed = courses(rule)
    return {name: MakeTruth((*slow[1:], *fast[:-1], *worse), own, control=slow[0]) for name, own in known.items()}


def _limits(rule: MakeRule, makes: int) -> dict[str, GateTruth]:
    """Limits of instruments, which every make is taken to keep by far."""
    from analysis.planning import usual_readings

    return {name: usual_readings(gate, makes) for name, gate in rule.gates.items()}


def _hours(
    rule: MakeRule, design: MakeDesign, truths: dict[str, MakeTruth], studies: int, seed: int
) -> tuple[Chance, tuple[float, float]] | None:
    """How often any hours are shown that the reference's make needs longer, and those that each truly needs."""
    import numpy as np

    from analysis.comparing.chances import hours_over_drawn
    from studyapp.kinds.comparison.deciding.prospects import courses
    from studyapp.records import Chance

    if not rule.pulls:
        return None
    slow, fast, needed = courses(rule)
    spreads = {name: one.spreads for name, one in truths.items()}
    over = hours_over_drawn(rule, (slow, fast), design, studies, seed, spreads)
    return Chance(float(np.isfinite(over).mean()), studies), needed


def _json(found: Outcomes, hours: tuple[Chance, tuple[float, float]] | None, seed: int) -> str:
    chances = {verdict: found.chance(0, verdict) for verdict in VERDICTS}
    shares = {"any_shown": found.any_shown, "all_shown": found.all_shown, "monte_carlo_se": found.monte_carlo_se}
    told = {} if hours is None else {"any_hours": hours[0].share, "truly_needed": list(hours[1])}
    return as_json({"make": chances, **shares, **told, "studies": found.studies, "seed": seed})


def _told(
    found: Outcomes,
    rule: MakeRule,
    design: MakeDesign,
    spreads: Spreads,
    hours: tuple[Chance, tuple[float, float]] | None,
    seed: int,
) -> str:
    """The sentence, then the table, then what it rests on."""
    from studyapp.findings.spreads import spreads_told
    from studyapp.kinds.comparison.findings import planned

    shown = round(100 * found.all_shown)
    rows = [(_verdict_told(verdict), found.chance(0, verdict)) for verdict in VERDICTS]
    width = max(len(label) for label, _chance in rows)
    table = "\n".join(f"{label:<{width}}  {100 * chance:5.1f} %" for label, chance in rows)
    sittings = ngettext("{n} sitting", "{n} sittings", design.sittings).format(n=design.sittings)
    notes = [
        _("{people} people, {sittings}, {n} of each piece in each.").format(
            people=design.assessors, sittings=sittings, n=design.servings
        ),
        _("{n} studies simulated, seed {seed}; each chance is right within {se} points.").format(
            n=found.studies, seed=seed, se=f"{200 * found.monte_carlo_se:.1f}"
        ),
        *([planned.limits_assumed()] if rule.gates else []),
        *([] if hours is None else [planned.hours_told(*hours)]),
        *spreads_told(spreads, list(rule.attributes)),
    ]
    headline = _("Of 100 such studies, about {n} show every make.").format(n=shown)
    return "\n\n".join([headline, table, "\n".join(wrapped(note) for note in notes)])


def _verdict_told(verdict: str) -> str:
    return {"shown": _("shown"), "not good enough": _("not good enough"), "cannot tell": _("cannot tell")}[verdict]
