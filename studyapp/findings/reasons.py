"""Why a decision came out as it did, in sentences that follow the verdict."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from studyapp.findings.numbers import SELDOM, beside, hours, hours_list, listed, of_studies, opening, units
from studyapp.findings.offers import Costs, best_offer, chance, offer_rows, to_the_last_look
from studyapp.findings.reading import (
    blocking,
    fading,
    failing_pulls,
    improving,
    next_pulls,
    past_hour,
    pull_at,
    shorter_pull,
)
from studyapp.words import _, ngettext

if TYPE_CHECKING:
    from analysis.stopping import AttributeResult, Decision, Offer


def lede(decision: Decision, offers: Sequence[Offer], costs: Costs | None) -> str:
    """The sentences under the verdict."""
    return " ".join(sentence for sentence in _sentences(decision, offers, costs) if sentence)


def _sentences(decision: Decision, offers: Sequence[Offer], costs: Costs | None) -> list[str]:
    if decision.verdict == "stop":
        return _stop_lede(decision)
    if decision.verdict == "conche longer":
        return _longer_lede(decision)
    if decision.verdict == "no hour fits":
        return _nothing_fits_lede(decision)
    return _cannot_tell_lede(decision, offers, costs)


def _stop_lede(decision: Decision) -> list[str]:
    hour = decision.reference_hours if decision.hours is None else decision.hours
    result = decision.attributes.get(decision.binding or "")
    return [
        _("At {h} h every deciding attribute is within its margin of the {ref} h pull.").format(
            h=hours(hour), ref=hours(decision.reference_hours)
        ),
        _decides(result, hour) if result else "",
        _limit_holds(result, hour) if result else "",
        _window(decision),
        _("Were {h} h truly too short, this rule would still have said stop in at most {share} such studies.").format(
            h=hours(hour), share=of_studies(decision.alpha)
        ),
    ]


def _decides(result: AttributeResult, hour: float) -> str:
    """How close the deciding attribute comes at the chosen hour."""
    pull = pull_at(result, hour)
    if pull is None or pull.decisive_upper is None or pull.decisive_lower is None:
        return ""
    margin = result.rule.margin
    if result.rule.wanted == "same":
        sentence = _(
            "{name} decides: apart by {d} units, between {low} and {most}, against a margin of {m} either way."
        )
    elif round(pull.difference, 1) == 0:
        sentence = _("{name} decides: no worse on average, worse by {most} at most, against a margin of {m}.")
    elif pull.difference < 0:
        sentence = _("{name} decides: better by {d} units, worse by {most} at most, against a margin of {m}.")
    else:
        sentence = _("{name} decides: worse by {d} units, at most {most}, against a margin of {m}.")
    value = pull.difference if result.rule.wanted == "same" else abs(pull.difference)
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
    past = past_hour(decision)
    if past is None:
        return ""
    faded = fading(decision)
    if faded is None:
        return _("From {past} h on it is not shown that nothing has been lost again.").format(past=hours(past))
    return _("From {past} h on {name} is no longer shown to be kept.").format(past=hours(past), name=faded)


def _longer_lede(decision: Decision) -> list[str]:
    found = improving(decision)
    more = _("Pull again at {pulls} h, with {ref} h among them.").format(
        pulls=hours_list(next_pulls(decision)), ref=hours(decision.reference_hours)
    )
    if found is None:
        return [_("Flavour still got better up to the longest pull."), more]
    result, pull = found
    still = _("{name} still got better from {h1} to {h2} h, by {d} units, at least {least}.").format(
        name=opening(result.name),
        h1=hours(pull.hours),
        h2=hours(decision.reference_hours),
        d=units(pull.difference),
        least=beside(pull.decisive_lower or 0.0, 0.0),
    )
    return [still, more]


def _nothing_fits_lede(decision: Decision) -> list[str]:
    way_out = _("Change a margin or a limit before the next study, or the process.")
    needs, latest = decision.attributes.get(decision.binding or ""), decision.latest_hours
    needed = needs.shortest_hours if needs is not None else None
    if needs is not None and needed is not None and latest is not None and needed > latest:
        return [_empty_window(decision, needs.name, needed, latest), way_out]
    return [_too_short_then_too_long(decision) or _fails_everywhere(decision), way_out]


def _too_short_then_too_long(decision: Decision) -> str:
    """One note is not good enough up to some hour, another is lost again from the next on."""
    pulls = sorted(decision.passes)
    for needs, early in failing_pulls(decision).items():
        for fades, late in failing_pulls(decision).items():
            fading_note = decision.attributes.get(fades)
            if fading_note is None or fading_note.rule.wanted != "higher":
                continue
            if [*early, *late] == pulls and late[-1] == decision.reference_hours:
                return _(
                    "{needs} is shown to be not good enough up to {a} h, and {fades} to be lost again from {b} h on."
                ).format(needs=opening(needs), a=hours(early[-1]), fades=fades, b=hours(late[0]))
    return ""


def _fails_everywhere(decision: Decision) -> str:
    named = [
        _("{name} at {pulls} h").format(name=name, pulls=hours_list(pulls))
        for name, pulls in failing_pulls(decision).items()
    ]
    if not named:
        return _("Every pull is shown to fail on something.")
    return _("Every pull is shown to fail on something: {names}.").format(names="; ".join(named))


def _empty_window(decision: Decision, needs: str, from_hour: float, to_hour: float) -> str:
    faded = fading(decision)
    if faded is None:
        return _("{needs} needs {a} h or more, but after {b} h it is not shown that nothing has been lost.").format(
            needs=opening(needs), a=hours(from_hour), b=hours(to_hour)
        )
    return _("{needs} needs {a} h or more, and {fades} is not shown to last beyond {b} h.").format(
        needs=opening(needs), a=hours(from_hour), fades=faded, b=hours(to_hour)
    )


# ---- cannot tell ---------------------------------------------------------------------------------------------------
def _cannot_tell_lede(decision: Decision, offers: Sequence[Offer], costs: Costs | None) -> list[str]:
    if decision.reason == "control not found":
        return [
            _("The {h} h pull is known to differ, and the panel did not tell it from {ref} h.").format(
                h=hours(decision.control_hours), ref=hours(decision.reference_hours)
            ),
            _("So sameness cannot be believed today either. Check labels, temperature and rests, and taste again."),
        ]
    if decision.reason == "orders":
        return [
            _("Pulls stood at different places in the sittings, and the first serving scores differently by itself."),
            _("So a pull may look good only for its place. Serve again in balanced orders."),
        ]
    if decision.reason == "not enough data":
        return [*_why_not_judged(decision), _price(decision, offers, costs)]
    return [*_still_open(decision), _meanwhile(decision), _price(decision, offers, costs)]


def _why_not_judged(decision: Decision) -> list[str]:
    names = [result.name for result in decision.attributes.values() if not result.judged]
    if not names:
        return [_("There are too few scores to compare the pulls.")]
    return [
        ngettext(
            "{names} could not be judged from the scores at hand.",
            "{names} could not be judged from the scores at hand.",
            len(names),
        ).format(names=opening(listed(names)))
    ]


def _still_open(decision: Decision) -> list[str]:
    """What stays possible for the pull next to the reference, and what blocks it."""
    shorter = shorter_pull(decision)
    blocks = blocking(decision, shorter)
    if shorter is None or not blocks:
        return [_("No shorter pull was shown to be good enough.")]
    result, pull = blocks[0]
    texts = {"h": hours(shorter), "ref": hours(decision.reference_hours), "name": result.name}
    if pull.decisive_upper is None or pull.decisive_lower is None:
        return [_("For {h} h, {name} could not be judged.").format(**texts)]
    margin = result.rule.margin
    texts |= {
        "d": units(pull.difference if result.rule.wanted == "same" else abs(pull.difference)),
        "low": beside(pull.decisive_lower, -margin if result.rule.wanted == "same" else margin),
        "most": beside(pull.decisive_upper, margin),
        "m": units(margin),
    }
    return [_open_sentence(result, pull.within_margin, pull.shown_to_fail, pull.difference).format(**texts)]


def _open_sentence(result: AttributeResult, within: bool, fails: bool, difference: float) -> str:
    if within:
        return _("{h} h comes close enough to {ref} h, but {name} is not shown to meet its limit there.")
    if fails:
        return _(
            "{h} h is too short: {name} is worse than at {ref} h by {d} units, at least {low}, and the margin is {m}."
        )
    if result.rule.wanted == "same":
        return _(
            "{h} h may be as good as {ref} h: {name} is apart by {d} units, "
            "but it could be anything between {low} and {most} and the margin is {m} either way."
        )
    if round(difference, 1) == 0:
        return _(
            "{h} h may be as good as {ref} h: {name} is no worse on average, "
            "but it could be worse by {most} and the margin is {m}."
        )
    if difference < 0:
        return _(
            "{h} h may be as good as {ref} h: {name} is even better by {d} units, "
            "but it could be worse by {most} and the margin is {m}."
        )
    return _(
        "{h} h may be as good as {ref} h: {name} is worse by {d} units, "
        "but it could be up to {most} and the margin is {m}."
    )


def _meanwhile(decision: Decision) -> str:
    reference = hours(decision.reference_hours)
    if decision.reason == "reference misses a limit":
        missed = [name for name, result in decision.attributes.items() if _misses(result, decision.reference_hours)]
        if not missed:
            return _("{ref} h itself was not shown to meet every limit.").format(ref=reference)
        return _("{ref} h itself was not shown to meet the limit for {names}.").format(
            ref=reference, names=listed(missed)
        )
    if decision.look >= decision.looks:
        if any(result.rule.limit is not None for result in decision.attributes.values()):
            return _("Nothing shorter was shown to be good enough. {ref} h meets every limit.").format(ref=reference)
        return _("Nothing shorter was shown to be good enough.")
    return _("Until it is known, stay at {ref} h.").format(ref=reference)


def _misses(result: AttributeResult, hour: float) -> bool:
    pull = pull_at(result, hour)
    return pull is not None and pull.within_limit is False


def _price(decision: Decision, offers: Sequence[Offer], costs: Costs | None) -> str:
    if not offers:
        if decision.look >= decision.looks:
            return _("The looks that were sealed are used up, so an answer needs a new study.")
        return ""
    last = to_the_last_look(offers)
    return " ".join([_next_step(best_offer(offers), costs), *([_waiting(last)] if last is not None else [])])


def _waiting(offer: Offer) -> str:
    """What all looks that are left would bring."""
    if offer.told < SELDOM:
        return _("Not even all {n} looks that are left would often settle it.").format(n=offer.looks)
    return _("By the last of the {n} looks that are left it would be settled in at least about {k} cases.").format(
        n=offer.looks, k=chance(offer)
    )


def _next_step(offer: Offer, costs: Costs | None) -> str:
    row = offer_rows([offer], costs)[0]
    k = chance(offer)
    if offer.told < SELDOM:
        return _("More of the same would seldom settle it: in {k} cases.").format(k=k)
    if offer.name == "new study":
        return _("The looks that were sealed are used up; {what}, would settle it in at least about {k} cases.").format(
            what=row.what, k=k
        )
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
