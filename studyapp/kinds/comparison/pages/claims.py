"""Second part of a comparison: the attributes, and what is claimed of each."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Any

import streamlit as st

from studyapp.components import look
from studyapp.components.plan_problems import beside
from studyapp.kinds.comparison.plan import Claim, ComparisonPlan
from studyapp.records import Attribute, Problem, Wanted
from studyapp.words import _

_DESCRIBES = "describes"


def usual() -> tuple[Attribute, ...]:
    """Lines to begin with. Three decide: each further one that must pass makes an answer rarer."""
    return (
        Attribute(_("Acidity"), _("sour bite, as of citrus or vinegar")),
        Attribute(_("Astringency"), _("dry and rough on tongue and gums")),
        Attribute(_("Cocoa flavour"), _("fullness of roasted cocoa"), wanted="higher"),
        Attribute(_("Anything else"), _("a note the other lines do not name"), decides=False, margin=None),
    )


def draw(plan: ComparisonPlan, key: str, problems: Sequence[Problem]) -> ComparisonPlan:
    """The plan with its lines as they stand here."""
    # A line that is taken out or added draws the rest anew, so that each keeps its own words.
    key = f"{key}-{len(plan.attributes)}"
    rows = [_row(plan, line, f"{key}-{number}") for number, line in enumerate(plan.attributes)]
    beside(problems, "attributes")
    lines = [line for line, _claim, kept in rows if kept]
    claims = {line.name: claim for line, claim, kept in rows if kept and line.decides}
    with st.container(horizontal=True):
        if st.button(_("Add an attribute") if plan.attributes else _("Add the first"), key=f"add-{key}"):
            lines.append(Attribute(_("Attribute {n}").format(n=len(lines) + 1)))
        if not plan.attributes and st.button(_("Start with the usual lines"), key=f"usual-{key}"):
            lines = list(usual())
    words = _(
        "Margin: the largest difference you would still accept, in scale units. Limit, where there is one: what the "
        "mean of a make must keep besides."
    )
    look.put(look.quiet(words))
    return replace(plan, attributes=tuple(lines), claims=claims)


def _row(plan: ComparisonPlan, line: Attribute, key: str) -> tuple[Attribute, Claim, bool]:
    """One line: what it is called and means, what is claimed, and whether it stays."""
    with st.container(key=f"line-{key}"):
        left, right = st.columns(2)
        with left:
            name = st.text_input(_("Attribute"), line.name, max_chars=40, key=f"name-{key}").strip()
        with right:
            definition = st.text_input(
                _("Definition, in a few words"), line.definition, max_chars=160, key=f"definition-{key}"
            )
        line = replace(line, name=name, definition=definition.strip())
        wanted, claimed, margin, limit, out = st.columns([3, 4, 2, 2, 3], vertical_alignment="bottom")
        with claimed:
            claim = _claim(plan, line, key)
        with out:
            kept = not st.button(_("Take it out"), key=f"drop-{key}")
        if claim == _DESCRIBES:
            return replace(line, decides=False, margin=None, limit=None), "no worse", kept
        with wanted:
            wish = _wanted(line, key)
        with margin:
            value = st.number_input(
                _("Margin"), 0.0, 10.0, float(line.margin or 1), 0.1, format="%.1f", key=f"margin-{key}"
            )
        with limit:
            bound = st.number_input(
                _("Limit"), 0.0, 10.0, line.limit, 0.1, format="%.1f", key=f"limit-{key}", disabled=wish == "same"
            )
        bound = None if wish == "same" else bound
        return replace(line, decides=True, wanted=wish, margin=value, limit=bound), claim, kept


def _claim(plan: ComparisonPlan, line: Attribute, key: str) -> Any:
    """One of the claims, or that the line describes only."""
    names: dict[str, str] = {
        "no worse": _("no worse than A"),
        "same": _("the same as A"),
        "better": _("better than A"),
        _DESCRIBES: _("nothing, it describes"),
    }
    now: str = plan.claim_of(line.name) if line.decides else _DESCRIBES
    return st.selectbox(
        _("Claimed"), list(names), list(names).index(now), format_func=names.__getitem__, key=f"claim-{key}"
    )


def _wanted(line: Attribute, key: str) -> Wanted:
    names: dict[Wanted, str] = {"lower": _("less of it"), "higher": _("more of it"), "same": _("neither")}
    chosen: Wanted = st.selectbox(
        _("Better is"), list(names), list(names).index(line.wanted), format_func=names.__getitem__, key=f"wanted-{key}"
    )
    return chosen
