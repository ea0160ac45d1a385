"""Why a decision came out as it did, in sentences that follow the verdict."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from studyapp.findings.numbers import SELDOM, beside, hours, hours_list, listed, of_studies, opening, units
from studyapp.kinds.hours.findings import confirming
from studyapp.kinds.hours.findings.batches import differed, of_all
from studyapp.kinds.hours.findings.failing import against_pulls
from studyapp.kinds.hours.findings.instruments import assumed, decides
from studyapp.kinds.hours.findings.missing import missing_says, no_price
from studyapp.kinds.hours.findings.offers import Costs, best_offer, chance, offer_rows, to_the_last_look
from studyapp.kinds.hours.findings.reading import next_pulls, past_hour, pull_at, split_by_wish
from studyapp.kinds.hours.findings.unsure import PRICELESS, still_improving, why_unsure
from studyapp.words import _, ngettext

if TYPE_CHECKING:
    from analysis.planning import Offer
    from analysis.stopping import AttributeResult, Decision


def lede(decision: Decision, offers: Sequence[Offer], costs: Costs | None) -> str:
    """The sentences under the verdict."""
    said = [*_sentences(decision, offers, costs), *assumed(decision), *missing_says(decision)]
    return " ".join(sentence for sentence in said if sentence)


def _sentences(decision: Decision, offers: Sequence[Offer], costs: Costs | None) -> list[str]:
    if decision.hours is not None:
        return _stop_lede(decision)
    if decision.verdict == "conche longer":
        return _longer_lede(decision)
    if decision.verdict == "no hour fits":
        return _nothing_fits_lede(decision)
    if decision.verdict == "not confirmed":
        return confirming.why_not(decision)
    return _cannot_tell_lede(decision, offers, costs)


def _stop_lede(decision: Decision) -> list[str]:
    hour = decision.reference_hours if decision.hours is None else decision.hours
    result = decision.attributes.get(decision.binding or "")
    return [
        of_all(decision, hour) if decision.confirms is None else confirming.held_against(decision),
        _decides(result, hour) if result else "",
        _limit_holds(result, hour) if result else "",
        *decides(decision),
        differed(decision, decision.binding, hour),
        _window(decision),
        _too_short(decision, hour) if decision.confirms is None else confirming.risk(decision),
    ]


def _too_short(decision: Decision, hour: float) -> str:
    """How often a stop comes too early."""
    told = _("Were {h} h truly too short, this rule would still have said stop in at most {share} such studies.")
    return told.format(h=hours(hour), share=of_studies(decision.alpha))


def _decides(result: AttributeResult, hour: float) -> str:
    """How close the deciding attribute comes at the chosen hour."""
    pull = pull_at(result, hour)
    if pull is None or pull.decisive_upper is None or pull.decisive_lower is None:
        return ""
    margin = result.rule.margin
    if result.rule.both_ways:
        sentence = _(
            "{name} decides: apart by {d} units, between {low} and {most}, against a margin of {m} either way."
        )
    elif round(pull.difference, 1) == 0:
        sentence = _("{name} decides: no worse on average, worse by {most} at most, against a margin of {m}.")
    elif pull.difference < 0:
        sentence = _("{name} decides: better by {d} units, worse by {most} at most, against a margin of {m}.")
    else:
        sentence = _("{name} decides: worse by {d} units, at most {most}, against a margin of {m}.")
    value = pull.difference if result.rule.both_ways else abs(pull.difference)
    return sentence.format(
        name=opening(result.name),
        d=units(value),
        low=beside(pull.decisive_lower, -margin),
        most=beside(pull.decisive_upper, margin),
        m=units(margin),
    )


def _limit_holds(result: AttributeResult, hour: float) -> str:
    pull = pull_at(result, hour)
    if pull is None or result.rule.limit is None:
        return ""
    if result.rule.wanted == "higher":
        return _("Its mean is {mean}, at least {bound}, and the limit is {limit}.").format(
            mean=units(pull.mean), bound=beside(pull.mean_low, result.rule.limit), limit=units(result.rule.limit)
        )
    return _("Its mean is {mean}, at most {bound}, and the limit is {limit}.").format(
        mean=units(pull.mean), bound=beside(pull.mean_high, result.rule.limit), limit=units(result.rule.limit)
    )


def _window(decision: Decision) -> str:
    """What closes the window, at the first pull after it."""
    past = past_hour(decision)
    if past is None:
        return ""
    faded, grown = split_by_wish(decision, decision.closed_by)
    said = []
    if faded:
        said.append(
            ngettext(
                "At {past} h {names} is no longer shown to be kept.",
                "At {past} h {names} are no longer shown to be kept.",
                len(faded),
            ).format(past=hours(past), names=listed(faded))
        )
    if grown:
        said.append(
            _("At {past} h more {names} is found again than at a shorter pull.").format(
                past=hours(past), names=listed(grown)
            )
        )
    if not said:
        said.append(_("At {past} h it is no longer shown that every note is kept.").format(past=hours(past)))
    return " ".join(said)


def _longer_lede(decision: Decision) -> list[str]:
    more = _("Pull again at {pulls} h, with {ref} h among them.").format(
        pulls=hours_list(next_pulls(decision)), ref=hours(decision.reference_hours)
    )
    return [*still_improving(decision), _held(decision), more]


def _held(decision: Decision) -> str:
    """The other deciding attributes, none of which pays for it."""
    others = [name for name in decision.attributes if name not in decision.improving]
    if not decision.improving or not others:
        return ""
    return _("Held meanwhile: {names}.").format(names=listed(others))


def _nothing_fits_lede(decision: Decision) -> list[str]:
    return [
        *(against_pulls(decision) or [_("Every pull is shown to fail on something.")]),
        _("Whether a longer one would fit was not shown."),
        _("Change a margin or a limit before the next study, or the process."),
    ]


# ---- cannot tell ---------------------------------------------------------------------------------------------------
def _cannot_tell_lede(decision: Decision, offers: Sequence[Offer], costs: Costs | None) -> list[str]:
    said = why_unsure(decision)
    return said if decision.reason in PRICELESS else [*said, _price(decision, offers, costs)]


def _price(decision: Decision, offers: Sequence[Offer], costs: Costs | None) -> str:
    if not offers:
        if no_price(decision):
            return no_price(decision)
        if decision.look >= decision.looks:
            return _("The key has been opened as often as was sealed, so an answer needs a new study.")
        return ""
    last = to_the_last_look(offers)
    return " ".join([_next_step(best_offer(offers), costs), *([_waiting(last)] if last is not None else [])])


def _waiting(offer: Offer) -> str:
    """What all looks that are left would bring."""
    if offer.told < SELDOM:
        return _("Not even all {n} openings that are left would often settle it.").format(n=offer.looks)
    return _("By the last of the {n} openings that are left it would be settled in at least about {k} cases.").format(
        n=offer.looks, k=chance(offer)
    )


def _next_step(offer: Offer, costs: Costs | None) -> str:
    row = offer_rows([offer], costs)[0]
    k = chance(offer)
    if offer.told < SELDOM:
        return _("More of the same would seldom settle it: in {k} cases.").format(k=k)
    if offer.name == "new study":
        return _(
            "The key has been opened as often as was sealed; {what}, would settle it in at least about {k} cases."
        ).format(what=row.what, k=k)
    if not row.grams:
        return ngettext(
            "{n} more sitting would settle it in at least about {k} cases.",
            "{n} more sittings would settle it in at least about {k} cases.",
            offer.sittings,
        ).format(n=offer.sittings, k=k)
    return ngettext(
        "{n} more sitting would settle it in at least about {k} cases; it costs {g} and {t} a person.",
        "{n} more sittings would settle it in at least about {k} cases; they cost {g} and {t} a person.",
        offer.sittings,
    ).format(n=offer.sittings, k=k, g=row.grams, t=row.minutes)
