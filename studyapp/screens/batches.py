"""Batches: what was made, the newest first, and the start of the next one."""

from __future__ import annotations

import streamlit as st

from studyapp import session
from studyapp.batches import Batch, Draft
from studyapp.components import acts, look
from studyapp.components.moments import day_of
from studyapp.findings.batches import length
from studyapp.services import batches, planning
from studyapp.words import _

MOST = 50  # lines at once; the search finds the others


def render() -> None:
    """Every batch with its study."""
    by, store = session.someone("leader", "preparer"), session.store()
    look.put(look.title(_("Batches")))
    known = tuple(reversed(batches.everywhere(store, by)))
    if not known:
        look.put(look.lede(_("No batch is written down yet. Give the first one a name; the rest can wait.")))
    titles = {one.id: one.plan.title for one in planning.studies(store, by)}
    _start(known)
    words = st.text_input(_("Search"), key="batch-search").casefold() if len(known) > MOST else ""
    fitting = [one for one in known if words in f"{one.draft.label} {one.draft.recipe} {one.draft.lot}".casefold()]
    lines = [_line(one, titles.get(one.study or "", "")) for one in fitting[:MOST]]
    if lines:
        look.put(look.rows(lines, "open named listed"))


def _line(one: Batch, study: str) -> str:
    """Name, recipe, and below it where, from what and how long it was conched, and who tasted it."""
    draft = one.draft
    ends = [phase.to_hours for phase in draft.phases if phase.to_hours is not None]
    told = [draft.machine, _("cocoa lot {lot}").format(lot=draft.lot) if draft.lot else ""]
    told += [_("conched {span}").format(span=length(max(ends))) if ends else "", started(one)]
    below = ", ".join(part for part in told if part)
    name = look.linked(draft.label, session.href("batch", batch=one.id))
    lines = [look.plain(draft.recipe)] if draft.recipe else []
    lines += [f'<span class="note">{look.plain(below)}</span>'] if below else []
    of = look.plain(_("study: {title}").format(title=study)) if study else ""
    return look.row(f"<b>{name}</b>", "<br>".join(lines), f'<span class="note">{of}</span>')


def started(one: Batch) -> str:
    """The day on which a batch was begun, as day and month; empty where nobody wrote it."""
    from datetime import datetime

    return day_of(datetime.fromisoformat(one.zero)) if one.zero else ""


def _start(known: tuple[Batch, ...]) -> None:
    """The name of the next batch, and the one it is made like."""
    with st.container(key="card-new"), st.form("new-batch", border=False):
        left, middle, right = st.columns([3, 3, 1], vertical_alignment="bottom")
        name = left.text_input(_("Name of a new batch"), max_chars=120, placeholder=_("Batch 33"), key="new-batch-name")
        names = [_("none"), *(one.draft.label for one in known)]
        like = middle.selectbox(_("Made like"), range(len(names)), format_func=names.__getitem__, key="new-batch-like")
        begun = right.form_submit_button(_("Begin"), type="primary", width="stretch")
    if begun:
        begin(name, known[like - 1] if like else None)


def begin(name: str, like: Batch | None) -> None:
    """Keep a new batch under a name and open its page to write."""
    from dataclasses import replace

    with acts.refusals():
        draft = replace(batches.like(like), label=name or batches.like(like).label) if like else Draft(name)
        id_ = batches.add(session.store(), session.someone(), draft)
        session.go("write_batch", batch=id_)
