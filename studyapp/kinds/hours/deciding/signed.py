"""A decision read back from the document that was signed, so that it is shown as it was signed, whatever rule is in
force by now. Documents of version 1 of the rule hold less; what they lack is worked out from them or left empty."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import fields
from typing import TYPE_CHECKING, Any

from studyapp.kinds.hours.files.decisions import APART, PULL_NUMBERS
from studyapp.kinds.hours.files.gate_documents import gates_from, more_repeats_from, taste_from
from studyapp.kinds.hours.plan import FIRST_RULE

if TYPE_CHECKING:
    from analysis.stopping import AttributeResult, BatchNumbers, Decision, PullResult

Document = Mapping[str, Any]


def rule_version(document: Document) -> int:
    """The version of the rule that gave a signed verdict."""
    return int(document.get("rule_version", FIRST_RULE))


def decision_from(document: Document) -> Decision:
    """The decision that `files.decisions.decision_document` wrote, by this version of the rule or an earlier one."""
    from analysis.stopping import Decision, LostPull, Unjudged, Warning

    missing = {"control_told_by": 0, "next_binding": None, "fails_on": _failing(document)}
    as_named = {**missing, **document}
    plain = {
        field.name: as_named[field.name] if field.type == "int" else _plain(as_named[field.name])
        for field in fields(Decision)
        if field.name in as_named and field.name not in APART
    }
    return Decision(
        **plain,
        verdict=document["verdict"],
        hours=_plain(document["hours"]),
        reason=document["reason"],
        scope=document["scope"],
        lost=tuple(LostPull(**{**one, "hours": float(one["hours"])}) for one in document.get("lost", ())),
        unjudged=tuple(Unjudged(**{**one, "hours": float(one["hours"])}) for one in document.get("unjudged", ())),
        gates=gates_from(document),
        taste=taste_from(document),
        more_repeats=more_repeats_from(document),
        batches=_batches(document.get("batches")),
        passes=_passes(document),
        attributes={name: _attribute(name, kept) for name, kept in document["attributes"].items()},
        warnings=tuple(Warning(kept["code"], kept["values"]) for kept in document["warnings"]),
    )


def _batches(kept: Document | None) -> BatchNumbers | None:
    from analysis.stopping import Alone, BatchNumbers, Departure

    if kept is None:
        return None
    flag = {
        name: one and Departure(**{key: _plain(value) for key, value in one.items()})
        for name, one in kept["flag"].items()
    }
    by_pull = {key: {name: _plain(row) for name, row in kept[key].items()} for key in ("batch_se", "df", "next_upper")}
    by_batch = {
        key: {name: {batch: _plain(row) for batch, row in every.items()} for name, every in kept[key].items()}
        for key in ("differences", "lower", "upper")
    }
    numbers: Any = {**by_pull, **by_batch, "flag": flag}
    alone = {name: Alone(one["verdict"], _plain(one["hours"])) for name, one in kept.get("alone", {}).items()}
    return BatchNumbers(tuple(kept["names"]), _plain(kept["hours"]), alone=alone, **numbers)


def _attribute(name: str, kept: Document) -> AttributeResult:
    from analysis.stopping import Anova, AttributeResult, AttributeRule

    return AttributeResult(
        name=name,
        rule=AttributeRule(kept["wanted"], float(kept["margin"]), _plain(kept["limit"])),
        reference_hours=float(kept["reference_hours"]),
        shortest_hours=_plain(kept["shortest_hours"]),
        assessors=kept["assessors"],
        reml_loglik=_plain(kept["reml_loglik"]),
        variance={part: _plain(value) for part, value in kept["variance"].items()},
        anova=Anova(**{part: _plain(value) for part, value in kept["anova"].items()}),
        pulls=tuple(_pull(pull) for pull in kept["pulls"]),
        judged=kept["judged"],
        why_not=kept["why_not"],
    )


def _pull(kept: Document) -> PullResult:
    from analysis.stopping import PullResult

    told = {"decisive_lower": _widest(kept, "lower", min), "decisive_upper": _widest(kept, "upper", max), **kept}
    return PullResult(
        **{name: _plain(told[name]) for name in PULL_NUMBERS},
        within_margin=kept["within_margin"],
        within_limit=kept["within_limit"],
        shown_to_fail=kept["shown_to_fail"],
    )


def _widest(kept: Document, side: str, widest: Callable[[list[float]], float]) -> float | None:
    """The limit that decides: the widest of all errors in force; None where panel or own error is unknown."""
    both = [kept[side], kept[f"own_{side}"]]
    if None in both:
        return None
    sitting = kept[f"sitting_{side}"]
    return widest(both if sitting is None else [*both, sitting])


def _passes(document: Document) -> dict[float, bool]:
    """Hours to whether the pull passes; the same under every attribute."""
    pulls = next(iter(document["attributes"].values()))["pulls"]
    return {float(pull["hours"]): pull["passes"] for pull in pulls}


def _failing(document: Document) -> dict[str, list[str]]:
    """Per pull shown to fail, the attributes it fails on."""
    found: dict[str, list[str]] = {}
    for name, kept in document["attributes"].items():
        for hours in kept["shown_to_fail"]:
            found.setdefault(str(hours), []).append(name)
    return found


def _plain(value: Any) -> Any:
    """A number as a float (canonical JSON writes 24.0 as 24), a list as a tuple, hours that are keys as numbers."""
    if isinstance(value, dict):
        return {float(hours): _plain(item) for hours, item in value.items()}
    if isinstance(value, list):
        return tuple(_plain(item) for item in value)
    return float(value) if isinstance(value, int) and not isinstance(value, bool) else value
