"""What instruments say in a decision, as plain JSON values, and read back from them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import asdict, fields
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from analysis.instruments import GateResult
    from analysis.stopping import Decision
    from analysis.stopping.decision import Taste
    from analysis.stopping.gates import MoreRepeats

Document = Mapping[str, Any]


def gates_document(results: Sequence[GateResult]) -> dict[str, Any]:
    """Each limit by its name: what was sealed, the spread of repeats, its pulls, batch by batch."""
    found: dict[str, Any] = {}
    for one in results:
        spread = {"sd": one.sd, "df": one.df}
        own = found.setdefault(one.name, {**asdict(one.gate), "spread": spread, "batches": [], "pulls": []})
        standing = {"improving": one.improving, "shortest_hours": one.shortest_hours, "turns": one.turns}
        own["batches"].append({"batch": one.batch, **standing})
        named = {"batch": one.batch} if one.batch else {}
        own["pulls"] += [{**named, **asdict(pull)} for pull in one.pulls]
    return found


def beside(decision: Decision) -> dict[str, Any]:
    """What else instruments bring into a decision: flavour alone, and what more repeats would do."""
    return {
        "taste": None if decision.taste is None else asdict(decision.taste),
        "more_repeats": [asdict(one) for one in decision.more_repeats],
    }


def gates_from(document: Document) -> tuple[GateResult, ...]:
    """The limits as `gates_document` wrote them; none in a document that knows none."""
    from analysis.instruments import Gate, GateResult

    found = []
    for name, own in document.get("gates", {}).items():
        gate = Gate(**{field.name: _number(own[field.name], field.name) for field in fields(Gate)})
        spread = {part: float(value) for part, value in own["spread"].items()}
        for one in own["batches"]:
            pulls = tuple(_pull(pull) for pull in own["pulls"] if pull.get("batch", "") == one["batch"])
            shortest = _number(one["shortest_hours"])
            told = {**one, **spread, "shortest_hours": shortest}
            found.append(GateResult(name=name, gate=gate, pulls=pulls, **told))
    return tuple(found)


def _pull(kept: Document) -> Any:
    from analysis.instruments import GatePull

    return GatePull(**{field.name: _number(kept[field.name], field.name) for field in fields(GatePull)})


def taste_from(document: Document) -> Taste | None:
    """What flavour alone would say."""
    from analysis.stopping.decision import Taste

    kept = document.get("taste")
    return None if kept is None else Taste(kept["verdict"], _number(kept["hours"]))


def more_repeats_from(document: Document) -> tuple[MoreRepeats, ...]:
    """What more readings would do."""
    from analysis.stopping.gates import MoreRepeats

    return tuple(
        MoreRepeats(**{**one, "hours": float(one["hours"]), "chance": _number(one["chance"])})
        for one in document.get("more_repeats", ())
    )


def _number(value: Any, name: str = "") -> Any:
    """A number as a float, for canonical JSON writes 24.0 as 24; a count of repeats stays whole."""
    whole = isinstance(value, bool) or name == "repeats"
    return float(value) if isinstance(value, int) and not whole else value
