"""A decision as the one JSON object that people's scripts rely on."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Mapping
from dataclasses import asdict, fields
from typing import TYPE_CHECKING, Any

from studyapp.kinds.hours.files.gate_documents import beside, gates_document

if TYPE_CHECKING:
    from analysis.planning import Offer
    from analysis.stopping import AttributeResult, Decision, PullResult, Warning
    from analysis.stopping.cross_check import AttributeCheck


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
        "lost": [_json(asdict(one)) for one in decision.lost],
        "unjudged": [_json(asdict(one)) for one in decision.unjudged],
        "batches": None if decision.batches is None else _json(asdict(decision.batches)),
        "attributes": {name: _attribute_document(decision, result) for name, result in decision.attributes.items()},
        "gates": _json(gates_document(decision.gates)),
        **_json(beside(decision)),
        "price": [_offer_document(offer) for offer in offers] if decision.verdict == "cannot tell" else None,
    }


INSTRUMENTS = ("gates", "taste", "more_repeats")
# Fields of a decision that are written in an order, place or form of their own; any other stands under its name.
APART = (
    "verdict",
    "hours",
    "reason",
    "scope",
    "passes",
    "attributes",
    "warnings",
    "lost",
    "unjudged",
    "batches",
    *INSTRUMENTS,
)


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
