"""Which design reaches a wished chance, what several ask for side by side, and which test suits a yes or no."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import ceil
from typing import TYPE_CHECKING

import streamlit as st

from studyapp.components import look
from studyapp.findings import hours as as_hours
from studyapp.kinds.hours.deciding.proposals import Answer, Help, Proposal, Reckoned, Search
from studyapp.methods import METHODS
from studyapp.words import _, ngettext

if TYPE_CHECKING:
    from analysis.planning.score_or_choice import TestChances


@dataclass(frozen=True, slots=True)
class Wish:
    """What was asked: a chance in 100, and whether the taste in question has a name."""

    chance: int
    nameable: bool


def asked(key: str) -> Wish | None:
    """The fields of the wish; the wish once it was asked for."""
    look.put(look.title(_("Which design would do?"), 2))
    chance = st.number_input(_("Wished chance of an answer, in 100"), 30, 95, 80, 5, key=f"wish-{key}")
    nameable = st.checkbox(_("The taste in question has a name"), True, key=f"nameable-{key}")
    return Wish(int(chance), nameable) if st.button(_("Find a plan"), key=f"propose-{key}") else None


def draw(search: Search, key: str) -> bool:
    """How far the search is, or its answer; True when a draft of the proposed design was asked for."""
    if search.found is not None:
        return _answer(search.found, key)
    told = _("Trying designs, the smallest first: {n} of {all}. Go on planning meanwhile.")
    look.put(look.progress(told.format(n=search.tried, all=search.of), search.tried / search.of))
    return False


def outdated() -> None:
    """The plan has moved on from what was looked for."""
    look.put(look.quiet(_("The plan has changed since the last search; search again.")))


def _answer(answer: Answer, key: str) -> bool:
    """In words and tables, with the button that makes a draft of what was found."""
    look.put(look.text(_sentence(answer.proposal), "lede"))
    if answer.proposal.helps:
        look.put(look.bullets(_help(one) for one in answer.proposal.helps))
    best = answer.proposal.found or answer.proposal.nearest
    wanted = answer.proposal.found is not None and st.button(_("Make a draft of it"), key=f"draft-{key}")
    names = (
        _("as written"),
        _("proposed") if answer.proposal.found else _("the nearest"),
        _("two more people"),
        _("one more sitting"),
    )
    look.put(
        look.title(_("Side by side"), 3),
        _designs(tuple(zip(names, answer.beside, strict=True))),
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
            "No plan within these pieces a person and eight sittings reaches {wished} in 100; the nearest reaches {n}. "
            "What would help:"
        ).format(wished=wished, n=_give_or_take(proposal.nearest.chance, proposal.nearest.monte_carlo_se))
    found = proposal.found
    return _("{pulls}, {sittings}, {looks}: {n} in 100.").format(
        pulls=_("Pulls at {hours} h").format(hours=", ".join(as_hours(pull.hours) for pull in found.plan.pulls)),
        sittings=ngettext(
            "{n} sitting before the key is first opened", "{n} sittings before the key is first opened", found.sittings
        ).format(n=found.sittings),
        looks=ngettext("{n} opening of the key", "{n} openings of the key", found.plan.looks).format(
            n=found.plan.looks
        ),
        n=_give_or_take(found.chance, found.monte_carlo_se),
    )


def _give_or_take(chance: float, monte_carlo_se: float) -> str:
    """In 100, with two Monte Carlo errors; no error where the chance is exact."""
    if not monte_carlo_se:
        return str(round(100 * chance))
    return _("{n}\N{NO-BREAK SPACE}±\N{NO-BREAK SPACE}{error}").format(
        n=round(100 * chance), error=ceil(200 * monte_carlo_se)
    )


def _assumed(hours: float) -> str:
    return _(
        "Chance of a stop at {hours} h or earlier when {hours} h is truly enough; ± is what more trying could still "
        "change. The spread of scores is that of “What this plan can show”."
    ).format(hours=as_hours(hours))


def _help(one: Help) -> str:
    what = {
        "two more people": _("two more people"),
        "four more people": _("four more people"),
        "wider margin": _("margins half as wide again, if you would still sell that"),
        "fewer attributes": _("only one attribute that decides"),
        "twice the sittings": _("twice the sittings"),
    }[one.what]
    return _("{what}: {n} in 100").format(what=what, n=_give_or_take(one.chance, one.monte_carlo_se))


def _designs(beside: Sequence[tuple[str, Reckoned]]) -> str:
    heads = (_("Design"), _("people"), _("pieces each"), _("sittings"), _("grams"), _("chance in 100"))
    lines = [
        (
            name,
            str(one.people),
            str(one.pieces),
            _sittings(one),
            f"{one.grams:.0f}",
            _give_or_take(one.chance, one.monte_carlo_se),
        )
        for name, one in beside
    ]
    return look.table(heads, lines, "wide")


def _sittings(one: Reckoned) -> str:
    """Before the first look, and in all where later looks add to them."""
    if one.sittings == one.most_sittings:
        return str(one.sittings)
    return _("{few} to {most}").format(few=one.sittings, most=one.most_sittings)


def _tests(tests: Sequence[TestChances]) -> str:
    heads = (_("Test"), _("each, in all"), _("same: shown, in 100"), _("differing: found, in 100"))
    lines = [
        (_test(one.test), _each(one), *(_give_or_take(share, one.monte_carlo_se) for share in (one.same, one.noticed)))
        for one in tests
    ]
    return look.table(heads, lines)


def _test(test: str) -> str:
    if test not in METHODS:
        return _("scores on a line")
    method = METHODS[test]
    return (method.beside_scores or method.title)()


def _each(one: TestChances) -> str:
    if one.test == "scores":
        return ngettext("{n} piece of each", "{n} pieces of each", one.servings).format(n=one.servings)
    return ngettext("{n} set", "{n} sets", one.servings).format(n=one.servings)
