"""What a plan can show: the chance of each verdict, before anybody has tasted."""

from __future__ import annotations

from collections.abc import Sequence
from contextlib import nullcontext
from math import ceil

import streamlit as st

from studyapp.components import look
from studyapp.findings import hours as as_hours
from studyapp.findings.spreads import spreads_told
from studyapp.kinds.hours.deciding.prospects import BATCH_SPREAD, PlanPower
from studyapp.kinds.hours.plan import HoursPlan
from studyapp.kinds.hours.rule import in_question
from studyapp.records import Chance, Problem
from studyapp.services.spreads import Spreads
from studyapp.words import _, ngettext

_NEEDED = {
    "pulls",
    "attributes",
    "assessors",
    "sittings",
    "next_sittings",
    "replicates",
    "looks",
    "alpha",
    "control",
    "palate",
    "batches",
}


def can_be_tried(plan: HoursPlan, problems: Sequence[Problem]) -> bool:
    """Whether the parts that the chances rest on are there."""
    asked = in_question((pull.hours for pull in plan.pulls), plan.control)
    return bool(asked) and not any(problem.blocks and problem.where in _NEEDED for problem in problems)


def design(plan: HoursPlan, spreads: Spreads) -> tuple[object, ...]:
    """All of a plan, and of what is known of its panel, that its chances depend on."""
    rules = tuple(
        (line.wanted, line.margin, line.limit, spreads.deviations(line.name))
        for line in plan.attributes
        if line.decides
    )
    pulls = tuple(pull.hours for pull in plan.pulls)
    counts = (len(plan.assessors), plan.sittings, plan.next_sittings, plan.replicates, plan.looks, plan.palate)
    batches = (plan.claim, len(plan.batches), plan.added, plan.batches_a_sitting)
    return (rules, pulls, plan.control, plan.alpha, counts, batches, plan.confirms is not None)


def not_yet() -> None:
    """What is still missing for an answer."""
    look.put(
        look.title(_("What this plan can show"), 2),
        look.text(
            _(
                "Comes once there is a pull between the control and the longest one, one deciding attribute and five "
                "assessors."
            )
        ),
    )


def draw(power: PlanPower, confirms: bool = False) -> None:
    """The chances in 100 as bars, what more people or sittings would change, and how far the trying is.

    The three chances are a box of their own: on a phone it stays in sight below the fields that move it.
    """
    hours = as_hours(power.enough_hours)
    bars = (
        _of_one_hour(power)
        if confirms
        else [
            _bar(_("stop at {hours} h or earlier").format(hours=hours), power.stop_by, ""),
            _bar(_("stop, but later than {hours} h").format(hours=hours), power.stop_later, "later"),
            _bar(_("cannot tell"), power.cannot_tell, "open"),
        ]
    )
    rarer = (
        []
        if confirms
        else [
            _bar(label, chance, "open")
            for label, chance in ((_("conche longer"), power.conche_longer), (_("no hour fits"), power.no_hour_fits))
            if round(100 * chance.share)
        ]
    )
    with st.container(gap=None):
        look.put(look.title(_("What this plan can show"), 2))
        with st.container(key="wash-glance"):
            look.put(look.text(_("If {hours} h is truly enough:").format(hours=hours)), *bars)
        with st.container(key="wash-rest"):
            look.put(*rarer, *(look.text(sentence, "small") for sentence in _changed(power)), _progress(power))


def _of_one_hour(power: PlanPower) -> list[str]:
    """The chances of a confirmation."""
    return [
        _bar(_("confirmed"), power.stop_by, ""),
        _bar(_("not confirmed"), power.no_hour_fits, "later"),
        _bar(_("cannot tell"), power.cannot_tell, "open"),
    ]


def _bar(label: str, chance: Chance, kind: str) -> str:
    return look.bar(label, _("{chance} in 100").format(chance=_about(chance)), chance.share, kind)


def _about(chance: Chance) -> str:
    """A chance in 100 and the error that is left from trying only so many studies."""
    return _("{n}\N{NO-BREAK SPACE}±\N{NO-BREAK SPACE}{error}").format(
        n=round(100 * chance.share), error=ceil(100 * chance.error)
    )


def _changed(power: PlanPower) -> list[str]:
    """What other numbers would make of the first bar, as far as they are tried."""
    told = []
    if power.two_more_people is not None:
        told.append(_("Two more people: {chance} in 100.").format(chance=_about(power.two_more_people)))
    if power.one_more_sitting is not None:
        more = (
            _("One more sitting of each batch: {chance} in 100.")
            if power.of_each
            else _("One more sitting: {chance} in 100.")
        )
        told.append(more.format(chance=_about(power.one_more_sitting)))
    return told


def _progress(power: PlanPower) -> str:
    """How many studies stand behind the numbers."""
    if power.done >= power.wanted:
        told = _("Tried {n} times; ± is what more trying could still change.")
        return look.text(told.format(n=_thousands(power.stop_by.studies)), "small")
    told = _("Trying this plan {all} times: {n} done; ± shrinks meanwhile.")
    sentence = told.format(all=_thousands(power.wanted // 3), n=_thousands(power.done // 3))
    return look.progress(sentence, power.done / power.wanted)


def _thousands(count: int) -> str:
    return f"{count:,}".replace(",", "\N{NARROW NO-BREAK SPACE}")


def resting_on(plan: HoursPlan, spreads: Spreads) -> None:
    """Where the spreads of the tried studies come from: at a glance, with all of them one tap away."""
    told = spreads_told(spreads, [line.name for line in plan.attributes if line.decides])
    if plan.limits:
        told = (*told, _("Limits of instruments are assumed to be kept by far at every pull."))
    if plan.several:
        told = (*told, _("Batches are assumed to differ by about {n} units at each pull.").format(n=BATCH_SPREAD))
    sentences = [look.text(sentence, "small") for sentence in told]
    with st.container(key="wash-last"), st.expander(_source(spreads)) if spreads.studies else nullcontext():
        look.put(*sentences)


def _source(spreads: Spreads) -> str:
    if spreads.invented:
        told = ngettext("Spreads from {n} invented study", "Spreads from {n} invented studies", spreads.studies)
    else:
        told = ngettext("Spreads from your own {n} study", "Spreads from your own {n} studies", spreads.studies)
    return told.format(n=spreads.studies)
