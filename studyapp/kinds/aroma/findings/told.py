"""Which sentences belong to an aroma result, by what it is; screen and paper ask here."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from studyapp.findings.facts import TrialFinding
from studyapp.kinds.aroma import deciding
from studyapp.kinds.aroma.deciding import SequentialStanding, prospects
from studyapp.kinds.aroma.files import forced_choice
from studyapp.kinds.aroma.findings import rounds, verdicts
from studyapp.kinds.aroma.findings.plans import way_rows
from studyapp.kinds.aroma.findings.verdicts import WayRow
from studyapp.words import language

if TYPE_CHECKING:
    import pandas as pd

    from analysis.choice import ChoiceResult
    from studyapp.kinds.aroma.deciding import Verdict
    from studyapp.kinds.aroma.plan import AromaPlan, AromaStudy
    from studyapp.records import Staff
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
    now = deciding.moment(store, by, study.id)
    return now.once(("told", language()), lambda: _told(store, by, study))


def _told(store: Store, by: Staff, study: AromaStudy) -> Told:
    result = deciding.verdict(store, by, study.id)
    finding = with_guesses(verdict_finding(study.plan, result), deciding.answers(store, by, study.id))
    open_ = still_open(result)
    return Told(result, finding, way_rows(study.plan, prospects.ways(study.plan, open_)) if open_ else ())


def verdict_finding(plan: AromaPlan, result: Verdict) -> TrialFinding:
    """The sentences of a result."""
    from analysis.choice import ChoiceResult, Ladder

    if isinstance(result, ChoiceResult):
        limit = forced_choice.d_prime_of(result.method, result.pd_limit)
        sealed = None if (found := prospects.prospect(plan)) is None else found.marks
        return verdicts.detectable_finding(plan, result, limit, forced_choice.settling_people(result), sealed)
    if isinstance(result, Ladder):
        return verdicts.ladder_of(plan, result)
    if isinstance(result, SequentialStanding):
        undecided = result.judged.reason == "between the marks"
        settling = prospects.settling_cap(result.plan) if undecided else None
        return rounds.sequential_finding(plan, result, settling)
    return verdicts.dose_finding(plan, result, *forced_choice.threshold_checks(result))


def with_guesses(finding: TrialFinding, answers: pd.DataFrame) -> TrialFinding:
    """The numbers with how many answers were called a guess, and how those fared; the verdict counts them all."""
    guessed = answers[answers["guess"].astype(bool)]
    fact = verdicts.guesses(len(guessed), int(guessed["correct"].sum()))
    return replace(finding, numbers=(*finding.numbers, fact))


def still_open(result: Verdict) -> ChoiceResult | None:
    """The one test that says neither: that of the study, or the last rung that was neither found nor gone."""
    from analysis.choice import ChoiceResult, Ladder

    tests = [result] if isinstance(result, ChoiceResult) else []
    if isinstance(result, Ladder) and result.clean_from_all_tasted is None:
        tests = [result.rungs[-1].result]
    return next((test for test in tests if test.verdict == "cannot tell" and not test.fewer), None)
