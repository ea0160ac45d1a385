"""Whatever keeps a plan from its seal belongs to one of the steps that its page folds, and to one alone."""

from __future__ import annotations

import ast
import importlib
from pathlib import Path

import pytest

from studyapp import registry

STEPS = {kind: importlib.import_module(f"{package}.pages.steps") for kind, package in registry.KINDS.items()}


def places(kind: str) -> set[str]:
    """The places that the rule of a kind names, read from its source: the first word of every Problem."""
    folder = Path(str(importlib.import_module(registry.KINDS[kind]).__file__)).parent
    files = [file for file in folder.rglob("*.py") if "rule" in file.parts or file.stem == "rule"]
    calls = [node for file in files for node in ast.walk(ast.parse(file.read_text())) if isinstance(node, ast.Call)]
    named = [call.args[0] for call in calls if getattr(call.func, "id", "") == "Problem" and call.args]
    return {str(first.value) for first in named if isinstance(first, ast.Constant)}


@pytest.mark.parametrize("kind", registry.KINDS)
def test_every_place_of_a_problem_has_one_step(kind: str) -> None:
    """A problem without one could keep a plan from its seal with every step ticked."""
    steps = STEPS[kind].of(registry.plan(kind).new("New"))
    known = [place for step in steps for place in step.places]
    assert len(known) == len(set(known))
    assert len(places(kind)) > 8
    assert places(kind) - set(known) == set()


@pytest.mark.parametrize("kind", registry.KINDS)
def test_a_new_plan_has_nothing_in_its_steps_and_no_mistake_yet(kind: str) -> None:
    plan = registry.plan(kind).new("New")
    empty = STEPS[kind].empty(plan)
    assert [step.said for step in STEPS[kind].of(plan)] == [""] * len(STEPS[kind].of(plan))
    blocking = {one.where for one in registry.rule(kind).problems(plan) if one.blocks}
    assert blocking - empty == set(), "what nobody has filled is not scolded before its step is done"
