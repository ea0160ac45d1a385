"""What a comparison can show, beside its fields, and a forced choice where that answers better."""

from __future__ import annotations

from collections.abc import Sequence

import streamlit as st

from studyapp import session
from studyapp.components import acts, look, refined
from studyapp.kinds.comparison.deciding import choices, prospects
from studyapp.kinds.comparison.deciding.choices import Hint
from studyapp.kinds.comparison.deciding.prospects import PlanPower
from studyapp.kinds.comparison.findings import planned
from studyapp.kinds.comparison.plan import ComparisonPlan
from studyapp.records import Chance, Problem, Staff
from studyapp.services import planning, spreads
from studyapp.services.spreads import Spreads
from studyapp.words import _

_NEEDED = {
    "makes",
    "attributes",
    "assessors",
    "sittings",
    "replicates",
    "looks",
    "alpha",
    "palate",
    "batches",
    "faster",
    "pulls",
    "alike",
}


def draw(by: Staff, plan: ComparisonPlan, problems: Sequence[Problem]) -> None:
    """The chances, more exact with time; or what is still missing for them."""
    if any(problem.blocks and problem.where in _NEEDED for problem in problems):
        session.give_up("power")
        look.put(
            look.title(_("What this plan can show"), 2),
            look.text(_("Comes once there are two makes, one deciding attribute and five assessors.")),
        )
        return
    known = spreads.of_panel(session.store(), by)
    work = session.refined("power", _design(plan, known), lambda: prospects.more_and_more(plan, spreads=known))
    refined.draw(work, lambda power: _chances(plan, power, known))
    found = choices.hint(plan, known)
    if found is not None:
        _choice(by, plan, found)


def _design(plan: ComparisonPlan, known: Spreads) -> tuple[object, ...]:
    """All of a plan, and of what is known of its panel, that its chances depend on."""
    rules = tuple(
        (line.wanted, line.margin, line.limit, plan.claim_of(line.name), known.deviations(line.name))
        for line in plan.attributes
        if line.decides
    )
    counts = (len(plan.assessors), plan.sittings, plan.replicates, plan.looks, plan.batches, len(plan.makes))
    limits = tuple(one for one in plan.alike if one.limited)
    times = (plan.faster, plan.short_hours, plan.long_hours, plan.pulls)
    return (rules, plan.alpha, plan.scope, counts, limits, times)


def _chances(plan: ComparisonPlan, power: PlanPower, known: Spreads) -> None:
    with st.container(gap=None):
        look.put(look.title(_("What this plan can show"), 2))
        with st.container(key="wash-glance"):
            told = [sentence for sentence in (planned.hardly(power), planned.time_told(power.time)) if sentence]
            look.put(
                *(look.text(sentence, "strong") for sentence in told),
                *(_bar(label, chance, "") for label, chance in planned.times(power.time)),
                _bar(_("every make shown, if the claims hold"), power.own.shown, ""),
                _bar(_("cannot tell of some make"), power.own.open, "open"),
                _bar(_("a make far worse is found out"), power.own.missed, "later"),
            )
        with st.container(key="wash-rest"):
            _others(plan, power, known)


def _others(plan: ComparisonPlan, power: PlanPower, known: Spreads) -> None:
    """Other numbers of people and batches, and what all of it rests on."""
    names = [line.name for line in plan.attributes if line.decides]
    if power.done > 1:
        look.put(look.table(planned.heads(), planned.others(power)), look.text(planned.two_batches(), "small"))
    if power.done < power.wanted:
        look.put(look.progress(_("Trying other numbers."), power.done / power.wanted))
    look.put(*(look.text(told, "small") for told in planned.assumed(known, names, bool(power.batches), plan)))


def _bar(label: str, chance: Chance, kind: str) -> str:
    return look.bar(label, _("{n} in 100").format(n=round(100 * chance.share)), chance.share, kind)


def _choice(by: Staff, plan: ComparisonPlan, found: Hint) -> None:
    """The hint, and the button that starts such a study with what this plan already says."""
    with st.container(key="card-choice"):
        look.put(look.text(planned.choice_told(found)))
        if st.button(_("Plan the forced choice instead"), key="to-choice"):
            with acts.refusals():
                kind, draft = choices.started(plan, found.choice.test)
                session.go("plan", study=planning.start(session.store(), by, kind, draft))
