"""After the last score: read the verdicts, sign, or plan the next sitting."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from studyapp.errors import BadInput, NotAllowed, NothingToDecide
from studyapp.kinds.comparison.files.decisions import Alike, alike_from, compared_from, comparison_document
from studyapp.kinds.comparison.plan import (
    KIND,
    LETTERS,
    TENS,
    ComparisonPlan,
    ComparisonStudy,
    Likewise,
    batch_of,
    piece_of,
    served,
)
from studyapp.kinds.comparison.rule import FIRST_RULE, rule_of
from studyapp.kinds.comparison.setting_out import make_sittings
from studyapp.records import Sitting, Staff
from studyapp.services import losses, worked_out
from studyapp.services.access import require, study_or_refuse
from studyapp.services.closing import close_cups, opened_look
from studyapp.services.worked_out import Moment
from studyapp.store import Store, events, servings, sittings, studies
from studyapp.words import _

if TYPE_CHECKING:
    import pandas as pd

    from analysis.comparing import Compared, MakeRule
    from analysis.comparing.price import MakeOffer


@dataclass(frozen=True, slots=True)
class Shown:
    """The verdicts of the last opened look as page and report show them, and what else differed; as they were signed,
    once somebody has."""

    found: Compared
    alike: Alike


def close_up(tx: Any, by: Staff, study: ComparisonStudy) -> None:
    """Close the sittings of the look. Raises NotAllowed while a serving is open."""
    close_cups(tx, by, study)


def scores_of(tx: Any, study_id: str, plan: ComparisonPlan, look: int) -> pd.DataFrame:
    """Every score in force up to a look, which must be open, by make and batch; and what is told of those that are
    missing, in the columns `why` and `reason`."""
    import pandas as pd

    rows = [tuple(row[:7]) for row in servings.tidy(tx, study_id, look)]
    frame = pd.DataFrame(rows, columns=list(losses.NAMES)).dropna(subset=["score"]).reset_index(drop=True)
    deciding = {line.name for line in plan.attributes if line.decides}
    told = losses.told(frame, losses.rows(tx, study_id, look), _sealed(tx, study_id, plan), deciding)
    if told:
        frame = pd.concat([frame.assign(why=""), pd.DataFrame(told)], ignore_index=True)
    made = frame.assign(make=[piece_of(plan, level) for level in frame["level"]])
    if plan.scope == "make":
        made["batch"] = [_batch(plan, *row) for row in zip(frame["level"], frame["sitting"], strict=True)]
    return made.drop(columns="level")


def _batch(plan: ComparisonPlan, level: float, sitting: float) -> str | None:
    """The batch of a piece; the control goes with the batches of its sitting."""
    if level:
        return str(int(level) % TENS)
    return str(batch_of(plan, int(sitting))) if sitting == sitting else None


def _sealed(tx: Any, study_id: str, plan: ComparisonPlan) -> list[float]:
    """Levels of the pieces that the sittings so far were to serve; a control that no claim needs may be missing."""
    numbers = [one.number for one in sittings.of_study(tx, study_id)]
    return sorted({level for number in numbers for level in served(plan, number)})


def moment(store: Store, by: Staff, study_id: str) -> Moment:
    """The last opened look as it stands now, under the rule of today. Raises NotAllowed before the key is open."""
    from analysis.comparing import COMPARING_VERSION

    require(by, "leader")
    with store.read() as tx:
        return worked_out.moment(
            store, tx, study_id, opened_look(tx, study_or_refuse(tx, study_id, KIND)), COMPARING_VERSION
        )


def readings_of(plan: ComparisonPlan) -> pd.DataFrame | None:
    """What was read of quantities with a limit, a row a reading; None where the plan has no limits."""
    import pandas as pd

    rows = [
        (letter, one.name, value, str(place * plan.batches // len(own) + 1))
        for one in plan.alike
        if one.limited
        for letter, own in zip(LETTERS, one.readings, strict=False)
        for place, value in enumerate(own)
    ]
    if not any(one.limited for one in plan.alike):
        return None
    table = pd.DataFrame(rows, columns=["make", "quantity", "value", "batch"])
    return table if plan.scope == "make" else table.drop(columns="batch")


def _to_weigh(store: Store, by: Staff, study_id: str) -> tuple[pd.DataFrame, MakeRule, pd.DataFrame | None]:
    require(by, "leader")
    with store.read() as tx:
        study = study_or_refuse(tx, study_id, KIND)
        look = opened_look(tx, study)
        return scores_of(tx, study_id, study.plan, look), rule_of(study.plan, look), readings_of(study.plan)


def compared(store: Store, by: Staff, study_id: str) -> Compared:
    """The verdicts of the last opened look under the rule of today.

    Raises:
        NothingToDecide: too little was scored, such as no piece of a make on a deciding attribute.
    """
    from analysis.comparing import compare

    def work() -> Compared:
        try:
            return compare(*_to_weigh(store, by, study_id))
        except ValueError as wrong:
            told = _("Not decided: too little was scored to weigh ({why}). Serve it again, or plan a new study.")
            raise NothingToDecide(told.format(why=str(wrong))) from wrong

    return moment(store, by, study_id).once("comparison", work)


def alike_of(plan: ComparisonPlan) -> Alike:
    """What else differed, by quantity and make, from what was read before the seal; with a claim on the make the mean
    of each batch counts as one reading."""
    from analysis.comparing.confounders import likeness

    letters = LETTERS[: len(plan.makes)]
    return {
        one.name: likeness(
            {letter: _units(plan, one, place) for place, letter in enumerate(letters)},
            LETTERS[0],
            one.tolerance,
        )
        for one in plan.alike
    }


def _units(plan: ComparisonPlan, one: Likewise, place: int) -> tuple[float, ...]:
    """The readings of one make, or the means of its batches where each was read several times."""
    own = one.readings[place] if place < len(one.readings) else ()
    each = len(own) // plan.batches if plan.scope == "make" and len(own) % plan.batches == 0 else 1
    if each < 2:
        return own
    return tuple(sum(own[start : start + each]) / each for start in range(0, len(own), each))


def shown(store: Store, by: Staff, study_id: str) -> Shown:
    """The verdicts to show: as they were signed, or under the rule of today while nobody has signed.

    Raises NotAllowed and NothingToDecide as `compared`.
    """
    require(by, "leader")
    with store.read() as tx:
        study = study_or_refuse(tx, study_id, KIND)
        document = studies.decision_document(tx, study_id, opened_look(tx, study))
    if document is None:
        return Shown(compared(store, by, study_id), alike_of(study.plan))
    return Shown(compared_from(document), alike_from(document))


def offers(store: Store, by: Staff, study_id: str) -> tuple[MakeOffer, ...]:
    """The price of an answer on the makes that are open; none where more of the same would not help."""
    if compared(store, by, study_id).reason is not None:
        return ()
    with store.read() as tx:
        each = study_or_refuse(tx, study_id, KIND).plan.next_sittings
    ways = (each, 2 * each)
    return moment(store, by, study_id).once("price", lambda: _priced(store, by, study_id, ways))


def _priced(store: Store, by: Staff, study_id: str, ways: tuple[int, ...]) -> tuple[MakeOffer, ...]:
    from analysis.comparing.price import price

    scores, rule, readings = _to_weigh(store, by, study_id)
    return price(scores, rule, ways, readings=readings)


def document(store: Store, by: Staff, study: str) -> dict[str, Any]:
    """The verdicts of the last opened look as they are signed."""
    with store.read() as tx:
        plan = study_or_refuse(tx, study, KIND).plan
    return comparison_document(compared(store, by, study), alike_of(plan), (), True)


def refuse_foreign(plan: Mapping[str, Any], verdicts: Sequence[Mapping[str, Any]]) -> None:
    """A rule that this app does not know can neither be decided by nor shown here. Raises BadInput."""
    from analysis.comparing import COMPARING_VERSION

    for file, document in (("study.csv", plan), *(("decision.csv", one) for one in verdicts)):
        known = document.get("comparing_version", FIRST_RULE)
        if known not in range(FIRST_RULE, COMPARING_VERSION + 1):
            sentence = _(
                "{file}: version {named} of the rule of comparisons is named, and this app knows up to version {n}. "
                "Update the app."
            )
            raise BadInput(sentence.format(file=file, named=known, n=COMPARING_VERSION))


# ---- the next look ---------------------------------------------------------------------------------------------------
def another_look(study: ComparisonStudy, found: Compared) -> bool:
    """Whether a sealed look is left that some make still needs."""
    return bool(found.open_makes) and study.look < study.plan.looks


def plan_next_sitting(store: Store, by: Staff, study_id: str) -> tuple[Sitting, ...]:
    """After `cannot tell` on some make: the sittings of the next sealed look, with all makes and new codes.

    Raises:
        NotAllowed: every make has its answer, or no sealed look is left.
    """
    require(by, "leader")
    found = shown(store, by, study_id).found
    with store.write() as tx:
        study = study_or_refuse(tx, study_id, KIND)
        if study.state != "opened" or not another_look(study, found):
            raise NotAllowed(
                _(
                    "Not done: every make has its answer, or the key was opened as often as was sealed. "
                    "Plan a new study."
                )
            )
        look = study.look + 1
        events.append(tx, "look planned", {"look": look, "by": by.id}, study_id)
        studies.set_state(tx, study_id, "sealed", look)
        return make_sittings(tx, study_id, study.plan, look)
