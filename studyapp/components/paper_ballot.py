"""One paper ballot on the screen: its fields as they stand on paper, and two entries side by side where they differ."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import streamlit as st

from studyapp.components import look
from studyapp.findings.numbers import listed
from studyapp.records import SCALE_HIGH
from studyapp.services.paper_entry import REASONS, Difference, Item, PaperBallot, choice_of, mark_of, why_of
from studyapp.words import _

MILLIMETRES = 100


def state(ballot: PaperBallot) -> str:
    """How far a ballot is, as shape and words."""
    if ballot.state == "kept":
        return look.chip("disc", _("kept"), "patina")
    if ballot.state == "phone":
        return look.chip("disc", _("nothing to type: all of it came by phone"), "quiet")
    if ballot.state == "open":
        return look.chip("ring", _("nobody has typed it"))
    names = listed(ballot.by)
    if ballot.state == "once":
        return look.chip("half", _("typed by {name}; a second person types it next").format(name=names))
    return look.chip("triangle", _("{names} typed it differently").format(names=names), "copper")


def fields(ballot: PaperBallot) -> dict[str, Any] | None:
    """The fields of a ballot in the order of the paper; what was typed, once it is to be kept."""
    typed: dict[str, Any] = {}
    with st.form(f"ballot-{ballot.assessor}"):
        look.put(look.quiet(_("Marks in mm from the left end of the line. Leave empty what is empty on the paper.")))
        for item in ballot.items:
            look.put(look.title(_number(item), 3))
            typed |= _choice(item) if item.pick else _marks(item)
        return typed if st.form_submit_button(_("Keep this entry"), type="primary") else None


def _number(item: Item) -> str:
    codes = ", ".join(item.codes)
    if item.pick:
        return _("Set {n}: {codes}").format(n=item.number, codes=codes)
    return _("Serving {n}, code {code}").format(n=item.number, code=codes)


def _choice(item: Item) -> dict[str, Any]:
    field = choice_of(item.id)
    if item.pick == 1:
        picked = st.radio(_("Chosen"), item.codes, index=None, horizontal=True, key=field)
        return {field: [picked] if picked else None}
    return {field: st.multiselect(_("Chosen"), item.codes, max_selections=item.pick, key=field) or None}


def _marks(item: Item) -> dict[str, Any]:
    typed: dict[str, Any] = {}
    columns = st.columns(max(len(item.lines) + 1, 3))
    for column, line in zip(columns, item.lines, strict=False):
        field = mark_of(item.id, line.id)
        label = _("{line}, mm").format(line=line.name)
        mark = column.number_input(label, 0, MILLIMETRES, None, 1, key=field)
        typed[field] = None if mark is None else mark * SCALE_HIGH / MILLIMETRES
    words = _reasons()
    why = columns[len(item.lines)].selectbox(
        _("No mark because"), REASONS, index=None, format_func=words.__getitem__, placeholder="", key=why_of(item.id)
    )
    return {**typed, why_of(item.id): why}


def _reasons() -> dict[str, str]:
    return {
        "piece missing": _("piece missing"),
        "wrong code": _("wrong code on the cup"),
        "could not judge": _("could not judge"),
        "stopped": _("stopped tasting"),
    }


def settled(ballot: PaperBallot, left: Sequence[Difference]) -> tuple[Mapping[str, int | None] | None, str]:
    """What differs, with a choice for each; the choices and the reason, once they are to be kept."""
    with st.form(f"settle-{ballot.assessor}"):
        look.put(look.title(_("What differs"), 2), look.quiet(_("Look at the paper, then choose what stands on it.")))
        chosen = {one.field: _one_of(one, ballot.by) for one in left}
        reason = st.text_input(_("How it was settled"), key=f"settle-why-{ballot.assessor}")
        kept = st.form_submit_button(_("Keep the settled ballot"), type="primary")
    return (chosen if kept else None), reason


def _one_of(one: Difference, by: Sequence[str]) -> int | None:
    what = _number(one.item) + (f", {one.line}" if one.line else "")
    told = _("{name}: {typed}")
    words = [told.format(name=name, typed=_value(value)) for name, value in zip(by, one.typed, strict=False)]
    return st.radio(what, (0, 1), format_func=words.__getitem__, index=None, horizontal=True, key=f"one-{one.field}")


def _value(value: Any) -> str:
    if value is None:
        return _("empty")
    if isinstance(value, list):
        return ", ".join(value)
    if isinstance(value, str):
        return _reasons()[value]
    return _("{n} mm").format(n=round(value * MILLIMETRES / SCALE_HIGH))


def alone(ballot: PaperBallot) -> str | None:
    """The reason why one entry must do, once it is to be kept."""
    look.put(look.quiet(_("One entry alone is kept with a reason, and stands among the departures.")))
    reason = st.text_input(_("Why nobody else types it"), key=f"alone-why-{ballot.assessor}")
    return reason if st.button(_("Keep this one entry"), key=f"alone-{ballot.assessor}") else None
