"""What may be wanted of an attribute, and how each wish reads wherever it is read.

Which way is worse, and what a limit means, stands in `analysis.stopping.rule`. Sentences are functions, because the
language belongs to the person who reads.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from studyapp.records import Wanted
from studyapp.words import _

Words = Callable[[], str]


@dataclass(frozen=True, slots=True)
class WishWords:
    """One wish: to choose it, to choose it on the plan page, beside an attribute, in the rule, on a command's paper."""

    choice: Words
    choice_on_plan: Words
    told: Words
    in_rule: Words
    on_command: Words


WISHES: dict[Wanted, WishWords] = {
    "lower": WishWords(
        choice=lambda: _("less of it"),
        choice_on_plan=lambda: _("less of it"),
        told=lambda: _("wanted less"),
        in_rule=lambda: _("less is wanted"),
        on_command=lambda: _("wanted lower"),
    ),
    "higher": WishWords(
        choice=lambda: _("more of it"),
        choice_on_plan=lambda: _("more of it"),
        told=lambda: _("wanted more"),
        in_rule=lambda: _("more is wanted"),
        on_command=lambda: _("wanted higher"),
    ),
    "same": WishWords(
        choice=lambda: _("the same"),
        choice_on_plan=lambda: _("the same as at the longest pull"),
        told=lambda: _("wanted the same"),
        in_rule=lambda: _("no change is wanted"),
        on_command=lambda: _("wanted the same"),
    ),
}
