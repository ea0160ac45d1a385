"""Nothing outside the folders of the kinds knows one: read from the syntax tree of every file of the app."""

from __future__ import annotations

import ast
from collections.abc import Iterator
from pathlib import Path

import pytest

from studyapp import registry

APP = Path(registry.__file__).parent
OUTSIDE = sorted(
    file
    for file in APP.rglob("*.py")
    if file != APP / "registry.py" and not {"kinds", "migrations"} & set(file.relative_to(APP).parts)
)
NAMES = set(registry.KINDS)


def classes_of_kinds() -> set[str]:
    """Every class that a kind defines."""
    trees = (ast.parse(file.read_text()) for file in (APP / "kinds").rglob("*.py"))
    return {node.name for tree in trees for node in ast.walk(tree) if isinstance(node, ast.ClassDef)}


CLASSES = classes_of_kinds()


def known(tree: ast.Module) -> Iterator[str]:
    """Imports of a kind, names of its classes, and branches on its name."""
    own = {node.name for node in ast.walk(tree) if isinstance(node, ast.ClassDef)}
    own |= {node.id for node in ast.walk(tree) if isinstance(node, ast.Name) and isinstance(node.ctx, ast.Store)}
    for node in ast.walk(tree):
        if isinstance(node, ast.ImportFrom | ast.Import) and "studyapp.kinds" in ast.unparse(node):
            yield ast.unparse(node)
        if isinstance(node, ast.Name | ast.Attribute):
            yield from {ast.unparse(node).rpartition(".")[2]} & (CLASSES - own)
        yield from (text for text in _branched(node) if text in NAMES)


def _branched(node: ast.AST) -> Iterator[object]:
    """Texts that are compared, matched, or keys of a dictionary."""
    if isinstance(node, ast.Compare):
        parts = (each for side in (node.left, *node.comparators) for each in ast.walk(side))
        yield from (each.value for each in parts if isinstance(each, ast.Constant))
    if isinstance(node, ast.MatchValue) and isinstance(node.value, ast.Constant):
        yield node.value.value
    if isinstance(node, ast.Dict):
        yield from (key.value for key in node.keys if isinstance(key, ast.Constant))
    if isinstance(node, ast.Subscript) and isinstance(node.slice, ast.Constant):
        yield node.slice.value


@pytest.mark.parametrize("file", OUTSIDE, ids=lambda file: str(file.relative_to(APP)))
def test_no_other_file_knows_a_kind(file: Path) -> None:
    """A new kind touches its folder and one line of the registry, since nothing else can depend on one."""
    assert list(known(ast.parse(file.read_text()))) == []


def test_the_registry_has_one_line_a_kind() -> None:
    """The name in the store, and the folder, which is all it says of a kind."""
    lines = (APP / "registry.py").read_text().splitlines()
    assert [line.strip() for line in lines if "studyapp.kinds" in line] == [
        f'"{name}": "{place}",' for name, place in registry.KINDS.items()
    ]
    assert [path.name for path in sorted((APP / "kinds").iterdir()) if (path / "plan.py").exists()] == sorted(
        registry.KINDS
    )


@pytest.mark.parametrize(
    "planted",
    [
        "from studyapp.kinds.hours import rule",
        "import studyapp.kinds.aroma.plan",
        "def f(study): return study.kind == 'hours'",
        "def f(kind): return kind in ('aroma', 'other')",
        "match kind:\n    case 'hours': pass",
        "NAMES = {'hours': 1}",
        "def f(plan): return isinstance(plan, HoursPlan)",
        "def f(row): return row['hours']",
    ],
)
def test_what_is_planted_is_found(planted: str) -> None:
    """The test above can fail."""
    assert list(known(ast.parse(planted)))


def test_the_statistics_are_rooms_and_nothing_beside_them() -> None:
    """At most nine rooms, each with a face, and no module at the top."""
    top = [path for path in (APP.parent / "analysis").iterdir() if path.name not in ("__pycache__", "__init__.py")]
    assert all((path / "__init__.py").exists() for path in top)
    assert len(top) <= 9
