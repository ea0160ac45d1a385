"""What must hold, and how it reads."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime
from typing import Any

from studyapp.records import Check, Problem
from tests.kinds.moulds.plan import MouldPlan


def problems(plan: MouldPlan) -> tuple[Problem, ...]:
    """Two temperatures, a line to mark, somebody to mark it."""
    found = {
        "degrees": len(plan.degrees) >= 2,
        "attributes": bool(plan.attributes),
        "assessors": bool(plan.assessors),
    }
    return tuple(Problem(where, f"Fix the {where}.") for where, holds in found.items() if not holds)


def sentences(plan: MouldPlan, named: Mapping[str, Any] | None = None) -> tuple[str, ...]:
    """One sentence."""
    return (f"Of {len(plan.degrees)} temperatures the smoothest wins.",)


def named() -> dict[str, int]:
    """A version, as any rule may have one."""
    return {"mould_version": 1}


def sitting_at(plan: MouldPlan, number: int) -> datetime | None:
    """The plan names no day."""
    return None


def checks(plan: MouldPlan) -> tuple[Check, ...]:
    """The moulds themselves."""
    return (Check("dry_mould", "The moulds were dry", "moulds dry", "Not released: dry the moulds first."),)
