"""Second part of a plan: what is asked, which lines decide, and how much worse is still fine."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import streamlit as st

from studyapp.components import look
from studyapp.components.plan_problems import beside
from studyapp.kinds.hours.plan import HoursPlan
from studyapp.records import SCALE_HIGH, SCALE_LOW, SCALE_STEP, Attribute, Problem, Wanted
from studyapp.wishes import WISHES
from studyapp.words import _


@dataclass(frozen=True, slots=True)
class Tapped:
    """What was asked for: the usual lines, or one line to edit by its number; the one after the last is new."""

    usual: bool = False
    line: int | None = None


def usual() -> tuple[Attribute, ...]:
    """Lines to begin with. Three decide: each further one that must pass makes an answer rarer."""
    return (
        Attribute(_("Acidity"), _("sour bite, as of citrus or vinegar")),
        Attribute(_("Bitterness"), _("as of strong black coffee")),
        Attribute(_("Off-notes"), _("smoke, mould, ham, hay: whatever does not belong")),
        Attribute(_("Astringency"), _("dry and rough on tongue and gums"), decides=False, margin=None),
        Attribute(_("Cocoa flavour"), _("fullness of roasted cocoa"), decides=False, wanted="higher", margin=None),
        Attribute(_("Anything else"), _("a note the other lines do not name"), decides=False, margin=None),
    )


def draw(plan: HoursPlan, key: str, problems: Sequence[Problem], edits: int) -> tuple[HoursPlan, Tapped]:
    """The rows with their margins and buttons: the plan with the margins set here, and what was tapped.

    `edits` counts the changes made in dialogs; after each of them the margins are read from the plan again.
    """
    rows = [_row(line, f"{key}-{number}", edits) for number, line in enumerate(plan.attributes)]
    beside(problems, "attributes")
    with st.container(horizontal=True):
        added = st.button(_("Add an attribute") if plan.attributes else _("Add the first"), key=f"add-{key}")
        usual_six = not plan.attributes and st.button(_("Start with the usual six"), key=f"usual-{key}")
    look.put(look.quiet(_about_margins()))
    changed = [number for number, (_line, tapped) in enumerate(rows) if tapped]
    number = changed[0] if changed else len(plan.attributes) if added else None
    return replace(plan, attributes=tuple(line for line, _tapped in rows)), Tapped(usual_six, number)


def _about_margins() -> str:
    return _("Margin: the largest worsening you would still sell. Taste two samples one unit apart before you set it.")


def _row(line: Attribute, key: str, edits: int) -> tuple[Attribute, bool]:
    """One line with its margin to step up and down, and whether the rest of it is to be changed."""
    with st.container(key=f"line-{key}", horizontal=True, vertical_alignment="center"):
        with st.container(width="stretch"):
            look.put(look.rows([look.row(*_cells(line))], "attributes"))
        if line.decides:
            line = replace(line, margin=_margin(line, f"margin-{key}-{edits}"))
        return line, st.button(_("Change"), key=f"change-{key}")


def _margin(line: Attribute, key: str) -> float:
    return st.number_input(
        _("Margin of {name}, scale units").format(name=line.name),
        0.0, 10.0, float(line.margin or 0), 0.1, format="%.1f", key=key, label_visibility="collapsed", width=132,
    )  # fmt: skip


def _cells(line: Attribute) -> list[str]:
    if not line.decides:
        return [look.strong(line.name), look.plain(_("for the picture only")), look.chip("ring", _("describes")), ""]
    return [
        look.strong(line.name),
        look.plain(_wanted(line)),
        look.chip("disc", _("decides")),
        look.text(_("margin"), "quiet cell"),
    ]


def _wanted(line: Attribute) -> str:
    wanted = WISHES[line.wanted].told()
    if line.limit is None:
        return wanted
    return _("{wanted}, limit {limit}").format(wanted=wanted, limit=f"{line.limit:.1f}")


# ---- one line in a dialog ----------------------------------------------------------------------------------------
def edited(plan: HoursPlan, number: int, key: str) -> tuple[tuple[Attribute, ...], bool]:
    """The fields of one line: the attributes as they are now, and whether editing is over."""
    new = number >= len(plan.attributes)
    line = Attribute("") if new else plan.attributes[number]
    line = _rule(_words(line, key), key)
    look.put(look.quiet(_("Name, definition and end words are what assessors read.")))
    keep, drop = st.columns(2)
    if keep.button(_("Keep it"), type="primary", width="stretch", key=f"keep-{key}"):
        if not line.name:
            look.put(look.text(_("Fix the name: an attribute needs one."), "problem brick"))
            return plan.attributes, False
        lines = list(plan.attributes)
        lines[number : number + 1] = [line]
        return tuple(lines), True
    if not new and drop.button(_("Take it out"), width="stretch", key=f"drop-{key}"):
        return plan.attributes[:number] + plan.attributes[number + 1 :], True
    return plan.attributes, False


def _words(line: Attribute, key: str) -> Attribute:
    name = st.text_input(_("Name"), line.name, max_chars=40, key=f"name-{key}")
    definition = st.text_input(_("Definition, in a few words"), line.definition, max_chars=160, key=f"definition-{key}")
    left, right = st.columns(2)
    low = left.text_input(_("Word at the left end"), line.low_word, max_chars=24, key=f"low-{key}")
    high = right.text_input(_("Word at the right end"), line.high_word, max_chars=24, key=f"high-{key}")
    return replace(line, name=name.strip(), definition=definition.strip(), low_word=low, high_word=high)


def _rule(line: Attribute, key: str) -> Attribute:
    roles = {True: _("decides"), False: _("only describes")}
    decides = st.radio(
        _("This line"),
        [True, False],
        0 if line.decides else 1,
        format_func=roles.get,
        horizontal=True,
        key=f"role-{key}",
    )
    if not decides:
        return replace(line, decides=False, margin=None, limit=None)
    names: dict[Wanted, str] = {name: wish.choice_on_plan() for name, wish in WISHES.items()}
    wanted = st.selectbox(
        _("Wanted"), list(names), list(names).index(line.wanted), format_func=names.__getitem__, key=f"wanted-{key}"
    )
    margin = st.number_input(
        _("Margin: largest worsening you would still sell, scale units"),
        SCALE_LOW, SCALE_HIGH, line.margin or 1.0, SCALE_STEP, format="%.1f", key=f"margin-{key}",
    )  # fmt: skip
    limit = st.number_input(
        _("Limit on the mean, 0 to 10 (leave empty for none)"),
        SCALE_LOW, SCALE_HIGH, line.limit, SCALE_STEP, format="%.1f", key=f"limit-{key}",
    )  # fmt: skip
    return replace(line, decides=True, wanted=wanted, margin=margin, limit=limit)
