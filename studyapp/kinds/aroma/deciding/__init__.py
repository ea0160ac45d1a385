"""After the last set: open the key once, read the verdict, sign. A sequential plan is read after complete rounds."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Literal, TypeAlias

from studyapp.errors import BadInput, NotAllowed
from studyapp.kinds.aroma.files import forced_choice
from studyapp.kinds.aroma.plan import KIND, AromaPlan, AromaStudy
from studyapp.methods import METHODS
from studyapp.records import Sitting, Staff
from studyapp.services import worked_out
from studyapp.services.access import require, study_or_refuse
from studyapp.services.worked_out import Moment
from studyapp.store import Store, events, sittings, trials
from studyapp.store.trials import Judged
from studyapp.words import _, ngettext

if TYPE_CHECKING:
    import pandas as pd

    from analysis.choice import ChoiceResult, Ladder, SequentialPlan
    from analysis.choice.threshold import ThresholdFit


@dataclass(frozen=True, slots=True)
class SequentialStanding:
    """Where a sequential plan stands after its last complete round.

    `path` holds (answers, right answers) after every complete round, up to the answer that decided; `rounds` counts
    complete rounds. At `standing` "go on" the plan asks for the next round.
    """

    plan: SequentialPlan
    standing: Literal["same", "different", "go on", "cannot tell"]
    trials: int
    correct: int
    rounds: int
    path: tuple[tuple[int, int], ...]


Verdict: TypeAlias = "ChoiceResult | ThresholdFit | Ladder | SequentialStanding"


# ---- the key -------------------------------------------------------------------------------------------------------


def close_up(tx: Any, by: Staff, study: AromaStudy) -> None:
    """Close what is left when every sealed set is behind, or a sequential plan has reached its end; sets that such a
    plan did not need stay unserved. Raises NotAllowed while the plan asks for more."""
    if not (study.plan.sequential and _walked(tx, study).standing != "go on"):
        _refuse_open(tx, study)
    for sitting in sittings.of_study(tx, study.id):
        if sitting.state != "closed":
            _close(tx, by, sitting)


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
    in the order of tasting), correct (0 or 1), guess, at.
    """
    import pandas as pd

    require(by, "leader")
    with store.read() as tx:
        study = _opened(tx, study_id)
        kept = _answered(trials.judged(tx, study_id))
    return pd.DataFrame([_row(study.plan, each) for each in kept], columns=list(_COLUMNS))


_COLUMNS = ("assessor", "level", "sitting", "position", "order", "correct", "guess", "at")


def _row(plan: AromaPlan, each: Judged) -> tuple[object, ...]:
    order = "".join(str(sample) for sample in each.order)
    return each.assessor, each.level, each.sitting, each.position, order, _correct(plan, each), each.guess, each.at


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
        kept = _answered(trials.judged(tx, study_id))
    try:
        return _judged(study.plan, kept)
    except ValueError as problem:
        raise BadInput(_("Not done: too few answers for a result ({problem}).").format(problem=problem)) from problem


def _judged(plan: AromaPlan, kept: Sequence[Judged]) -> ChoiceResult | ThresholdFit | Ladder:
    from analysis.choice import carry_over, forced_choice, threshold

    names, right = [each.assessor for each in kept], [_correct(plan, each) for each in kept]
    if plan.aim == "dose":
        doses = threshold.dose_answers(names, [each.level or 0.0 for each in kept], right)
        return threshold.fit(doses, plan.method, plan.alpha)
    if plan.aim in ("carry over", "linger"):
        batches = [int(each.level or 0) for each in kept]
        return carry_over.ladder(names, batches, right, plan.method, plan.pd_limit, plan.alpha)
    people = list(dict.fromkeys(names))
    found = {name: sum(r for n, r in zip(names, right, strict=True) if n == name) for name in people}
    return forced_choice.judge_panel(
        plan.method, [names.count(name) for name in people], list(found.values()), plan.alpha, plan.pd_limit
    )


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
    """Answer by answer in the sealed order, as the plan's exact errors assume, over complete rounds only."""
    from analysis.choice import sequential

    plan = study.plan
    sealed = sequential.plan(plan.method, plan.alpha, plan.beta, plan.pd_limit, plan.cap or 1)
    count = right = 0
    state: Literal["same", "different", "go on", "cannot tell"] = "go on"
    path: list[tuple[int, int]] = []
    rounds = _complete_rounds(tx, study)
    for one in rounds:
        for each in _answered(one):
            if state == "go on":
                count, right = count + 1, right + _correct(plan, each)
                state = sequential.standing(sealed, count, right)
        if state == "go on" or not path or path[-1] != (count, right):
            path.append((count, right))
    return SequentialStanding(sealed, state, count, right, len(rounds), tuple(path))


def _complete_rounds(tx: Any, study: AromaStudy) -> list[list[Judged]]:
    """The trays that everybody has finished, in order, up to the first that is not."""
    unfinished = {
        (sitting.number, cup.position)
        for sitting in sittings.of_study(tx, study.id)
        for cups in trials.blind_by_assessor(tx, sitting.id).values()
        for cup in cups
        if cup.finished_at is None or cup.outcome == "not needed"
    }
    first_open = min(unfinished, default=None)
    rounds: dict[tuple[int, int], list[Judged]] = {}
    for each in trials.judged(tx, study.id):
        if first_open is None or (each.sitting, each.position) < first_open:
            rounds.setdefault((each.sitting, each.position), []).append(each)
    return list(rounds.values())


# ---- signatures ----------------------------------------------------------------------------------------------------


def document(store: Store, by: Staff, study_id: str) -> dict[str, Any]:
    """The verdict as it is signed, in the form that the commands print."""
    return verdict_document(verdict(store, by, study_id))


def refuse_foreign(plan: Mapping[str, Any], verdicts: Sequence[Mapping[str, Any]]) -> None:
    """Nothing to refuse: there has been one version of this rule."""


def verdict_document(result: Verdict) -> dict[str, Any]:
    """A verdict as the plain values that the commands `choice`, `threshold`, `carryover` print."""
    from analysis.choice import ChoiceResult, Ladder

    def code(warning: Any, _people: int) -> str:
        return str(warning.code)

    if isinstance(result, ChoiceResult):
        return forced_choice.choice_document(result, code)
    if isinstance(result, Ladder):
        return forced_choice.ladder_document(result, code)
    if isinstance(result, SequentialStanding):
        return {
            "standing": result.standing,
            "trials": result.trials,
            "correct": result.correct,
            "plan": forced_choice.sequential_document(result.plan),
        }
    return forced_choice.threshold_document(result)
