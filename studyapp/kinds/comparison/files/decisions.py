"""The verdicts of a comparison as the one JSON object that is printed and signed, and read back from it."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import asdict, fields
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable

    from analysis.comparing import Bracket, Compared, GateOfMake, MakeResult
    from analysis.comparing.confounders import Likeness
    from analysis.comparing.price import MakeOffer
    from analysis.stopping import Warning

Alike = Mapping[str, Mapping[str, "Likeness"]]


def comparison_document(
    found: Compared,
    alike: Alike,
    offers: Iterable[MakeOffer],
    sealed: bool,
    say: Callable[[Warning], str] | None = None,
) -> dict[str, Any]:
    """A comparison as plain JSON values; numbers that do not exist are None. `compared_from` reads it back.

    `say` turns a warning into its sentence; without it the code stands in for the sentence.
    """
    from analysis.comparing import COMPARING_VERSION

    document: dict[str, Any] = _json(asdict(found))
    document["warnings"] = [
        {"code": one.code, "sentence": say(one) if say else one.code, "values": _json(one.values)}
        for one in found.warnings
    ]
    for name, make in document["makes"].items():
        make["confounders"] = {what: _json(asdict(one[name])) for what, one in alike.items() if name in one}
    return {
        "verdicts": {name: make.verdict for name, make in found.makes.items()},
        "comparing_version": COMPARING_VERSION,
        "sealed": sealed,
        **document,
        "price": [_json(asdict(offer)) for offer in offers],
    }


def compared_from(document: Mapping[str, Any]) -> Compared:
    """The comparison that was signed."""
    from analysis.comparing import Compared, ControlResult, Faster, LostPiece, MakeClaim, Reached, UnjudgedPiece
    from analysis.instruments import Gate
    from analysis.stopping import Warning

    # Verdicts that were signed under the first version knew nothing of pieces that are missing.
    named = {field.name: document[field.name] for field in fields(Compared) if field.name in document}
    made = {
        "makes": {name: _make(kept) for name, kept in document["makes"].items()},
        "control_result": ControlResult(**document["control_result"]),
        "claims": {name: MakeClaim(**kept) for name, kept in document["claims"].items()},
        "warnings": tuple(Warning(kept["code"], kept["values"]) for kept in document["warnings"]),
        "faster": None if document["faster"] is None else Faster(**document["faster"]),
        "level": float(document["level"]),
        "lost": tuple(LostPiece(**kept) for kept in document.get("lost", ())),
        "gates": {name: Gate(**kept) for name, kept in document.get("gates", {}).items()},
        "reference_gates": _gates(document.get("reference_gates", ())),
        "reached": tuple(Reached(**kept) for kept in document.get("reached", ())),
        "unjudged": tuple(UnjudgedPiece(**kept) for kept in document.get("unjudged", ())),
        "bracket": _bracket(document.get("bracket")),
    }
    return Compared(**{**named, **made})


def _make(kept: Mapping[str, Any]) -> MakeResult:
    from analysis.comparing import ClaimResult, MakeResult

    claims = {
        name: ClaimResult(**{**one, "by_batch": tuple(one["by_batch"])}) for name, one in kept["attributes"].items()
    }
    own = {field.name: kept[field.name] for field in fields(MakeResult) if field.name in kept}
    gates = _gates(kept.get("gates", ()))
    return MakeResult(**{**own, "attributes": claims, "fails_on": tuple(kept["fails_on"]), "gates": gates})


def _bracket(kept: Mapping[str, Any] | None) -> Bracket | None:
    from analysis.comparing import Bracket, PullAnswer

    return None if kept is None else Bracket(**{**kept, "pulls": tuple(PullAnswer(**one) for one in kept["pulls"])})


def _gates(kept: Iterable[Mapping[str, Any]]) -> tuple[GateOfMake, ...]:
    from analysis.comparing import GateOfMake

    return tuple(GateOfMake(**one) for one in kept)


def alike_from(document: Mapping[str, Any]) -> dict[str, dict[str, Likeness]]:
    """What else differed, by quantity and make, as it was signed."""
    from analysis.comparing.confounders import Likeness

    found: dict[str, dict[str, Likeness]] = {}
    for name, make in document["makes"].items():
        for what, kept in make["confounders"].items():
            found.setdefault(what, {})[name] = Likeness(**kept)
    return found


def _json(value: Any) -> Any:
    """Plain Python values; what is not finite becomes None."""
    if isinstance(value, Mapping):
        return {str(key): _json(item) for key, item in value.items()}
    if isinstance(value, (list, tuple)):
        return [_json(item) for item in value]
    if isinstance(value, float) and not math.isfinite(value):
        return None
    return value
