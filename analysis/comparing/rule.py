"""The sealed rule of a comparison: makes held against one of them, and what is claimed of each attribute."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Literal, get_args

from analysis.instruments import Gate
from analysis.stopping.rule import AttributeRule, Rule, Wanted, check_rule

Claim = Literal["no worse", "same", "better"]
Scope = Literal["these batches", "make"]
# Goes up with every change that can turn a verdict on the same scores; seals and signed verdicts name it.
# Version 2: what became of pieces that are missing, and of servings that nobody could judge, counts.
COMPARING_VERSION = 2
# Of each make, for a claim on the make: with two, batches of uneven spread err too often.
FEWEST_BATCHES = 3
MOST_MAKES = 4


@dataclass(frozen=True, slots=True)
class MakeClaim:
    """What is claimed of every make on one attribute, against the reference: no worse by the margin or more, the same
    within the margin on both sides, or better. Margin and limit in scale units; `limit` bounds the mean of a make."""

    wanted: Wanted
    margin: float
    claim: Claim = "no worse"
    limit: float | None = None

    @property
    def wish(self) -> AttributeRule:
        """What the limits are worked out from: which direction is worse, and the margin."""
        return AttributeRule(self.wanted, self.margin, self.limit)


@dataclass(frozen=True, slots=True)
class Pull:
    """What a piece is where two makes are each tasted after several hours."""

    make: str
    hours: float


@dataclass(frozen=True, slots=True)
class MakeRule:
    """The sealed rule. `control` is a piece known to differ from the `reference`.

    `claim`: of "these batches", one of each make, or of the "make", over several batches of each. `pairs`: the batches
    of one name belong together, as of one lot of beans or tasted in one sitting. `faster` names the attribute on which
    the control is the reference made in less time, and a make in that time must be better than it. `adjust` as in the
    stop rule. `gates`: limits of instruments by name, which a make keeps in every batch beside its claims; `until` and
    `monotone` of these count only where makes are read at several hours. `pulls`: of every piece by name, where two
    makes are tasted after several hours to say how many hours longer one of them needs (`bracket`): the reference is
    then the longest pull of its make and common to both, the control its shortest, and the longest pull of the other
    make is the one that is judged.
    """

    reference: str
    attributes: Mapping[str, MakeClaim]
    control: str | None = None
    claim: Scope = "these batches"
    pairs: bool = True
    faster: str | None = None
    alpha: float = 0.05
    looks: int = 1
    look: int = 1
    adjust: tuple[str, ...] = ()
    gates: Mapping[str, Gate] = field(default_factory=dict)
    pulls: Mapping[str, Pull] = field(default_factory=dict)

    @property
    def beside(self) -> tuple[str, ...]:
        """Pieces that are no make to be judged: pulls between the control, the reference and the other's longest."""
        longest = {pull.make: name for name, pull in sorted(self.pulls.items(), key=lambda one: one[1].hours)}
        return tuple(name for name in self.pulls if name not in {self.control, *longest.values()})

    @property
    def needs_control(self) -> bool:
        """Whether the panel must be shown awake: a claim that makes are alike is empty without."""
        return any(one.claim != "better" for one in self.attributes.values())

    @property
    def plain(self) -> Rule:
        """The stop rule that reads the same scores, the control being the first piece."""
        wishes = {name: one.wish for name, one in self.attributes.items()}
        return Rule(wishes, self.alpha, self.looks, self.look, self.adjust, 0.0, gates=self.gates)


def check_make_rule(rule: MakeRule) -> float:
    """The one-sided level of this look; refuses an impossible rule.

    Raises:
        ValueError: which part of the rule, and what it may be.
    """
    level = check_rule(rule.plain)
    for name, one in rule.attributes.items():
        _check_claim(name, one)
    if rule.control is None and rule.needs_control:
        raise ValueError("control: a piece known to differ is needed, unless every claim is better")
    if rule.control == rule.reference:
        raise ValueError(f"control: {rule.control!r} is the reference; name another piece")
    if rule.claim not in get_args(Scope):
        raise ValueError(f"claim: knows these batches and make, got {rule.claim!r}")
    if rule.faster is not None and (rule.faster not in rule.attributes or rule.control is None):
        raise ValueError(f"faster: names a deciding attribute, beside a control, got {rule.faster!r}")
    _check_make_scope(rule)
    if rule.pulls:
        _check_pulls(rule)
    return level


def _check_pulls(rule: MakeRule) -> None:
    """Two makes, one common reference: what a bracket of hours rests on."""
    every = [(pull.make, pull.hours) for pull in rule.pulls.values()]
    if len({make for make, _hours in every}) != 2 or len(set(every)) < len(every):
        raise ValueError("pulls: two makes are tasted after several hours, each hour of a make once")
    if rule.reference not in rule.pulls or rule.control not in rule.pulls:
        raise ValueError("pulls: reference and control are pulls of one make, its longest and its shortest")
    first = rule.pulls[rule.reference].make
    own = sorted((pull.hours, name) for name, pull in rule.pulls.items() if pull.make == first)
    if (own[-1][1], own[0][1]) != (rule.reference, rule.control):
        raise ValueError(f"pulls: the longest pull of {first} is the reference and its shortest the control")
    if rule.claim != "these batches" or rule.faster is not None:
        raise ValueError("pulls: hours are compared of one batch of each, and without a sealed pair")
    if any(one.claim == "better" for one in rule.attributes.values()):
        raise ValueError("pulls: an hour is enough where nothing is worse; claim no worse or same, not better")


def _check_claim(name: str, one: MakeClaim) -> None:
    if one.claim not in get_args(Claim):
        raise ValueError(f"attributes.{name}: claim must be no worse, same or better, got {one.claim!r}")
    if one.wanted == "same" and one.claim != "same":
        raise ValueError(f"attributes.{name}: where neither direction is better, the claim can only be same")


def _check_make_scope(rule: MakeRule) -> None:
    if rule.claim != "make":
        return
    if "sitting:hours" in rule.adjust:
        raise ValueError("adjust: with a claim on the make the batch stands for the tray as well; leave sittings out")
    if rule.looks > 1:
        raise ValueError("looks: a claim on the make is read once; the number of batches is sealed instead")
