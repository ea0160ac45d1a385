"""A comparison in sentences: what each make came to, what decides it, and how far it reaches."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from studyapp.findings import Fact, beside, caution, of_ten, units
from studyapp.findings.numbers import SELDOM, decimal, interval_share, listed, opening, or_dash, p_value
from studyapp.kinds.comparison.findings import hours, instruments, missing
from studyapp.kinds.comparison.findings.careful import told_warning
from studyapp.kinds.comparison.plan import LETTERS, ComparisonPlan
from studyapp.kinds.comparison.rule import words_of
from studyapp.words import _, ngettext

if TYPE_CHECKING:
    from analysis.comparing import ClaimResult, Compared, MakeClaim, MakeResult
    from analysis.comparing.price import MakeOffer


@dataclass(frozen=True, slots=True)
class OfferRow:
    """One way to an answer: what to do, what it asks, how often it answers."""

    what: str
    asks: str
    chance: str


@dataclass(frozen=True, slots=True)
class ComparisonFinding:
    """What a person reads about one comparison, in reading order. `scope` stands above the facts, `extent` in bold at
    its beginning; `words` says of every piece how it is made."""

    title: str
    headline: str
    lede: str
    scope: str
    extent: str
    facts: tuple[Fact, ...]
    offers: tuple[OfferRow, ...]
    warnings: tuple[str, ...]
    caution: str
    words: Mapping[str, str]


def comparison_finding(
    found: Compared,
    offers: Sequence[MakeOffer] = (),
    title: str = "",
    words: Mapping[str, str] | None = None,
    plan: ComparisonPlan | None = None,
) -> ComparisonFinding:
    """The sentences of one comparison.

    Args:
        found: the verdicts.
        offers: ways to an answer on the makes that are open.
        title: of the study.
        words: how each make is made, by its name; nothing for makes that are named by what they are.
        plan: what a piece weighs and a sitting takes; None for scores from a file.
    """
    words = words or {}
    return ComparisonFinding(
        title=title,
        headline=headline(found),
        lede=" ".join(_lede(found, words)),
        scope=scope(found),
        extent=extent(found),
        facts=tuple(_facts(found)),
        offers=tuple(_offer(offer, plan, found) for offer in offers),
        warnings=(*(told_warning(one) for one in found.warnings), *missing.no_price(found)),
        caution=caution(),
        words=words,
    )


def words_by_make(plan: ComparisonPlan) -> dict[str, str]:
    """How each make is made, by its letter."""
    return {letter: words_of(plan, letter) for letter in LETTERS[: len(plan.makes)]}


# ---- the headline ----------------------------------------------------------------------------------------------------
def headline(found: Compared) -> str:
    """Every make in one sentence each, in their order."""
    told = {name: missing.headline(found, name) for name in found.not_weighed}
    for name, make in found.makes.items():
        told[name] = _make_headline(found, name, make) if found.faster is None else _faster_headline(found, name)
    return " ".join([*(told[name] for name in sorted(told)), hours.headline(found.bracket)]).strip()


def _make_headline(found: Compared, name: str, make: MakeResult) -> str:
    if make.verdict == "cannot tell":
        return _("{make}: cannot tell.").format(make=name)
    if make.verdict == "not good enough":
        return _("{make} is not good enough.").format(make=name)
    claims = {one.claim for one in found.claims.values()}
    if claims == {"better"}:
        sentence = _("{make} is better than {ref}.")
    elif claims == {"same"}:
        sentence = _("{make} is the same as {ref}.")
    elif "better" in claims:
        sentence = _("{make} is better than {ref} where that was claimed, and no worse elsewhere.")
    else:
        sentence = _("{make} is no worse than {ref}.")
    return sentence.format(make=name, ref=found.reference)


def _faster_headline(found: Compared, name: str) -> str:
    assert found.faster is not None
    if found.faster.shown[name]:
        return _("{make} is as good in less time.").format(make=name)
    return _make_headline(found, name, found.makes[name])


# ---- the lede --------------------------------------------------------------------------------------------------------
def _lede(found: Compared, words: Mapping[str, str]) -> list[str]:
    if found.reason is not None:
        return [_REASONS[found.reason](), *missing.says(found)]
    said = [_make_told(found, name, make, words) for name, make in found.makes.items()]
    pair = [_pair_told(found, name) for name in found.makes] if found.faster else []
    needed = [] if found.bracket is None else [hours.told(found.bracket)]
    return [*said, *pair, *needed, *instruments.reached(found), *missing.says(found)]


_REASONS = {
    "orders": lambda: _(
        "Pieces stood at different places in the sittings, and the first piece scores differently by itself. So a make "
        "may look good only for its place. Serve again in balanced orders."
    ),
    "not enough data": lambda: _("Some attribute could not be judged from the scores at hand; see below."),
    "control not found": lambda: _(
        "The panel did not tell the control, which is known to differ. So likeness cannot be believed today either. "
        "Check labels, temperature and rests, and taste again."
    ),
    "control lost": lambda: _(
        "The control, which is known to differ, was lost. Nothing else shows that the panel was awake, so nothing "
        "counts as alike. Serve it in another sitting."
    ),
}  # fmt: skip


def _make_told(found: Compared, name: str, make: MakeResult, words: Mapping[str, str]) -> str:
    """One make with what decides it; the words of a make stand after its letter."""
    named = _("{make} ({words})").format(make=name, words=words[name]) if words.get(name) else name
    told = _binding_told(found, make, make.binding)
    if make.verdict == "shown":
        sentence = _("{make} passes on every deciding attribute; {told}.")
        if found.gates:
            sentence = _("{make} passes on every deciding attribute and keeps every limit; {told}.")
    elif make.verdict == "not good enough":
        failing = make.fails_on[0]
        sentence = _("{make} is shown to miss the claim; {told}.")
        if failing in make.attributes:
            told = failing_told(failing, make.attributes[failing], found.claims[failing])
        else:
            sentence, told = _("{make} is shown to break a limit; {told}."), _binding_told(found, make, failing)
    else:
        sentence = _("{make} may be good enough, but it is not shown: {told}.")
    return sentence.format(make=named, told=told)


def _binding_told(found: Compared, make: MakeResult, name: str) -> str:
    """An attribute, or a limit of an instrument, in a clause."""
    if name in make.attributes:
        return difference_told(name, make.attributes[name], found.claims[name])
    return instruments.told(instruments.worst(make.gates, name), found.gates[name])


def failing_told(name: str, one: ClaimResult, claim: MakeClaim) -> str:
    """What a failing claim rests on: the end of the limits that lies nearest to the margin."""
    if claim.claim == "better" or one.lower is None or one.upper is None or max(one.lower, -one.upper) < claim.margin:
        return difference_told(name, one, claim)
    sentence = (
        _("{name} is {how}, at least {least} worse against a margin of {margin}")
        if one.lower >= claim.margin
        else _("{name} is {how}, at least {least} better against a margin of {margin}")
    )
    least = beside(max(one.lower, -one.upper), claim.margin)
    return sentence.format(name=name, how=_how(one.difference), least=least, margin=units(claim.margin))


def difference_told(name: str, one: ClaimResult, claim: MakeClaim) -> str:
    """How much worse or better one attribute is, at most, against the margin."""
    if one.upper is None or one.lower is None:
        return _("{name} has no limits").format(name=name)
    if claim.claim == "better":
        return _("{name} is {how}, between {low} and {high} worse than the reference").format(
            name=name, how=_how(one.difference), low=units(one.lower), high=units(one.upper)
        )
    far = one.upper if claim.claim == "no worse" or one.upper >= -one.lower else one.lower
    worse, reaches_out = far == one.upper, abs(far) >= claim.margin
    sentence = {
        (True, False): _("{name} is {how}, at most {far} worse against a margin of {margin}"),
        (False, False): _("{name} is {how}, at most {far} better against a margin of {margin}"),
        (True, True): _("{name} is {how}, but it could be up to {far} worse, and the margin is {margin}"),
        (False, True): _("{name} is {how}, but it could be up to {far} better, and the margin is {margin}"),
    }
    return sentence[worse, reaches_out].format(
        name=name, how=_how(one.difference), far=beside(abs(far), claim.margin), margin=units(claim.margin)
    )


def _how(difference: float) -> str:
    if round(abs(difference), 1) == 0:
        return _("no different")
    if difference > 0:
        return _("worse by {units}").format(units=units(difference))
    return _("better by {units}").format(units=units(-difference))


def _pair_told(found: Compared, name: str) -> str:
    faster = found.faster
    assert faster is not None
    if faster.shown[name]:
        return _(
            "On {attribute} {ref} itself is worse in the short time, and {make} in that time is better than that: the "
            "pair that was sealed is shown. By how many hours more than these is not said."
        ).format(attribute=faster.attribute, ref=found.reference, make=name)
    if not faster.slower_shown:
        return _("Less time is not shown: that {ref} is worse in the short time on {attribute} was not shown.").format(
            attribute=faster.attribute, ref=found.reference
        )
    if not faster.better_shown[name]:
        return _(
            "Less time is not shown: in the short time {make} is not shown better than {ref} on {attribute}."
        ).format(attribute=faster.attribute, ref=found.reference, make=name)
    return _("Less time is not shown, since {make} is not shown as good.").format(make=name)


# ---- how far it reaches ----------------------------------------------------------------------------------------------
def extent(found: Compared) -> str:
    """What the verdict is about, in one short sentence."""
    if found.claim == "make":
        return _("This is about the ways of making, over {n} batches of each.").format(n=found.batches)
    return _("This is about these batches, not about ways of making.")


def scope(found: Compared) -> str:
    """Why it reaches so far and no further."""
    if found.claim == "make":
        return _("How much batches differ is part of every limit. Other recipes and machines were not tasted.")
    return _(
        "One batch of each was tasted, so batch and way of making cannot be told apart. Three batches of each or more "
        "would say something about the way."
    )


def _facts(found: Compared) -> list[Fact]:
    decides = [
        Fact(
            _("Decides for {make}").format(make=name),
            make.binding,
            _binding_fact(found, make),
        )
        for name, make in found.makes.items()
    ]
    return [*decides, _control_fact(found), _panel_fact(found)]


def _binding_fact(found: Compared, make: MakeResult) -> str:
    if make.binding in make.attributes:
        one, claim = make.attributes[make.binding], found.claims[make.binding]
        if one.upper is None or claim.claim != "no worse" or make.verdict == "not good enough":
            return _how(one.difference)
        told = _("{how}, at most {far}") if one.upper < claim.margin else _("{how}, could be up to {far}")
        return told.format(how=_how(one.difference), far=beside(one.upper, claim.margin))
    return instruments.value(instruments.worst(make.gates, make.binding), found.gates[make.binding], unit=True)


def _control_fact(found: Compared) -> Fact:
    control = found.control_result
    label = _("Control found")
    if found.control is None:
        return Fact(label, _("not asked"), _("every claim is “better”"))
    if not control.found or control.attribute is None or control.difference is None:
        return Fact(label, _("no"), _("so nothing counts as alike"))
    return Fact(label, _("yes"), _("{name} {how}").format(name=control.attribute, how=_how(control.difference)))


def _panel_fact(found: Compared) -> Fact:
    people = ngettext("{n} person", "{n} people", found.scope["assessors"]).format(n=found.scope["assessors"])
    sittings = ngettext("{n} sitting", "{n} sittings", found.scope["sittings"]).format(n=found.scope["sittings"])
    value = _("the ways of making") if found.claim == "make" else _("these batches")
    return Fact(_("Holds for"), value, f"{people}, {sittings}")


# ---- the price of an answer ------------------------------------------------------------------------------------------
def _offer(offer: MakeOffer, plan: ComparisonPlan | None, found: Compared) -> OfferRow:
    what = ngettext("{n} more sitting with all pieces", "{n} more sittings with all pieces", offer.sittings)
    what = what.format(n=offer.sittings)
    pieces = offer.sittings * offer.servings * (len(found.makes) + 1 + (found.control is not None))
    asks = ngettext("{n} piece a person", "{n} pieces a person", pieces).format(n=pieces)
    if plan is not None:
        grams = offer.sittings * offer.servings * len(plan.assessors) * plan.piece_g
        asks = _("{pieces}, {g} g from each make").format(pieces=asks, g=f"{grams:.0f}")
    chance = "; ".join(_often(name, share) for name, share in offer.told.items())
    return OfferRow(what, asks, chance)


def _often(make: str, share: float) -> str:
    told = _("on {make} in {chance}") if share < SELDOM else _("on {make} in at least about {chance}")
    return told.format(make=make, chance=of_ten(share))


# ---- pictures, lists and drafts --------------------------------------------------------------------------------------
def intro(found: Compared) -> str:
    """What stands above the picture."""
    levels = sorted({interval_share(make.level) for make in found.makes.values()})
    shares = listed([_("{n} %").format(n=share) for share in levels])
    return _(
        "Bars are {shares} intervals, at the level at which each make was decided; the capped end decides."
    ).format(shares=shares)


def alt(found: Compared) -> str:
    """The picture in words."""
    said = []
    for name, make in found.makes.items():
        parts = [difference_told(what, one, found.claims[what]) for what, one in make.attributes.items()]
        said.append(_("{make} against {ref}: {parts}.").format(make=name, ref=found.reference, parts="; ".join(parts)))
    return " ".join(said)


def claim_line(claim: MakeClaim) -> str:
    """A claim beside its attribute in a picture."""
    if claim.claim == "better":
        return _("better")
    told = _("the same, {margin}") if claim.claim == "same" else _("no worse, {margin}")
    return told.format(margin=units(claim.margin))


def numbers(name: str, make: MakeResult, claims: Mapping[str, MakeClaim]) -> list[list[str]]:
    """Every number of a make, a row an attribute: see `number_heads`."""
    return [
        [
            opening(what),
            claim_line(claims[what]),
            or_dash(one.difference, 2),
            or_dash(one.lower, 2),
            or_dash(one.upper, 2),
            _between(one.panel_lower, one.panel_upper),
            _between(one.own_lower, one.own_upper),
            _between(one.third_lower, one.third_upper),
            p_value(one.p),
        ]
        for what, one in make.attributes.items()
    ]


def _between(low: float | None, high: float | None) -> str:
    if low is None or high is None:
        return "–"
    return _("{low} to {high}").format(low=decimal(low, 2), high=decimal(high, 2))


def number_heads() -> list[str]:
    """The heads of `numbers`."""
    return [
        _("attribute"),
        _("claim"),
        _("worse by"),
        _("at least"),
        _("at most"),
        _("panel error alone"),
        _("own error alone"),
        _("sittings or batches"),
        _("chance"),
    ]


def draft_line(plan: ComparisonPlan) -> str:
    """How far a draft is, in one line."""
    makes = sum(bool(words.strip()) for words in plan.makes)
    return _("{makes}, {people} so far.").format(
        makes=ngettext("{n} make", "{n} makes", makes).format(n=makes),
        people=ngettext("{n} assessor", "{n} assessors", len(plan.assessors)).format(n=len(plan.assessors)),
    )


def kept_line(plan: ComparisonPlan, document: Mapping[str, Any]) -> str:
    """A signed verdict in one line; empty for an empty document."""
    from studyapp.kinds.comparison.files.decisions import compared_from

    return headline(compared_from(document)) if document else ""
