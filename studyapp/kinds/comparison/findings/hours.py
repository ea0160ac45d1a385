"""How many hours longer one make needs, in sentences: a bracket, and no more than is shown."""

from __future__ import annotations

from typing import TYPE_CHECKING

from studyapp.findings.numbers import hours
from studyapp.words import _

if TYPE_CHECKING:
    from analysis.comparing import Bracket, PullAnswer


def headline(found: Bracket | None) -> str:
    """The hours in one sentence; empty where nothing is shown of them."""
    if found is None or found.over is None:
        return ""
    # A number and its unit stay on one line.
    over = _("{n} h").format(n=hours(found.over)).replace(" ", "\u00a0")
    return _("{slow} needs over {over} longer than {fast}.").format(slow=found.slow, over=over, fast=found.fast)


def told(found: Bracket) -> str:
    """What the hours rest on, or why nothing is said of them."""
    texts = {
        "slow": found.slow,
        "fast": found.fast,
        "reference": reference(found),
        "l": hours(found.more_than or 0),
        "h": hours(found.at_most or 0),
        "over": hours(found.over or 0),
    }
    if found.over is not None:
        return _(
            "By taste and against the same piece, {reference}, {fast} needs at most {h} h and {slow} more than {l} h: "
            "over {over} h longer. How much longer in all is not said."
        ).format(**texts)
    if found.more_than is not None and found.at_most is not None:
        sentence = _(
            "By how many hours {slow} needs longer is not shown: against {reference}, {fast} needs at most {h} h, but "
            "of {slow} only more than {l} h is shown."
        )
    elif found.at_most is not None:
        sentence = _(
            "By how many hours {slow} needs longer is not shown: against {reference}, {fast} needs at most {h} h, but "
            "no hour is shown to be too few for {slow}."
        )
    elif found.more_than is not None:
        sentence = _(
            "By how many hours {slow} needs longer is not shown: against {reference}, {slow} needs more than {l} h, "
            "but no hour is shown to be enough for {fast}."
        )
    else:
        sentence = _("By how many hours {slow} needs longer is not shown: nothing is shown of the hours of either.")
    return sentence.format(**texts)


def reference(found: Bracket) -> str:
    """The piece that all others are held against."""
    (own,) = (one for one in found.pulls if one.answer == "reference")
    return pull_told(own)


def pull_told(one: PullAnswer) -> str:
    """One pull by its make and hours."""
    return _("{make} after {h} h").format(make=one.make, h=hours(one.hours))


def answer_told(one: PullAnswer) -> str:
    """What is shown of one pull."""
    return {
        "reference": _("the common reference"),
        "good enough": _("shown good enough"),
        "not good enough": _("shown not good enough"),
        "lost": _("lost"),
        "no answer": _("taken back or not scored"),
    }.get(one.answer, _("open"))


def heads() -> list[str]:
    """Above `rows`."""
    return [_("make"), _("taken after"), _("answer")]


def rows(found: Bracket) -> list[list[str]]:
    """Every pull with what is shown of it."""
    return [[one.make, _("{n} h").format(n=hours(one.hours)), answer_told(one)] for one in found.pulls]


def alt(found: Bracket) -> str:
    """The picture in words."""
    every = "; ".join(_("{pull}: {answer}").format(pull=pull_told(one), answer=answer_told(one)) for one in found.pulls)
    return f"{told(found)} {every}."


def intro(found: Bracket) -> str:
    """What stands above the picture."""
    return _("All are held against {reference}, the ring; a question mark is open.").format(reference=reference(found))


def signs() -> str:
    """What the other signs of the picture mean, where no legend stands beside it."""
    return _("Disc: shown good enough. Cross: shown not to be.")
