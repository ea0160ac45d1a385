"""The forced-choice methods, one record each. A new one is a record here and its function in `analysis.choice`.

Nothing else in the app decides by a method's name: what differs between methods is a field here. The chance of a right
answer against d' stands under the same name in `analysis.choice.psychometric`. A phone waits for what stands here, so
nothing but the standard library and words is imported. In an order 0 is the plain cup (blank or reference) and 1 the
other one. Sentences are functions, because the language belongs to the person who reads.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from itertools import permutations

from studyapp.words import _

Order = tuple[int, ...]
Words = Callable[[], str]


@dataclass(frozen=True, slots=True)
class Proposed:
    """For which taste a method is proposed: it has a name or not, it stays in the mouth or not; and why."""

    named: bool
    lingers: bool
    why: Words


@dataclass(frozen=True, slots=True)
class Method:
    """One forced-choice test.

    Attributes:
        name: as files, commands and sealed rules write it.
        chance: of a right answer by guessing.
        orders: every order of the samples of a set, each to be used equally; the reference first where there is one.
        picks: how many cups an answer names.
        title: name and what it asks, for a list to choose from.
        ask: what an assessor is asked; may hold {note}, the named taste.
        ask_after: the same of pieces eaten one by one, each noticed at its own moment; None where that cannot be asked.
        names_taste: asks for the stronger of a taste that has a name, so the stronger sample is named before tasting.
        reference_first: the first cup is the reference and cannot be picked.
        proposed: for which taste; None is never proposed.
        beside_scores: how it is called beside scores; None is not held beside them.
        advice: what makes it say more than it does by itself.
    """

    name: str
    chance: float
    orders: tuple[Order, ...]
    picks: int
    title: Words
    ask: Words
    ask_after: Words | None = None
    names_taste: bool = False
    reference_first: bool = False
    proposed: Proposed | None = None
    beside_scores: Words | None = None
    advice: Words | None = None

    @property
    def cups(self) -> int:
        """Cups in one set."""
        return len(self.orders[0])

    def question(self, note: str = "", one_by_one: bool = False) -> str:
        """What an assessor is asked; `note` is the named taste, `one_by_one` says that each piece was eaten alone."""
        return (self.ask_after if one_by_one and self.ask_after else self.ask)().format(note=note)

    def right_answers(self, order: Order) -> tuple[frozenset[int], ...]:
        """The places (from 0) that a right answer names; two where either group of like cups may be named.

        The stronger sample; or the cup like the reference; or any group of like cups that is as large as an answer.
        Raises ValueError for an order that the method does not serve.
        """
        if order not in self.orders:
            raise ValueError(f"{order} is no order of the {self.name} test")
        ones = frozenset(place for place, sample in enumerate(order) if sample == 1)
        zeros = frozenset(range(len(order))) - ones
        if self.names_taste:
            return (ones,)
        if self.reference_first:
            return ((ones if order[0] else zeros) - {0},)
        return tuple(group for group in (zeros, ones) if len(group) == self.picks)


def _orders(*samples: Order) -> tuple[Order, ...]:
    """Every order of each set of samples (ISO 4120 7.1: six for the triangle)."""
    return tuple(sorted({order for each in samples for order in permutations(each)}))


_ODD_ONE = _orders((0, 0, 1), (1, 1, 0))

_ALL = (
    Method(
        "triangle",
        1 / 3,
        _ODD_ONE,
        picks=1,
        title=lambda: _("triangle: three cups, which one is odd"),
        ask=lambda: _("Two of these three are the same and one differs. Which one differs?"),
        proposed=Proposed(
            named=False,
            lingers=False,
            why=lambda: _("The taste has no name: ask which of three differs."),
        ),
        beside_scores=lambda: _("triangle: which of three is odd"),
    ),
    Method(
        "duo-trio",
        1 / 2,
        # ISO 10399: the odd cup is never the first, either sample is the reference equally often.
        tuple(order for order in _ODD_ONE if order[0] in order[1:]),
        picks=1,
        title=lambda: _("duo-trio: a reference and two, which one is the same"),
        ask=lambda: _("The first is the reference. One of the other two is the same as it. Which one?"),
        reference_first=True,
        proposed=Proposed(
            named=False,
            lingers=True,
            why=lambda: _("The taste stays and has no name: compare with a reference, one set a sitting."),
        ),
    ),
    Method(
        "two-alternative",
        1 / 2,
        _orders((0, 1)),
        picks=1,
        title=lambda: _("two-alternative: two cups, which one has more of it"),
        ask=lambda: _("Which of these two tastes more of {note}?"),
        ask_after=lambda: _("After which piece was more {note} still there, at its moment?"),
        names_taste=True,
        proposed=Proposed(
            named=True,
            lingers=True,
            why=lambda: _("The taste has a name and stays: ask which of two has more of it, one set a sitting."),
        ),
        beside_scores=lambda: _("which of two has more of it"),
    ),
    Method(
        "three-alternative",
        1 / 3,
        _orders((0, 0, 1)),
        picks=1,
        title=lambda: _("three-alternative: three cups, which one has most of it"),
        ask=lambda: _("Which of these three tastes most of {note}?"),
        names_taste=True,
        proposed=Proposed(
            named=True,
            lingers=False,
            why=lambda: _(
                "The taste has a name: ask which of three has most of it. Nothing finds more with fewer cups."
            ),
        ),
        beside_scores=lambda: _("which of three has more of it"),
    ),
    Method(
        "tetrad",
        1 / 3,
        _orders((0, 0, 1, 1)),
        picks=2,
        title=lambda: _("tetrad: four cups, which two belong together"),
        ask=lambda: _("These four make two groups of two that are the same. Which two belong together?"),
        beside_scores=lambda: _("tetrad: two pairs of four"),
    ),
    Method(
        "two-out-of-five",
        1 / 10,
        _orders((0, 0, 0, 1, 1), (1, 1, 1, 0, 0)),
        picks=2,
        title=lambda: _("two-out-of-five: five cups, which two belong together"),
        ask=lambda: _("These five make two groups, one of two and one of three. Which two make the group of two?"),
        advice=lambda: _("Ask for two groups, not for the two most alike."),
    ),
)
METHODS = {method.name: method for method in _ALL}


def proposal(named: bool, lingers: bool) -> tuple[Method, Proposed]:
    """The method for a taste, and what speaks for it."""
    for method in _ALL:
        for_this = method.proposed
        if for_this and (for_this.named, for_this.lingers) == (named, lingers):
            return method, for_this
    raise ValueError(f"no method is proposed for a taste with named={named}, lingers={lingers}")


def held_beside_scores(nameable: bool) -> tuple[Method, ...]:
    """The methods to compare with scores, for a taste that has a name or has none."""
    return tuple(each for each in _ALL if each.beside_scores and each.names_taste == nameable)
