"""RULE.toml, the rule of a file, read with our own sentences."""

from __future__ import annotations

from difflib import get_close_matches
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal

from studyapp.errors import BadInput
from studyapp.kinds.hours.plan import CLAIMS, EACH, FEWEST_BATCHES, RECIPE, THIS, Claim
from studyapp.services import toml_files
from studyapp.services.gate_files import read_gates
from studyapp.wishes import WISHES
from studyapp.words import _

if TYPE_CHECKING:
    from analysis.instruments import Gate
    from analysis.stopping import AttributeRule, Rule

MOST_ATTRIBUTES = 50


ADJUST = ("position", "sitting", "sitting:hours")


SMALLEST_ALPHA = 1e-6  # far below it a quantile is infinite, and no study is large enough to use one


RULE_KEYS = (
    "alpha",
    "looks",
    "look",
    "adjust",
    "control",
    "lost_reference",
    "claim",
    "batches",
    "confirms",
    "attributes",
    "gates",
)


ATTRIBUTE_KEYS = ("wanted", "margin", "limit")


MOST_LOOKS = 4


MOST_BATCHES = 50


def read_rule(path: Path | str, text: str | None = None) -> Rule:
    """The rule in a TOML file, or in `text`, which was read from it. Raises BadInput: file, key, value, rule."""
    path = Path(path)
    name = toml_files.plain(path.name)
    table = toml_files.table(path, text)
    from analysis.stopping import Rule

    toml_files.refuse_unknown(name, "", table, RULE_KEYS)
    looks = toml_files.whole(name, "looks", table.get("looks", 1), 1, MOST_LOOKS)
    claim = _claim(name, table.get("claim"))
    adjust = _adjust(name, table.get("adjust", []))
    if claim == RECIPE and "sitting:hours" in adjust:
        mend = _('is off under "recipe and machine": there a batch holds its trays too; leave it out.')
        raise toml_files.refuse(name, "adjust", "sitting:hours", mend)
    return Rule(
        attributes=_attributes(name, table.get("attributes")),
        alpha=_alpha(name, table.get("alpha", 0.05)),
        looks=looks,
        look=toml_files.whole(name, "look", table.get("look", 1), 1, looks),
        adjust=adjust,
        control=_control(name, table["control"]) if "control" in table else None,
        lost_reference=_lost_reference(name, table.get("lost_reference", "next")),
        claim=claim,
        batches=_batches(name, table, claim),
        gates=_gates(name, table),
        confirms=_confirms(name, table, claim) if "confirms" in table else None,
    )


def _gates(name: str, table: dict[str, Any]) -> dict[str, Gate]:
    gates = read_gates(name, table.get("gates"))
    for gate in gates:
        if gate in (table.get("attributes") or {}):
            sentence = _("{name}, gates.{gate}: an attribute has this name; a verdict names what decides.")
            raise BadInput(sentence.format(name=name, gate=toml_files.plain(gate)))
    return gates


def _claim(name: str, value: object) -> Claim | None:
    for known in CLAIMS:
        if value == known:
            return known
    if value is None:
        return None
    mend = _('is not known; write "this batch", "each of these batches" or "recipe and machine".')
    raise toml_files.refuse(name, "claim", value, mend)


def _batches(name: str, table: dict[str, Any], claim: Claim | None) -> int | None:
    if "batches" not in table:
        return None
    least = FEWEST_BATCHES if claim == RECIPE else 1
    return toml_files.whole(name, "batches", table["batches"], least, 1 if claim == THIS else MOST_BATCHES)


def _lost_reference(name: str, value: object) -> Literal["next", "none"]:
    if value == "next":
        return "next"
    if value == "none":
        return "none"
    mend = _('is not known; write "next" (the next longest pull takes its place) or "none" (then no verdict).')
    raise toml_files.refuse(name, "lost_reference", value, mend)


def _alpha(name: str, value: object) -> float:
    alpha = toml_files.number(name, "alpha", value)
    if SMALLEST_ALPHA <= alpha < 0.5:
        return alpha
    if 0 < alpha < SMALLEST_ALPHA:
        raise toml_files.refuse(name, "alpha", value, _("is smaller than any limit can be worked out for; write 0.05."))
    meant = alpha / 100
    mend = _("write {meant:g}.").format(meant=meant) if 0 < meant < 0.5 else _("write 0.05.")
    raise toml_files.refuse(name, "alpha", value, _("does not lie between 0 and 0.5; {mend}").format(mend=mend))


def _adjust(name: str, value: object) -> tuple[str, ...]:
    if not isinstance(value, list) or not all(isinstance(item, str) for item in value):
        raise toml_files.refuse(name, "adjust", value, _('is not a list of texts; write adjust = ["position"].'))
    for item in value:
        if item not in ADJUST:
            near = get_close_matches(item.casefold(), ADJUST, 1, 0.5)
            mend = (
                _("is it {near}?").format(near=near[0]) if near else _("known are {all}.").format(all=", ".join(ADJUST))
            )
            raise toml_files.refuse(name, "adjust", item, _("is not known; {mend}").format(mend=mend))
        if value.count(item) > 1:
            raise toml_files.refuse(name, "adjust", item, _("stands there twice; write it once."))
    return tuple(value)


def _confirms(name: str, table: dict[str, Any], claim: Claim | None) -> float:
    hours = toml_files.number(name, "confirms", table["confirms"])
    if hours <= 0:
        raise toml_files.refuse(name, "confirms", hours, _("is not above 0; give the hour that was chosen before."))
    if claim == EACH:
        mend = _('asks one batch at a time; leave it out, or write "this batch".')
        raise toml_files.refuse(name, "claim", claim, mend)
    if table.get("lost_reference") == "next":
        mend = _('has no place in a confirmation, where the next longest is the hour itself; write "none".')
        raise toml_files.refuse(name, "lost_reference", "next", mend)
    if "control" in table and _control(name, table["control"]) >= hours:
        mend = _("is not shorter than the {h:g} h to confirm.").format(h=hours)
        raise toml_files.refuse(name, "control", table["control"], mend)
    return hours


def _control(name: str, value: object) -> float:
    hours = toml_files.number(name, "control", value)
    if hours < 0:
        raise toml_files.refuse(name, "control", value, _("is below zero; give the hours of the pull known to differ."))
    return hours


def _attributes(name: str, value: object) -> dict[str, AttributeRule]:
    if not isinstance(value, dict) or not value:
        sentence = _('{name}: no attribute decides; add [attributes.acidity] with wanted = "lower" and margin = 1.0.')
        raise BadInput(sentence.format(name=name))
    if len(value) > MOST_ATTRIBUTES:
        sentence = _("{name}: {count} attributes, and at most {most} can decide.")
        raise BadInput(sentence.format(name=name, count=len(value), most=MOST_ATTRIBUTES))
    return {attribute: _attribute(name, attribute, rule) for attribute, rule in value.items()}


def _attribute(name: str, attribute: str, value: object) -> AttributeRule:
    from analysis.stopping import AttributeRule

    if not isinstance(value, dict):
        mend = _('is not a table; write [attributes.acidity] with wanted = "lower" and margin = 1.0 below it.')
        raise toml_files.refuse(name, f"attributes.{attribute}", value, mend)
    toml_files.refuse_unknown(name, attribute, value, ATTRIBUTE_KEYS)
    for key in ("wanted", "margin"):
        if key not in value:
            sentence = _("{name}, {attribute}: there is no {key}; every deciding attribute needs it.")
            raise BadInput(sentence.format(name=name, attribute=toml_files.plain(attribute), key=key))
    limit = toml_files.number(name, f"{attribute}.limit", value["limit"]) if "limit" in value else None
    return AttributeRule(_wanted(name, attribute, value["wanted"]), _margin(name, attribute, value["margin"]), limit)


def _wanted(name: str, attribute: str, value: object) -> Any:
    if value in list(WISHES):  # a file may hold a table or a list here, which no mapping looks up
        return value
    raise toml_files.refuse(
        name, f"{attribute}.wanted", value, _("is not known; write lower, higher or same, in quotes.")
    )


def _margin(name: str, attribute: str, value: object) -> float:
    margin = toml_files.number(name, f"{attribute}.margin", value)
    if margin > 0:
        return margin
    mend = _("is not above 0; give the largest worsening you would still sell, in scale units.")
    raise toml_files.refuse(name, f"{attribute}.margin", value, mend)
