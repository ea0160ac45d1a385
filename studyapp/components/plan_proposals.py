"""Which design reaches a wished chance, what several ask for side by side, and which test suits a yes or no."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import streamlit as st

from studyapp.components import look
from studyapp.findings import hours as as_hours
from studyapp.records import Plan
from studyapp.services import proposals
from studyapp.services.proposals import Help, Proposal, Reckoned
from studyapp.words import _, ngettext

if TYPE_CHECKING:
    from analysis.score_or_choice import TestChances


@dataclass(frozen=True, slots=True)
class Wish:
    """What was asked: a chance in 100, and whether the taste in question has a name."""

    chance: int
    nameable: bool


@dataclass(frozen=True, slots=True)
class Answer:
    """Everything that is drawn for a wish."""

    proposal: Proposal
    beside: tuple[tuple[str, Reckoned], ...]
    tests: tuple[TestChances, ...]


def asked(key: str) -> Wish | None:
    """The fields of the wish; the wish once it was asked for."""
    look.put(look.title(_("Which design would do?"), 2))
    chance = st.number_input(_("Wished chance of an answer, in 100"), 30, 95, 80, 5, key=f"wish-{key}")
    nameable = st.checkbox(_("The taste in question has a name"), True, key=f"nameable-{key}")
    return Wish(int(chance), nameable) if st.button(_("Look for a design"), key=f"propose-{key}") else None


def worked_out(plan: Plan, wish: Wish) -> Answer:
    """The proposal, up to four designs side by side, and the tests, with progress while it lasts. Raises BadInput."""
    bar = st.progress(0.0, _("Trying designs, the smallest first…"))
    proposal = proposals.propose(plan, wish.chance / 100, progress=lambda done, of: bar.progress(done / of))
    bar.empty()
    best = proposal.found or proposal.nearest
    named = [
        (_("as written"), plan),
        (_("proposed") if proposal.found else _("the nearest"), best.plan),
        (_("two more people"), replace(plan, assessors=(*plan.assessors, "+1", "+2"))),
        (_("one more sitting"), replace(plan, sittings=plan.sittings + 1)),
    ]
    compared = proposals.compare([design for _name, design in named])
    beside = tuple(zip((name for name, _design in named), compared, strict=True))
    return Answer(proposal, beside, proposals.which_test(plan, wish.nameable))


def draw(answer: Answer, key: str) -> bool:
    """The answer in words and tables; True when a draft of the proposed design was asked for."""
    look.put(look.text(_sentence(answer.proposal), "lede"))
    if answer.proposal.helps:
        look.put(look.bullets(_help(one) for one in answer.proposal.helps))
    best = answer.proposal.found or answer.proposal.nearest
    wanted = answer.proposal.found is not None and st.button(_("Make a draft of it"), key=f"draft-{key}")
    look.put(
        look.title(_("Side by side"), 3),
        _designs(answer.beside),
        look.quiet(_assumed(best.enough_hours)),
        look.title(_("Which test, if the question is only: is it the same?"), 3),
        _tests(answer.tests),
        look.quiet(_("The same people and pieces for each. Differing means: by your narrowest margin.")),
    )
    return wanted


# ---- words ---------------------------------------------------------------------------------------------------------
def _sentence(proposal: Proposal) -> str:
    wished = round(100 * proposal.wanted)
    if proposal.found is None:
        return _(
            "No design within your palate and eight sittings reaches {wished} in 100; the nearest reaches {n}. "
            "What would help:"
        ).format(wished=wished, n=round(100 * proposal.nearest.chance))
    found = proposal.found
    return _("{pulls}, {sittings}, {looks}: about {n} in 100.").format(
        pulls=_("Pulls at {hours} h").format(hours=", ".join(as_hours(pull.hours) for pull in found.plan.pulls)),
        sittings=ngettext(
            "{n} sitting before the first look", "{n} sittings before the first look", found.sittings
        ).format(n=found.sittings),
        looks=ngettext("{n} look", "{n} looks", found.plan.looks).format(n=found.plan.looks),
        n=round(100 * found.chance),
    )


def _assumed(hours: float) -> str:
    return _(
        "Chance of a stop at {hours} h or earlier when {hours} h is truly enough, with its simulation error. Assumed: "
        "the spread of an ordinary small panel."
    ).format(hours=as_hours(hours))


def _help(one: Help) -> str:
    what = {
        "two more people": _("two more people"),
        "four more people": _("four more people"),
        "wider margin": _("margins half as wide again, if you would still sell that"),
        "fewer attributes": _("only one attribute that decides"),
        "twice the sittings": _("twice the sittings"),
    }[one.what]
    return _("{what}: about {n} in 100").format(what=what, n=round(100 * one.chance))


def _designs(beside: Sequence[tuple[str, Reckoned]]) -> str:
    heads = (_("Design"), _("people"), _("pieces each"), _("sittings"), _("grams"), _("chance in 100"))
    lines = [
        (
            name,
            str(one.people),
            str(one.pieces),
            _sittings(one),
            f"{one.grams:.0f}",
            _("{n}\N{NO-BREAK SPACE}±\N{NO-BREAK SPACE}{se}").format(
                n=round(100 * one.chance), se=f"{100 * one.monte_carlo_se:.1f}"
            ),
        )
        for name, one in beside
    ]
    return look.table(heads, lines)


def _sittings(one: Reckoned) -> str:
    """Before the first look, and in all where later looks add to them."""
    if one.sittings == one.most_sittings:
        return str(one.sittings)
    return _("{few} to {most}").format(few=one.sittings, most=one.most_sittings)


def _tests(tests: Sequence[TestChances]) -> str:
    heads = (_("Test"), _("each, in all"), _("same: shown, in 100"), _("differing: found, in 100"))
    lines = [(_test(one.test), _each(one), str(round(100 * one.same)), str(round(100 * one.noticed))) for one in tests]
    return look.table(heads, lines)


def _test(test: str) -> str:
    return {
        "scores": _("scores on a line"),
        "triangle": _("triangle: which of three is odd"),
        "tetrad": _("tetrad: two pairs of four"),
        "two-alternative": _("which of two has more of it"),
        "three-alternative": _("which of three has more of it"),
    }[test]


def _each(one: TestChances) -> str:
    if one.test == "scores":
        return ngettext("{n} piece of each", "{n} pieces of each", one.servings).format(n=one.servings)
    return ngettext("{n} set", "{n} sets", one.servings).format(n=one.servings)
