"""What an aroma plan can show before anybody has tasted: its marks, its chances, and what these people cannot show."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import partial
from typing import TYPE_CHECKING

from studyapp.errors import BadInput
from studyapp.kinds.aroma import rule
from studyapp.kinds.aroma.files import forced_choice
from studyapp.kinds.aroma.rule import control
from studyapp.methods import METHODS, proposal
from studyapp.words import _

if TYPE_CHECKING:
    from analysis.choice import Chances, ChoiceResult, ControlResult, PanelReach, SequentialPlan
    from studyapp.kinds.aroma.plan import AromaPlan, AromaStudy

MOST_RETASTED = 40
SURE = 0.9


@dataclass(frozen=True, slots=True)
class Prospect:
    """The marks and chances of one test of the plan, as a result of no right answers, and what the panel can reach.

    `levels` tests of this size are made, one a dose or a batch; `limit_d_prime` is the pd limit as d'. `early` are the
    lines of a plan that may stop before all answers are in. `control` is the control as it would be sealed, with no
    right answers; `control_chance` that it is found when 8 of 10 are right.
    """

    marks: ChoiceResult
    reach: PanelReach
    limit_d_prime: float
    levels: int
    control: ControlResult
    control_chance: float
    early: SequentialPlan | None = None


@dataclass(frozen=True, slots=True)
class Way:
    """One way to an answer after "cannot tell": `method` with so many `people` and trials each, and its chances to give
    one where nobody notices, where half the limit do, and where as many as the limit do."""

    method: str
    people: int
    trials_each: int
    pd_limit: float
    chances: tuple[float, ...]

    @property
    def surely(self) -> float:
        """The smaller chance of the two claims: nobody notices, or the limit does."""
        return min(self.chances[0], self.chances[-1])


def prospect(plan: AromaPlan) -> Prospect | None:
    """What the plan as it stands can show; None while nobody is named.

    Raises:
        BadInput: a risk or the limit is out of range.
    """
    people, each = len(plan.assessors), plan.trials_each
    if not people or not each:
        return None
    forced_choice.check_settings(plan.method, alpha=plan.alpha, pd=plan.pd_limit, beta=plan.beta)
    if plan.alpha >= 0.5 or each > MOST_RETASTED:
        raise BadInput(_("Fix the plan: nobody tastes more than {most} sets of a kind.").format(most=MOST_RETASTED))
    marks = rule.designed(plan.method, people, each, plan.alpha, plan.pd_limit)
    early = None
    if plan.sequential and plan.cap:
        early = rule.by_rounds(plan)
    reach = forced_choice.panel_reach(plan.method, plan.alpha, people, each)
    limit, controlled = (
        forced_choice.d_prime_of(plan.method, plan.pd_limit),
        control.judged(plan, control.sets(plan), 0),
    )
    return Prospect(marks, reach, limit, levels(plan), controlled, control.chance(plan), early)


def left(study: AromaStudy, answers_each: Sequence[int]) -> tuple[ChoiceResult, ChoiceResult] | None:
    """The one test of a plan as it was sealed, and as the answers really given leave it; None where none is missing."""
    from analysis.choice import judge_panel

    plan, none = study.plan, without_control(study)
    sealed = rule.designed(plan.method, len(plan.assessors), plan.trials_each, plan.alpha, plan.pd_limit)
    if plan.aim != "detectable" or not answers_each or sum(answers_each) == sealed.trials:
        return None
    zeros = (0,) * len(answers_each)
    given = judge_panel(plan.method, answers_each, zeros, plan.alpha, plan.pd_limit, none)
    return replace(sealed, control=none), given


def without_control(study: AromaStudy) -> ControlResult | None:
    """What stands for the control of a study that was sealed without one, and forbids its mark of "close enough"."""
    if study.plan.control is not None or not control.asked_for(study.named):
        return None
    return control.judged(study.plan, 0, 0)


def levels(plan: AromaPlan) -> int:
    """How many doses or batches are tested, each with its own sets."""
    return max(1, len(plan.doses) if plan.aim == "dose" else len(plan.batches))


def settling_cap(early: SequentialPlan) -> int | None:
    """Answers after which a new plan with the same risks ends undecided in at most 1 of 10 cases; None if too many."""
    from analysis.choice import MOST_CAPPED

    step = max(1, early.rounds // 6) * early.people
    for cap in range(early.cap, min(6 * early.cap, MOST_CAPPED) + 1, step):
        longer = forced_choice.plan_sequential(early.method, early.alpha, early.beta, early.pd, cap, early.people)
        if max(longer.cannot_tell_identical, longer.cannot_tell_at_pd) <= 1 - SURE:
            return cap
    return None


def ways(plan: AromaPlan, result: ChoiceResult) -> tuple[Way, ...]:
    """Ways to an answer, each a new study: more sets, more people, and the test that names the taste.

    A question that the plan has said cannot be asked is none: only a taste that it names is asked for by name.
    """
    people, each = len(result.trials_each), max(result.trials_each)
    tried = [(result.method, people, 2 * each, plan.pd_limit), (result.method, 2 * people, each, plan.pd_limit)]
    if plan.nameable and not METHODS[result.method].names_taste:
        better = proposal(named=True, lingers=plan.sets_a_sitting == 1)[0].name
        same = min(0.95, forced_choice.pd_of(better, forced_choice.d_prime_of(result.method, plan.pd_limit)))
        tried += [(better, people, each, same), (better, people, 2 * each, same)]
    else:
        tried.append((result.method, 2 * people, 2 * each, plan.pd_limit))
    found = [Way(*way, _chances(plan, *way)) for way in tried]
    worth = [way for way in found if way.surely > 0 and not any(_spares(other, way) for other in found)]
    return tuple(sorted(worth, key=lambda way: way.people * way.trials_each))


def _spares(cheap: Way, dear: Way) -> bool:
    """Whether one way is sure enough to make a dearer one needless."""
    less = cheap.people <= dear.people and cheap.trials_each < dear.trials_each
    return less and cheap.surely >= SURE and cheap.method == dear.method


def _chances(plan: AromaPlan, method: str, people: int, each: int, pd: float) -> tuple[float, ...]:
    """Of an answer, with a control of the fewest sets beside; none where no count is offered as close enough."""
    designed = rule.designed(method, people, each, plan.alpha, pd)
    held = control.chance_of_fewest(replace(plan, method=method, sequential=False), people * each)
    told = [1 - designed.chances(share).controlled(held).cannot_tell for share in rule.noticing(pd).values()]
    return tuple(told) if designed.similar.offered else (0.0,) * len(told)


def chances(prospect: Prospect) -> tuple[Chances, ...]:
    """What the plan says, and how often, where nobody notices, half the limit do, and as many as the limit do; "close
    enough" only where its control is found, by a panel that gets 8 in 10 of those sets right."""
    from analysis.choice import sequential

    of = prospect.marks.chances if prospect.early is None else partial(sequential.chances, prospect.early)
    shares = rule.noticing(prospect.marks.pd_limit).values()
    return tuple(of(share).controlled(prospect.control_chance) for share in shares)
