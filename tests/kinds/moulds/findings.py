"""In sentences."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from tests.kinds.moulds.plan import MouldPlan


def draft_line(plan: MouldPlan) -> str:
    """How far it is."""
    return f"{len(plan.degrees)} temperatures so far."


def kept_line(plan: MouldPlan, document: Mapping[str, Any]) -> str:
    """Who won."""
    return f"Smoothest at {document['winner']} °C." if document else ""
