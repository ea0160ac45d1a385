"""Limits of instruments in a plan: a row each, and a dialog with its fields."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import streamlit as st

from studyapp.batches import UNITS, quantities, shown_unit
from studyapp.components import look
from studyapp.components.plan_problems import beside
from studyapp.findings import hours as as_hours
from studyapp.kinds.hours.plan import HoursPlan, Limit
from studyapp.kinds.hours.rule.limits import turns, wanted
from studyapp.records import Problem
from studyapp.words import _


def draw(plan: HoursPlan, key: str, problems: Sequence[Problem]) -> int | None:
    """A row for each limit; the number of the one that is to be changed, the one after the last is new."""
    look.put(look.quiet(_about()))
    tapped = [number for number, one in enumerate(plan.limits) if _row(one, f"{key}-{number}")]
    beside(problems, "limits")
    if st.button(_("Add a limit"), key=f"add-limit-{key}"):
        return len(plan.limits)
    return tapped[0] if tapped else None


def _about() -> str:
    return _(
        "A limit decides together with flavour: an hour is chosen only where every limit is kept too, by more than its "
        "own uncertainty. Read two or more fresh portions of every pull before the key is opened."
    )


def _row(one: Limit, key: str) -> bool:
    with st.container(key=f"limit-{key}", horizontal=True, vertical_alignment="center"):
        with st.container(width="stretch"):
            cells = [look.strong(one.name), look.plain(wanted(one)), look.chip("disc", _("decides")), ""]
            look.put(look.rows([look.row(*cells)], "attributes"))
        return st.button(_("Change"), key=f"change-limit-{key}")


# ---- one limit in a dialog -------------------------------------------------------------------------------------------
def edited(plan: HoursPlan, number: int, key: str) -> tuple[tuple[Limit, ...], bool]:
    """The fields of one limit: the limits as they are now, and whether editing is over."""
    new = number >= len(plan.limits)
    one = _fields(Limit("", next(iter(UNITS))) if new else plan.limits[number], plan.hours_of_pulls, key)
    keep, drop = st.columns(2)
    if keep.button(_("Keep it"), type="primary", width="stretch", key=f"keep-{key}"):
        limits = list(plan.limits)
        limits[number : number + 1] = [one]
        return tuple(limits), True
    if not new and drop.button(_("Take it out"), width="stretch", key=f"drop-{key}"):
        return plan.limits[:number] + plan.limits[number + 1 :], True
    return plan.limits, False


def _fields(one: Limit, pulls: Sequence[float], key: str) -> Limit:
    words = quantities()
    known = list(words)
    quantity = st.selectbox(
        _("Quantity"),
        known,
        known.index(one.quantity) if one.quantity in known else 0,
        format_func=words.__getitem__,
        key=f"quantity-{key}",
    )
    one = _bound(replace(one, name=words[quantity], quantity=quantity, unit=UNITS[quantity]), key)
    one = _how(one, key)
    ends = [None, *sorted(pulls)]
    until = st.selectbox(
        _("Asked up to"),
        ends,
        ends.index(one.until) if one.until in ends else 0,
        format_func=lambda hour: _("every pull") if hour is None else _("{h} h").format(h=as_hours(hour)),
        key=f"until-{key}",
        help=_("A mass may thicken again in hours nobody would conche. Beyond this pull no hour is chosen."),
    )
    return _known(replace(one, until=until), key)


def _bound(one: Limit, key: str) -> Limit:
    ways = {True: _("at most"), False: _("at least")}
    left, right = st.columns(2)
    most = left.radio(
        _("It must be"), [True, False], int(one.at_least is not None), format_func=ways.get, key=f"way-{key}"
    )
    bound = right.number_input(
        _("Limit, {unit}").format(unit=shown_unit(one.unit)) if one.unit else _("Limit"),
        value=one.at_most if one.at_least is None else one.at_least,
        format="%g",
        key=f"bound-{key}",
    )
    return replace(one, at_most=bound if most else None, at_least=None if most else bound)


def _how(one: Limit, key: str) -> Limit:
    """Instrument, method and portions; what reads otherwise does not count."""
    left, right = st.columns(2)
    instrument = left.text_input(_("Instrument"), one.instrument, max_chars=80, key=f"instrument-{key}")
    method = right.text_input(_("Method"), one.method, max_chars=80, key=f"method-{key}")
    repeats = st.number_input(_("Fresh portions of every pull"), 1, 30, one.repeats, key=f"repeats-{key}")
    return replace(one, instrument=instrument.strip(), method=method.strip(), repeats=int(repeats))


def _known(one: Limit, key: str) -> Limit:
    """What is known of the instrument beforehand, folded away."""
    share = _("as a share, 0.02 is 2 %") if turns(one) else shown_unit(one.unit)
    with st.expander(_("What is known beforehand")):
        monotone = not turns(one) and st.checkbox(
            _("It cannot get worse with hours: a pull not read takes the answer of the next shorter one"),
            one.monotone,
            key=f"monotone-{key}",
        )
        uncertainty = st.number_input(
            _("Uncertainty of instrument and method, where the limit is somebody else's ({unit})").format(unit=share),
            0.0, value=one.uncertainty, format="%g", key=f"uncertainty-{key}",
        )  # fmt: skip
        sd = st.number_input(
            _("Spread of repeats of such mass ({unit}), empty if unknown").format(unit=share),
            0.0, value=one.sd, format="%g", key=f"sd-{key}",
        )  # fmt: skip
        df = st.number_input(
            _("Degrees of freedom of that spread"), 0.0, value=one.df, format="%g", key=f"df-{key}"
        )  # fmt: skip
    return replace(one, monotone=bool(monotone), uncertainty=uncertainty, sd=sd or None, df=df if sd else None)
