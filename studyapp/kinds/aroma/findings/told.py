"""Which sentences belong to an aroma result, by what it is; screen and paper ask here."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

from studyapp.findings.facts import TrialFinding
from studyapp.kinds.aroma import deciding
from studyapp.kinds.aroma.deciding import SequentialStanding, prospects
from studyapp.kinds.aroma.files import forced_choice
from studyapp.kinds.aroma.findings import rounds, verdicts
from studyapp.kinds.aroma.findings.plans import way_rows
from studyapp.kinds.aroma.findings.verdicts import WayRow
from studyapp.services import closing
from studyapp.words import _, language

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
    signed = closing.kept_verdict(store, by, study.id, study.look)
    if signed is not None:
        finding = as_signed(study.plan, finding, signed, deciding.verdict_document(result))
    return Told(result, finding, way_rows(study.plan, prospects.ways(study.plan, open_)) if open_ else ())


def as_signed(
    plan: AromaPlan, finding: TrialFinding, signed: Mapping[str, Any], today: Mapping[str, Any]
) -> TrialFinding:
    """The sentences of a verdict that was signed: its own headline, where an earlier version of the rule gave another
    one than today's would, and that today's numbers below are not those it was signed on."""
    line = verdicts.kept_line(plan, signed)
    if line == verdicts.kept_line(plan, today):
        return finding
    said = _(
        "This stands as it was signed, under an earlier version of the rule. Decided today it would read: {headline} "
        "{lede}"
    ).format(headline=finding.headline, lede=finding.lede)
    careful = _("The numbers and pictures here are those of today's rule; the signed ones are in the record.")
    return replace(finding, headline=line, lede=said, then="", warnings=(careful, *finding.warnings))


def verdict_finding(plan: AromaPlan, result: Verdict) -> TrialFinding:
    """The sentences of a result."""
    from analysis.choice import ChoiceResult, Ladder

    if isinstance(result, ChoiceResult):
        limit = forced_choice.d_prime_of(result.method, result.pd_limit)
        sealed = None if (found := prospects.prospect(plan)) is None else found.marks
        if sealed is not None and result.control is not None and not result.control.trials:
            sealed = replace(sealed, control=result.control)  # sealed without one: its mark was never offered
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
    guessed = answers[answers["guess"].astype(bool) & ~answers["control"].astype(bool)]
    fact = verdicts.guesses(len(guessed), int(guessed["correct"].sum()))
    return replace(finding, numbers=(*finding.numbers, fact))


def still_open(result: Verdict) -> ChoiceResult | None:
    """The one test that says neither: that of the study, or the last rung that was neither found nor gone."""
    from analysis.choice import ChoiceResult, Ladder

    tests = [result] if isinstance(result, ChoiceResult) else []
    if isinstance(result, Ladder) and result.clean_from_all_tasted is None:
        tests = [result.rungs[-1].result]
    wanting = ("between the marks", "too few people to show it")
    return next((test for test in tests if test.reason in wanting), None)
