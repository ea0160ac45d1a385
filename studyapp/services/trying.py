"""What an assessor does with a set of cups: one choice, which is final. Nothing here reads which sample a code is."""

from __future__ import annotations

import math
from datetime import timedelta
from typing import Any

from studyapp.errors import BadInput, NotAllowed, OutOfDate
from studyapp.methods import METHODS, Method
from studyapp.records import Kept, Place, Seat, SetsPlan, Sitting, Study
from studyapp.services import noticing
from studyapp.services.access import study_or_refuse
from studyapp.services.seating import check_nonce, grams_eaten, own_nonce, seat_or_refuse, sitting_of
from studyapp.services.standing import Standing, stamp, standing
from studyapp.store import Store, clock, events, sittings, trials
from studyapp.store.trials import BlindSet
from studyapp.words import _, ngettext


# ---- the page ------------------------------------------------------------------------------------------------------
def page(tx: Any, seat: Seat, sitting: Sitting, plan: SetsPlan) -> tuple[Place, bool]:
    """The page of an assessor in a trial sitting, and whether it offers a set for the first time."""
    sets = trials.blind(tx, seat.sitting, seat.assessor)
    present = sittings.presence(tx, seat.sitting, seat.assessor) or sittings.Presence()
    released = sittings.released(tx, seat.sitting)
    here = standing(sitting.state, sets, present, released, plan.rest_seconds, clock.now())
    offered = here.cup if here.kind == "trial" or _eaten(tx, plan, here) else None
    kept, saved_at = trials.answers_kept(tx, seat.sitting, seat.assessor)
    told = {"kind": here.kind, "ready_at": stamp(here.ready_at) if here.ready_at else None}
    found = Place(
        pseudonym=seat.pseudonym,
        number=_number(here, sets),
        saved_at=saved_at,
        marks_kept=kept,
        **_texts(sitting, plan, sets),
        **grams_eaten(tx, seat.assessor, plan.piece_g),
        **(told | (_offered(tx, plan, offered) if offered else {})),
    )
    return found, bool(offered and offered.started_at is None)


def _eaten(tx: Any, plan: SetsPlan, here: Standing[BlindSet]) -> bool:
    """Whether a pause comes while the moment of a piece is waited for; that one is waited out."""
    began = here.kind == "paused" and here.cup is not None and here.cup.started_at is not None
    return began and here.cup is not None and noticing.where(tx, plan, here.cup).eaten


def _number(here: Standing[BlindSet], sets: list[BlindSet]) -> int:
    """Which set this is, or how many are behind when there is no next one."""
    if here.cup is not None and here.kind not in ("welcome", "nothing", "done"):
        return sets.index(here.cup) + 1
    return sum(each.outcome == "answered" for each in sets)


def _texts(sitting: Sitting, plan: SetsPlan, sets: list[BlindSet]) -> dict[str, Any]:
    """What stands on every page of a sitting."""
    method = METHODS[plan.method]
    return {
        "sitting_label": sitting.label,
        "of": len(sets),
        "rest_seconds": plan.rest_seconds,
        "now": events.now(),
        "contains": plan.contains,
        "traces": plan.traces,
        "swallow": plan.swallow,
        "routine": plan.routine,
        "minutes": math.ceil(len(sets) * plan.minutes_a_set),
        "line_count": 1,
        "cups_a_set": method.cups,
        "pick": method.picks,
        "botanical": plan.warned_of,
        "one_by_one": bool(plan.longest_wait),
        "most_today": plan.most_g_a_day,
        "grams_ahead": plan.piece_g * method.cups * sum(each.finished_at is None for each in sets),
    }


def _offered(tx: Any, plan: SetsPlan, offered: BlindSet) -> dict[str, Any]:
    """The question of a set, or the piece that comes before it."""
    at = noticing.where(tx, plan, offered)
    if not at.over:
        return noticing.page(at, offered, plan.note)
    method = METHODS[plan.method]
    return {
        "kind": "trial",
        "trial": offered.id,
        "cups": offered.codes,
        "ask": method.question(plan.note, bool(plan.longest_wait)),
        "tell_reference": method.reference_first,
        "may_go_back": plan.retaste,
    }


# ---- pieces eaten one by one -----------------------------------------------------------------------------------------
def take_step(store: Store, seat_token: str | None, set_id: str, step: int, ago: float) -> Kept:
    """The next step of a set whose pieces are eaten one by one, `step` 1 to 4: the first one eaten, noticed, the second
    one eaten, noticed. `ago` are the seconds that it waited on the phone. A repeat changes nothing.

    A piece that was not noticed at its moment cannot be asked about any more: the set stays without an answer.

    Raises:
        BadInput: there is no such step.
        NotAllowed: the token is worthless, the step has not its turn, or comes before its moment.
        OutOfDate: the set is closed, or is not this assessor's.
    """
    noticing.check_step(step, ago)

    def keep(tx: Any) -> Kept:
        seat = seat_or_refuse(tx, seat_token)
        study, offered = _open_set(tx, seat, set_id)
        here = noticing.where(tx, study.plan, offered)
        if not study.plan.longest_wait or step > here.done + 1:
            raise NotAllowed(_("Not done: these cups have not their turn yet."))
        again = step <= here.done
        if not again:
            late = noticing.keep(tx, study.id, here, offered, clock.now() - timedelta(seconds=ago))
            if late is not None:
                leave_missing(tx, sitting_of(tx, seat), set_id, late)
        return Kept(events.now(), again)

    return store.write_together(keep)


# ---- the choice ----------------------------------------------------------------------------------------------------
def keep_choice(
    store: Store, seat_token: str | None, set_id: str, picked: tuple[str, ...], guess: bool, nonce: str
) -> Kept:
    """Keep the choice of a set, for good; the same nonce twice is one choice. The rest begins.

    Raises:
        BadInput: the codes do not answer the question.
        NotAllowed: the token is worthless, or the set has not its turn.
        OutOfDate: the set has its answer, or is not this assessor's.
    """
    check_nonce(nonce)
    if not isinstance(guess, bool):
        raise BadInput(_("Not done: say whether it was a guess. Choose again."))
    picked = as_codes(picked)

    def keep(tx: Any) -> Kept:
        seat = seat_or_refuse(tx, seat_token)
        known = trials.answer_by_nonce(tx, nonce)
        if known is not None:
            if (known.set, known.choice) != (set_id, picked):
                raise BadInput(_("Not done: this choice was sent under the name of another. Choose again."))
            return Kept(known.at, again=True)
        study, offered = _open_set(tx, seat, set_id)
        check_choice(METHODS[study.plan.method], offered.codes, picked)
        if not noticing.where(tx, study.plan, offered).over:
            raise NotAllowed(_("Not done: both pieces come before the answer."))
        at = trials.add_answer(tx, study.id, set_id, picked, guess, None, nonce)
        trials.finish(tx, set_id, "answered", at)
        return Kept(at)

    return store.write_together(keep)


def as_codes(picked: Any) -> tuple[str, ...]:
    """The codes in an order that does not depend on which was touched first."""
    if not isinstance(picked, list | tuple) or not all(isinstance(code, str) for code in picked):
        raise BadInput(_("Not done: the choice cannot be read. Choose again."))
    return tuple(sorted(picked))


def _open_set(tx: Any, seat: Seat, set_id: str) -> tuple[Study[SetsPlan], BlindSet]:
    """The set that may take its choice now: offered, so its tray is out and the rest was kept."""
    offered = trials.blind_of(tx, set_id, seat.sitting, seat.assessor)
    sitting = sitting_of(tx, seat)
    if offered is None:
        raise OutOfDate(_("Not done: this page is out of date. Open your link again; your answers are kept."))
    if offered.finished_at is not None:
        raise OutOfDate(_("Kept already at {time} UTC. A choice is final.").format(time=offered.finished_at[11:16]))
    if sitting.state == "closed":
        raise NotAllowed(_("Not done: this tasting is over. Your answers so far are kept."))
    if offered.started_at is None:
        raise NotAllowed(_("Not done: these cups have not their turn yet."))
    return study_or_refuse(tx, sitting.study), offered


def check_choice(method: Method, codes: tuple[str, ...], picked: tuple[str, ...]) -> None:
    """Whether some of the codes of a set answer the question of its method. Raises BadInput."""
    count = method.picks
    if len(picked) != count or len(set(picked)) != count or not set(picked) <= set(codes):
        raise BadInput(
            ngettext(
                "Not done: choose {n} of the codes on this page.",
                "Not done: choose {n} of the codes on this page.",
                count,
            ).format(n=count)
        )
    if method.reference_first and codes[0] in picked:
        raise BadInput(_("Not done: the first is the reference. Choose one of the other two."))


# ---- without an answer ---------------------------------------------------------------------------------------------
def set_aside(tx: Any, seat: Seat, set_id: str, reason: str, nonce: str) -> Kept:
    """A cup was spilled or broken: the set stays without an answer. "I notice nothing" is no such case but a guess.

    Raises:
        BadInput: the nonce names another set.
        NotAllowed: the set has not its turn.
        OutOfDate: the set has its answer.
    """
    known = trials.answer_by_nonce(tx, nonce)
    if known is not None:
        if known.set != set_id or known.choice is not None:
            raise BadInput(_("Not done: this was sent under the name of a choice. Open your link again."))
        return Kept(known.at, again=True)
    study, _offered = _open_set(tx, seat, set_id)
    at = trials.add_answer(tx, study.id, set_id, None, False, reason, nonce)
    trials.finish(tx, set_id, "missing", at)
    return Kept(at)


def give_up(tx: Any, sitting: Sitting, seat: Seat, keep_answers: bool) -> None:
    """An assessor stops: open sets stay without an answer, and kept ones go out of force if wished."""
    for each in trials.blind(tx, seat.sitting, seat.assessor):
        if each.finished_at is None:
            leave_missing(tx, sitting, each.id, "stopped")
        elif not keep_answers and _answered(tx, each.id):
            nonce = own_nonce("left", each.id)
            trials.add_answer(tx, sitting.study, each.id, None, False, "taken out by the assessor", nonce)


def _answered(tx: Any, set_id: str) -> bool:
    kept = trials.answer_of(tx, set_id)
    return kept is not None and kept.choice is not None


def leave_missing(tx: Any, sitting: Sitting, set_id: str, reason: str) -> None:
    """Close a set that nobody answered, and say why."""
    at = trials.add_answer(tx, sitting.study, set_id, None, False, reason, own_nonce("missing", set_id))
    trials.finish(tx, set_id, "missing", at)
