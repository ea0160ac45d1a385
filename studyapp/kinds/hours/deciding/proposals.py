"""Which design reaches a wished chance, what several cost and show side by side, and which test suits a yes or no.

Everything simulated goes through the rule that will decide, on one assumed truth for all designs that are compared.
"""

from __future__ import annotations

from collections.abc import Generator, Iterator, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Literal, TypeVar

from studyapp.errors import BadInput
from studyapp.kinds.hours.deciding.prospects import design_of
from studyapp.kinds.hours.deciding.scenarios import enough_pull, usual
from studyapp.kinds.hours.plan import HoursPlan, Pull
from studyapp.kinds.hours.rule import in_question, rule_of
from studyapp.kinds.hours.rule.run_calendar import pieces_a_sitting
from studyapp.methods import held_beside_scores
from studyapp.records import Attribute
from studyapp.services.spreads import ASSUMED, Spreads
from studyapp.words import _

if TYPE_CHECKING:
    from analysis.planning import Scenario
    from analysis.planning.score_or_choice import TestChances

MOST_COMPARED = 4
# With one sitting alone, a tray prepared differently cannot be told from the hours.
FEWEST_SITTINGS, MOST_SITTINGS, LOOKS = 2, 8, (1, 2, 3)
FEWEST_PULLS = 4
QUICK, SURE = 300, 2000  # studies: to pass a design over, to believe one
T = TypeVar("T")
Helping = Literal["two more people", "four more people", "wider margin", "fewer attributes", "twice the sittings"]


@dataclass(frozen=True, slots=True)
class Reckoned:
    """A design with what it asks for and what it shows.

    `pieces` of one assessor in a sitting; `sittings` before the first look and `most_sittings` in all; `grams` of
    chocolate on the table when every look is needed; `chance` of a stop at `enough_hours` or earlier, with its Monte
    Carlo error; `too_early` of a stop at a pull that is truly worse by a margin.
    """

    plan: HoursPlan
    people: int
    pieces: int
    sittings: int
    most_sittings: int
    mean_sittings: float
    grams: float
    enough_hours: float
    chance: float
    monte_carlo_se: float
    cannot_tell: float
    too_early: float


@dataclass(frozen=True, slots=True)
class Help:
    """What would raise the chance of a design that does not reach it, and to what, with its Monte Carlo error."""

    what: Helping
    chance: float
    monte_carlo_se: float


@dataclass(frozen=True, slots=True)
class Proposal:
    """The cheapest design that reaches `wanted`, or None; then `nearest` is the best there is and `helps` what would
    bring it further."""

    wanted: float
    found: Reckoned | None
    nearest: Reckoned
    helps: tuple[Help, ...] = ()


@dataclass(frozen=True, slots=True)
class Search:
    """How far a search is: `tried` of `of` designs; then `found`, when all are held side by side."""

    tried: int
    of: int
    found: Answer | None = None


@dataclass(frozen=True, slots=True)
class Answer:
    """Everything that is told of a wish: the proposal; the design as written, the proposed one, with two more people
    and with one more sitting, side by side; and the tests for a yes or no."""

    proposal: Proposal
    beside: tuple[Reckoned, Reckoned, Reckoned, Reckoned]
    tests: tuple[TestChances, ...]


Steps = Generator[Search | None, None, T]


def _all_of(steps: Steps[T]) -> T:
    """What is left when every step is taken."""
    while True:
        try:
            next(steps)
        except StopIteration as end:
            found: T = end.value
            return found


# ---- one design, or several side by side ----------------------------------------------------------------------------
def truth_of(plan: HoursPlan, enough: float | None = None, spreads: Spreads = ASSUMED) -> Scenario:
    """The assumed truth over all pulls of a plan, with the spreads of the panel: everything settles with time, nearly
    there at `enough` hours."""
    hours = tuple(sorted({pull.hours for pull in plan.pulls}))
    return usual(rule_of(plan, 1), hours, enough, spreads)


def reckon(plan: HoursPlan, truth: Scenario, enough: float, seed: int = 1, studies: int = SURE) -> Reckoned:
    """What one plan asks for and shows when `truth` holds. Raises BadInput: a pull of the plan is not in the truth."""
    return _all_of(_reckoning(plan, truth, enough, seed, studies))


def _reckoning(plan: HoursPlan, truth: Scenario, enough: float, seed: int, studies: int) -> Steps[Reckoned]:
    """The same in short steps, so that it can rest or be given up in between."""
    from analysis.planning import growing_characteristics

    hours = tuple(sorted({pull.hours for pull in plan.pulls}))
    rule = replace(rule_of(plan, plan.looks), look=1)
    for so_far in growing_characteristics(_at(truth, hours), rule, design_of(plan), studies, seed):
        found = so_far
        yield None
    chance = found.stop_by(enough)
    most = plan.sittings + (plan.looks - 1) * plan.next_sittings
    cups = len(plan.assessors) * (pieces_a_sitting(plan) + plan.warm_up) * most
    return Reckoned(
        plan=plan,
        people=len(plan.assessors),
        pieces=pieces_a_sitting(plan),
        sittings=plan.sittings,
        most_sittings=most,
        mean_sittings=plan.sittings + (found.mean_looks - 1) * plan.next_sittings,
        grams=round(cups * plan.piece_g, 1),
        enough_hours=enough,
        chance=chance,
        monte_carlo_se=(chance * (1 - chance) / studies) ** 0.5,
        cannot_tell=found.cannot_tell,
        too_early=found.too_early,
    )


def _at(truth: Scenario, hours: tuple[float, ...]) -> Scenario:
    """The same truth seen at some of its pulls."""
    missing = [h for h in hours if h not in truth.hours]
    if missing:
        raise BadInput(_("Fix the pulls: {h} h is not among the hours compared.").format(h=f"{missing[0]:g}"))
    places = [truth.hours.index(h) for h in hours]
    attributes = {name: replace(one, mean=_placed(one.mean, places)) for name, one in truth.attributes.items()}
    gates = {name: replace(one, mean=_placed(one.mean, places)) for name, one in truth.gates.items()}
    return replace(truth, hours=hours, attributes=attributes, gates=gates)


def _placed(mean: Sequence[float], places: Sequence[int]) -> tuple[float, ...]:
    return tuple(mean[place] for place in places)


def compare(
    plans: Sequence[HoursPlan], seed: int = 1, studies: int = SURE, spreads: Spreads = ASSUMED
) -> tuple[Reckoned, ...]:
    """Up to four designs of one question, side by side on the truth that the first one assumes.

    Raises:
        BadInput: none or too many, or they do not ask the same of the same attributes.
    """
    return _all_of(_comparing(plans, seed, studies, spreads))


def _comparing(plans: Sequence[HoursPlan], seed: int, studies: int, spreads: Spreads) -> Steps[tuple[Reckoned, ...]]:
    if not 1 <= len(plans) <= MOST_COMPARED:
        raise BadInput(_("Fix the comparison: choose one to {n} designs.").format(n=MOST_COMPARED))
    first = plans[0]
    if any(set(rule_of(plan, 1).attributes) != set(rule_of(first, 1).attributes) for plan in plans):
        raise BadInput(_("Fix the comparison: the designs decide on different attributes."))
    enough = _enough(first)
    every = {pull.hours: pull for plan in plans for pull in plan.pulls}
    truth = truth_of(replace(first, pulls=tuple(every[h] for h in sorted(every))), enough, spreads)
    found = []
    for plan in plans:
        found.append((yield from _reckoning(plan, truth, enough, seed, studies)))
    return tuple(found)


def _enough(plan: HoursPlan) -> float:
    """The pull that the chances are about. Raises BadInput: the plan has none in question."""
    hours = tuple(sorted({pull.hours for pull in plan.pulls}))
    if not in_question(hours, plan.control):
        raise BadInput(_("Fix the plan: a pull between the control and the longest one is needed first."))
    return enough_pull(hours, plan.control)


# ---- proposals ------------------------------------------------------------------------------------------------------
def propose(plan: HoursPlan, wanted: float = 0.8, seed: int = 1, spreads: Spreads = ASSUMED) -> Proposal:
    """The cheapest design for a plan's people, palate, margins and hours that reaches a wished chance of a stop.

    Tried are fewer pulls, more servings, two to eight sittings and one to three looks, in order of the pieces each asks
    for. The chance is that of a stop at the middle pull or earlier if that one is truly enough.

    Raises:
        BadInput: the wish is no share, or the plan lacks pulls, people or a deciding attribute.
    """
    return _all_of(_proposing(plan, wanted, seed, spreads))


def _proposing(plan: HoursPlan, wanted: float, seed: int, spreads: Spreads) -> Steps[Proposal]:
    if not 0 < wanted < 1:
        raise BadInput(_("Fix the wished chance: write a share such as 0.8."))
    if len(plan.assessors) < 5 or not any(line.decides for line in plan.attributes):
        raise BadInput(_("Fix the plan: five assessors and one deciding attribute are needed first."))
    enough = _enough(plan)
    truth = truth_of(plan, enough, spreads)
    candidates = sorted(_candidates(plan, enough), key=_pieces)
    best: Reckoned | None = None
    for number, candidate in enumerate(candidates):
        yield Search(number, len(candidates))
        found = yield from _reckoning(candidate, truth, enough, seed, QUICK)
        if found.chance + 2 * found.monte_carlo_se >= wanted:
            found = yield from _reckoning(candidate, truth, enough, seed, SURE)
            if found.chance >= wanted:
                return Proposal(wanted, found, found)
        if best is None or found.chance > best.chance:
            best = found
    assert best is not None  # the plan itself is always tried
    yield Search(len(candidates), len(candidates))
    best = yield from _reckoning(best.plan, truth, enough, seed, SURE)
    return Proposal(wanted, None, best, (yield from _helping(best.plan, enough, seed, spreads)))


def _pieces(plan: HoursPlan) -> int:
    """Pieces of one assessor when every look is needed, and a little more for each sitting to come together for."""
    most = plan.sittings + (plan.looks - 1) * plan.next_sittings
    return (pieces_a_sitting(plan) + 2) * most


def _candidates(plan: HoursPlan, enough: float) -> Iterator[HoursPlan]:
    """Designs within the palate of the people there are."""
    for pulls in pull_sets(plan, enough):
        for replicates in range(1, max(plan.palate // len(pulls), 1) + 1):
            for sittings in range(FEWEST_SITTINGS, MOST_SITTINGS + 1):
                for looks in LOOKS:
                    if sittings + looks - 1 <= MOST_SITTINGS:
                        yield replace(
                            plan, pulls=pulls, replicates=replicates, sittings=sittings, looks=looks, next_sittings=1
                        )


def pull_sets(plan: HoursPlan, enough: float) -> Iterator[tuple[Pull, ...]]:
    """All pulls; as many as fit the palate; the fewest: control, the one in question, reference, others between."""
    pulls = tuple(sorted(plan.pulls, key=lambda pull: pull.hours))
    yield pulls
    control = plan.control if plan.control is not None else pulls[0].hours
    kept = {control, enough, pulls[-1].hours, pulls[0].hours}
    others = [pull for pull in pulls if pull.hours not in kept]
    for size in {min(plan.palate, len(pulls)), FEWEST_PULLS} - {len(pulls)}:
        room = size - len(kept)
        if room < 0 or size > len(pulls):
            continue
        chosen = {others[(2 * place + 1) * len(others) // (2 * room)].hours for place in range(room)}
        yield tuple(pull for pull in pulls if pull.hours in kept | chosen)


def _helping(plan: HoursPlan, enough: float, seed: int, spreads: Spreads) -> Steps[tuple[Help, ...]]:
    """What would help, the most helpful first; each change alone."""
    found = []
    for what, changed in _changes(plan):
        reckoned = yield from _reckoning(changed, truth_of(changed, enough, spreads), enough, seed, SURE)
        found.append(Help(what, reckoned.chance, reckoned.monte_carlo_se))
    return tuple(sorted(found, key=lambda one: -one.chance))


def _changes(plan: HoursPlan) -> Iterator[tuple[Helping, HoursPlan]]:
    yield "two more people", replace(plan, assessors=(*plan.assessors, "+1", "+2"))
    yield "four more people", replace(plan, assessors=(*plan.assessors, "+1", "+2", "+3", "+4"))
    yield "twice the sittings", replace(plan, sittings=2 * plan.sittings)
    wider = tuple(replace(line, margin=1.5 * line.margin) if line.margin else line for line in plan.attributes)
    yield "wider margin", replace(plan, attributes=wider)
    deciding = [line for line in plan.attributes if line.decides]
    if len(deciding) > 1:
        yield "fewer attributes", replace(plan, attributes=(_widest(deciding),))


def _widest(deciding: Sequence[Attribute]) -> Attribute:
    return max(deciding, key=lambda line: line.margin or 0)


# ---- all of it, while somebody waits --------------------------------------------------------------------------------
def searching(
    plan: HoursPlan, wanted: float, nameable: bool, seed: int = 1, spreads: Spreads = ASSUMED
) -> Iterator[Search | None]:
    """The search for a design that reaches `wanted`, step by step; the last step holds the whole answer.

    A step of None has nothing new to tell. Raises BadInput at its first step, as `propose` does.
    """
    proposal = yield from _proposing(plan, wanted, seed, spreads)
    best = proposal.found or proposal.nearest
    more_people = replace(plan, assessors=(*plan.assessors, "+1", "+2"))
    more_sittings = replace(plan, sittings=plan.sittings + 1)
    written, proposed, people, sittings = yield from _comparing(
        (plan, best.plan, more_people, more_sittings), seed, SURE, spreads
    )
    tests = which_test(plan, nameable, seed, spreads)
    yield Search(1, 1, Answer(proposal, (written, proposed, people, sittings), tests))


# ---- which test -----------------------------------------------------------------------------------------------------
def which_test(plan: HoursPlan, nameable: bool, seed: int = 1, spreads: Spreads = ASSUMED) -> tuple[TestChances, ...]:
    """For one yes or no, "is this pull the same as the longest": scores beside forced choice, same people, same pieces.

    The attribute with the narrowest margin is the one in question, and its margin the difference that must not pass.
    `nameable`: its taste has a name, so that people can be asked which cup has more of it.

    Raises:
        BadInput: no deciding attribute, or a palate below two pieces.
    """
    from analysis.planning import AttributeTruth
    from analysis.planning.score_or_choice import compare as compared

    margins = {line.margin: line.name for line in reversed(plan.attributes) if line.decides and line.margin}
    if not margins or plan.palate < 2:
        raise BadInput(_("Fix the plan: one deciding attribute with its margin is needed first."))
    cups = {method.name: method.cups for method in held_beside_scores(nameable)}
    people, served = max(len(plan.assessors), 1), plan.sittings
    margin = min(margins)
    truth = AttributeTruth((), **spreads.deviations(margins[margin]))
    return compared(truth, margin, people, plan.palate, served, plan.alpha, cups, SURE, seed)
