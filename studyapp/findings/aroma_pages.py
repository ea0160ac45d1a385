"""Which sentences belong to an aroma result, by what it is; screen and paper ask here."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from studyapp.findings import aroma
from studyapp.findings.aroma import WayRow
from studyapp.findings.aroma_plans import way_rows
from studyapp.findings.trials import TrialFinding
from studyapp.services import aroma_deciding, aroma_prospects, trials
from studyapp.services.aroma_deciding import SequentialStanding
from studyapp.words import language

if TYPE_CHECKING:
    import pandas as pd

    from analysis.choice import ChoiceResult
    from studyapp.records import AromaPlan, AromaStudy, Staff
    from studyapp.services.aroma_deciding import Verdict
    from studyapp.store import Store


@dataclass(frozen=True, slots=True)
class Told:
    """A result, its sentences, and the ways to an answer where it gives none."""

    result: Verdict
    finding: TrialFinding
    ways: tuple[WayRow, ...]


def told(store: Store, by: Staff, study: AromaStudy) -> Told:
    """What page and report say of an opened study, worked out once.

    Raises:
        NotAllowed: the key is not open.
        BadInput: too little was answered for a result.
    """
    now = aroma_deciding.moment(store, by, study.id)
    return now.once(("told", language()), lambda: _told(store, by, study))


def _told(store: Store, by: Staff, study: AromaStudy) -> Told:
    result = aroma_deciding.verdict(store, by, study.id)
    finding = with_guesses(verdict_finding(study.plan, result), aroma_deciding.answers(store, by, study.id))
    open_ = still_open(result)
    return Told(result, finding, way_rows(study.plan, aroma_prospects.ways(study.plan, open_)) if open_ else ())


def verdict_finding(plan: AromaPlan, result: Verdict) -> TrialFinding:
    """The sentences of a result."""
    from analysis.choice import ChoiceResult, Ladder

    if isinstance(result, ChoiceResult):
        limit = trials.d_prime_of(result.method, result.pd_limit)
        return aroma.detectable_finding(plan, result, limit, trials.settling_people(result))
    if isinstance(result, Ladder):
        return aroma.ladder_of(plan, result)
    if isinstance(result, SequentialStanding):
        decided = result.standing in ("same", "different")
        settling = None if decided else aroma_prospects.settling_cap(result.plan)
        return aroma.sequential_finding(plan, result.plan, result.standing, result.trials, result.correct, settling)
    return aroma.dose_finding(plan, result, *trials.threshold_checks(result))


def with_guesses(finding: TrialFinding, answers: pd.DataFrame) -> TrialFinding:
    """The numbers with how many answers were called a guess, and how those fared; the verdict counts them all."""
    guessed = answers[answers["guess"].astype(bool)]
    fact = aroma.guesses(len(guessed), int(guessed["correct"].sum()))
    return replace(finding, numbers=(*finding.numbers, fact))


def still_open(result: Verdict) -> ChoiceResult | None:
    """The one test that says neither: that of the study, or the last rung that was neither found nor gone."""
    from analysis.choice import ChoiceResult, Ladder

    tests = [result] if isinstance(result, ChoiceResult) else []
    if isinstance(result, Ladder) and result.clean_from_all_tasted is None:
        tests = [result.rungs[-1].result]
    return next((test for test in tests if not (test.different or test.similar.similar)), None)
