"""The steps in which a comparison is planned, and what is in each of them in a line."""

from __future__ import annotations

from studyapp.components.plan_steps import Step, lines_said, table_said
from studyapp.kinds.comparison.plan import LETTERS, ComparisonPlan
from studyapp.words import _, ngettext


def of(plan: ComparisonPlan) -> tuple[Step, ...]:
    """Makes, claims, what should be alike, people and table, in the order of the page."""
    makes = {"question", "makes", "control", "batches", "faster", "pulls"}
    people = {"assessors", "sittings", "replicates", "looks", "next_sittings", "alpha", "palate"}
    return (
        Step(_("The question, and what is compared"), frozenset(makes), _makes(plan)),
        Step(_("What is asked, and what is claimed"), frozenset({"attributes"}), lines_said(plan.attributes)),
        Step(_("What should be alike"), frozenset({"alike"}), ", ".join(one.name for one in plan.alike)),
        Step(_("Who tastes, and how often"), frozenset(people), _people(plan)),
        Step(_("On the table"), frozenset({"piece_g", "rest_seconds", "contains", "traces"}), table_said(plan)),
    )


def empty(plan: ComparisonPlan) -> set[str]:
    """The fields that nobody has filled: no mistake yet."""
    filled = {
        "question": plan.question,
        "makes": all(plan.makes),
        "control": plan.control,
        "attributes": plan.attributes,
        "alike": plan.alike,
        "assessors": plan.assessors,
        "contains": plan.contains,
    }
    return {place for place, value in filled.items() if not value}


def _makes(plan: ComparisonPlan) -> str:
    told = _("{letter} {make}")
    named = [told.format(letter=letter, make=make) for letter, make in zip(LETTERS, plan.makes, strict=False) if make]
    return ", ".join(named)


def _people(plan: ComparisonPlan) -> str:
    if not plan.assessors:
        return ""
    return _("{people}, {sittings}").format(
        people=ngettext("{n} person", "{n} people", len(plan.assessors)).format(n=len(plan.assessors)),
        sittings=ngettext("{n} sitting", "{n} sittings", plan.sittings).format(n=plan.sittings),
    )
