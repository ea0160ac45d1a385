"""The truth behind a planned study: read from a TRUTH.toml, or the usual one, an assumption but for its spreads."""

from __future__ import annotations

from collections.abc import Mapping
from itertools import pairwise
from math import exp, log
from pathlib import Path
from typing import TYPE_CHECKING, Any

from studyapp.errors import BadInput
from studyapp.kinds.hours.plan import FEWEST_BATCHES, RECIPE, THIS
from studyapp.kinds.hours.rule import in_question
from studyapp.records import SCALE_HIGH, SCALE_LOW
from studyapp.services import toml_files
from studyapp.services.spreads import ASSUMED, Spreads
from studyapp.words import _

if TYPE_CHECKING:
    from analysis.planning import AttributeTruth, GateTruth, OperatingCharacteristics, Scenario
    from analysis.stopping import AttributeRule, Rule

TRUTH_KEYS = ("correlation", "missing", "dropout", "attributes", "gates")
SPREADS = ("assessor", "interaction", "error", "scale_use", "sitting", "batch")
ATTRIBUTE_KEYS = ("mean", *SPREADS, "spread", "rounded", "position")
GATE_KEYS = ("mean", "sd", "off", "repeats")
# How much worse the shortest pull is than the longest, and the pull that is truly enough, in margins.
START, ENOUGH = 3.5, 0.1
# Where a settled note lies on the 0 to 10 scale when no limit says so.
SETTLED = 3.5
FEW_PULLS = 4


# ---- the usual truth -------------------------------------------------------------------------------------------------
def enough_pull(hours: tuple[float, ...], control: float | None = None) -> float:
    """The pull taken to be truly enough when nobody says which: the middle one, or the middle one beyond the control,
    as that is known to differ. With nothing between control and reference only the reference is enough."""
    between = in_question(hours, control)
    middle = hours[len(hours) // 2]
    if middle in between:
        return middle
    return between[len(between) // 2] if between else hours[-1]


def usual(rule: Rule, hours: tuple[float, ...], enough: float | None = None, spreads: Spreads = ASSUMED) -> Scenario:
    """Every attribute settles with time and is nearly there at `enough` hours, the middle pull if nobody says which.

    `spreads` are those of the panel; what they do not know is as in an ordinary small panel.
    """
    from analysis.planning import Scenario, usual_readings

    enough = enough_pull(hours, rule.control) if enough is None else enough
    truths = {name: _usual(wish, hours, enough, spreads.deviations(name)) for name, wish in rule.attributes.items()}
    gates = {name: usual_readings(gate, len(hours)) for name, gate in rule.gates.items()}
    return Scenario(hours, truths, gates=gates)


def _usual(wish: AttributeRule, hours: tuple[float, ...], enough: float, deviations: dict[str, Any]) -> AttributeTruth:
    """A change that slows down, well inside any limit at the end."""
    from analysis.planning import AttributeTruth

    rate = log(START / ENOUGH) / max(enough - hours[0], 1e-9)
    worse = [START * wish.margin * exp(-rate * (h - hours[0])) for h in hours]
    settled = SETTLED if wish.wanted == "lower" else SCALE_HIGH - SETTLED
    if wish.limit is not None:
        settled = wish.limit - wish.sign * 1.5 * wish.margin
    return AttributeTruth(tuple(settled + wish.sign * w for w in worse), **deviations)


# ---- a truth from a file ---------------------------------------------------------------------------------------------
def read_truth(path: Path | str, hours: tuple[float, ...], rule: Rule) -> Scenario:
    """The scenario in a TOML file for these pulls and this rule. Raises BadInput: file, key, value, rule."""
    from analysis.planning import Scenario

    name = toml_files.plain(Path(path).name)
    table = toml_files.table(path)
    toml_files.refuse_unknown(name, "", table, TRUTH_KEYS)
    correlation = _share(name, "correlation", table.get("correlation", 0.3))
    missing = _share(name, "missing", table.get("missing", 0.0))
    dropout = _share(name, "dropout", table.get("dropout", 0.0))
    attributes = table.get("attributes")
    if not isinstance(attributes, dict) or not attributes:
        raise BadInput(
            _("{name}: there is no attribute; add [attributes.acidity] with one mean a pull.").format(name=name)
        )
    truths = {attribute: _truth(name, attribute, value, len(hours)) for attribute, value in attributes.items()}
    _same_attributes(name, truths, rule)
    gates = _gates(name, table.get("gates", {}), len(hours), rule)
    return Scenario(hours, truths, correlation, missing, dropout, gates)


def _gates(name: str, value: object, pulls: int, rule: Rule) -> dict[str, GateTruth]:
    """What instruments truly read, for every limit of the rule."""
    if not isinstance(value, dict) or set(value) != set(rule.gates):
        given = ", ".join(map(toml_files.plain, sorted(value))) if isinstance(value, dict) else ""
        told = _("{name}, gates: the truth has {given}, the rule {wanted}; give one table to each limit of the rule.")
        wanted = ", ".join(map(toml_files.plain, sorted(rule.gates)))
        raise BadInput(told.format(name=name, given=given or _("none"), wanted=wanted or _("none")))
    return {gate: _gate(name, f"gates.{gate}", own, pulls, rule.gates[gate].log) for gate, own in value.items()}


def _gate(name: str, key: str, value: object, pulls: int, relative: bool) -> GateTruth:
    from analysis.planning import GateTruth

    if not isinstance(value, dict):
        raise toml_files.refuse(name, key, value, _("is not a table; write its means below it."))
    toml_files.refuse_unknown(name, key, value, GATE_KEYS)
    for part in ("mean", "sd"):
        if part not in value:
            sentence = _("{name}, {key}: there is no {part}; write one mean a pull and the sd of repeats.")
            raise BadInput(sentence.format(name=name, key=toml_files.plain(key), part=part))
    means = _row(name, f"{key}.mean", value["mean"], pulls)
    for mean in means:
        if relative and mean <= 0:
            raise toml_files.refuse(name, f"{key}.mean", mean, _("is not above 0; spread is relative here."))
    given = {part: _spread(name, f"{key}.{part}", value[part]) for part in ("sd", "off") if part in value}
    return GateTruth(means, repeats=toml_files.whole(name, f"{key}.repeats", value.get("repeats", 2), 1, 100), **given)


def _same_attributes(name: str, attributes: Mapping[str, object], rule: Rule) -> None:
    """A truth speaks of what the rule decides, neither more nor less."""
    if set(attributes) != set(rule.attributes):
        told = _("{name}: the truth is about {given}, the rule about {wanted}; give one table to each of the rule.")
        given, wanted = (", ".join(map(toml_files.plain, sorted(names))) for names in (attributes, rule.attributes))
        raise BadInput(told.format(name=name, given=given, wanted=wanted))


def _share(name: str, key: str, value: object) -> float:
    share = toml_files.number(name, key, value)
    if not 0 <= share < 1:
        raise toml_files.refuse(name, key, value, _("is not a share; write a number from 0 to below 1."))
    return share


def _truth(name: str, attribute: str, value: object, pulls: int) -> AttributeTruth:
    from analysis.planning import AttributeTruth

    if not isinstance(value, dict):
        raise toml_files.refuse(name, f"attributes.{attribute}", value, _("is not a table; write its means below it."))
    toml_files.refuse_unknown(name, attribute, value, ATTRIBUTE_KEYS)
    if "mean" not in value:
        sentence = _("{name}, {attribute}: there is no mean; write one number a pull.")
        raise BadInput(sentence.format(name=name, attribute=toml_files.plain(attribute)))
    given: dict[str, Any] = {key: _spread(name, f"{attribute}.{key}", value[key]) for key in SPREADS if key in value}
    if "spread" in value:
        given["spread"] = _row(name, f"{attribute}.spread", value["spread"], pulls)
    if "position" in value:
        given["position"] = _effects(name, f"{attribute}.position", value["position"])
    rounded = value.get("rounded", False)
    if not isinstance(rounded, bool):
        raise toml_files.refuse(name, f"{attribute}.rounded", rounded, _("is neither true nor false."))
    return AttributeTruth(_means(name, f"{attribute}.mean", value["mean"], pulls), rounded=rounded, **given)


def _spread(name: str, key: str, value: object) -> float:
    spread = toml_files.number(name, key, value)
    if spread < 0:
        raise toml_files.refuse(name, key, value, _("is below zero; a spread is 0 or more."))
    return spread


def _row(name: str, key: str, value: object, pulls: int) -> tuple[float, ...]:
    """One number a pull."""
    if not isinstance(value, list) or len(value) != pulls:
        raise toml_files.refuse(name, key, value, _("is not a list of {n} numbers, one a pull.").format(n=pulls))
    return tuple(toml_files.number(name, key, item) for item in value)


def _means(name: str, key: str, value: object, pulls: int) -> tuple[float, ...]:
    """True means, which lie on the scale."""
    means = _row(name, key, value, pulls)
    for mean in means:
        if not SCALE_LOW <= mean <= SCALE_HIGH:
            told = _("is not on the scale; write a number from {low} to {high}.")
            raise toml_files.refuse(name, key, mean, told.format(low=f"{SCALE_LOW:g}", high=f"{SCALE_HIGH:g}"))
    return means


def _effects(name: str, key: str, value: object) -> tuple[float, ...]:
    """What the first, second, ... place in a sitting adds."""
    if not isinstance(value, list) or not value:
        raise toml_files.refuse(name, key, value, _("is not a list of numbers, one a place in a sitting."))
    return tuple(toml_files.number(name, key, item) for item in value)


def chances(
    scenario: Scenario,
    rule: Rule,
    assessors: int,
    replicates: int,
    studies: int,
    seed: int,
    batches: tuple[int, ...] = (1,),
) -> OperatingCharacteristics:
    """Chances of every verdict; each look adds a sitting with `replicates` servings of each pull, or so many of
    `batches`, one a sitting (`sittings_of`). Raises BadInput."""
    from analysis.planning import Design, operating_characteristics

    first, later, batch_of = sittings_of(rule, batches)
    try:
        design = Design(assessors, replicates, first, later, batch_of=batch_of)
        return operating_characteristics(scenario, rule, design, studies, seed)
    except ValueError as problem:
        raise BadInput(_("Fix the plan: {problem}.").format(problem=problem)) from problem


def sittings_of(rule: Rule, batches: tuple[int, ...]) -> tuple[int, int, tuple[int, ...]]:
    """Sittings before the first look and each later one, and the batch that each of them serves.

    `batches` has the number at each look. One number alone: later looks serve one batch more where the claim is on the
    recipe, and every batch once more where it is on these. Raises BadInput.
    """
    least = FEWEST_BATCHES if rule.claim == RECIPE else 1
    if min(batches) < least:
        sentence = _("Fix --batches: a claim on recipe and machine needs {n} batches or more.")
        raise BadInput(sentence.format(n=least))
    if max(batches) > 1 and rule.claim == THIS:
        raise BadInput(_('Fix --batches: the rule claims "this batch"; seal another claim, or plan one batch.'))
    if len(batches) == 1 and rule.claim != RECIPE:
        return batches[0], batches[0], tuple(range(batches[0])) * rule.looks if batches[0] > 1 else ()
    looks = [batches[0] + look for look in range(rule.looks)] if len(batches) == 1 else list(batches)
    steps = {later - earlier for earlier, later in pairwise(looks)} or {1}
    if len(looks) != rule.looks or len(steps) > 1 or min(steps) < 1:
        sentence = _("Fix --batches: write one number, or one for each of {n} openings of the key, in equal steps up.")
        raise BadInput(sentence.format(n=rule.looks))
    return looks[0], steps.pop(), tuple(range(looks[-1]))


# ---- fewer pulls, each tasted more often -----------------------------------------------------------------------------
def fewer_pulls(scenario: Scenario, rule: Rule, replicates: int) -> tuple[Scenario, int] | None:
    """The same truth with four pulls, evenly from the control to the longest, and how often each can be tasted for as
    many servings a person; None where that is not more often."""
    from dataclasses import replace

    hours = scenario.hours
    times = len(hours) * replicates // FEW_PULLS
    first = hours[0] if rule.control is None else rule.control
    wanted = [first + (hours[-1] - first) * share / (FEW_PULLS - 1) for share in range(FEW_PULLS)]
    at = sorted({min(range(len(hours)), key=lambda pull: abs(hours[pull] - one)) for one in wanted})
    if len(at) < FEW_PULLS or times <= replicates or scenario.gates:
        return None
    truths = {}
    for name, truth in scenario.attributes.items():
        spread = None if truth.spread is None else tuple(truth.spread[pull] for pull in at)
        truths[name] = replace(truth, mean=tuple(truth.mean[pull] for pull in at), spread=spread)
    return replace(scenario, hours=tuple(hours[pull] for pull in at), attributes=truths), times


# ---- out -------------------------------------------------------------------------------------------------------------
def chances_document(found: OperatingCharacteristics) -> Mapping[str, Any]:
    """The chances as plain JSON values."""
    return {
        "stop": {f"{hours:g}": chance for hours, chance in found.stop.items()},
        "conche longer": found.conche_longer,
        "no hour fits": found.no_hour_fits,
        "cannot tell": found.cannot_tell,
        "mean_looks": found.mean_looks,
        "too_early": found.too_early,
        "mean_hours": found.mean_hours,
        "mean_hours_se": found.mean_hours_se,
        "monte_carlo_se": found.monte_carlo_se,
        "studies": found.studies,
        "seed": found.seed,
    }
