"""What a forced-choice plan can show, in plain sentences, before anybody tastes."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from studyapp.findings.facts import Fact, TrialFinding
from studyapp.findings.numbers import decimal, of_studies, percent
from studyapp.kinds.aroma.findings import controls
from studyapp.kinds.aroma.findings.plans import below_floor
from studyapp.kinds.aroma.findings.rounds import error_facts
from studyapp.kinds.aroma.findings.trials import percent_of
from studyapp.methods import METHODS
from studyapp.words import _, ngettext

if TYPE_CHECKING:
    from analysis.choice import ChoicePlan, ControlResult, PanelReach, SequentialPlan


def plan_finding(
    plan: ChoicePlan, method: str, pd: float, d_prime: float, similarity: bool, reach: PanelReach | None = None
) -> TrialFinding:
    """The sentences of a plan; with a panel, what that panel finds and shows."""
    facts = [
        Fact(_("Answers"), str(plan.trials), _("different people, one each")),
        Fact(_("Kept from"), str(plan.trials_kept), _("every larger number has this power too; for unsure attendance")),
        Fact(_("Mark"), _mark(plan, similarity), ""),
        Fact(_("Power"), of_studies(round(plan.power, 2)), _("exact at the number sealed")),
        Fact(
            _("Limit"),
            percent(pd),
            _("d' {d} in this test; another test means another d'").format(d=decimal(d_prime, 2)),
        ),
    ]
    return TrialFinding(
        headline=_plan_headline(plan, pd, similarity),
        lede="" if reach is None else _reach_lede(reach, pd),
        facts=(*facts, *(() if reach is None else _reach_facts(reach))),
        changes=(
            _("Seal the number of answers; look at the count only when it is complete."),
            *_advice(method),
        ),
        warnings=(),
        caution="",
    )


def controlled(finding: TrialFinding, plan: ChoicePlan, control: tuple[ControlResult, float]) -> TrialFinding:
    """The same with a control: its mark, and how often "close enough" comes when it must be found too."""
    both = of_studies(round(plan.power * control[1], 2))
    more = controls.planned(*control), Fact(_("Power, control found"), both, _("close enough needs both"))
    return replace(finding, facts=(*finding.facts, *more))


def _advice(method: str) -> tuple[str, ...]:
    """What makes the same servings say more, test by test."""
    here = METHODS[method]
    if here.names_taste:
        return (_("Name the stronger sample before anybody tastes."),)
    advice = (_("If the taste can be named, name it: three-alternative needs far fewer answers than this test."),)
    return (*advice, here.advice()) if here.advice else advice


def _plan_headline(plan: ChoicePlan, pd: float, similarity: bool) -> str:
    if similarity:
        return _("{n} answers let an identical pair pass the limit of {pd}.").format(n=plan.trials, pd=percent(pd))
    return _("{n} answers find it when {pd} truly notice.").format(n=plan.trials, pd=percent(pd))


def _mark(plan: ChoicePlan, similarity: bool) -> str:
    text = _("{mark} right or fewer") if similarity else _("{mark} right or more")
    return text.format(mark=plan.mark)


def _reach_lede(reach: PanelReach, limit: float) -> str:
    shown = percent(reach.by_power[0.8].demonstrable_pd)
    people = ngettext("{count} person", "{count} people", reach.assessors).format(count=reach.assessors)
    trials = ngettext("{count} trial", "{count} trials", reach.replicates).format(count=reach.replicates)
    first = _("{people}, {trials} each, can show that fewer than {shown} notice, not less than that.").format(
        people=people, trials=trials, shown=shown
    )
    return " ".join((first, *below_floor(reach.floor_pd, limit)))


def _reach_facts(reach: PanelReach) -> tuple[Fact, ...]:
    facts = []
    for power, found in reach.by_power.items():
        least = _("nothing") if found.detectable_pd is None else percent(found.detectable_pd)
        note = _("shown: {shown}, at {mark} right or fewer; for these assessors alone {here}").format(
            shown=percent(found.demonstrable_pd), mark=found.maximum_correct, here=percent(found.demonstrable_pd_here)
        )
        label = _("In {chance}").format(chance=of_studies(power))
        facts.append(Fact(label, _("found: {least}").format(least=least), note))
    return tuple(facts)


# ---- sequential --------------------------------------------------------------------------------------------------
def sequential_finding(plan: SequentialPlan) -> TrialFinding:
    """The sentences of a sequential plan: the lines, the cap and what they cost."""
    after = _("Decide after every answer, at the latest after {cap}.")
    if plan.people > 1:
        after = _("Decide after every round of {people} answers, at the latest after {cap}.")
    return TrialFinding(
        headline=after.format(cap=plan.cap, people=plan.people),
        lede=_("An identical pair takes {same} answers on average, one that {pd} notice {different}.").format(
            same=decimal(plan.mean_trials_identical, 0),
            pd=percent(plan.pd),
            different=decimal(plan.mean_trials_at_pd, 0),
        ),
        facts=(*_lines(plan), *_errors(plan)),
        changes=(
            _("Update the lines only when all trials of a round are in, and hide them from assessors."),
            _("Where people taste more than once, “same” holds for these assessors only."),
        ),
        warnings=(),
        caution="",
    )


def _lines(plan: SequentialPlan) -> tuple[Fact, ...]:
    same = _("none") if plan.cap_same_at_most is None else _("{mark} or fewer").format(mark=plan.cap_same_at_most)
    most = plan.cap_different_at_least
    different = _("none") if most is None else _("{mark} or more").format(mark=most)
    line = _("right at most {intercept} + {slope} n"), _("right at least {intercept} + {slope} n")
    slope = decimal(plan.slope, 4)
    return (
        Fact(_("Same when"), line[0].format(intercept=decimal(plan.same_intercept, 3), slope=slope), ""),
        Fact(_("Different when"), line[1].format(intercept=decimal(plan.different_intercept, 3), slope=slope), ""),
        Fact(_("At the cap"), _("same: {same}").format(same=same), _("different: {most}").format(most=different)),
    )


def _errors(plan: SequentialPlan) -> tuple[Fact, ...]:
    undecided = _("an identical pair; {at_pd} when {pd} notice").format(
        at_pd=percent_of(round(plan.cannot_tell_at_pd, 3)), pd=percent(plan.pd)
    )
    return (
        *error_facts(plan),
        Fact(_("Cannot tell"), percent_of(round(plan.cannot_tell_identical, 3)), undecided),
        Fact(
            _("Half-way"),
            _("{n} answers").format(n=decimal(plan.mean_trials_at_half_pd, 0)),
            _("on average when {pd} notice").format(pd=percent(plan.pd / 2)),
        ),
    )
