"""A plan that confirms an hour in a new batch: its pieces, what is to mend in it, how it reads."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import replace

from studyapp.kinds.hours.plan import EACH, RECIPE, Claim, Confirms, HoursPlan
from studyapp.records import Problem
from studyapp.words import _

SERVINGS, SITTINGS = 2, 2


def draft_of(plan: HoursPlan, confirms: Confirms, longest: float, batch: str) -> HoursPlan:
    """The plan of the study that chose an hour, as the next batch is asked for it: the hour, the batch's own longest,
    the control and, where a note can fade, the pull just shorter; two servings of each in two sittings, one opening."""
    hours = sorted(hour for hour in plan.hours_of_pulls if hour <= confirms.hours)
    control = hours[0] if plan.control is None or plan.control >= confirms.hours else plan.control
    before = [hour for hour in hours if control < hour < confirms.hours][-1:] if fades(plan) else []
    kept = (control, *before, confirms.hours, longest)
    pulls = tuple(pull for pull in sorted(plan.pulls, key=lambda one: one.hours) if pull.hours in kept)
    return replace(
        plan,
        question=_("Is {h} h enough in this batch too?").format(h=f"{confirms.hours:g}"),
        confirms=confirms,
        pulls=pulls,
        control=control,
        batch=batch,
        sittings=SITTINGS,
        replicates=SERVINGS,
        looks=1,
        palate=max(plan.palate, SERVINGS * len(pulls)),
        lost_reference="none",
    )


def fades(plan: HoursPlan) -> bool:
    """Whether some deciding note is wanted higher, and so has a window."""
    return any(line.decides and line.wanted == "higher" for line in plan.attributes)


def confirm_problems(plan: HoursPlan) -> Iterator[Problem]:
    """What a confirmation must serve."""
    if plan.confirms is None:
        return
    hours, asked = sorted(plan.hours_of_pulls), plan.confirms.hours
    if len(hours) < 3 or hours[-2] != asked:
        told = _("Fix the pulls: serve the control, {h} h, which is confirmed, and the longest, nothing between them.")
        yield Problem("pulls", told.format(h=f"{asked:g}"))
    elif plan.control is not None and plan.control >= asked:
        yield Problem("control", _("Fix the control: it is shorter than the hour that is confirmed."))
    elif fades(plan) and (hours[0] if plan.control is None else plan.control) == hours[-3]:
        told = _("Careful: a note can fade, and no pull just shorter than {h} h is served, so its window is not asked.")
        yield Problem("pulls", told.format(h=f"{asked:g}"), blocks=False)


def confirm_sentences(plan: HoursPlan) -> list[str]:
    """What is confirmed, and what is claimed of all batches once it is."""
    if plan.confirms is None:
        return []
    told = _("One hour is asked of this batch, {h} h, which another batch chose before, and no other.")
    return [told.format(h=f"{plan.confirms.hours:g}"), claims()[plan.confirms.claim]]


def claims() -> Mapping[Claim, str]:
    """What may be claimed of all batches together: how it reads."""
    return {
        EACH: _("Claimed of all batches together: each of them, if every one that was opened confirmed it."),
        RECIPE: _("Claimed of all batches together: recipe and machine on average, once three or more were opened."),
    }
