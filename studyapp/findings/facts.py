"""What every result is told with: a few facts, and what a taste result never clears."""

from __future__ import annotations

from dataclasses import dataclass

from studyapp.words import _


@dataclass(frozen=True, slots=True)
class Fact:
    """One of the facts under the verdict: a word, its value and a second line."""

    label: str
    value: str
    note: str = ""


@dataclass(frozen=True, slots=True)
class TrialFinding:
    """What a person reads about one result; `numbers` go into the folded table, `then` is what to do next."""

    headline: str
    lede: str
    facts: tuple[Fact, ...]
    changes: tuple[str, ...]
    warnings: tuple[str, ...]
    caution: str
    numbers: tuple[Fact, ...] = ()
    then: str = ""


def caution() -> str:
    """What a taste result never clears; beside every verdict."""
    return _(
        "A taste result only. It clears nothing for allergens, hygiene, composition or labels. "
        "For those, follow your local code and the people licensed to judge them."
    )


def plant(name: str) -> str:
    """The botanical, named to everybody who is asked to taste it."""
    said = _("With {plant}. If you are expecting, take medicine or are unsure: sit out, or ask your doctor.")
    return said.format(plant=name)
