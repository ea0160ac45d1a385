"""What is said of pulls that were lost, taken back or never scored, and of servings that could not be judged."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from studyapp.findings.losses import loss_reasons
from studyapp.findings.numbers import hours, hours_list, opening
from studyapp.kinds.hours.plan import RECIPE
from studyapp.words import _, ngettext

if TYPE_CHECKING:
    from analysis.stopping import Decision, LostPull, Unjudged


def missing_says(decision: Decision) -> list[str]:
    """Every sentence that page one owes its reader, the question itself first."""
    said = [_asks_against(decision)] if not decision.reference_is_sealed else []
    said += [_lost(one, decision) for one in decision.lost]
    return [sentence for sentence in [*said, *(_unjudged(one) for one in decision.unjudged)] if sentence]


def lost_hours(decision: Decision) -> tuple[float, ...]:
    """Pulls without any place in the numbers."""
    there = set(decision.passes)
    return tuple(one.hours for one in decision.lost if one.sitting is None and one.hours not in there)


def why_missing(decision: Decision) -> list[str]:
    """`cannot tell` where pulls that stay without passing, or that are lost, stand before every answer."""
    beyond = [one for one in decision.lost if one.hours >= decision.reference_hours]
    if decision.reason == "reference lost" and any(one.fate == "unread" for one in beyond):
        return [_("Nobody scored the longest pull, so there is nothing to hold the others against. Serve it again.")]
    if decision.reason == "reference lost":
        return [_("The longest pull was lost, and the sealed rule names no other one to hold against it.")]
    if decision.reason == "unjudged":
        return [_("However the servings that could not be judged are filled in, no one answer holds for all fillings.")]
    out = sorted({one.hours for one in decision.lost if one.sitting is None})
    return [
        _("What was served points to an answer, but it may not be given without {list} h.").format(list=hours_list(out))
    ]


def no_price(decision: Decision) -> str:
    """Why no chance of an answer is told; empty where one can be."""
    if decision.unjudged:
        return _("What more sittings would bring is not reckoned: nothing tells how the pieces would have been judged.")
    if decision.reason == "reference lost" or any(one.fate != "lost" for one in decision.lost):
        return _("What more sittings would bring is not reckoned: it hangs on whether the missing pull can be served.")
    if decision.reason in ("batch missing", "batches apart", "too few batches"):
        return _("What more batches would bring is not reckoned: first those of the sealed claim are needed.")
    if decision.batches is not None and decision.claim != RECIPE:
        return _(
            "What more sittings would bring is not reckoned where each batch must pass alone. Another batch makes no "
            "answer more likely here; more servings of these do."
        )
    return ""


def _asks_against(decision: Decision) -> str:
    beyond = [one.hours for one in decision.lost if one.hours > decision.reference_hours]
    return ngettext(
        "{lost} h, the longest pull, was lost: everything here is held against {ref} h.",
        "{lost} h, the longest pulls, were lost: everything here is held against {ref} h.",
        len(set(beyond)),
    ).format(lost=hours_list(sorted(set(beyond))), ref=hours(decision.reference_hours))


def _lost(one: LostPull, decision: Decision) -> str:
    if one.batch is None:
        return _lost_of(one)
    if one.fate == "lost" and one.sitting is None and one.hours < decision.reference_hours:
        sentence = _("Batch {batch}: {said} It is not chosen, and every other batch must still pass there.")
    else:
        sentence = _("Batch {batch}: {said}")
    return sentence.format(batch=one.batch, said=_lost_of(one))


def _lost_of(one: LostPull) -> str:
    named = loss_reasons().get(one.reason or "", one.reason or _("no reason given"))
    texts = {"h": hours(one.hours), "why": named, "sitting": one.sitting}
    if one.fate == "taken back":
        return _(
            "{h} h was taken back after it had been scored ({why}): it does not pass, and nothing shorter can."
        ).format(**texts)
    if one.fate == "unread":
        return _("Nobody scored {h} h: it does not pass, and nothing shorter can.").format(**texts)
    if one.sitting is not None:
        return _(
            "In sitting {sitting}, {h} h was lost ({why}): it is compared within the sittings that served it."
        ).format(**texts)
    return _("{h} h was lost ({why}): nothing is said about it.").format(**texts)


def _unjudged(one: Unjudged) -> str:
    return ngettext(
        "{name} at {h} h: {n} serving could not be judged. What is said holds whatever it would have been.",
        "{name} at {h} h: {n} servings could not be judged. What is said holds whatever they would have been.",
        one.count,
    ).format(name=opening(one.attribute), h=hours(one.hours), n=one.count)


def lost_alt(missing: Sequence[float]) -> str:
    """What a picture says of pulls that it cannot show."""
    if not missing:
        return ""
    return ngettext("{list} h was lost.", "{list} h were lost.", len(missing)).format(list=hours_list(sorted(missing)))
