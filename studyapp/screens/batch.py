"""Batch record: what was made, as planned and as it was, over one axis of hours."""

from __future__ import annotations

import json
from collections.abc import Iterable
from typing import Any

import streamlit as st

from studyapp import session
from studyapp.batches import Batch, Log, quantities
from studyapp.components import acts, drawn, look
from studyapp.findings import batches as findings
from studyapp.findings import decimal
from studyapp.findings.instruments import summary
from studyapp.pictures.lanes import lanes
from studyapp.records import Staff, Study
from studyapp.screens import batch_log
from studyapp.screens.batches import begin, started
from studyapp.services import batches, planning, readings
from studyapp.services.batches import contents_differ
from studyapp.services.readings import Read
from studyapp.words import _


def render() -> None:
    """The batch in the address."""
    by, store = session.someone("leader", "preparer"), session.store()
    found = batches.batch(store, by, session.batch_id() or "")
    log, pulls = batches.log(store, by, found.id), batches.pulls_of(store, by, found)
    lost = [hour for hour, state in pulls if state == "lost"]
    study = planning.study(store, by, found.study) if found.study else None
    st.set_page_config(page_title=found.draft.label)
    look.put(look.crumb(_("Batches"), _about(found), session.href("batches")), look.title(found.draft.label))
    look.put(look.lede(findings.sentence(found, log, lost, started(found))))
    _of_study(by, found, study)
    _lanes(found, log, pulls, lost)
    _phases(found, log)
    _cards(found, readings.read(store, by, found.id))
    _contents(by, found, study)
    _acts(found)
    batch_log.draw(by, found, log)


def _about(found: Batch) -> str:
    return ", ".join(part for part in (found.draft.recipe, found.draft.machine) if part) or found.draft.label


def _of_study(by: Staff, found: Batch, study: Study[Any] | None) -> None:
    """The study this batch belongs to, or the choice among those that may take it."""
    if study is not None:
        page = "plan" if by.role == "leader" else "prepare"
        href = session.href(page, study=study.id)
        pulls = bool(study.plan.hours_of_pulls) and session.page("pulls")
        more = f" · {look.linked(_('Pulls at the conche'), session.href('pulls', study=study.id))}" if pulls else ""
        look.put(
            f'<p class="say quiet">{look.plain(_("In the study"))} {look.linked(study.plan.title, href)}{more}</p>'
        )
        return
    open_ = [one for one in planning.studies(session.store(), by) if one.state in ("draft", "sealed")]
    if by.role != "leader" or not open_:
        return
    with st.expander(_("Give this batch to a study")):
        names = [one.plan.title for one in open_]
        chosen = st.selectbox(_("Study"), range(len(names)), format_func=names.__getitem__, key="batch-study")
        look.put(look.quiet(_("It stays there: what is written of it then travels with the study.")))
        if st.button(_("Give it"), key="batch-join"):
            with acts.refusals():
                batches.join(session.store(), by, found.id, open_[chosen].id)
                st.rerun()


# ---- what was made ---------------------------------------------------------------------------------------------------
def _lanes(found: Batch, log: Log | None, pulls: tuple[tuple[float, str], ...], lost: list[float]) -> None:
    if not found.draft.phases and log is None and not pulls:
        return
    with st.container(key="card-lanes"):
        what = _line(log)
        with st.container(key="sideways"):
            picture = lanes(found, log, pulls, session.theme(), what)
            drawn.put(json.dumps(picture), findings.lanes_say(found, log, lost, what))
    if log is None:
        look.put(look.quiet(_("No machine log.")))


def _line(log: Log | None) -> str:
    """Which column of the log is drawn, where it has several."""
    names, known = findings.log_names(), findings.logged(log) if log is not None else []
    if len(known) < 2:
        return known[0] if known else "temperature_c"
    chosen = st.segmented_control(
        _("From the log"), known, default=known[0], format_func=lambda one: names[one][0], key="log-line"
    )
    return chosen or known[0]


def _phases(found: Batch, log: Log | None) -> None:
    """Planned and real, phase by phase; a triangle at what differs."""
    rows = findings.rows(found, log)
    if not rows:
        return
    heads = [_("phase"), _("planned"), _("real"), _("°C planned"), _("°C real"), _("turns a min"), _("air"), _("also")]
    body = []
    for number, row in enumerate(rows, 1):
        phase = row.phase
        body.append(
            [
                f"{number}  {phase.name}",
                _length(row.planned_h),
                _marked(findings.real_says(row), bool({"start", "length"} & row.differs)),
                _degrees(phase.temperature_c),
                _marked(_degrees(row.temperature_c), "temperature" in row.differs),
                _marked(_degrees(row.speed_rpm), "speed" in row.differs),
                phase.air or "–",
                findings.also(phase) or "–",
            ]
        )
    listed = [look.row(look.strong(one[0]), look.plain(_listed_phase(heads, one))) for one in body]
    with st.container(key="card-phases"):
        look.put(look.title(_("Programme, phase by phase"), 2))
        with st.container(key="on-a-desk"):
            look.put(look.table(heads, body, "wide words"))
        with st.container(key="on-a-phone"):
            look.put(look.rows(listed, "notes"))
        if log is not None:
            told = _(
                "Real values are those of the machine log ({n} lines) at the end of a phase, where nobody typed others."
            )
            look.put(look.quiet(told.format(n=log.lines)))


def _listed_phase(heads: list[str], cells: list[str]) -> str:
    """One phase as a line for a phone: what is empty is left out."""
    return ", ".join(f"{head} {cell}" for head, cell in zip(heads[1:], cells[1:], strict=True) if cell != "–")


def _length(span: float | None) -> str:
    return "–" if span is None else findings.length(span)


def _degrees(value: float | None) -> str:
    return "–" if value is None else decimal(value, 0)


def _marked(text: str, differs: bool) -> str:
    return f"▲ {text}" if differs else text


# ---- cards -----------------------------------------------------------------------------------------------------------
def _cards(found: Batch, read: Read) -> None:
    with st.container(key="side-by-side"):
        with st.container(key="card-recipe"):
            _listed(_("Recipe"), findings.recipe_lines(found))
        with st.container(key="card-mill"):
            _listed(_("Mill"), findings.mill_lines(found))
        with st.container(key="card-read"):
            _read(found, read)


def _listed(heading: str, lines: Iterable[tuple[str, str]]) -> None:
    told = [look.row(look.plain(label), look.strong(value)) for label, value in lines]
    look.put(look.title(heading, 2), look.rows(told) if told else look.quiet(_("Nothing is written yet.")))


def _read(found: Batch, read: Read) -> None:
    """What the instruments said, quantity by quantity, at the pulls."""
    look.put(look.title(_("Read at the pulls"), 2))
    shown = summary(read)
    if not shown:
        look.put(look.quiet(_("Nothing is read yet.")))
        return
    hours = read.hours[-3:]
    heads = [_("what"), *(_("{h} h").format(h=f"{hour:g}") for hour in hours)]
    body = [
        [f"{quantities()[name]}, {unit}".rstrip(", "), *(told.get(hour, _("not read")) for hour in hours)]
        for (name, unit), told in shown.items()
    ]
    look.put(look.table(heads, body, "wide"))
    look.put(look.link(_("See all"), session.href("readings", batch=found.id)))


def _contents(by: Staff, found: Batch, study: Study[Any] | None) -> None:
    """What is in it, who has compared that with the bags, and whether who tastes reads the same."""
    made = found.draft.made
    if not made.contains:
        look.put(look.caution(_("Nobody has written what this batch contains. Who tastes must read it first.")))
        return
    traces = _("Traces of {traces} are possible.").format(traces=made.traces) if made.traces else ""
    look.put(look.title(_("What is in it"), 2), look.text(f"{made.contains}. {traces}"))
    if study is not None and contents_differ(study, found):
        told = _("Who tastes reads something else: “{text}”. Stop, compare both with the bags, and mend one of them.")
        look.put(look.box("brick", "", look.text(told.format(text=f"{study.plan.contains} / {study.plan.traces}"))))
    if made.confirmed:
        look.put(look.text(_("✓ Compared with the bags by {who}.").format(who=made.confirmed)))
    elif by.role == "preparer":
        if st.button(_("I have compared this with the bags"), key="confirm-contents"):
            with acts.refusals():
                batches.confirm_contents(session.store(), by, found.id)
                st.rerun()
    else:
        look.put(look.quiet(_("Not compared with the bags yet; the preparer does that on this page.")))


def _acts(found: Batch) -> None:
    with st.container(horizontal=True):
        if st.button(_("Add readings"), type="primary", key="to-readings"):
            session.go("readings", batch=found.id)
        if st.button(_("Change the record"), key="to-write"):
            session.go("write_batch", batch=found.id)
        if st.button(_("Next batch like this one"), key="next-like"):
            begin("", found)
        if st.button(_("What is it worth in butter?"), key="to-butter"):
            session.go("butter", batch=found.id)
        if st.button(_("Surface of its particles"), key="to-surface"):
            session.go("surface", batch=found.id)
        st.link_button(_("Print the batch"), f"/print/batch/{found.id}")


def elsewhere(by: Staff, study: Study[Any]) -> None:
    """The batches of a study, as links for its pages; loud where who tastes reads another list of what is in them."""
    found = batches.of_study(session.store(), by, study.id)
    for one in found:
        st.page_link(session.page("batch"), label=one.draft.label, query_params={"batch": one.id})
        if contents_differ(study, one):
            told = _("{batch} contains something else than the people who taste read: stop, and compare with the bags.")
            look.put(look.box("brick", "", look.text(told.format(batch=one.draft.label))))
        elif not one.draft.made.confirmed:
            told = _("{batch}: nobody has compared what it contains with the bags.")
            look.put(look.caution(told.format(batch=one.draft.label)))
