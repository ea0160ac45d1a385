"""Which sentences belong to an aroma result, by what it is; screen and paper ask here."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from studyapp.findings import aroma
from studyapp.findings.trials import TrialFinding
from studyapp.services import aroma_prospects, trials
from studyapp.services.aroma_deciding import SequentialStanding

if TYPE_CHECKING:
    import pandas as pd

    from analysis.choice import ChoiceResult
    from studyapp.records import AromaPlan
    from studyapp.services.aroma_deciding import Verdict


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
