"""A decision on conching hours in plain sentences: the answer, why, four facts, and what would change it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from studyapp.findings.facts import Fact, caution
from studyapp.findings.numbers import hours, interval_share
from studyapp.kinds.hours.findings.batches import averaged, holds_for
from studyapp.kinds.hours.findings.changes import what_would_change
from studyapp.kinds.hours.findings.descriptions import beside
from studyapp.kinds.hours.findings.headlines import headline
from studyapp.kinds.hours.findings.instruments import REASON, ready, unsettled
from studyapp.kinds.hours.findings.offers import Costs, OfferRow, offer_rows
from studyapp.kinds.hours.findings.reading import better_pull, blocking, improving, shorter_pull
from studyapp.kinds.hours.findings.reasons import lede
from studyapp.kinds.hours.findings.warnings import warning_sentence
from studyapp.words import _, ngettext

if TYPE_CHECKING:
    from analysis.planning import Offer
    from analysis.stopping import Decision
    from analysis.stopping.describe import Description


@dataclass(frozen=True, slots=True)
class HoursFinding:
    """Everything a person reads about a decision, in reading order. `charts_intro` stands above the charts, `beside`
    with the table of numbers."""

    title: str
    headline: str
    lede: str
    facts: tuple[Fact, ...]
    charts_intro: str
    changes: tuple[str, ...]
    warnings: tuple[str, ...]
    caution: str
    offers: tuple[OfferRow, ...] = ()
    beside: tuple[str, ...] = ()


def hours_finding(
    decision: Decision,
    offers: Sequence[Offer] = (),
    title: str = "",
    costs: Costs | None = None,
    description: Description | None = None,
) -> HoursFinding:
    """The sentences of one decision.

    Args:
        decision: the verdict of one look.
        offers: the price of an answer after `cannot tell`.
        title: the name of the study.
        costs: what one serving asks of a person; without it offers name no grams and minutes.
        description: reruns beside the verdict (`analysis.stopping.describe`), which never change it.
    """
    return HoursFinding(
        title=title,
        headline=headline(decision),
        lede=lede(decision, offers, costs),
        facts=(_binds(decision), _saved(decision), _control(decision), _holds_for(decision)),
        charts_intro=_charts_intro(decision),
        changes=what_would_change(decision, description),
        warnings=_warnings(decision),
        caution=caution(),
        offers=offer_rows(offers, costs),
        beside=beside(description),
    )


def _warnings(decision: Decision) -> tuple[str, ...]:
    """Their sentences; that one batch was tasted stands among the changes already, unless nothing was found."""
    said_already = {"one batch"} if decision.verdict != "cannot tell" else set()
    return tuple(warning_sentence(warning) for warning in decision.warnings if warning.code not in said_already)


# ---- facts -------------------------------------------------------------------------------------------------------
def _binds(decision: Decision) -> Fact:
    name = _binding(decision)
    if name is None:
        return Fact(_("Decides the hour"), _("nothing yet"))
    own, following = ready(decision, name), ready(decision, decision.next_binding or "")
    if decision.hours is None or own is None:
        return Fact(_("Decides the hour"), name)
    value = _("{name}, {h} h").format(name=name, h=hours(own))
    if following is None:
        return Fact(_("Decides the hour"), value)
    note = _("next is {name}, {h} h").format(name=decision.next_binding, h=hours(following))
    return Fact(_("Decides the hour"), value, note)


def _binding(decision: Decision) -> str | None:
    """The attribute the answer hangs on, the same one that the lede names first."""
    if decision.verdict == "cannot tell":
        return next(iter(_open_on(decision)), None)
    if decision.verdict == "no hour fits":
        return next(iter(decision.fails_on.get(decision.reference_hours, ())), decision.binding)
    if decision.verdict == "not confirmed":
        return next(iter(decision.fails_on.get(decision.confirms or 0.0, ())), decision.binding)
    if decision.verdict == "conche longer":
        return next((result.name for result, _pull in improving(decision)), decision.binding)
    return decision.binding


def _open_on(decision: Decision) -> Sequence[str]:
    """The attributes that keep the question open, the first to be named first; none where the panel is not believed."""
    if decision.reason == "better hours":
        return decision.better.get(better_pull(decision) or 0.0, ())
    if decision.reason == REASON:
        return unsettled(decision)
    if decision.reason == "window":
        return decision.not_inside
    if decision.reason == "still improving":
        return decision.not_held or decision.improving
    if decision.reason == "reference fails":
        return decision.fails_on.get(decision.reference_hours, ())
    if decision.reason in ("reference meets limits", "reference misses a limit"):
        return [result.name for result, _pull in blocking(decision, shorter_pull(decision))]
    return ()


def _saved(decision: Decision) -> Fact:
    if decision.hours is None:
        return Fact(_("Saved"), _("nothing yet"))
    saved = decision.reference_hours - decision.hours
    value = _("{saved} of {all} hours").format(saved=hours(saved), all=hours(decision.reference_hours))
    return Fact(_("Saved"), value, _("a batch, against the longest pull"))


def _control(decision: Decision) -> Fact:
    control, reference = hours(decision.control_hours), hours(decision.reference_hours)
    if not decision.control_found:
        return Fact(_("Control found"), _("no"), _("{h} h not told from {ref} h").format(h=control, ref=reference))
    people, told = decision.scope.get("assessors", 0), decision.control_told_by
    if not people or not told:
        return Fact(_("Control found"), _("yes"), _("{h} h told from {ref} h").format(h=control, ref=reference))
    note = _("{h} h told from {ref} h by {k} of {n}").format(h=control, ref=reference, k=told, n=people)
    return Fact(_("Control found"), _("yes"), note)


def _holds_for(decision: Decision) -> Fact:
    people, sittings = decision.scope.get("assessors", 0), decision.scope.get("sittings", 1)
    scope = listed_scope(people, sittings)
    few = [int(str(w.values["both"])) for w in decision.warnings if w.code == "rests on few"]
    if few:
        scope = _("{scope}; only {n} of them scored both pulls compared").format(scope=scope, n=min(few))
    over = averaged(decision)
    return Fact(
        _("Holds for"), holds_for(decision), _("{over}; {scope}").format(over=over, scope=scope) if over else scope
    )


def listed_scope(people: int, sittings: int) -> str:
    """ "8 assessors, 2 sittings"."""
    first = ngettext("{n} assessor", "{n} assessors", people).format(n=people)
    if sittings < 1:
        return first
    second = ngettext("{n} sitting", "{n} sittings", sittings).format(n=sittings)
    return _("{assessors}, {sittings}").format(assessors=first, sittings=second)


def _charts_intro(decision: Decision) -> str:
    return _(
        "Up is worse than the longest pull, in units of the 0 to 10 scale. "
        "The bar is the {share} % interval; the whole bar must lie in the shaded margin."
    ).format(share=interval_share(decision.level))
