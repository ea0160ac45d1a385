"""Ways to an answer as lines of a list: what each changes of the plan as it is, its chance, and what it asks for."""

from __future__ import annotations

from collections.abc import Sequence
from math import ceil
from typing import TYPE_CHECKING

from studyapp.findings.numbers import SELDOM, decimal, hours, hours_list, listed
from studyapp.findings.ways import WayLine
from studyapp.kinds.hours.deciding.ways import HALF, Way
from studyapp.kinds.hours.findings.offers import Costs, chance, costs
from studyapp.kinds.hours.findings.reading import blocking, shorter_pull
from studyapp.kinds.hours.plan import HoursPlan
from studyapp.words import _, ngettext

if TYPE_CHECKING:
    from analysis.planning import Offer
    from analysis.stopping import Decision


def way_lines(ways: Sequence[Way], plan: HoursPlan, decision: Decision, over: bool = True) -> tuple[WayLine, ...]:
    """A line for each way, in their order; once the search is `over`, what can be had today as the last."""
    first = best(ways) if over else None
    lines = tuple(_line(way, plan, way is first) for way in ways)
    return (*lines, *_stay(decision)) if lines and over else lines


def best(ways: Sequence[Way]) -> Way | None:
    """The way to take first: the one told most often to settle; of those alike what counts on, then what takes less."""
    one_step = [way for way in ways if way.offer.name != "all looks" and way.there is None]
    return max(one_step, key=lambda way: (way.offer.told, way.plan is None, -way.offer.servings), default=None)


def nothing_helps(ways: Sequence[Way], plan: HoursPlan, decision: Decision) -> str:
    """Said where no way is told half of all; empty where one is."""
    nearest = max(ways, key=lambda way: way.offer.settles, default=None)
    if nearest is None or nearest.offer.told >= HALF:
        return ""
    said = _("No way within eight sittings reaches 5 of 10. Nearest: {what}, {k}.").format(
        what=what(nearest, plan), k=chance(nearest.offer)
    )
    return " ".join([said, *(_("{what}: {note}.").format(what=own.what, note=own.note) for own in _stay(decision))])


def what(way: Way, plan: HoursPlan) -> str:
    """What to do, as it begins a line and ends the name of a draft."""
    offer, draft = way.offer, way.plan
    if draft is None:
        return _going_on(offer)
    if way.change == "more batches":
        n = offer.sittings
        return ngettext("A new study of {n} batch", "A new study of {n} batches", n).format(n=n)
    if way.change == "again":
        return _("The same plan in a new study")
    if way.change == "more people":
        n = len(way.joining)
        return ngettext("{n} more person", "{n} more people", n).format(n=n)
    if way.change == "fewer pulls":
        return _("{n} pulls instead of {all}").format(n=len(draft.pulls), all=len(plan.pulls))
    return _("{n} sittings instead of {all}").format(n=_sittings(draft), all=_sittings(plan))


def _going_on(offer: Offer) -> str:
    if offer.name == "all looks":
        return ngettext(
            "{n} opening of the key that is left", "All {n} openings of the key that are left", offer.looks
        ).format(n=offer.looks)
    n = offer.sittings
    if offer.name == "more batches":
        return ngettext("{n} more batch", "{n} more batches", n).format(n=n)
    if offer.name == "open pulls":
        return ngettext("{n} more sitting, open pulls only", "{n} more sittings, open pulls only", n).format(n=n)
    return ngettext("{n} more sitting", "{n} more sittings", n).format(n=n)


def _sittings(plan: HoursPlan) -> int:
    return plan.sittings + (plan.looks - 1) * plan.next_sittings


# ---- one line ------------------------------------------------------------------------------------------------------
def _line(way: Way, plan: HoursPlan, is_best: bool) -> WayLine:
    offer, of = way.offer, costs(plan)
    told = chance(offer) if offer.told < SELDOM else _("at least about {k}").format(k=chance(offer))
    return WayLine(
        what=what(way, plan),
        note=_note(way, plan),
        chance=told,
        share=offer.told,
        sittings=_up_to(way, plan),
        grams=_("{n} g").format(n=decimal(way.grams, 0 if way.grams == round(way.grams) else 1)),
        pieces=str(offer.pieces),
        time=_("{n} h").format(n=ceil(_minutes(offer, of) / 60)),
        too_little=_too_little(way),
        counts_on=way.plan is None,
        act=_act(way),
        best=is_best,
    )


def _up_to(way: Way, plan: HoursPlan) -> str:
    """Sittings to the first opening of the key that may answer, and to the last."""
    few = plan.next_sittings if way.plan is None else way.plan.sittings
    if way.offer.sittings == few:
        return str(few)
    return _("{few} to {most}").format(few=few, most=way.offer.sittings)


def _minutes(offer: Offer, of: Costs) -> float:
    """Of all people together, the warm-up piece with its rest among them."""
    return (offer.servings + offer.palates * of.warm_up) * of.minutes


def _act(way: Way) -> str:
    if way.plan is not None:
        return _("Draft this")
    return "" if way.offer.name == "all looks" else _("Plan this")


def _too_little(way: Way) -> str:
    if way.there is None:
        return ""
    if way.plan is None:
        return _("more than the {n} g left").format(n=decimal(way.there, 0))
    return _("more than the {n} g planned of a pull").format(n=decimal(way.there, 0))


def _note(way: Way, plan: HoursPlan) -> str:
    """What changes against the plan there is."""
    if way.plan is None:
        return _going_on_note(way.offer)
    if way.change == "more people":
        return _who_joins(way, plan)
    if way.change == "fewer pulls":
        served = ngettext("{pulls} h, each once", "{pulls} h, each {n} times", way.plan.replicates)
        return served.format(pulls=hours_list(sorted(pull.hours for pull in way.plan.pulls)), n=way.plan.replicates)
    notes = {
        "more batches": _("one sitting a batch, all else as it is; name them in the draft"),
        "again": _("nothing changes but the run of the conche"),
    }
    return notes.get(way.change, _("the same pulls and people"))


def _going_on_note(offer: Offer) -> str:
    """What changes where the study goes on as sealed."""
    if offer.name == "open pulls":
        return _("{pulls} h, as sealed but for the other pulls").format(pulls=hours_list(offer.pulls))
    if offer.name == "all looks":
        return _("as sealed, one after the other, until there is an answer")
    return _("as sealed, nothing changes")


def _who_joins(way: Way, plan: HoursPlan) -> str:
    """Who is asked beside the panel there is."""
    known = [name for name in way.joining if name]
    if len(known) < len(way.joining):
        return _("{n} instead of {all}; name them in the draft").format(
            n=len(plan.assessors) + len(way.joining), all=len(plan.assessors)
        )
    return ngettext("{names} joins, all else as it is", "{names} join, all else as it is", len(known)).format(
        names=listed(known)
    )


def _stay(decision: Decision) -> list[WayLine]:
    """The answer that can be had today, where the reference meets every limit."""
    if decision.reason != "reference meets limits":
        return []
    ref = decision.reference_hours
    hour = shorter_pull(decision)
    cost = ref - hour if hour is not None and blocking(decision, hour) else None
    note = _("the answer you can have today") if cost is None else _stays(cost)
    return [WayLine(_("Stay at {h} h").format(h=hours(ref)), note, _("certain"), None, "0", _("0 g"), "0", _("0 h"))]


def _stays(cost: float) -> str:
    return _("the answer you can have today; it costs {n} h a batch or more").format(n=hours(cost))
