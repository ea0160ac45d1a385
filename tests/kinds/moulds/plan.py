"""What is sealed: the temperatures of the mould."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from studyapp.records import Attribute, CupsPlan

KIND = "moulds"


@dataclass(frozen=True, slots=True)
class MouldPlan(CupsPlan):
    """Moulds at these temperatures, degrees Celsius."""

    degrees: tuple[float, ...] = ()


Plan = MouldPlan


def new(title: str, newest: MouldPlan | None = None) -> MouldPlan:
    """The temperatures of the newest study."""
    return MouldPlan(title, degrees=newest.degrees if newest else (), sittings=1, rest_seconds=0)


def again(plan: MouldPlan) -> MouldPlan:
    """As it stands."""
    return plan


def from_document(document: Mapping[str, Any]) -> MouldPlan:
    """As the store kept it."""
    lines = tuple(Attribute(**line) for line in document["attributes"])
    lists = {name: tuple(document[name]) for name in ("degrees", "assessors")}
    return MouldPlan(**{**document, **lists, "attributes": lines})
