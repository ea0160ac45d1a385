"""RULE.toml in, and a decision out as the one JSON object that people's scripts rely on."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Mapping
from dataclasses import asdict, fields
from difflib import get_close_matches
from pathlib import Path
from typing import TYPE_CHECKING, Any

from studyapp.errors import BadInput
from studyapp.services import toml_files
from studyapp.wishes import WISHES
from studyapp.words import _

if TYPE_CHECKING:
    from analysis.planning import Offer
    from analysis.stopping import AttributeResult, AttributeRule, Decision, PullResult, Rule, Warning
    from analysis.stopping.cross_check import AttributeCheck

MOST_ATTRIBUTES = 50
ADJUST = ("position", "sitting", "sitting:hours")
SMALLEST_ALPHA = 1e-6  # far below it a quantile is infinite, and no study is large enough to use one
RULE_KEYS = ("alpha", "looks", "look", "adjust", "control", "attributes")
ATTRIBUTE_KEYS = ("wanted", "margin", "limit")
MOST_LOOKS = 4


# ---- the rule ------------------------------------------------------------------------------------------------------
def read_rule(path: Path | str, text: str | None = None) -> Rule:
    """The rule in a TOML file, or in `text`, which was read from it. Raises BadInput: file, key, value, rule."""
    path = Path(path)
    name = toml_files.plain(path.name)
    table = toml_files.table(path, text)
    from analysis.stopping import Rule

    toml_files.refuse_unknown(name, "", table, RULE_KEYS)
    looks = toml_files.whole(name, "looks", table.get("looks", 1), 1, MOST_LOOKS)
    return Rule(
        attributes=_attributes(name, table.get("attributes")),
        alpha=_alpha(name, table.get("alpha", 0.05)),
        looks=looks,
        look=toml_files.whole(name, "look", table.get("look", 1), 1, looks),
        adjust=_adjust(name, table.get("adjust", [])),
        control=_control(name, table["control"]) if "control" in table else None,
    )


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


# ---- the decision --------------------------------------------------------------------------------------------------
def decision_document(
    decision: Decision, offers: Iterable[Offer], sealed: bool, say: Callable[[Warning], str] | None = None
) -> dict[str, Any]:
    """A decision as plain JSON values; numbers that do not exist are None. `signed.decision_from` reads it back.

    `say` turns a warning into its sentence (the findings do); without it the code stands in for the sentence.
    """
    from analysis.stopping import RULE_VERSION

    return {
        "verdict": decision.verdict,
        "hours": _json(decision.hours),
        "reason": decision.reason,
        "rule_version": RULE_VERSION,
        "sealed": sealed,
        "scope": _json(decision.scope),
        **{field.name: _json(getattr(decision, field.name)) for field in fields(decision) if field.name not in APART},
        "warnings": [
            {"code": warning.code, "sentence": say(warning) if say else warning.code, "values": _json(warning.values)}
            for warning in decision.warnings
        ],
        "attributes": {name: _attribute_document(decision, result) for name, result in decision.attributes.items()},
        "price": [_offer_document(offer) for offer in offers] if decision.verdict == "cannot tell" else None,
    }


# Fields of a decision that are written in an order, place or form of their own; any other stands under its name.
APART = ("verdict", "hours", "reason", "scope", "passes", "attributes", "warnings")


def _attribute_document(decision: Decision, result: AttributeResult) -> dict[str, Any]:
    return {
        "wanted": result.rule.wanted,
        "margin": _json(result.rule.margin),
        "limit": _json(result.rule.limit),
        "reference_hours": _json(result.reference_hours),
        "shortest_hours": _json(result.shortest_hours),
        "judged": bool(result.judged),
        "why_not": result.why_not,
        "assessors": result.assessors,
        "reml_loglik": _json(result.reml_loglik),
        "variance": {name: _json(result.variance.get(name)) for name in _variances(result)},
        "anova": {name: _json(getattr(result.anova, name)) for name in ("f", "num_df", "den_df", "p")},
        "shown_to_fail": [_json(pull.hours) for pull in result.pulls if pull.shown_to_fail],
        "pulls": [_pull_document(decision, pull) for pull in result.pulls],
    }


def _variances(result: AttributeResult) -> list[str]:
    always = ("assessor", "assessor:hours", "residual")
    return [*always, *(name for name in result.variance if name not in always)]


PULL_NUMBERS = (
    "hours",
    "mean",
    "mean_low",
    "mean_high",
    "difference",
    "se",
    "df",
    "lower",
    "upper",
    "own_se",
    "own_df",
    "own_lower",
    "own_upper",
    "sitting_lower",
    "sitting_upper",
    "decisive_lower",
    "decisive_upper",
)


def _pull_document(decision: Decision, pull: PullResult) -> dict[str, Any]:
    return {
        **{name: _json(getattr(pull, name)) for name in PULL_NUMBERS},
        "within_margin": bool(pull.within_margin),
        "within_limit": _json(pull.within_limit),
        "shown_to_fail": bool(pull.shown_to_fail),
        "passes": _json(decision.passes.get(pull.hours)),
    }


def _offer_document(offer: Offer) -> dict[str, Any]:
    return {field.name: _json(getattr(offer, field.name)) for field in fields(offer)}


def cross_check_document(checks: Mapping[str, AttributeCheck]) -> dict[str, Any]:
    """What two other programs say of each attribute, as plain JSON values."""
    return {name: {**_json(asdict(check)), "agrees": check.agrees} for name, check in checks.items()}


def _json(value: Any) -> Any:
    """Plain Python values; whole floats stay floats, and what is not finite becomes None."""
    if isinstance(value, Mapping):
        return {_key(key): _json(item) for key, item in value.items()}
    if isinstance(value, (list, tuple, set, frozenset)):
        return [_json(item) for item in value]
    if hasattr(value, "item") and not isinstance(value, str):  # a number of numpy
        value = value.item()
    if isinstance(value, float) and not math.isfinite(value):
        return None
    return value if value is None or isinstance(value, (bool, int, float, str)) else str(value)


def _key(key: object) -> str:
    """Hours as text, 8 for 8.0."""
    return f"{key:g}" if isinstance(key, float) else str(key)
