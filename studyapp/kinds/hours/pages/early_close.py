"""What closing a sitting early costs, beside the button that closes it; nobody has to wait for it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

from studyapp import session
from studyapp.components import look, refined
from studyapp.findings import hours as as_hours
from studyapp.kinds.hours.deciding import closing_early
from studyapp.kinds.hours.deciding.closing_early import Cost
from studyapp.kinds.hours.deciding.scenarios import enough_pull
from studyapp.kinds.hours.plan import HoursPlan, HoursStudy
from studyapp.kinds.hours.setting_out import pulls
from studyapp.kinds.hours.setting_out.pulls import PullLife
from studyapp.records import Staff
from studyapp.services import spreads
from studyapp.words import _

FEWEST = 3  # pulls: a control, a reference and one in question


def draw(by: Staff, study: HoursStudy, gaps: Mapping[int, int], number: int, left: int) -> None:
    """The chance with the open servings and without them, once both are worked out."""
    if study.plan.several:
        return  # which batch a sitting serves is not told while it is tasted
    store, known = session.store(), spreads.of_panel(session.store(), by)
    plan, lost = _as_it_is(study.plan, pulls.pulls_of(store, by, study.id).lives)
    if len(plan.pulls) < FEWEST:
        return
    cups = len(plan.assessors) * plan.replicates
    gone = len(study.plan.pulls) - len(plan.pulls)
    left_out = {n: cups * (gone + sum(one == n for _hours, one in lost)) for n in gaps}
    known_gaps = {n: max(0, count - left_out[n]) for n, count in gaps.items()}
    enough = enough_pull(tuple(sorted(pull.hours for pull in study.plan.pulls)), study.plan.control)
    question = (study.id, tuple(sorted(known_gaps.items())), number, left, lost, gone)
    work = session.refined(
        f"closing-{study.id}",
        question,
        lambda: closing_early.costs(plan, known_gaps, number, left, known, lost=lost, enough=enough),
        at_once=0.0,  # nobody waits for it before the sitting may be closed
    )
    refined.draw(work, _show)


def _as_it_is(plan: HoursPlan, lives: Sequence[PullLife]) -> tuple[HoursPlan, closing_early.Lost]:
    """The plan without the pulls that are gone, and which of the others were lost in which sitting: these are no gaps
    that come by lot."""
    there = [life for life in lives if not life.gone]
    left = tuple(pull for pull in plan.pulls if pull.hours in {life.hours for life in there})
    return replace(plan, pulls=left), frozenset((one.hours, note.sitting or 0) for one in there for note in one.lost)


def _show(cost: Cost) -> None:
    before, after = (round(100 * chance.share) for chance in (cost.whole, cost.closed))
    falls = _("Chance of an answer, were {h} h truly enough: it falls from {a} to {b} of 100.")
    stays = _("Chance of an answer, were {h} h truly enough: it stays at about {a} of 100.")
    told = falls if before > after else stays
    look.put(look.text(told.format(h=as_hours(cost.enough_hours), a=before, b=after)))
