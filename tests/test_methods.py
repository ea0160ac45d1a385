"""The forced-choice methods: orders counted by hand and by combinatorics, right answers, and one home for all of it."""

from __future__ import annotations

import ast
from collections.abc import Iterator
from itertools import combinations
from math import comb
from pathlib import Path

import pytest

import analysis
import studyapp
from analysis.choice import psychometric
from studyapp.methods import METHODS, held_beside_scores, proposal

# ISO 4120 7.1 and ISO 10399: six triangle orders, four of the duo-trio with both references; the rest is counting:
# 4!/(2! 2!) for the tetrad, 2 * 5!/(3! 2!) for two out of five.
COUNTS = {
    "triangle": 6,
    "duo-trio": 4,
    "two-alternative": 2,
    "three-alternative": 3,
    "tetrad": 6,
    "two-out-of-five": 2 * comb(5, 2),
}


def test_the_statistics_know_the_same_methods() -> None:
    """The same names in the same order, with the same guess rates."""
    assert {name: method.chance for name, method in METHODS.items()} == {
        name: test.chance for name, test in psychometric.METHODS.items()
    }
    assert list(METHODS) == list(psychometric.METHODS) == list(COUNTS)


@pytest.mark.parametrize("method", COUNTS)
def test_the_orders_of_a_test_are_all_there(method: str) -> None:
    """As many as the standards or counting give, none twice."""
    assert len(METHODS[method].orders) == len(set(METHODS[method].orders)) == COUNTS[method]


def test_the_six_triangle_orders_are_those_of_the_standard() -> None:
    """ISO 4120 7.1, written out: ABB, BAB, BBA, AAB, ABA, BAA."""
    written = {"".join("AB"[sample] for sample in order) for order in METHODS["triangle"].orders}
    assert written == {"ABB", "BAB", "BBA", "AAB", "ABA", "BAA"}


def test_the_duo_trio_orders_are_those_of_the_standard() -> None:
    """ISO 10399, written out, the reference first: AAB, ABA, BAB, BBA."""
    written = {"".join("AB"[sample] for sample in order) for order in METHODS["duo-trio"].orders}
    assert written == {"AAB", "ABA", "BAB", "BBA"}


@pytest.mark.parametrize("method", COUNTS)
def test_guessing_is_right_as_often_as_the_record_says(method: str) -> None:
    """Every allowed answer to every order, counted: the share that is right is the guess rate."""
    test, tries, right = METHODS[method], 0, 0
    for order in test.orders:
        offered = range(1 if method == "duo-trio" else 0, len(order))
        for answer in combinations(offered, test.picks):
            tries += 1
            right += frozenset(answer) in test.right_answers(order)
    assert right / tries == pytest.approx(test.chance)


@pytest.mark.parametrize(
    ("method", "order", "answers"),
    [
        ("triangle", (0, 1, 0), [{1}]),
        ("triangle", (1, 1, 0), [{2}]),
        ("duo-trio", (0, 1, 0), [{2}]),
        ("duo-trio", (1, 1, 0), [{1}]),
        ("two-alternative", (0, 1), [{1}]),
        ("three-alternative", (1, 0, 0), [{0}]),
        ("tetrad", (0, 1, 1, 0), [{0, 3}, {1, 2}]),
        ("two-out-of-five", (1, 0, 1, 1, 0), [{1, 4}]),
        ("two-out-of-five", (0, 1, 0, 0, 1), [{1, 4}]),
    ],
)
def test_the_right_answer_of_an_order(method: str, order: tuple[int, ...], answers: list[set[int]]) -> None:
    """Worked out by hand."""
    assert set(METHODS[method].right_answers(order)) == {frozenset(one) for one in answers}


@pytest.mark.parametrize(
    ("method", "order"), [("triangle", (0, 0, 0)), ("tetrad", (0, 0, 0, 1)), ("duo-trio", (1, 0, 0))]
)
def test_an_order_that_no_test_serves_is_refused(method: str, order: tuple[int, ...]) -> None:
    """Neither a set of like cups nor a reference that is like neither cup."""
    with pytest.raises(ValueError, match="order of"):
        METHODS[method].right_answers(order)


@pytest.mark.parametrize("named", [True, False])
@pytest.mark.parametrize("lingers", [True, False])
def test_every_taste_has_one_proposal(named: bool, lingers: bool) -> None:
    """Only a taste with a name can be asked for by it."""
    method, fit = proposal(named, lingers)
    assert method.names_taste == named
    assert fit.why().startswith("The taste has a name" if named else "The taste")
    same = [each for each in METHODS.values() if each.proposed and each.proposed.named == named]
    assert sum(each.proposed is not None and each.proposed.lingers == lingers for each in same) == 1


def test_scores_stand_beside_tests_of_the_same_taste() -> None:
    """A named taste beside the tests that name one, any other beside the commonest of three and of four cups."""
    assert [method.name for method in held_beside_scores(nameable=True)] == ["two-alternative", "three-alternative"]
    assert [method.name for method in held_beside_scores(nameable=False)] == ["triangle", "tetrad"]


# ---- nothing else decides by a name ----------------------------------------------------------------------------------
ROOTS = (Path(studyapp.__file__).parent, Path(analysis.__file__).parent)
HOMES = {"studyapp/methods.py", "analysis/choice/psychometric.py"}
# A triangle is a drawn mark there.
DRAWN = {"studyapp/components/look.py", "studyapp/pictures/marks.py"}
TEXTUAL = {"endswith", "startswith", "removesuffix", "removeprefix", "get"}


def texts(node: ast.AST | None) -> Iterator[str]:
    """The strings written under a node."""
    for part in ast.walk(node) if node else ():
        if isinstance(part, ast.Constant) and isinstance(part.value, str):
            yield part.value


def decided_by(tree: ast.AST) -> Iterator[tuple[int, str]]:
    """Line and text of everything that code compares, matches, looks up or keys by, or lists to choose from."""
    for node in ast.walk(tree):
        asked: list[ast.AST | None] = []
        if isinstance(node, ast.Compare):
            asked = [node.left, *node.comparators]
        elif isinstance(node, ast.MatchValue):
            asked = [node.value]
        elif isinstance(node, ast.Dict):
            asked = list(node.keys)
        elif isinstance(node, ast.Subscript):
            asked = [node.slice]
        elif isinstance(node, ast.Tuple | ast.List | ast.Set):
            asked = list(node.elts) if all(isinstance(each, ast.Constant) for each in node.elts) else []
        elif isinstance(node, ast.Call) and isinstance(node.func, ast.Attribute) and node.func.attr in TEXTUAL:
            asked = list(node.args[:1])
        yield from ((node.lineno, text) for each in asked for text in texts(each))


def names_method(text: str) -> bool:
    """The name of a method, or such a part of one that several share."""
    return text in METHODS or (text.strip("-") in {"alternative", "afc"})


def decisions(source: str) -> list[int]:
    """The lines of a source that decide by the name of a method."""
    return sorted({line for line, text in decided_by(ast.parse(source)) if names_method(text)})


def test_only_the_records_decide_by_a_methods_name() -> None:
    """A new method is a record and its function, and no other file has to learn of it."""
    found = []
    for root in ROOTS:
        for path in sorted(root.rglob("*.py")):
            name = path.relative_to(root.parent).as_posix()
            if name not in HOMES | DRAWN and "/migrations/" not in name:
                found += [f"{name}:{line}" for line in decisions(path.read_text(encoding="utf-8"))]
    assert found == []


@pytest.mark.parametrize(
    "source",
    [
        'if method == "duo-trio": pass',
        'if method in ("tetrad", "two-out-of-five"): pass',
        'cups = {"triangle": 3}',
        'cups["tetrad"]',
        'cups.get("tetrad")',
        'method.endswith("-alternative")',
        'match method:\n    case "triangle": pass',
        'KNOWN = ("triangle", "tetrad")',
    ],
)
def test_the_check_sees_a_decision(source: str) -> None:
    """Each way in which code can decide by a name is found."""
    assert decisions(source)


def test_the_check_lets_marks_and_sentences_pass() -> None:
    """A drawn triangle, a default and a sentence decide nothing."""
    assert decisions('put("triangle", word)\nmethod = "triangle"\nsay("ask in a triangle")') == []
