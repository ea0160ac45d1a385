"""The price of an answer: each way to one, with what it asks of a person and how often it settles the question."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import ceil
from typing import TYPE_CHECKING

from studyapp.findings.numbers import SELDOM, decimal, hours_list, of_ten
from studyapp.kinds.hours.plan import HoursPlan
from studyapp.records import MINUTES_A_PIECE
from studyapp.words import _, ngettext

if TYPE_CHECKING:
    from analysis.planning import Offer


HALF = 0.5


@dataclass(frozen=True, slots=True)
class Costs:
    """What one piece asks: grams of chocolate, and minutes with its rest; and whether a sitting begins with one that
    is not scored."""

    grams: float
    minutes: float
    warm_up: bool = False


def costs(plan: HoursPlan) -> Costs:
    """What one piece asks of a person under a plan."""
    return Costs(plan.piece_g, plan.rest_seconds / 60 + MINUTES_A_PIECE, plan.warm_up)


@dataclass(frozen=True, slots=True)
class OfferRow:
    """One row of the table: what to do; servings, grams and minutes a person at most; how many palates for a sitting;
    chance of an answer as it is told, and what more drawing could change of the share behind it."""

    what: str
    servings: str
    grams: str
    minutes: str
    palates: str
    chance: str
    error: str


def best_offer(offers: Sequence[Offer]) -> Offer:
    """The next step named in the sentence: the one that settles most often, the cheaper of two that do so alike."""
    next_steps = [offer for offer in offers if offer.looks == 1 and offer.name != "new study"]
    return max(next_steps or offers, key=lambda offer: (round(offer.settles, 2), -offer.servings))


def to_the_last_look(offers: Sequence[Offer]) -> Offer | None:
    """What all looks that are left would bring; None when only one is."""
    return next((offer for offer in offers if offer.name == "all looks"), None)


def servings_a_person(offer: Offer) -> int:
    """How many servings an offer asks of each assessor at most."""
    return offer.pieces * offer.sittings


def offer_rows(offers: Sequence[Offer], costs: Costs | None = None) -> tuple[OfferRow, ...]:
    """The offers as rows, in the order given; grams and minutes stay empty without costs."""
    return tuple(_row(offer, costs) for offer in offers)


def _row(offer: Offer, costs: Costs | None) -> OfferRow:
    servings = servings_a_person(offer)
    pieces = servings + offer.sittings * (costs is not None and costs.warm_up)
    return OfferRow(
        what=_what(offer),
        servings=ngettext("{n} serving", "{n} servings", servings).format(n=servings),
        grams=_("{n} g").format(n=_grams(pieces * costs.grams)) if costs else "",
        minutes=_("{n} min").format(n=decimal(ceil(pieces * costs.minutes), 0)) if costs else "",
        palates=ngettext("{n} seat", "{n} seats", offer.palates).format(n=offer.palates),
        chance=chance(offer) if offer.told < SELDOM else _("at least about {k}").format(k=chance(offer)),
        error=_("± {error} %").format(error=decimal(max(200 * offer.monte_carlo_se, 1), 0)),
    )


def chance(offer: Offer) -> str:
    """The chance as it is told; a half, which is the most that a panel without a past is told, in words."""
    return _("half of all") if offer.told == HALF else of_ten(offer.told)


def _grams(grams: float) -> str:
    """Half a gram is shown: it is there for every odd number of pieces."""
    return decimal(grams, 0 if grams == round(grams) else 1)


def _what(offer: Offer) -> str:
    if offer.name == "open pulls":
        return ngettext(
            "{n} more sitting with the {pulls} h pulls",
            "{n} more sittings with the {pulls} h pulls",
            offer.sittings,
        ).format(n=offer.sittings, pulls=hours_list(offer.pulls))
    if offer.name == "more batches":
        return ngettext("{n} more batch, one sitting", "{n} more batches, one sitting each", offer.sittings).format(
            n=offer.sittings
        )
    if offer.name == "all looks":
        return _("every opening that is left: up to {n} more sittings with all pulls, {mean} on average").format(
            n=offer.sittings, mean=decimal(offer.mean_sittings, 1)
        )
    if offer.name == "new study":
        return ngettext(
            "a new study of the {pulls} h pulls: {n} sitting of {people} people, at most {pieces} pieces a person in "
            "it",
            "a new study of the {pulls} h pulls: {n} sittings of {people} people, at most {pieces} pieces a person in "
            "each",
            offer.sittings,
        ).format(n=offer.sittings, people=offer.people, pieces=offer.pieces, pulls=hours_list(offer.pulls))
    if offer.name == "more replicates":
        return ngettext(
            "{n} more sitting, each pull {k} times",
            "{n} more sittings, each pull {k} times",
            offer.sittings,
        ).format(n=offer.sittings, k=offer.replicates)
    return ngettext(
        "{n} more sitting with all pulls",
        "{n} more sittings with all pulls",
        offer.sittings,
    ).format(n=offer.sittings)


def how_rough() -> str:
    """What the chances of offers rest on."""
    return _(
        "Chance: how often a way ends in an answer, by what the scores so far leave likely and how much these people "
        "differ; rough, and rather low than high. More than half is said only where about two earlier studies of the "
        "panel tell of that. One search fills every line, each against the plan you have now."
    )


def none_left() -> str:
    """Why nothing is offered after "cannot tell"."""
    return _("The key has been opened as often as was sealed. An answer needs a new study with a new seal.")
