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
class MakeRule:
    """The sealed rule. `control` is a piece known to differ from the `reference`.

    `claim`: of "these batches", one of each make, or of the "make", over several batches of each. `pairs`: the batches
    of one name belong together, as of one lot of beans or tasted in one sitting. `faster` names the attribute on which
    the control is the reference made in less time, and a make in that time must be better than it. `adjust` as in the
    stop rule. `gates`: limits of instruments by name, which a make keeps in every batch beside its claims; `until` and
    `monotone` of these count only where makes are read at several hours.
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
    return level


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
