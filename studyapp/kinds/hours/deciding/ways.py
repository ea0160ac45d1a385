"""Ways to an answer after "cannot tell", all from one search: what counts on, then new studies, each with its draft."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any, Literal

from studyapp.kinds.hours import deciding
from studyapp.kinds.hours.deciding.proposals import MOST_SITTINGS, pull_sets
from studyapp.kinds.hours.deciding.readings import readings
from studyapp.kinds.hours.deciding.scenarios import enough_pull
from studyapp.kinds.hours.plan import KIND, HoursPlan
from studyapp.kinds.hours.rule import in_question
from studyapp.kinds.hours.rule.batches import MOST_BATCHES
from studyapp.records import Staff
from studyapp.services.access import study_or_refuse
from studyapp.services.spreads import of_others, others
from studyapp.store import Store, people, pulls, servings, studies

if TYPE_CHECKING:
    from analysis.planning import Anew, Offer
    from analysis.stopping import Decision

Change = Literal["on", "again", "more sittings", "more people", "fewer pulls", "more batches"]
MORE_PEOPLE = 2
# What a way must be told at least, or it hardly helps; then as many sittings as are ever planned are tried too.
HALF = 0.5


@dataclass(frozen=True, slots=True)
class Way:
    """One way to an answer: its price, and what it changes of the plan as it is now. `plan` is that of a new study,
    None where this one goes on; `joining` are the pseudonyms who taste in it too. `grams` is what the pull served most
    gives, `there` what there is of it where that is less."""

    change: Change
    offer: Offer
    plan: HoursPlan | None
    joining: tuple[str, ...]
    grams: float
    there: float | None


@dataclass(frozen=True, slots=True)
class Ways:
    """The ways found so far, in their order, of how many that are tried."""

    found: tuple[Way, ...]
    of: int


def all_ways(store: Store, by: Staff, study_id: str) -> tuple[Way, ...]:
    """Every way, once the search is over; kept until the study's next event."""
    now = deciding.moment(store, by, study_id)
    return now.once(_name(store, study_id), lambda: tuple(searching(store, by, study_id))[-1].found)


def _name(store: Store, study_id: str) -> tuple[object, ...]:
    return "ways", others(store, study_id)


def searching(store: Store, by: Staff, study_id: str) -> Iterator[Ways]:
    """The ways as they are reckoned; none where more scores cannot be priced, or after an answer. The last is kept, so
    that the report finds what the page worked out."""
    now = deciding.moment(store, by, study_id)
    going = deciding.offers(store, by, study_id)
    frame, rule = deciding.to_weigh(store, by, study_id)
    there, read = _there(store, study_id), readings(store, by, study_id)
    with store.read() as tx:
        plan = study_or_refuse(tx, study_id, KIND).plan
        decision = deciding.decision(store, by, study_id)
        free = _joining(tx, plan)
    if decision.batches is not None:
        found = [_way("on", offer, plan, None, (), there) for offer in going]
        found += _of_new_batches(plan, frame, rule, read, there)
        now.once(_name(store, study_id), lambda: tuple(found))
        yield Ways(tuple(found), len(found))
        return
    designs = [] if plan.confirms else _new_studies(plan, decision, free)
    found = [_way("on", offer, plan, None, (), there) for offer in going]
    yield Ways(tuple(found), len(found) + len(designs))
    history = of_others(store, study_id, rule.attributes)
    while designs:
        change, design, joining = designs.pop(0)
        for offer in _priced(frame, rule, history, design, len(joining), read):
            found.append(_way(change, offer, plan, design, joining, there))
        if not designs and change != "again" and max((way.offer.told for way in found), default=1.0) < HALF:
            designs += _longest(plan, [way.plan for way in found])
        if not designs:
            now.once(_name(store, study_id), lambda: tuple(found))
        yield Ways(tuple(found), len(found) + len(designs))


def _of_new_batches(plan: HoursPlan, frame: Any, rule: Any, read: Any, there: _Masses) -> list[Way]:
    """New studies of as many batches as now, one more, and twice as many; each names its batches in its draft."""
    from analysis.planning import price_batches

    now = plan.known_by(plan.looks)
    counts = sorted({now, min(now + 1, MOST_BATCHES), min(2 * now, MOST_BATCHES)})
    found = price_batches(frame, rule, counts, anew=True, readings=read)
    draft = replace(plan, batches=(), looks=1, added=0, batches_a_sitting=1)
    return [_way("more batches", offer, plan, replace(draft, sittings=offer.sittings), (), there) for offer in found]


def _priced(frame: Any, rule: Any, history: Any, design: HoursPlan, more: int, read: Any) -> Iterator[Offer]:
    """The price of one design, by the pulls that have been tasted."""
    from analysis.planning import price_new_study

    tasted = set(frame.loc[frame["score"].notna(), "hours"])
    return price_new_study(frame, rule, history=history, designs=[_served(design, tasted, more)], readings=read)


def _served(design: HoursPlan, tasted: set[float], more: int) -> Anew:
    from analysis.planning import Anew

    hours = tuple(pull.hours for pull in design.pulls if pull.hours in tasted)
    sittings = (design.sittings, *(design.looks - 1) * [design.next_sittings])
    return Anew(hours, design.replicates, design.palate, sittings, more)


# ---- the designs of new studies --------------------------------------------------------------------------------------
Design = tuple[Change, HoursPlan, tuple[str, ...]]


def _new_studies(plan: HoursPlan, decision: Decision, joining: tuple[tuple[str, str], ...]) -> list[Design]:
    """The plan again, with more sittings, with more people, with fewer pulls that are served more often."""
    again = replace(plan, starts_at=None)
    designs: list[Design] = [("again", again, ())]
    twice = _of_sittings(again, 2)
    if twice != again:
        designs.append(("more sittings", twice, ()))
    known = joining[:MORE_PEOPLE]
    names = (*(name for _id, name in known), *("",) * (MORE_PEOPLE - len(known)))
    designs.append(("more people", replace(again, assessors=(*again.assessors, *(id_ for id_, _name in known))), names))
    fewest = min(pull_sets(again, _open_pull(again, decision)), key=len)
    if len(fewest) < len(plan.pulls) and {min(decision.passes), max(decision.passes)} <= {p.hours for p in fewest}:
        each = max(plan.palate // len(fewest), 1)
        designs.append(("fewer pulls", replace(again, pulls=fewest, replicates=each), ()))
    return designs


def _open_pull(plan: HoursPlan, decision: Decision) -> float:
    """The shortest pull in question that nothing is shown against."""
    hours = tuple(sorted(pull.hours for pull in plan.pulls))
    failed = {pull.hours for own in decision.attributes.values() for pull in own.pulls if pull.shown_to_fail}
    asked = [hour for hour in in_question(hours, plan.control) if hour not in failed]
    return asked[0] if asked else enough_pull(hours, plan.control)


def _of_sittings(plan: HoursPlan, times: int) -> HoursPlan:
    """So many times the sittings before each look, as far as the most that are ever planned."""
    sittings, following = times * plan.sittings, times * plan.next_sittings
    if sittings + (plan.looks - 1) * following > MOST_SITTINGS:
        following = plan.next_sittings
        sittings = max(MOST_SITTINGS - (plan.looks - 1) * following, plan.sittings)
    return replace(plan, sittings=sittings, next_sittings=following)


def _longest(plan: HoursPlan, tried: list[HoursPlan | None]) -> list[Design]:
    """As many sittings as are ever planned, where nothing else helps and it was not tried."""
    most = _of_sittings(replace(plan, starts_at=None), MOST_SITTINGS)
    return [] if most in tried else [("more sittings", most, ())]


def _joining(tx: Any, plan: HoursPlan) -> tuple[tuple[str, str], ...]:
    """(id, pseudonym) of those who could taste beside the people of the plan."""
    free = (one for one in people.assessors(tx) if one.may_taste and one.id not in plan.assessors)
    return tuple((one.id, one.pseudonym) for one in free)


# ---- chocolate -------------------------------------------------------------------------------------------------------
@dataclass(frozen=True, slots=True)
class _Masses:
    """Grams of each pull: as planned, and what is left of it, of those whose mass is known."""

    planned: dict[float, float]
    left: dict[float, float]


def _there(store: Store, study_id: str) -> _Masses:
    """What is left is the mass that was taken, or else planned, less the pieces dealt so far."""
    with store.read() as tx:
        plan = study_or_refuse(tx, study_id, KIND).plan
        planned = {pull.hours: pull.mass_g for pull in plan.pulls if pull.mass_g}
        noted = {note.hours: note.mass_g for note in pulls.in_force(tx, study_id) if note.mass_g}
        level = {sample.id: sample.level for sample in studies.samples(tx, study_id)}
        dealt = servings.dealt(tx, study_id)
    if plan.several:
        return _Masses(planned, planned)  # other batches are still to be made
    cups: Counter[float] = Counter()
    for (_sitting, _who, sample), count in dealt.items():
        cups[level[sample]] += count
    return _Masses(planned, {h: g - cups[h] * plan.piece_g for h, g in (planned | noted).items()})


def _way(
    change: Change, offer: Offer, plan: HoursPlan, draft: HoursPlan | None, joining: tuple[str, ...], masses: _Masses
) -> Way:
    """With the grams it takes of a pull, one warm-up piece a person and sitting among them."""
    grams = (offer.of_a_pull + plan.warm_up * offer.palates) * plan.piece_g
    there = masses.left if draft is None else masses.planned
    least = min((there[h] for h in offer.pulls if h in there), default=None)
    return Way(change, offer, draft, joining, grams, None if least is None or least >= grams else max(least, 0.0))
