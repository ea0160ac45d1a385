"""After the last set: open the key once, read the verdict, sign. A sequential plan is read after complete rounds."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import takewhile
from typing import TYPE_CHECKING, Any, Literal, TypeAlias

from studyapp.errors import BadInput, NotAllowed
from studyapp.kinds.aroma import rule, setting_out
from studyapp.kinds.aroma.files import forced_choice
from studyapp.kinds.aroma.plan import KIND, LADDERS, AromaPlan, AromaStudy
from studyapp.kinds.aroma.rule import control
from studyapp.methods import METHODS
from studyapp.records import Sitting, Staff
from studyapp.services import calling, worked_out
from studyapp.services.access import require, study_or_refuse
from studyapp.services.worked_out import Moment
from studyapp.store import Store, events, sittings, trials
from studyapp.store.trials import BlindSet, Judged
from studyapp.words import _, ngettext

if TYPE_CHECKING:
    import pandas as pd

    from analysis.choice import ChoiceResult, ControlResult, Ladder, SequentialPlan, SequentialResult, Standing
    from analysis.choice.threshold import ThresholdFit


@dataclass(frozen=True, slots=True)
class SequentialStanding:
    """Where a plan that may end early stands after its last complete round; at "go on" it asks for the next one.

    `judged` is what the plan says of its complete rounds, up to the one that ended it; `served` counts complete rounds.
    `given` and `right` count every answer: once the key is open those of later or unfinished rounds too, which are
    shown and judge nothing. `control_left` sets of the control are still to be served; at an end of the plan
    `control_waits` for the main count to be closed, and the rest of it to be set out alone. `controls` holds after each
    round, once the key is open, the right answers to the control and all of them; those served alone are in none.
    """

    judged: SequentialResult
    served: int
    given: int
    right: int
    control_left: int = 0
    control_waits: bool = False
    controls: tuple[tuple[int, int], ...] = ()

    @property
    def plan(self) -> SequentialPlan:
        """The sealed plan."""
        return self.judged.plan

    @property
    def standing(self) -> Standing:
        """What it says."""
        return self.judged.standing


Verdict: TypeAlias = "ChoiceResult | ThresholdFit | Ladder | SequentialStanding"


# ---- the key -------------------------------------------------------------------------------------------------------


def close_up(tx: Any, by: Staff, study: AromaStudy) -> None:
    """Close what is left when every sealed set is behind, or a sequential plan has reached its end; sets that such a
    plan did not need stay unserved. Raises NotAllowed while the plan asks for more."""
    here = _walked(tx, study) if study.plan.sequential else None
    if here is None or here.standing == "go on":
        _refuse_open(tx, study)
    elif here.standing == "same" and here.control_left:
        raise NotAllowed(_("Not done: “close enough” waits for the control; serve the rest of its sets first."))
    _close_all(tx, by, study)


def _close_all(tx: Any, by: Staff, study: AromaStudy) -> None:
    for sitting in sittings.of_study(tx, study.id):
        if sitting.state != "closed":
            _close(tx, by, sitting)


def serve_control(store: Store, by: Staff, study_id: str) -> Sitting:
    """Close the count of a sequential plan that has reached its end before its control was complete, and plan one more
    sitting for the control sets that are left.

    Raises:
        NotAllowed: the plan asks for another round, or no control set is left.
    """
    require(by, "leader")
    with store.write() as tx:
        study = study_or_refuse(tx, study_id, KIND)
        here = _walked(tx, study) if study.state == "sealed" and study.plan.sequential else None
        if here is None or not here.control_waits:
            raise NotAllowed(_("Not done: no sets of the control are to be served alone."))
        _close_all(tx, by, study)
        return setting_out.serve_control(tx, study.id, study.plan, here.control_left)


def _refuse_open(tx: Any, study: AromaStudy) -> None:
    """The count is not looked at before the sealed number of sets is complete (more looks, more false alarms)."""
    for sitting in sittings.of_study(tx, study.id):
        left = len(trials.open_sets(tx, sitting.id))
        if left:
            raise NotAllowed(
                ngettext(
                    "Not done: {n} set of {label} is still open. Serve it, or close the sitting with a reason.",
                    "Not done: {n} sets of {label} are still open. Serve them, or close the sitting with a reason.",
                    left,
                ).format(n=left, label=sitting.label)
            )


def _close(tx: Any, by: Staff, sitting: Sitting) -> None:
    left = trials.open_sets(tx, sitting.id)
    at = events.now()
    calling.put_down(tx, by, sitting)
    sittings.set_state(tx, sitting.id, "closed", at)
    for each in left:
        trials.finish(tx, each, "not needed", at)
    sittings.end_codes(tx, sitting.id)
    body = {"sitting": sitting.id, "not needed": len(left), "by": by.id, "at": at}
    events.append(tx, "sitting closed", body, sitting.study)


def _opened(tx: Any, study_id: str) -> AromaStudy:
    study = study_or_refuse(tx, study_id, KIND)
    if study.state not in ("opened", "decided"):
        raise NotAllowed(_("Not done: the key is not open yet. Answers stay hidden, from you as well."))
    return study


# ---- answers -------------------------------------------------------------------------------------------------------
def answers(store: Store, by: Staff, study_id: str) -> pd.DataFrame:
    """Every answer in force, one row a set; only after the key is open.

    Columns: assessor, level (dose, batch or day; missing for one sample), sitting, position, order (0 plain, 1 other,
    in the order of tasting), correct (0 or 1), guess, at, control (whether the other cup was the control).
    """
    import pandas as pd

    require(by, "leader")
    with store.read() as tx:
        study = _opened(tx, study_id)
        kept = _answered(trials.judged(tx, study_id))
    return pd.DataFrame([_row(study.plan, each) for each in kept], columns=list(_COLUMNS))


_COLUMNS = ("assessor", "level", "sitting", "position", "order", "correct", "guess", "at", "control")


def _row(plan: AromaPlan, each: Judged) -> tuple[object, ...]:
    order = "".join(str(sample) for sample in each.order)
    level = None if each.control else each.level
    where = each.assessor, level, each.sitting, each.position
    return *where, order, _correct(plan, each), each.guess, each.at, each.control


def _answered(kept: Sequence[Judged]) -> list[Judged]:
    return [each for each in kept if each.picked is not None]


def _correct(plan: AromaPlan, each: Judged) -> int:
    return int(frozenset(each.picked or ()) in METHODS[plan.method].right_answers(each.order))


# ---- the verdict ---------------------------------------------------------------------------------------------------
def moment(store: Store, by: Staff, study_id: str) -> Moment:
    """The opened study as it stands now: what is worked out of it is kept under this.

    Raises:
        NotAllowed: no leader asks, or the key is not open.
    """
    require(by, "leader")
    with store.read() as tx:
        return worked_out.moment(store, tx, study_id, _opened(tx, study_id).look)


def verdict(store: Store, by: Staff, study_id: str) -> Verdict:
    """The result under the sealed rule, by aim.

    detectable: `ChoiceResult`, or `SequentialStanding` of a sequential plan; dose: `ThresholdFit`; carry over and
    linger: `Ladder`. Only after the key is open.

    Raises:
        NotAllowed: the key is not open.
        BadInput: too little was answered for a result.
    """
    return moment(store, by, study_id).once("verdict", lambda: _verdict(store, study_id))


def _verdict(store: Store, study_id: str) -> Verdict:
    with store.read() as tx:
        study = _opened(tx, study_id)
        if study.plan.sequential:
            return _walked(tx, study)
        kept = trials.judged(tx, study_id)
    try:
        return _judged(study.plan, _main(kept), _control(study, kept))
    except ValueError as problem:
        raise BadInput(_("Not done: too few answers for a result ({problem}).").format(problem=problem)) from problem


def _main(kept: Sequence[Judged]) -> list[Judged]:
    """The answers that the verdict counts: those of the control count nowhere else than in its own test."""
    return [each for each in _answered(kept) if not each.control]


def _control(study: AromaStudy, kept: Sequence[Judged]) -> ControlResult | None:
    """The control's own test, over every answer to its sets; None in a study whose seal knew of no controls."""
    if not control.asked_for(study.named) or not control.can_have(study.plan):
        return None
    said = [_correct(study.plan, each) for each in _answered(kept) if each.control]
    return control.judged(study.plan, len(said), sum(said))


def _judged(
    plan: AromaPlan, kept: Sequence[Judged], controlled: ControlResult | None
) -> ChoiceResult | ThresholdFit | Ladder:
    from analysis.choice import carry_over, threshold

    names, right = [each.assessor for each in kept], [_correct(plan, each) for each in kept]
    shares = tuple(sorted({0.5, plan.share}))
    if plan.aim == "dose":
        doses = threshold.dose_answers(names, [each.level or 0.0 for each in kept], right)
        fitted = threshold.fit(doses, plan.method, plan.alpha)
        return replace(fitted, noticed=tuple(threshold.at_share(fitted, share) for share in shares))
    if plan.aim in LADDERS:
        rungs = [int(each.level or 0) for each in kept]
        read = carry_over.ladder(names, rungs, right, plan.method, plan.pd_limit, plan.alpha, controlled)
        return replace(read, noticed=carry_over.noticed_until(names, rungs, right, plan.method, shares, plan.alpha))
    return _one_test(plan, names, right, controlled)


def _one_test(
    plan: AromaPlan, names: Sequence[str], right: Sequence[int], controlled: ControlResult | None
) -> ChoiceResult:
    from analysis.choice import judge_panel

    people = list(dict.fromkeys(names))
    found = [sum(r for n, r in zip(names, right, strict=True) if n == name) for name in people]
    asked = [names.count(name) for name in people]
    return judge_panel(plan.method, asked, found, plan.alpha, plan.pd_limit, controlled)


def answers_each(store: Store, by: Staff, study_id: str) -> tuple[int, ...]:
    """How many answers each person gave who gave any; it tells nothing of whether they are right, so it may be asked
    before the key is open, where the marks that hold and the chances left to them are said."""
    require(by, "leader")
    with store.read() as tx:
        counted = Counter(each.assessor for each in _main(trials.judged(tx, study_id)))
    return tuple(counted.values())


# ---- a sequential plan ---------------------------------------------------------------------------------------------
def standing(store: Store, by: Staff, study_id: str) -> SequentialStanding:
    """Where a sequential plan stands after its last complete round; the answers of an unfinished round stay hidden.

    Raises:
        NotAllowed: the plan is not sequential, or not sealed.
    """
    require(by, "leader")
    with store.read() as tx:
        study = study_or_refuse(tx, study_id, KIND)
        if study.state == "draft" or not study.plan.sequential:
            raise NotAllowed(_("Not done: the count is shown when every sealed set is complete."))
        return _walked(tx, study)


def _walked(tx: Any, study: AromaStudy) -> SequentialStanding:
    """The plan's own judge over complete rounds; answers of a round that is not complete stay hidden while it runs."""
    from analysis.choice import sequential

    kept, controls = trials.judged(tx, study.id), trials.controls(tx, study.id)
    main = _main(kept)
    trays = _trays(tx, study, controls)
    rounds = _complete_rounds(study, trays, main)
    served = sum(outcome in ("answered", "missing") for outcome in controls.values())
    left = max(control.sets(study.plan) - served, 0)
    waited = bool(study.plan.control) and (study.state == "sealed" or left)
    judged = sequential.judge(rule.by_rounds(study.plan), rounds, None if waited else _control(study, kept))
    shown = [_correct(study.plan, each) for each in main]
    if study.state == "sealed":
        shown = [each for one in rounds for each in one if each is not None]
    set_out = sum(outcome is None for outcome in controls.values())
    waits = judged.standing != "go on" and left > 0 and ("open" in trays.values() or set_out < left)
    after_rounds = () if study.state == "sealed" else _controls(study, sorted(trays)[: len(rounds)], kept)
    return SequentialStanding(judged, len(rounds), len(shown), sum(shown), left, waits, after_rounds)


def _controls(
    study: AromaStudy, trays: Sequence[tuple[int, int]], kept: Sequence[Judged]
) -> tuple[tuple[int, int], ...]:
    """Right answers to the control and all of them, by the round of the same sitting that they came after."""
    found = dict.fromkeys(trays, (0, 0))
    for each in _answered(kept):
        before = [tray for tray in trays if tray[0] == each.sitting and tray[1] < each.position]
        if each.control and before:
            right, given = found[before[-1]]
            found[before[-1]] = right + _correct(study.plan, each), given + 1
    return tuple(found.values())


TrayState = Literal["done", "open", "not needed"]


def _trays(tx: Any, study: AromaStudy, controls: Mapping[str, str | None]) -> dict[tuple[int, int], TrayState]:
    """How far every tray of a round is, by sitting and position: done when everybody has finished its set."""
    trays: dict[tuple[int, int], TrayState] = {}
    for sitting in sittings.of_study(tx, study.id):
        for cups in trials.blind_by_assessor(tx, sitting.id).values():
            for cup in cups:
                if cup.id not in controls:
                    trays[sitting.number, cup.position] = _behind(cup, trays.get((sitting.number, cup.position)))
    return trays


def _behind(cup: BlindSet, before: TrayState | None) -> TrayState:
    if cup.outcome == "not needed":
        return "not needed"
    return "open" if cup.finished_at is None else before or "done"


def _complete_rounds(
    study: AromaStudy, trays: Mapping[tuple[int, int], TrayState], kept: Sequence[Judged]
) -> list[list[int | None]]:
    """The trays that everybody has finished, in order, up to the first that is not: one entry a seat, None missed."""
    said = {(each.sitting, each.position, each.seat): _correct(study.plan, each) for each in kept}
    seats = range(1, len(study.plan.assessors) + 1)
    complete = takewhile(lambda tray: trays[tray] == "done", sorted(trays))
    return [[said.get((*tray, seat)) for seat in seats] for tray in complete]


# ---- signatures ----------------------------------------------------------------------------------------------------


def document(store: Store, by: Staff, study_id: str) -> dict[str, Any]:
    """The verdict as it is signed, in the form that the commands print."""
    return verdict_document(verdict(store, by, study_id))


def refuse_foreign(plan: Mapping[str, Any], verdicts: Sequence[Mapping[str, Any]]) -> None:
    """A rule that this app does not know can neither be decided by nor shown here. Raises BadInput."""
    version = plan.get("rule_version", control.FIRST_RULE)
    if version not in range(control.FIRST_RULE, control.RULE_VERSION + 1):
        sentence = _("study.csv names version {named} of the rule, and this app knows up to {n}. Update the app.")
        raise BadInput(sentence.format(named=version, n=control.RULE_VERSION))


def verdict_document(result: Verdict) -> dict[str, Any]:
    """A verdict as the plain values that the commands `choice`, `threshold`, `carryover` print."""
    from analysis.choice import ChoiceResult, Ladder

    def code(warning: Any, _about: object) -> str:
        return str(getattr(warning, "code", warning))

    if isinstance(result, ChoiceResult):
        return forced_choice.choice_document(result, code)
    if isinstance(result, Ladder):
        return forced_choice.ladder_document(result, code)
    if isinstance(result, SequentialStanding):
        given = {"answers_given": result.given, "right_of_given": result.right}
        return {**forced_choice.rounds_document(result.judged, code), **given}
    return forced_choice.threshold_document(result, code)
