"""The shape of the code: how much a function holds and how many ways lead through it, comprehensions counted too."""

from __future__ import annotations

import ast
from collections.abc import Iterator
from pathlib import Path

import pytest

import analysis
import studyapp

MOST_WAYS, MOST_LINES = 10, 40
FILES = sorted(
    file
    for package in (analysis, studyapp)
    for file in Path(str(package.__file__)).parent.rglob("*.py")
    if "migrations" not in file.parts
)
# McCabe (1976): one way more for each place where the flow divides; a comprehension is a loop (ruff does not count it).
DIVIDES = (ast.If, ast.For, ast.While, ast.ExceptHandler, ast.match_case, ast.comprehension)


def functions(tree: ast.Module) -> Iterator[ast.FunctionDef | ast.AsyncFunctionDef]:
    """Every function, those inside others too."""
    yield from (node for node in ast.walk(tree) if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef))


def own(node: ast.AST) -> Iterator[ast.AST]:
    """What belongs to a function, without the functions inside it."""
    for child in ast.iter_child_nodes(node):
        if not isinstance(child, ast.FunctionDef | ast.AsyncFunctionDef | ast.Lambda):
            yield child
            yield from own(child)


def ways(function: ast.AST) -> int:
    """How many ways lead through a function."""
    return 1 + sum(isinstance(node, DIVIDES) for node in own(function))


def lines(function: ast.FunctionDef | ast.AsyncFunctionDef) -> int:
    """Lines of a function without its docstring."""
    assert function.end_lineno is not None
    told = ast.get_docstring(function, clean=False)
    body = function.body[1] if told is not None and len(function.body) > 1 else function.body[0]
    return function.end_lineno - body.lineno + 1


@pytest.mark.parametrize("file", FILES, ids=lambda file: f"{file.parent.name}/{file.name}")
def test_every_function_can_be_read_at_once(file: Path) -> None:
    """At most ten ways and forty lines."""
    found = {f.name: (ways(f), lines(f)) for f in functions(ast.parse(file.read_text()))}
    assert {name: size for name, size in found.items() if size[0] > MOST_WAYS or size[1] > MOST_LINES} == {}


def test_ways_are_counted_as_a_reader_would() -> None:
    """By hand: a condition, two loops, and the straight way; what is inside another function is its own."""
    inner = "    def g():\n        for y in x: pass\n"
    written = f"def f(x):\n    if x:\n        return [a for a in x]\n{inner}    return {{b: 1 for b in x}}"
    assert [ways(function) for function in functions(ast.parse(written))] == [4, 2]
