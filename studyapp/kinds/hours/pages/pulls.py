"""The page at the conche: the next pull first, noted in two taps; and what a sealed study's page says of its pulls."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import datetime, timedelta
from functools import partial

import streamlit as st

from studyapp import session
from studyapp.components import acts, look
from studyapp.components.moments import appointment
from studyapp.findings import hours as as_hours
from studyapp.findings.losses import loss_reasons
from studyapp.kinds.hours.findings.pull_life import (
    late_pulls,
    lost_says,
    off_by,
    really,
    span,
    taken_says,
)
from studyapp.kinds.hours.pages import photo_card
from studyapp.kinds.hours.pages.question import hot
from studyapp.kinds.hours.pages.taking import taking
from studyapp.kinds.hours.plan import FEWEST_BATCHES, KIND, RECIPE, HoursStudy
from studyapp.kinds.hours.setting_out import pulls
from studyapp.kinds.hours.setting_out.pulls import PullLife, Pulls
from studyapp.records import Staff
from studyapp.services import planning, preparing
from studyapp.services.losses import REASONS
from studyapp.store import Store, clock
from studyapp.words import _

MINUTES = "minutes"
WHOLE = -1.0  # stands for every pull of a batch


def render() -> None:
    """The pulls of the study in the address, or of the one that is due next."""
    by, store = session.someone("leader", "preparer"), session.store()
    waiting = _waiting(store, by)
    chosen = next((study for study, _kept in waiting if study.id == session.study_id()), None)
    look.put(look.title(_("Pulls")))
    if chosen is None and not waiting:
        look.put(look.lede(_("No study waits for a pull.")))
        return
    study = chosen or waiting[0][0]
    session.look_at(study=study.id)
    every = pulls.by_batch(store, by, study.id)
    _page(store, by, study, every[_of_batch(every)])
    for other, _pulls in waiting:
        if other.id != study.id:
            st.page_link(session.page("pulls"), label=other.plan.title, query_params={"study": other.id})


def _waiting(store: Store, by: Staff) -> list[tuple[HoursStudy, Pulls]]:
    """Sealed studies that are not decided, the next due first."""
    found = []
    for id_ in dict.fromkeys(sitting.study for sitting in preparing.sittings(store, by)):
        study = planning.study(store, by, id_)
        if study.kind == KIND and study.seal:
            found.append((study, min(pulls.by_batch(store, by, id_), key=_next_due)))
    return sorted(found, key=lambda one: _next_due(one[1]))


def _next_due(kept: Pulls) -> datetime:
    return (kept.next.due if kept.next else None) or datetime.max


def _of_batch(every: tuple[Pulls, ...]) -> int:
    """Which of several batches is on the page: the one whose pull is due next, until another one is chosen."""
    if len(every) < 2:
        return 0
    places = range(len(every))
    soonest = min(places, key=lambda place: (_next_due(every[place]), every[place].next is None, place))
    chosen = st.selectbox(_("Batch"), places, soonest, format_func=lambda place: every[place].batch, key="pulls-batch")
    return soonest if chosen is None else chosen


def _now() -> datetime:
    """The clock on the wall, to the minute."""
    return clock.now().astimezone().replace(tzinfo=None, second=0, microsecond=0)


# ---- one study -------------------------------------------------------------------------------------------------------
def _page(store: Store, by: Staff, study: HoursStudy, kept: Pulls) -> None:
    step, level = session.kept(f"pull-step-{study.id}", ("", None))
    instead = next((life for life in kept.lives if life.level == level and life.gone), None)
    if not kept.zero_noted and all(life.open for life in kept.lives) and step != "lost":
        _zero(store, by, study, kept)
    elif step == "lost":
        _lose(store, by, study, kept)
    elif instead is not None:
        _take(by, study, instead, kept.count, "taken")
    elif step in ("taken", "earlier") and kept.next is not None and kept.next.level == level:
        _take(by, study, kept.next, kept.count, step)
    else:
        _next(by, study, kept)
    look.put(look.caution(hot()))
    _list(store, by, study, kept)
    photo_card.card(store, by, study, kept)


def _to(study: HoursStudy, step: str, level: float | None = None) -> None:
    session.keep(f"pull-step-{study.id}", (step, level))
    st.rerun()


def _zero(store: Store, by: Staff, study: HoursStudy, kept: Pulls) -> None:
    """Until hour zero is known no pull is due; so that is the one button."""

    def note(at: datetime) -> None:
        with acts.refusals():
            pulls.note_zero(store, by, study.id, at.isoformat(timespec=MINUTES), kept.place)
            st.rerun()

    look.put(look.lede(_where(study, kept)))
    what = study.plan.hour_zero or _("hour zero")
    if st.button(_("{what}: hour zero now").format(what=what), type="primary", width="stretch", key="zero"):
        note(_now())
    with st.expander(_("It was earlier")), st.form("zero-earlier", border=False):
        at = st.datetime_input(_("Hour zero was at"), _now(), key="zero-at")
        if st.form_submit_button(_("Keep")) and at is not None:
            note(at)
    if study.plan.several and st.button(_("Cannot be had"), width="stretch", key="cannot"):
        _to(study, "lost")


def _where(study: HoursStudy, kept: Pulls) -> str:
    return ", ".join(part for part in (study.plan.title, kept.batch) if part)


def _next(by: Staff, study: HoursStudy, kept: Pulls) -> None:
    """The next pull, in large, and the three things that may be said of it."""
    life = kept.next
    late = _now() - life.due if life is not None and life.due else timedelta(0)
    if life is not None and late > timedelta(0) and pulls.is_late(life.hours, late):
        _late(study, kept, life, late)
        return
    if life is None:
        look.put(look.lede(_("{study}: every pull is noted.").format(study=_where(study, kept))))
    else:
        taking(by, study, [one for one in kept.lives if one.open], _due, kept.count)
    if st.button(_("Cannot be had"), width="stretch", key="cannot"):
        _to(study, "lost")


def _due(life: PullLife) -> str:
    if life.due is None:
        return _("planned")
    left = life.due - _now()
    if not left:
        return _("due now")
    when = f"{life.due:%H:%M}" if life.due.date() == _now().date() else _when(life)
    told = _("due {time}, in {span}") if left.total_seconds() > 0 else _("due {time}, {span} ago")
    return told.format(time=when, span=span(left))


def _late(study: HoursStudy, kept: Pulls, life: PullLife, late: timedelta) -> None:
    """What cannot be missed, above all else, and what may be in the box."""
    due = _("The {h} h pull was due on {when}.").format(h=as_hours(life.hours), when=_when(life))
    now = _("Taken now it is a {really} h pull.").format(really=really(life.hours, late))
    look.put(look.box("copper", f"▲ {off_by(late)}", look.text(due), look.text(now)))
    where = ", ".join(part for part in (_where(study, kept), study.plan.batch) if part)
    look.put(look.text(_("{where}. Next pull").format(where=where)), look.lede(_due(life)))
    look.put(look.title(_("What is in the box?"), 2))
    for step, words, then in (
        ("earlier", _("It was taken then and not noted"), _("You give the time.")),
        ("taken", _("It is taken now"), _("Plan, verdict and report say what it is.")),
        ("lost", _("There is none"), _("The {h} h pull is lost.").format(h=as_hours(life.hours))),
    ):
        if st.button(words, width="stretch", key=f"late-{step}"):
            _to(study, step, life.level)
        look.put(look.quiet(then))


def _when(life: PullLife) -> str:
    return appointment(life.due) if life.due else ""


# ---- taken -----------------------------------------------------------------------------------------------------------
def _take(by: Staff, study: HoursStudy, life: PullLife, count: int, step: str) -> None:
    """Time and mass as they are most likely; all else is asked only of who wants to say it."""
    taking(by, study, [life], _due, count, step)
    if st.button(_("Back to the pulls"), key="back", width="stretch"):
        _to(study, "")
    look.put(look.quiet(_("Noted by {name}.").format(name=by.name)))


# ---- lost ------------------------------------------------------------------------------------------------------------
def _lose(store: Store, by: Staff, study: HoursStudy, kept: Pulls) -> None:
    """Which pull, why, and what the verdict makes of it."""
    left = {life.level: life.hours for life in kept.lives if life.gone is None}
    choices = [*left, *([WHOLE] if study.plan.several and len(left) == len(kept.lives) else [])]
    start = choices.index(kept.next.level) if kept.next and kept.next.level in left else 0
    look.put(look.title(_("A pull that cannot be had"), 2))
    look.put(look.text(_("Say why. Nobody who tastes may do this, and only before it is first served.")))
    named, reasons = partial(_lost_name, kept, left), loss_reasons()
    level = st.selectbox(_("Pull"), choices, start, format_func=named, key="lost-h")
    reason = st.radio(_("Why"), REASONS, None, format_func=reasons.__getitem__, key="lost-why")
    number = _which_sitting(store, by, study) if level != WHOLE else None
    if level is not None:
        follows = _whole_follows(study) if level == WHOLE else _what_follows(study, [*left.values()], left[level])
        look.put(look.box("brick", "", look.text(follows)))
        said = _("Note {h} as lost").format(h=named(level))
        if st.button(said, type="primary", width="stretch", key="lost-keep", disabled=reason is None):
            with acts.refusals():
                _note_lost(store, by, study, kept, level, reason or "", number)
                _to(study, "")
    if st.button(_("Back"), key="back", width="stretch"):
        _to(study, "")


def _lost_name(kept: Pulls, left: Mapping[float, float], level: float) -> str:
    if level == WHOLE:
        return _("the whole batch {batch}").format(batch=kept.batch)
    return _("{hours} h").format(hours=as_hours(left[level]))


def _note_lost(
    store: Store, by: Staff, study: HoursStudy, kept: Pulls, level: float, reason: str, number: int | None
) -> None:
    at = _now().isoformat(timespec=MINUTES)
    if level == WHOLE:
        pulls.note_batch_lost(store, by, study.id, kept.place, reason, at)
    else:
        pulls.note_lost(store, by, study.id, level, reason, at, number)


def _whole_follows(study: HoursStudy) -> str:
    """What becomes of the claim without one batch."""
    if study.plan.claim == RECIPE and len(study.plan.batches) <= FEWEST_BATCHES:
        return _("The verdict leaves this batch out and says so. With fewer than three it says nothing of the recipe.")
    return _("The verdict leaves this batch out and says so. It cannot be taken back.")


def _which_sitting(store: Store, by: Staff, study: HoursStudy) -> int | None:
    """The one sitting it is lost in, or None for every one that is left."""
    open_ = [one for one in preparing.sittings(store, by, study.id) if one.state != "closed"]
    if len(open_) < 2:
        return None
    names = {0: _("every sitting that is left"), **{one.number: one.label for one in open_}}
    number = st.selectbox(_("Lost in"), list(names), format_func=names.__getitem__, key="lost-in")
    return number or None


def _what_follows(study: HoursStudy, left: list[float], hours: float) -> str:
    """What the verdict can then not answer."""
    told = _("The verdict leaves {h} h out and says so. It can then not answer {h} h.").format(h=as_hours(hours))
    if hours != max(left) or len(left) < 2:
        return told
    if study.plan.lost_reference == "next" and hours == max(pull.hours for pull in study.plan.pulls):
        return _("The verdict then asks against {h} h.").format(h=as_hours(sorted(left)[-2]))
    return _("Without it there is no verdict: every other pull is held against it.")


# ---- what is noted ---------------------------------------------------------------------------------------------------
def _list(store: Store, by: Staff, study: HoursStudy, kept: Pulls) -> None:
    """Every pull, and the last note with its way back."""
    last = pulls.last_noted(kept)
    look.put(look.rows([_row(life, kept) for life in kept.lives]))
    for life in kept.lives:
        if life.gone and st.button(
            _("Take {h} h once more").format(h=as_hours(life.hours)), key=f"again-{life.hours:g}"
        ):
            _to(study, "taken", life.level)
    if last is None and not kept.zero_noted:
        return
    what = _("hour zero") if last is None else pulls.pull_told(study.plan, last)
    if st.button(_("Undo what was noted last: {what}").format(what=what), key="undo"):
        with acts.refusals():
            pulls.undo(store, by, study.id, last, _now().isoformat(timespec=MINUTES), kept.place)
            st.rerun()
    look.put(look.quiet(_("What you undo stays in the record, with your name and the time.")))


def _row(life: PullLife, kept: Pulls) -> str:
    name = look.strong(_("{h} h").format(h=as_hours(life.hours)))
    if life.lost:
        return look.row(name, look.chip("cross", "; ".join(lost_says(life)), "brick"))
    if life.taken is not None:
        tone = "copper" if life.is_late else "patina"
        return look.row(name, look.chip("triangle" if life.is_late else "disc", taken_says(life), tone))
    return look.row(name, look.chip("dot" if life is kept.next else "ring", _due(life)))


def note(store: Store, by: Staff, study: HoursStudy) -> None:
    """On the page of a sealed study: every pull as it was really taken, what is late, and the way to the conche."""
    every = pulls.by_batch(store, by, study.id)
    warn_late(every)
    with st.container(key="card-pulls"):
        look.put(look.title(_("Pulls as they were taken"), 2))
        for kept in every:
            if kept.batch:
                look.put(look.title(kept.batch, 3))
            if kept.zero_noted or any(not life.open for life in kept.lives):
                look.put(look.rows([_row(life, kept) for life in kept.lives]))
            else:
                look.put(look.quiet(_("Nothing is noted yet.")))
        if st.button(_("Note a pull"), key=f"to-pulls-{study.id}"):
            session.go("pulls", study=study.id)


def warn_late(every: Sequence[Pulls]) -> None:
    """A pull that is another one than the plan has; nothing where all were taken in time."""
    for sentence in late_pulls(*every):
        look.put(look.box("copper", _("Careful"), look.text(sentence)))
