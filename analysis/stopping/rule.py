"""The sealed rule of a conching-hours study."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from math import isfinite
from typing import Literal, get_args

from analysis.instruments import Gate, check_gates
from analysis.stopping.alpha_spending import level as level_of_look

Wanted = Literal["lower", "higher", "same"]
Claim = Literal["this batch", "each of these batches", "recipe and machine"]
# Goes up with every change that can turn a verdict on the same scores; seals and signed verdicts name it.
RULE_VERSION = 3
ADJUSTMENTS = ("position", "sitting", "sitting:hours")
THIS: Claim = "this batch"
EACH: Claim = "each of these batches"
RECIPE: Claim = "recipe and machine"
# With two, chance alone often makes batches look alike, and a claim on the recipe errs in up to 6 of 100.
FEWEST_BATCHES = 3


@dataclass(frozen=True, slots=True)
class AttributeRule:
    """What is wanted of one deciding attribute; margin and limit in scale units.

    `limit` bounds the mean: from below where more is wanted, else from above.
    """

    wanted: Wanted
    margin: float
    limit: float | None = None

    @property
    def sign(self) -> float:
        """What a difference is multiplied by so that up is worse: -1 where more is wanted, else 1."""
        return -1.0 if self.wanted == "higher" else 1.0

    @property
    def both_ways(self) -> bool:
        """Whether a difference is worse in either direction."""
        return self.wanted == "same"


@dataclass(frozen=True, slots=True)
class Rule:
    """The sealed rule. `control` is the pull (hours) known to differ; None is the shortest pull.

    `adjust` knows "position" (fixed), "sitting" (random) and "sitting:hours" (a third limit). `lost_reference`: when
    the longest pull is lost before anybody tasted it, the "next" longest takes its place, once, or there is no verdict
    ("none"). `claim`: what a verdict on several batches is about, `batches`: how many were sealed for this look; None
    where nothing was sealed. `gates`: limits of instruments by name, each kept in every batch; no attribute has their
    names. `confirms`: the hour that was chosen before and is asked of a new batch, alone: it is served with the batch's
    own longest pull, the control and perhaps the pull just shorter. Asked of "recipe and machine", the batches are
    those of the first study and of every confirmation, by these pulls.
    """

    attributes: Mapping[str, AttributeRule]
    alpha: float = 0.05
    looks: int = 1
    look: int = 1
    adjust: tuple[str, ...] = ()
    control: float | None = None
    lost_reference: Literal["next", "none"] = "next"
    claim: Claim | None = None
    batches: int | None = None
    gates: Mapping[str, Gate] = field(default_factory=dict)
    confirms: float | None = None


def check_rule(rule: Rule) -> float:
    """The one-sided level of this look; refuses an impossible rule.

    Raises:
        ValueError: which part of the rule, and what it may be.
    """
    if not rule.attributes:
        raise ValueError("attributes: the rule names no deciding attribute; name at least one")
    for name, wish in rule.attributes.items():
        _check_wish(name, wish)
    for part in rule.adjust:
        if part not in ADJUSTMENTS:
            raise ValueError(f"adjust: knows position, sitting and sitting:hours, got {part!r}")
    if rule.lost_reference not in ("next", "none"):
        raise ValueError(f"lost_reference: write next or none, got {rule.lost_reference!r}")
    _check_claim(rule)
    if rule.confirms is not None:
        _check_confirms(rule)
    _check_gates(rule)
    level = level_of_look(rule.alpha, rule.looks)
    if not 1 <= rule.look <= rule.looks:
        raise ValueError(f"look must lie between 1 and the {rule.looks} sealed looks, got {rule.look}")
    return level


def _check_claim(rule: Rule) -> None:
    if rule.claim is not None and rule.claim not in get_args(Claim):
        raise ValueError(f"claim: write one of {list(get_args(Claim))}, got {rule.claim!r}")
    least = FEWEST_BATCHES if rule.claim == RECIPE else 1
    if rule.batches is not None and rule.batches < least:
        raise ValueError(f"batches: {rule.claim or 'a study'} needs {least} or more, got {rule.batches}")
    if rule.claim == THIS and rule.batches not in (None, 1):
        raise ValueError(f"batches: the claim 'this batch' is about one, got {rule.batches}")
    if rule.claim == RECIPE and "sitting:hours" in rule.adjust:
        raise ValueError(
            "adjust: 'sitting:hours' is off under 'recipe and machine', whose batches hold their trays too"
        )


def _check_confirms(rule: Rule) -> None:
    if not (isfinite(rule.confirms or 0.0) and (rule.confirms or 0.0) > 0):
        raise ValueError(f"confirms: name the hour that was chosen before, above 0, got {rule.confirms}")
    if rule.claim == EACH:
        raise ValueError("confirms: each batch is confirmed by a study of its own, so claim 'this batch'")
    if rule.control is not None and rule.control >= (rule.confirms or 0.0):
        raise ValueError(f"control: it must be shorter than the {rule.confirms:g} h to confirm, got {rule.control:g}")


def _check_gates(rule: Rule) -> None:
    check_gates(rule.gates)
    for name in rule.gates:
        if name in rule.attributes:
            raise ValueError(f"gates.{name}: an attribute has this name; a verdict names what decides, so give another")


def _check_wish(name: str, wish: AttributeRule) -> None:
    if wish.wanted not in get_args(Wanted):
        raise ValueError(f"attributes.{name}: wanted must be lower, higher or same, got {wish.wanted!r}")
    if not (isfinite(wish.margin) and wish.margin > 0):
        raise ValueError(f"attributes.{name}: the margin must be above 0, got {wish.margin}")
    if wish.limit is not None and not isfinite(wish.limit):
        raise ValueError(f"attributes.{name}: the limit must be a finite number, got {wish.limit}")
