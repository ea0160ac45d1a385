"""After the last score: open the key once, read the verdict, sign, or plan the next sitting."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from studyapp.errors import BadInput, NotAllowed, NothingToDecide
from studyapp.kinds.hours.deciding import signed
from studyapp.kinds.hours.deciding.readings import readings
from studyapp.kinds.hours.files.decisions import decision_document
from studyapp.kinds.hours.files.exported import files_of
from studyapp.kinds.hours.plan import FIRST_RULE, KIND, HoursPlan, HoursStudy, rule_version
from studyapp.kinds.hours.rule import rule_of
from studyapp.kinds.hours.setting_out import make_sittings
from studyapp.kinds.hours.setting_out.pulls import lost_batches
from studyapp.records import Sitting, Staff
from studyapp.services import losses, worked_out
from studyapp.services.access import require, study_or_refuse
from studyapp.services.closing import close_cups, opened_look
from studyapp.services.losses import lost_as_a_whole
from studyapp.services.spreads import of_others, others
from studyapp.services.worked_out import Moment
from studyapp.store import Store, events, servings, studies
from studyapp.words import _, ngettext

if TYPE_CHECKING:
    import pandas as pd

    from analysis.planning import Offer
    from analysis.stopping import Decision, Rule
    from analysis.stopping.cross_check import AttributeCheck
    from analysis.stopping.describe import Description


@dataclass(frozen=True, slots=True)
class Shown:
    """The verdict of the last opened look as page and report show it: as it was signed, once somebody has.

    `rule_version` is that of the rule that gave it, `sealed_version` the one that the seal names. Where it was signed
    under an earlier rule, `corrected` is what the rule of today says on the same scores, or the sentence why it says
    nothing; None otherwise.
    """

    decision: Decision
    rule_version: int
    sealed_version: int
    corrected: Decision | str | None = None


def close_up(tx: Any, by: Staff, study: HoursStudy) -> None:
    """Close the sittings of the look. Raises NotAllowed while a serving is open."""
    close_cups(tx, by, study)


def scores(store: Store, by: Staff, study_id: str) -> pd.DataFrame:
    """Every score in force as a tidy frame; only after the key is open."""
    require(by, "leader")
    with store.read() as tx:
        study = study_or_refuse(tx, study_id, KIND)
        return _by_batch(scores_of(tx, study_id, opened_look(tx, study)), study.plan).rename(columns={"level": "hours"})


def _by_batch(rows: pd.DataFrame, plan: HoursPlan) -> pd.DataFrame:
    """Rows by the number of their pull, with its hours in that column and a column `batch`."""
    if not plan.several:
        return rows.assign(batch=plan.batch)
    pieces = plan.pieces()
    hours = [pieces[level][1] for level in rows["level"]]
    return rows.assign(level=hours, batch=[plan.batches[pieces[level][0]] for level in rows["level"]])


def scores_of(tx: Any, study_id: str, look: int) -> pd.DataFrame:
    """Every score in force up to a look, which must be open, by the number of its pull."""
    import pandas as pd

    rows = [tuple(row[:7]) for row in servings.tidy(tx, study_id, look)]
    return pd.DataFrame(rows, columns=list(losses.NAMES)).dropna(subset=["score"]).reset_index(drop=True)


def moment(store: Store, by: Staff, study_id: str) -> Moment:
    """The last opened look as it stands now, under the rule of today: what is worked out of it is kept under this.

    Raises:
        NotAllowed: no leader asks, or the key is not open.
    """
    from analysis.stopping import RULE_VERSION

    require(by, "leader")
    with store.read() as tx:
        study = study_or_refuse(tx, study_id, KIND)
        return worked_out.moment(store, tx, study_id, opened_look(tx, study), RULE_VERSION)


def to_weigh(store: Store, by: Staff, study_id: str) -> tuple[pd.DataFrame, Rule]:
    """The scores, with what is told of those that are missing, and the rule of the last opened look.

    Raises:
        NothingToDecide: fewer than two pulls hold scores.
    """
    import pandas as pd

    require(by, "leader")
    with store.read() as tx:
        study = study_or_refuse(tx, study_id, KIND)
        plan, look = study.plan, opened_look(tx, study)
        every = range(plan.known_by(look) if plan.several else 1)
        tasted = [place for place in every if place not in lost_batches(plan, lost_as_a_whole(tx, study_id))]
        rule = rule_of(plan, look, len(every) - len(tasted))
        left = losses.rows(tx, study.id, look)
        frame = scores_of(tx, study_id, look)
    rows = [frame.assign(why="")]
    for place in tasted:  # nothing is said of a batch that was lost whole
        levels = [level for level, (batch, _hours) in plan.pieces().items() if batch == place]
        own = [row for row in left if row["level"] in levels]
        untold = losses.told(frame[frame["level"].isin(levels)], own, levels, rule.attributes)
        rows += [pd.DataFrame(untold)] if untold else []
    told = _by_batch(pd.concat(rows, ignore_index=True), plan).rename(columns={"level": "hours"})
    if len({*told.loc[told["score"].notna(), "hours"]} - {*told.loc[told["why"] == "unread", "hours"]}) < 2:
        raise NothingToDecide(
            _(
                "Not decided: fewer than two pulls were scored, so nothing can be weighed. "
                "Serve them in the next sitting, or plan a new study."
            )
        )
    return told, rule


def decision(store: Store, by: Staff, study_id: str) -> Decision:
    """The verdict of the last opened look by the sealed margins, limits and looks, under the rule of today."""
    from analysis.stopping import decide

    def decided() -> Decision:
        return decide(*to_weigh(store, by, study_id), readings(store, by, study_id))

    return moment(store, by, study_id).once("decision", decided)


def shown(store: Store, by: Staff, study_id: str) -> Shown:
    """The verdict to show: as it was signed, or under the rule of today while nobody has signed.

    Raises:
        NotAllowed: the key is not open.
        NothingToDecide: nobody has signed, and too little was scored for a verdict.
    """
    from analysis.stopping import RULE_VERSION

    require(by, "leader")
    with store.read() as tx:
        study = study_or_refuse(tx, study_id, KIND)
        document = studies.decision_document(tx, study_id, opened_look(tx, study))
    sealed = rule_version(study) or FIRST_RULE
    if document is None:
        return Shown(decision(store, by, study_id), RULE_VERSION, sealed)
    version = signed.rule_version(document)
    corrected = _today(store, by, study_id) if version != RULE_VERSION else None
    return Shown(signed.decision_from(document), version, sealed, corrected)


def _today(store: Store, by: Staff, study_id: str) -> Decision | str:
    try:
        return decision(store, by, study_id)
    except NothingToDecide as refused:
        return str(refused)


def offers(store: Store, by: Staff, study_id: str) -> tuple[Offer, ...]:
    """The price of an answer after `cannot tell`, by what the plan sealed about later sittings and by what the panel's
    other opened studies tell of how much its people differ."""
    now = moment(store, by, study_id)
    return now.once(("price", others(store, study_id)), lambda: _priced(store, by, study_id))


def _priced(store: Store, by: Staff, study_id: str) -> tuple[Offer, ...]:
    from analysis.planning import Service, price, price_batches

    frame, rule = to_weigh(store, by, study_id)
    with store.read() as tx:
        plan = study_or_refuse(tx, study_id, KIND).plan
    read = readings(store, by, study_id)
    if decision(store, by, study_id).batches is not None:
        joining = [plan.added] if plan.added and rule.look < rule.looks else []
        return price_batches(frame, rule, joining, readings=read)
    history = of_others(store, study_id, rule.attributes)
    service = Service(plan.replicates, plan.palate, plan.next_sittings)
    return price(frame, rule, sealed=service, history=history, readings=read)


def description(store: Store, by: Staff, study_id: str) -> Description | None:
    """Reruns beside the verdict of the last opened look: one assessor less, no first servings, own gains, habits; None
    of several batches, which are told one by one instead."""
    from analysis.stopping.describe import describe

    if decision(store, by, study_id).batches is not None:
        return None

    def described() -> Description:
        return describe(*to_weigh(store, by, study_id), readings(store, by, study_id))

    return moment(store, by, study_id).once("description", described)


def cross_check(store: Store, by: Staff, study_id: str) -> Mapping[str, AttributeCheck]:
    """What two other programs say of the numbers below the verdict that is shown."""
    from analysis.stopping.cross_check import cross_check as ask

    def asked() -> Mapping[str, AttributeCheck]:
        return ask(*to_weigh(store, by, study_id), shown(store, by, study_id).decision)

    return moment(store, by, study_id).once("cross check", asked)


def files(store: Store, by: Staff, study_id: str) -> dict[str, str]:
    """Scores, readings and rule of the last opened look as files, by name; `studyapp decide` says the same of them."""

    def written() -> dict[str, str]:
        return files_of(*to_weigh(store, by, study_id), readings(store, by, study_id))

    return moment(store, by, study_id).once("files", written)


def document(store: Store, by: Staff, study_id: str) -> dict[str, Any]:
    """The verdict of the last opened look as it is signed."""
    return decision_document(decision(store, by, study_id), (), True)


def refuse_foreign(plan: Mapping[str, Any], verdicts: Sequence[Mapping[str, Any]]) -> None:
    """A rule that this app does not know can neither be decided by nor shown here. Raises BadInput."""
    _refuse_newer("study.csv", plan)
    for verdict in verdicts:
        _refuse_newer("decision.csv", verdict)


def _refuse_newer(file: str, document: Mapping[str, Any]) -> None:
    """A rule that this app does not know can neither be decided by nor shown here."""
    from analysis.stopping import RULE_VERSION

    named = document.get("rule_version", FIRST_RULE)
    if named not in range(FIRST_RULE, RULE_VERSION + 1):
        sentence = _(
            "{file}: version {named} of the stop rule is named, and this app knows up to version {n}. Update the app."
        )
        raise BadInput(sentence.format(file=file, named=named, n=RULE_VERSION))


def plan_next_sitting(
    store: Store, by: Staff, study_id: str, pulls: tuple[float, ...] | None = None
) -> tuple[Sitting, ...]:
    """After `cannot tell`: the sittings of the next sealed look, with new codes; `pulls` names those to serve.

    Raises:
        NotAllowed: the verdict is another one, or no sealed look is left.
        BadInput: the reference or the control is left out, or a pull is not planned.
    """
    require(by, "leader")
    with store.read() as tx:
        _refuse_look(study_or_refuse(tx, study_id, KIND))
    verdict = _verdict(store, by, study_id)
    if verdict not in ("cannot tell", None):
        raise NotAllowed(
            _("Not done: this opening gave an answer, so the study ends here. Plan a new study for a new question.")
        )
    with store.write() as tx:
        study = study_or_refuse(tx, study_id, KIND)
        _refuse_look(study)
        _refuse_pulls(study, pulls, lost_as_a_whole(tx, study_id))
        look = study.look + 1
        events.append(tx, "look planned", {"look": look, "by": by.id}, study_id)
        studies.set_state(tx, study_id, "sealed", look)
        return make_sittings(tx, study_id, study.plan, look, pulls)


def _verdict(store: Store, by: Staff, study_id: str) -> str | None:
    """The verdict of the last opened look, as signed where it is; None when too little was scored for any."""
    try:
        return shown(store, by, study_id).decision.verdict
    except NothingToDecide:
        return None


def _refuse_look(study: HoursStudy) -> None:
    """A look beyond the sealed number would make the error larger than sealed."""
    if study.state != "opened":
        raise NotAllowed(_("Not done: open the key first; the next sitting follows from its verdict."))
    if study.look >= study.plan.looks:
        raise NotAllowed(
            ngettext(
                "Not done: {n} opening of the key was sealed and is used. Another one would make the error larger than "
                "sealed; plan a new study.",
                "Not done: {n} openings of the key were sealed and all are used. Another one would make the error "
                "larger than sealed; plan a new study.",
                study.plan.looks,
            ).format(n=study.plan.looks)
        )


def _refuse_pulls(study: HoursStudy, pulls: tuple[float, ...] | None, lost: set[float]) -> None:
    if pulls is None:
        return
    hours = [pull.hours for pull in study.plan.pulls if pull.hours not in lost]
    control = study.plan.control if study.plan.control in hours[:-1] else min(hours)
    if not {max(hours), control} <= set(pulls):
        raise BadInput(_("Fix the pulls: the longest pull and the control are served in every sitting."))
    if not set(pulls) <= set(hours):
        raise BadInput(_("Fix the pulls: take them from the sealed plan."))
