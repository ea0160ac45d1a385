"""A study of conching hours on the screens: its part of the pages that every kind shares, and a page of its own.

What draws charts is imported when it is asked for: the list of studies names every kind and waits for none.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from studyapp import session
from studyapp.kinds.hours.plan import HoursPlan, HoursStudy
from studyapp.records import Problem, Staff
from studyapp.registry import Kitchen, Opening, OwnPage
from studyapp.words import _


def asks() -> str:
    """What such a study asks."""
    return _("When can the conche stop?")


def own_pages() -> dict[str, OwnPage]:
    """A verdict on scores that were tasted elsewhere."""

    def render() -> None:
        from studyapp.kinds.hours.pages import bring

        bring.render()

    return {
        "bring": OwnPage(_("Bring scores"), _("Bring scores I have"), render),
        "hours_book": OwnPage(_("Hours book"), _("Hours book"), the_book),
        "pulls": OwnPage(_("Pulls"), _("Pulls at the conche"), at_the_conche, ("leader", "preparer")),
    }


def the_book() -> None:
    """The page of the hours book."""
    from studyapp.kinds.hours.pages import book

    book.render()


def at_the_conche() -> None:
    """The page of the pulls."""
    from studyapp.kinds.hours.pages import pulls

    pulls.render()


def fields(by: Staff, study: HoursStudy) -> tuple[HoursPlan, Sequence[Problem]]:
    """The fields of a draft; the plan as it stands, and what cannot be read."""
    from studyapp.kinds.hours.pages import draft

    return draft.fields(by, study)


def chances(by: Staff, plan: HoursPlan, problems: Sequence[Problem]) -> None:
    """What the plan can show."""
    from studyapp.kinds.hours.pages import draft

    draft.chances(by, plan, problems)


def closing_cost(by: Staff, study: HoursStudy, gaps: Mapping[int, int], number: int, left: int) -> None:
    """The chance of an answer with the open servings and without them."""
    from studyapp.kinds.hours.pages import early_close

    early_close.draw(by, study, gaps, number, left)


def decide(by: Staff, study: HoursStudy) -> None:
    """The verdict of an opened study."""
    from studyapp.kinds.hours.pages import decided

    decided.decide(by, study)


def caution() -> str:
    """The rule says all."""
    return ""


def beside_rule(plan: HoursPlan) -> Sequence[str]:
    """Nothing: the rule says what is tasted."""
    return ()


def sealed(by: Staff, study: HoursStudy) -> None:
    """The times of the run, and the pulls as they were really taken."""
    from studyapp.kinds.hours.pages import pulls, when

    when.sealed(study)
    pulls.note(session.store(), by, study)


def kitchen(plan: HoursPlan) -> Kitchen:
    """What the page of the kitchen says."""
    return Kitchen("", _("The fill list tells which pull is in which cup. Keep it away from the tasting room."))


def hidden(plan: HoursPlan) -> str:
    """What nobody sees while the key is closed."""
    return _("Scores stay hidden, from you as well, until the key is opened.")


def reached_its_end(by: Staff, study: HoursStudy, over: bool) -> bool:
    """A look ends with its sittings, never before."""
    return over


def opening(plan: HoursPlan) -> Opening:
    """What the page says before the key opens."""
    return Opening(
        _("Opening joins the codes to the hours, and the verdict is worked out from the sealed rule."),
        (
            _("You see the scores by hour and the verdict; so does the report."),
            _("No more scores can be given before this opening, and missing ones stay missing."),
            _("The rule cannot change. It was sealed before the first score."),
            _(
                "The opening, its time and who opens it go into the record. It is opened as often as was sealed, "
                "no more."
            ),
        ),
    )


def still_open(by: Staff, study: HoursStudy, left: int) -> str:
    """What must be done before the key opens; empty when it may."""
    if not left:
        return ""
    return _("{n} servings are still open. Close them as missing first, with a reason.").format(n=left)
