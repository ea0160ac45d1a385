"""What closing a sitting early costs, beside the button that closes it; nobody has to wait for it."""

from __future__ import annotations

from collections.abc import Mapping

from studyapp import session
from studyapp.components import look, refined
from studyapp.findings import hours as as_hours
from studyapp.kinds.hours.deciding import closing_early, spreads
from studyapp.kinds.hours.deciding.closing_early import Cost
from studyapp.kinds.hours.plan import HoursStudy
from studyapp.records import Staff
from studyapp.words import _


def draw(by: Staff, study: HoursStudy, gaps: Mapping[int, int], number: int, left: int) -> None:
    """The chance with the open servings and without them, once both are worked out."""
    known = spreads.of_panel(session.store(), by)
    question = (study.id, tuple(sorted(gaps.items())), number, left)
    work = session.refined(
        f"closing-{study.id}",
        question,
        lambda: closing_early.costs(study.plan, gaps, number, left, known),
    )
    refined.draw(work, _show)


def _show(cost: Cost) -> None:
    if cost.whole is None or cost.closed is None:
        return
    before, after = (round(100 * chance.share) for chance in (cost.whole, cost.closed))
    falls = _("Chance of an answer, were {h} h truly enough: it falls from {a} to {b} of 100.")
    stays = _("Chance of an answer, were {h} h truly enough: it stays at about {a} of 100.")
    told = falls if before > after else stays
    look.put(look.text(told.format(h=as_hours(cost.enough_hours), a=before, b=after)))
