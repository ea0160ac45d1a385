"""The answer of a decision in one short sentence."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING

from studyapp.findings.numbers import count_of, hours, listed
from studyapp.kinds.hours.findings import confirming
from studyapp.kinds.hours.findings.batches import NOT_BORNE, headline_batches
from studyapp.kinds.hours.findings.instruments import REASON, unsettled
from studyapp.kinds.hours.findings.reading import better_pull, shown_too_late
from studyapp.words import _, ngettext

if TYPE_CHECKING:
    from analysis.stopping import Decision


def headline(decision: Decision) -> str:
    """What to do, or that it cannot be told yet and why not.

    Raises:
        ValueError: `cannot tell` for a reason that has no words; an answer must never vanish unread.
    """
    if decision.verdict == "stop":
        return stop_within(decision.hours, decision.latest_hours, decision.reference_hours)
    if decision.verdict == "conche longer":
        number = count_of(decision.reference_hours)
        return ngettext("Conche longer than {h} hour.", "Conche longer than {h} hours.", number).format(
            h=hours(decision.reference_hours)
        )
    if decision.verdict == "no hour fits":
        return _("No hour that was served ({first} to {last} h) fits.").format(
            first=hours(min(decision.passes)), last=hours(decision.reference_hours)
        )
    if decision.verdict != "cannot tell":
        return confirming.headline(decision)
    writer = _UNSURE.get(decision.reason or "")
    if writer is None:
        raise ValueError(f"no headline for the reason {decision.reason!r}")
    return writer(decision)


def stop_within(hour: float | None, latest: float | None, reference: float) -> str:
    """The hour to stop at, and until when, unless the window reaches the longest pull or nothing is known of it."""
    hour = reference if hour is None else hour
    if latest is None or latest >= reference:
        return ngettext("Stop at {h} hour.", "Stop at {h} hours.", count_of(hour)).format(h=hours(hour))
    if latest <= hour:
        return ngettext("Stop at {h} hour, not later.", "Stop at {h} hours, not later.", count_of(hour)).format(
            h=hours(hour)
        )
    return _("Conche between {a} and {b} hours.").format(a=hours(hour), b=hours(latest))


# ---- cannot tell ---------------------------------------------------------------------------------------------------
def _orders(decision: Decision) -> str:
    return _("Cannot tell: the serving orders favour some pulls.")


def _not_enough_data(decision: Decision) -> str:
    why = {result.why_not for result in decision.attributes.values() if not result.judged}
    if "copied" in why:
        return _("Cannot tell: some scores look copied.")
    if why == {"same score everywhere"}:
        return _("Cannot tell: everyone gave one and the same score.")
    return _("Cannot tell: there are too few scores.")


def _control_not_found(decision: Decision) -> str:
    return _("Cannot tell: the panel did not find the pull known to differ.")


def _better_hours(decision: Decision) -> str:
    hour, shortest = better_pull(decision), decision.shortest_hours
    if hour is None or shortest is None:
        return _("Cannot tell yet.")
    return _("Cannot tell yet: {better} h is better than {h} h.").format(better=hours(hour), h=hours(shortest))


def _window(decision: Decision) -> str:
    hour = decision.reference_hours if decision.shortest_hours is None else decision.shortest_hours
    if shown_too_late(decision):
        return _("Cannot tell yet: {h} h is long enough, but too late.").format(h=hours(hour))
    return _("Cannot tell yet: {h} h may already be too late.").format(h=hours(hour))


def _still_improving(decision: Decision) -> str:
    if not decision.improving:
        return _("Cannot tell yet.")
    return ngettext(
        "Cannot tell yet: {names} still gets better.",
        "Cannot tell yet: {names} still get better.",
        len(decision.improving),
    ).format(names=listed(decision.improving))


def _reference_fails(decision: Decision) -> str:
    return _("Cannot tell yet: {ref} h itself does not fit.").format(ref=hours(decision.reference_hours))


def _misses(decision: Decision) -> str:
    return _("Cannot tell yet.")


def _meets(decision: Decision) -> str:
    if decision.look < decision.looks:
        return _("Cannot tell yet.")
    number = count_of(decision.reference_hours)
    return ngettext("Stay at {h} hour.", "Stay at {h} hours.", number).format(h=hours(decision.reference_hours))


def _reference_lost(decision: Decision) -> str:
    return _("Cannot tell: the pull that the others are held against was lost.")


def _pull_missing(decision: Decision) -> str:
    return _("Cannot tell yet: a pull is missing.")


def _unjudged(decision: Decision) -> str:
    return _("Cannot tell yet: too much could not be judged.")


def _limits(decision: Decision) -> str:
    names = unsettled(decision)
    if decision.taste is None or decision.taste.hours is None or not names:
        return _("Cannot tell yet.")
    return _("Cannot tell yet: flavour is ready, {names} not.").format(names=listed(names))


_UNSURE: dict[str, Callable[[Decision], str]] = {
    **dict.fromkeys(NOT_BORNE, headline_batches),
    "reference lost": _reference_lost,
    "pull missing": _pull_missing,
    "unjudged": _unjudged,
    "orders": _orders,
    "not enough data": _not_enough_data,
    "control not found": _control_not_found,
    "better hours": _better_hours,
    "window": _window,
    REASON: _limits,
    "still improving": _still_improving,
    "reference fails": _reference_fails,
    "reference misses a limit": _misses,
    "reference meets limits": _meets,
}
