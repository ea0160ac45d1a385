"""The page of what cannot be served: which piece of a sealed comparison, and why; noted by who does not taste."""

from __future__ import annotations

import streamlit as st

from studyapp import session
from studyapp.components import acts, look
from studyapp.findings.losses import loss_reasons
from studyapp.kinds.comparison import setting_out
from studyapp.kinds.comparison.plan import (
    CONTROL,
    KIND,
    LETTERS,
    ComparisonPlan,
    ComparisonStudy,
    every_piece,
    make_of,
    piece_of,
)
from studyapp.kinds.comparison.setting_out import piece_told
from studyapp.records import PullNote, Staff
from studyapp.services import planning, preparing
from studyapp.services.losses import REASONS
from studyapp.store import Store, clock
from studyapp.words import _


def render() -> None:
    """The pieces of the comparison in the address, or of the newest that is sealed."""
    by, store = session.someone("leader", "preparer"), session.store()
    look.put(look.title(_("A piece that cannot be served")))
    waiting = [one for one in planning.studies(store, by) if one.kind == KIND and one.state == "sealed"]
    study = next((one for one in waiting if one.id == session.study_id()), next(iter(waiting), None))
    if study is None:
        look.put(look.lede(_("No comparison waits for its pieces.")))
        return
    session.look_at(study=study.id)
    look.put(look.lede(study.plan.title))
    kept = setting_out.lost_of(store, by, study.id)
    _lose(store, by, study, kept)
    _kept(store, by, study, kept)
    for other in waiting:
        if other.id != study.id:
            st.page_link(session.page("losing"), label=other.plan.title, query_params={"study": other.id})


def _now() -> str:
    """The clock on the wall, to the minute."""
    return clock.now().astimezone().replace(tzinfo=None, second=0, microsecond=0).isoformat(timespec="minutes")


def _lose(store: Store, by: Staff, study: ComparisonStudy, kept: tuple[PullNote, ...]) -> None:
    """Which piece, why, and what the verdict makes of it."""
    look.put(look.text(_("Say why. Nobody who tastes may do this, and only before it is first served.")))
    gone = {one.hours for one in kept if one.sitting is None}
    left = [level for level in every_piece(study.plan) if level not in gone]
    named = loss_reasons()
    level = st.selectbox(_("Piece"), left, format_func=lambda one: piece_told(study.plan, one), key="lost-piece")
    reason = st.radio(_("Why"), REASONS, None, format_func=named.__getitem__, key="lost-why")
    number = _which_sitting(store, by, study, level)
    look.put(look.box("brick", "", look.text(_what_follows(study.plan, level))))
    if st.button(_("Note it as lost"), type="primary", width="stretch", key="lost-keep", disabled=reason is None):
        with acts.refusals():
            setting_out.note_lost(store, by, study.id, level, reason or "", _now(), number)
            st.rerun()


def _which_sitting(store: Store, by: Staff, study: ComparisonStudy, level: float) -> int | None:
    """The one sitting it is lost in, or None for every one that is left; a batch has no other sitting to choose."""
    open_ = [one for one in preparing.sittings(store, by, study.id) if one.state != "closed"]
    if len(open_) < 2 or study.plan.scope == "make":
        return None
    names = {0: _("every sitting that is left"), **{one.number: one.label for one in open_}}
    return st.selectbox(_("Lost in"), list(names), format_func=names.__getitem__, key="lost-in") or None


def _what_follows(plan: ComparisonPlan, level: float) -> str:
    """What the verdict can then not answer."""
    make = make_of(level)
    if plan.pulls and piece_of(plan, level) not in (CONTROL, *LETTERS):
        return _("The hours are then told without this piece; lost in one sitting, it is compared within the others.")
    if make == CONTROL:
        return _(
            "Without the control nothing shows that the panel is awake: no verdict where it is lost in every sitting."
        )
    if plan.scope == "make" and make == LETTERS[0]:
        return _("The others of that batch are then not compared; three batches must be left.")
    if plan.scope == "make":
        return _("The verdict then cannot show {make}: it may have been at its worst in that batch.").format(make=make)
    if make == LETTERS[0]:
        return _("Without A in any sitting there is no verdict: every other make is held against it.")
    return _("Lost in every sitting, nothing is said about {make}.").format(make=make)


def _kept(store: Store, by: Staff, study: ComparisonStudy, kept: tuple[PullNote, ...]) -> None:
    """Every loss, and the way back of the last one."""
    if not kept:
        return
    named = loss_reasons()
    look.put(look.title(_("Noted as lost"), 2))
    look.put(look.rows([look.row(look.strong(piece_told(study.plan, one.hours)), _told(one, named)) for one in kept]))
    last = max(kept, key=lambda one: one.at)
    if st.button(_("Undo what was noted last"), key="lost-undo"):
        with acts.refusals():
            setting_out.undo_lost(store, by, study.id, last.hours, _now())
            st.rerun()
    look.put(look.quiet(_("What you undo stays in the record, with your name and the time.")))


def _told(one: PullNote, named: dict[str, str]) -> str:
    why = named.get(one.reason or "", one.reason or "")
    where = _("in every sitting") if one.sitting is None else _("in sitting {n}").format(n=one.sitting)
    return look.chip("cross", f"{why}, {where}", "brick")
