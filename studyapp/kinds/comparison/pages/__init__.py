"""A comparison of makes on the screens: its part of the pages that every kind shares.

What draws charts is imported when it is asked for: the list of studies names every kind and waits for none.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from studyapp.kinds.comparison.plan import ComparisonPlan, ComparisonStudy
from studyapp.kinds.comparison.rule import scope_told
from studyapp.records import Problem, Staff
from studyapp.registry import Kitchen, Opening, OwnPage
from studyapp.words import _


def asks() -> str:
    """What such a study asks."""
    return _("Is another way of making it as good?")


def own_pages() -> dict[str, OwnPage]:
    """Pieces that were lost before they were served."""

    def render() -> None:
        from studyapp.kinds.comparison.pages import losing

        losing.render()

    act = _("A piece of a comparison cannot be served")
    return {"losing": OwnPage(_("A piece that cannot be served"), act, render, ("leader", "preparer"))}


def fields(by: Staff, study: ComparisonStudy) -> tuple[ComparisonPlan, Sequence[Problem]]:
    """The fields of a draft; the plan as it stands, and what cannot be read."""
    from studyapp.kinds.comparison.pages import draft

    return draft.fields(by, study)


def chances(by: Staff, plan: ComparisonPlan, problems: Sequence[Problem]) -> None:
    """What the plan can show."""
    from studyapp.kinds.comparison.pages import power

    power.draw(by, plan, problems)


def closing_cost(by: Staff, study: ComparisonStudy, gaps: Mapping[int, int], number: int, left: int) -> None:
    """Nothing: no chance is reckoned with what is missing."""


def decide(by: Staff, study: ComparisonStudy) -> None:
    """The verdict of an opened study."""
    from studyapp.kinds.comparison.pages import decided

    decided.decide(by, study)


def caution() -> str:
    """What the seal fixes of the claim."""
    return _("Read what the verdict will be about: these batches alone, or the ways of making.")


def beside_rule(plan: ComparisonPlan) -> Sequence[str]:
    """How far a verdict will reach."""
    return (scope_told(plan.scope, plan.batches),)


def sealed(by: Staff, study: ComparisonStudy) -> None:
    """Nothing."""


def kitchen(plan: ComparisonPlan) -> Kitchen:
    """What the page of the kitchen says."""
    return Kitchen("", _("The fill list tells which make is in which cup. Keep it away from the tasting room."))


def hidden(plan: ComparisonPlan) -> str:
    """What nobody sees while the key is closed."""
    return _("Scores stay hidden, from you as well, until the key is opened.")


def reached_its_end(by: Staff, study: ComparisonStudy, over: bool) -> bool:
    """A look ends with its sittings, never before."""
    return over


def opening(plan: ComparisonPlan) -> Opening:
    """What the page says before the key opens."""
    return Opening(
        _("Opening joins the codes to the makes, and the verdicts are worked out from the sealed rule."),
        (
            _("You see the scores by make and the verdicts; so does the report."),
            _("No more scores can be given before this opening, and missing ones stay missing."),
            _("The rule cannot change. It was sealed before the first score."),
            _(
                "The opening, its time and who opens it go into the record. It is opened as often as was sealed, "
                "no more."
            ),
        ),
    )


def still_open(by: Staff, study: ComparisonStudy, left: int) -> str:
    """What must be done before the key opens; empty when it may."""
    if not left:
        return ""
    return _("{n} servings are still open. Close them as missing first, with a reason.").format(n=left)
