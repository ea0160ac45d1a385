"""`studyapp plan hours`: what a design can show, by simulating the very rule that will decide."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from studyapp.arguments import Number, Whole, as_json, needed, store_url, wrapped
from studyapp.errors import BadInput
from studyapp.kinds.hours.plan import FEWEST_BATCHES, RECIPE
from studyapp.records import SCALE_HIGH, SCALE_LOW
from studyapp.words import _, ngettext

if TYPE_CHECKING:
    from analysis.planning import OperatingCharacteristics, Scenario
    from analysis.stopping import Rule
    from studyapp.services.spreads import Spreads

MOST_STUDIES, MOST_PEOPLE, MOST_REPLICATES, MOST_PULLS = 200_000, 200, 20, 26
LEAST_PEOPLE = 2  # one person cannot show how people differ
MOST_SEED = 2**63 - 1
MOST_BATCHES = 20


class Hours(click.ParamType):  # type: ignore[type-arg]  # generic from click 8.3 on
    """Pulls as a list such as 0,4,8,12; refused in one sentence otherwise."""

    name = "hours"

    def convert(self, value: str, param: click.Parameter | None, ctx: click.Context | None) -> tuple[float, ...]:
        """Read the list. Raises BadInput."""
        try:
            hours = tuple(float(part) for part in str(value).split(","))
        except ValueError as problem:
            raise BadInput(
                _("Fix --hours: “{value}” is not a list of hours. Write 0,4,8,12.").format(value=value)
            ) from problem
        if (
            not 2 <= len(hours) <= MOST_PULLS
            or any(not 0 <= h <= 1000 for h in hours)
            or list(hours) != sorted(set(hours))
        ):
            raise BadInput(
                _("Fix --hours: write 2 to {n} hours from 0 to 1000, each longer than the one before.").format(
                    n=MOST_PULLS
                )
            )
        return hours


def _within(value: int, option: str, most: int, least: int = 1) -> int:
    if not least <= value <= most:
        told = _("Fix {option}: write a whole number from {least} to {most}.")
        raise BadInput(told.format(option=option, least=least, most=most))
    return value


@click.command("hours")
@click.option("--hours", type=Hours(), help="Hours of the pulls, the longest last.")
@click.option("--assessors", type=Whole(), help="How many people taste.")
@click.option(
    "--replicates", type=Whole(), default=2, show_default=True, help="Servings of each pull before the key is opened."
)
@click.option("--rule", "rule_file", type=click.Path(path_type=Path), help="The RULE.toml to be sealed.")
@click.option("--margin", type=Number(), help="Instead of a rule: one attribute wanted lower, with this margin.")
@click.option(
    "--truth",
    "truth_file",
    type=click.Path(path_type=Path),
    help="A TRUTH.toml (README.md names its keys); without it everything settles with time.",
)
@click.option("--batches", help="Batches, one a sitting, for example 3; 3,5 names each opening of the key.")
@click.option("--store", metavar="URL", help="Take the spreads of the panel of this store instead.")
@click.option("--studies", type=Whole(), default=4000, show_default=True, help="How many studies to simulate.")
@click.option("--seed", type=Whole(), default=1, show_default=True, help="The same seed gives the same chances.")
@click.option("--json", "json_wanted", is_flag=True, help="Print one JSON object instead of sentences.")
def plan_hours(
    hours: tuple[float, ...] | None,
    assessors: int | None,
    replicates: int,
    rule_file: Path | None,
    margin: float | None,
    truth_file: Path | None,
    batches: str | None,
    store: str | None,
    studies: int,
    seed: int,
    json_wanted: bool,
) -> None:
    """The chance of each verdict before anybody tastes."""
    from studyapp.kinds.hours.deciding.scenarios import chances, chances_document, fewer_pulls, read_truth, usual
    from studyapp.kinds.hours.rule import in_question, nothing_in_question
    from studyapp.services.spreads import ASSUMED, document, of_store_at

    if truth_file is not None and store is not None:
        raise BadInput(_("Fix --store: a --truth names its own spreads, so give one of the two."))
    hours = needed(hours, "--hours", _("the pulls, for example 0,4,8,12,16,24"))
    people = needed(assessors, "--assessors", _("how many people taste"))
    _within(people, "--assessors", MOST_PEOPLE, LEAST_PEOPLE)
    rule = _rule(rule_file, margin)
    spreads = ASSUMED if store is None else of_store_at(store_url(store))
    scenario = read_truth(truth_file, hours, rule) if truth_file else usual(rule, hours, spreads=spreads)
    _within(replicates, "--replicates", MOST_REPLICATES)
    _within(studies, "--studies", MOST_STUDIES)
    seed = _within(seed, "--seed", MOST_SEED, 0)
    lots = _batches(batches, rule)
    found = chances(scenario, rule, people, replicates, studies, seed, lots)
    if json_wanted:
        beside = {} if truth_file else {"spreads": document(spreads, scenario)}
        click.echo(as_json({**chances_document(found), **beside}))
        return
    told = _of_truth(scenario) if truth_file else _assumptions(spreads, tuple(rule.attributes), store)
    told = (*told, *_of_limits(scenario, rule, assumed=truth_file is None), *_of_batches(rule, lots))
    fewer = fewer_pulls(scenario, rule, replicates)
    if fewer is not None:
        other = chances(fewer[0], rule, people, fewer[1], studies, seed, lots)
        told = (*told, _fewer(found, other, replicates, fewer[1]))
    if not in_question(hours, rule.control):
        told = (*told, nothing_in_question(hours, rule.control))
    click.echo(_told(found, rule, max(hours), people, replicates, told))


def _batches(text: str | None, rule: Rule) -> tuple[int, ...]:
    """Numbers of batches, one or one for each look; those that the rule sealed where none is given. Raises BadInput."""
    if text is None:
        return (rule.batches or (FEWEST_BATCHES if rule.claim == RECIPE else 1),)
    numbers = text.split(",")
    if not all(number.strip().isdecimal() for number in numbers):
        raise BadInput(_("Fix --batches: “{value}” is no number of batches. Write 3, or 3,5.").format(value=text))
    return tuple(_within(int(number), "--batches", MOST_BATCHES) for number in numbers)


def _of_batches(rule: Rule, batches: tuple[int, ...]) -> tuple[str, ...]:
    """What the chances rest on with several batches."""
    if max(batches) < 2:
        return ()
    said = _("{n} batches, one a sitting with all its pulls; nothing is compared over sittings.")
    claim = (
        _("The claim: on average over such batches.")
        if rule.claim == RECIPE
        else _("The claim: each of these batches.")
    )
    return said.format(n=", ".join(map(str, batches))), claim


def _fewer(found: OperatingCharacteristics, other: OperatingCharacteristics, replicates: int, times: int) -> str:
    """Four pulls that are tasted more often, beside the plan."""
    return _(
        "For as many servings a person: only {pulls} h and the longest, each {times} times instead of {n}. Then about "
        "{k} of 100 name a shorter hour instead of {all}, and {hours} h are conched on average instead of {now}."
    ).format(
        pulls=", ".join(f"{hours:g}" for hours in other.stop),
        times=times,
        n=replicates,
        k=round(100 * sum(other.stop.values())),
        all=round(100 * sum(found.stop.values())),
        hours=f"{other.mean_hours:.1f}",
        now=f"{found.mean_hours:.1f}",
    )


def _assumptions(spreads: Spreads, attributes: tuple[str, ...], store: str | None) -> tuple[str, ...]:
    """What the chances rest on when no truth is given."""
    from studyapp.findings.spreads import spreads_told

    told = [_("The truth is assumed: each attribute settles with time; give yours with --truth.")]
    if store is not None and not spreads.studies:
        told.append(_("The store holds no opened study yet."))
    return (*told, *spreads_told(spreads, attributes))


def _of_truth(scenario: Scenario) -> tuple[str, ...]:
    """What a truth says about people who leave and about the order of tasting."""
    from studyapp.services.toml_files import plain

    told = []
    if scenario.dropout:
        sentence = _("Before each sitting after the first, {n} of 100 people still there leave for good.")
        told.append(sentence.format(n=f"{100 * scenario.dropout:g}"))
    for name, truth in scenario.attributes.items():
        if any(truth.position):
            sentence = _("{attribute}: the first, second, … piece of a sitting scores {effects} points too high.")
            effects = ", ".join(f"{effect:+g}" for effect in truth.position)
            told.append(sentence.format(attribute=plain(name), effects=effects))
    return tuple(told)


def _of_limits(scenario: Scenario, rule: Rule, assumed: bool) -> tuple[str, ...]:
    """What limits of instruments mean for the chances, before the rule is sealed."""
    import numpy as np

    from studyapp.services.toml_files import plain

    if not rule.gates:
        return ()
    told = [_("Limits of instruments are assumed to be kept by far at every pull.")] if assumed else []
    sentence = _(
        "{name} breaks its limit again at a longer pull: without until, hours up to which it is asked, no hour can be "
        "chosen."
    )
    turning = [n for n, gate in rule.gates.items() if scenario.gates[n].turns(gate, np.array(scenario.hours))]
    return (*told, *(sentence.format(name=plain(name)) for name in turning))


def _rule(file: Path | None, margin: float | None) -> Rule:
    """The rule of a file, or one attribute with a margin."""
    if (file is None) == (margin is None):
        raise BadInput(_("Fix --rule: give either --rule with a RULE.toml or --margin with a number."))
    if file is not None:
        from studyapp.kinds.hours.files.rules import read_rule

        return read_rule(file)
    from analysis.stopping import AttributeRule, Rule

    assert margin is not None
    if not 0 < margin <= SCALE_HIGH - SCALE_LOW:
        told = _("Fix --margin: it must be above 0 and at most {n}. Give the largest worsening you would still sell.")
        raise BadInput(told.format(n=f"{SCALE_HIGH - SCALE_LOW:g}"))
    return Rule({"flavour": AttributeRule("lower", margin)})


def _of_any_hour(found: OperatingCharacteristics) -> tuple[str, list[tuple[str, float]]]:
    """The sentence and the chances where the shortest hour is looked for."""
    headline = _("Of 100 such studies, about {n} name a shorter hour; about {m} cannot tell.").format(
        n=round(100 * sum(found.stop.values())), m=round(100 * found.cannot_tell)
    )
    rows = [(_("stop at {h} h").format(h=f"{hours:g}"), chance) for hours, chance in found.stop.items()]
    rows += [(_("conche longer"), found.conche_longer), (_("no hour fits"), found.no_hour_fits)]
    return headline, [*rows, (_("cannot tell"), found.cannot_tell), (_("stop, truly too early"), found.too_early)]


def _of_one_hour(found: OperatingCharacteristics, hour: float) -> tuple[str, list[tuple[str, float]]]:
    """The sentence and the chances where one hour is asked of a new batch."""
    passed = sum(found.stop.values())
    headline = _("Of 100 such studies, about {n} confirm {h} h; about {m} cannot tell.").format(
        n=round(100 * passed), h=f"{hour:g}", m=round(100 * found.cannot_tell)
    )
    return headline, [
        (_("confirmed"), passed),
        (_("not confirmed"), found.no_hour_fits),
        (_("cannot tell"), found.cannot_tell),
        (_("confirmed, truly too early"), found.too_early),
    ]


def _told(
    found: OperatingCharacteristics,
    rule: Rule,
    longest: float,
    people: int,
    replicates: int,
    assumptions: tuple[str, ...],
) -> str:
    """The sentence, then the table; `longest` pull in hours."""
    headline, rows = _of_any_hour(found) if rule.confirms is None else _of_one_hour(found, rule.confirms)
    width = max(len(label) for label, _chance in rows)
    table = "\n".join(f"{label:<{width}}  {100 * chance:5.1f} %" for label, chance in rows)
    notes = [
        ngettext(
            "{people} assessors, {n} serving of each pull before the key is opened.",
            "{people} assessors, {n} servings of each pull before the key is opened.",
            replicates,
        ).format(people=people, n=replicates),
        _("{n} studies simulated, seed {seed}; each chance is right within {se} points.").format(
            n=found.studies, seed=found.seed, se=f"{200 * found.monte_carlo_se:.1f}"
        ),
        _(
            "On average the key is opened {looks} times, and {hours} h conched afterwards (within {se} h), "
            "{saved} h saved."
        ).format(
            looks=f"{found.mean_looks:.2f}",
            hours=f"{found.mean_hours:.1f}",
            se=f"{2 * found.mean_hours_se:.1f}",
            saved=f"{longest - found.mean_hours:.1f}",
        ),
    ]
    notes.extend(assumptions)
    return "\n\n".join([headline, table, "\n".join(wrapped(note) for note in notes)])
