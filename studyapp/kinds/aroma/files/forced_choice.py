"""Forced-choice use cases without a store: judge, plan, find a threshold, climb a ladder; problems become BadInput.

Answers come from files or as totals. The functions also turn results into the JSON contract of the commands.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import asdict, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeAlias

from studyapp.errors import BadInput
from studyapp.kinds.aroma import rule
from studyapp.methods import METHODS
from studyapp.words import _

if TYPE_CHECKING:
    from analysis.choice import (
        Chances,
        ChoicePlan,
        ChoiceResult,
        ControlResult,
        Ladder,
        PanelReach,
        SequentialPlan,
        SequentialResult,
    )
    from analysis.choice.threshold import FitTest, ShareLevel, ThresholdFit

Document = dict[str, Any]
COLUMN_AIMS = {"batch": "carry over", "days": "linger", "seconds": "aftertaste"}
Say = Callable[..., str]
Given: TypeAlias = tuple[int, int] | None  # sets of the control, and the right answers among them
MOST_CONTROL = 10_000


# ---- use cases -----------------------------------------------------------------------------------------------------
def control_of(method: str, alpha: float, given: Given, counted: Given = None) -> ControlResult | None:
    """The control's own test, from its (trials, right answers) as they were typed or `counted` in a file; None without
    either. Raises BadInput, for both at once too."""
    from analysis.choice import judge_control

    if given is not None and counted is not None:
        raise BadInput(_("Fix --control-trials: the file has a column control already; give one of them."))
    trials, correct = given or counted or (0, 0)
    if given is not None and not 1 <= trials <= MOST_CONTROL:
        raise BadInput(_("Fix --control-trials: {n} is not a number of sets. Write 1 or more.").format(n=trials))
    if not 0 <= correct <= trials:
        raise BadInput(
            _("Fix --control-correct: {x} right answers do not fit {n} sets of the control.").format(
                x=correct, n=trials
            )
        )
    return judge_control(method, trials, correct, alpha) if trials else None


def judge_totals(
    method: str, trials: int, correct: int, alpha: float, pd: float, control: Given = None
) -> ChoiceResult:
    """One test from its totals, taken as one trial each of different people. Raises BadInput."""
    from analysis.choice import forced_choice

    check_settings(method, alpha=alpha, pd=pd)
    if trials < 1:
        raise BadInput(_("Fix --trials: {n} is not a number of trials. Write 1 or more.").format(n=trials))
    if correct < 0:
        raise BadInput(_("Fix --correct: {x} is below 0. Write how many answers were right.").format(x=correct))
    if correct > trials:
        raise BadInput(
            _("Fix --correct: {x} right answers are more than the {n} trials asked.").format(x=correct, n=trials)
        )
    with _as_bad_input():
        return forced_choice.judge_totals(method, trials, correct, alpha, pd, control_of(method, alpha, control))


def judge_file(method: str, path: Path, alpha: float, pd: float, control: Given = None) -> ChoiceResult:
    """One test from a file of answers, one row a trial. Raises BadInput."""
    from analysis.choice import forced_choice
    from analysis.files import answers

    check_settings(method, alpha=alpha, pd=pd)
    with _as_bad_input():
        read = answers.read_answers(path)
        _names, trials, correct = read.by_assessor()
        found = control_of(method, alpha, control, read.control)
        return forced_choice.judge_panel(method, trials, correct, alpha, pd, found)


def settling_people(result: ChoiceResult) -> int | None:
    """People with as many trials each who would settle an open question in 9 of 10 cases; None when it is not open."""
    from analysis.choice import settling_assessors

    if result.verdict != "cannot tell" or result.fewer:
        return None
    return settling_assessors(result.method, max(result.trials_each), result.alpha, result.pd_limit)


def plan_test(method: str, alpha: float, beta: float, pd: float, similarity: bool) -> ChoicePlan:
    """Trials of different people for a wished power. Raises BadInput."""
    from analysis.choice import choice_planning

    check_settings(method, alpha=alpha, pd=pd, beta=beta)
    with _as_bad_input():
        make = choice_planning.plan_similar if similarity else choice_planning.plan_different
        return make(method, alpha, beta, pd)


def plan_control(method: str, alpha: float, trials: int | None, similarity: bool) -> tuple[ControlResult, float] | None:
    """The mark of a control of so many sets, and the chance that it is found when 8 of 10 are right. Raises BadInput,
    also where even all right would not be found."""
    from analysis.choice import control_chance

    planned = None if trials is None else control_of(method, alpha, (trials, 0))
    if planned is None:
        return None
    if not similarity:
        raise BadInput(_("Fix --control-trials: a control belongs to a plan with --similarity."))
    if planned.minimum_correct is None:
        raise BadInput(_("Fix --control-trials: with so few sets no result would count as found."))
    return planned, control_chance(method, planned.trials, alpha)


def panel_reach(method: str, alpha: float, assessors: int, replicates: int) -> PanelReach:
    """What a panel of this size can find and show. Raises BadInput."""
    from analysis.choice import choice_planning

    check_settings(method, alpha=alpha)
    with _as_bad_input():
        return choice_planning.panel_reach(method, assessors, replicates, alpha)


def plan_sequential(method: str, alpha: float, beta: float, pd: float, cap: int, people: int = 1) -> SequentialPlan:
    """A sequential plan with its sealed cap, in rounds of so many people. Raises BadInput."""
    from analysis.choice import sequential

    check_settings(method, alpha=alpha, pd=pd, beta=beta)
    if people < 1:
        raise BadInput(_("Fix --assessors: {n} is not a number of people. Write 1 or more.").format(n=people))
    with _as_bad_input():
        return sequential.plan(method, alpha, beta, pd, cap, people)


def judge_rounds(path: Path, sealed: SequentialPlan, control: Given = None) -> SequentialResult:
    """A sequential plan from a file of answers: round by round, everybody's answers in the order of their rows or by
    a column round. Raises BadInput."""
    from analysis.choice import sequential
    from analysis.files import answers

    with _as_bad_input(path.name):
        rounds, counted = answers.read_rounds(path, sealed.people)
        return sequential.judge(sealed, rounds, control_of(sealed.method, sealed.alpha, control, counted))


def threshold_file(
    method: str, path: Path, alpha: float, uneven: bool, control: Given = None, share: float = 0.5
) -> ThresholdFit:
    """A threshold from a file of answers with doses, and the dose of a `share`. Raises BadInput."""
    from analysis.choice import threshold
    from analysis.files import answers

    check_settings(method, alpha=alpha)
    _check_share("--share", share, 1.0)
    with _as_bad_input(path.name):
        read = answers.read_doses(path, uneven)
        fitted = threshold.fit(threshold.dose_answers(read.assessor, read.level, read.correct), method, alpha)
        told = control_of(method, alpha, control, read.control)
        return replace(fitted, control=told, noticed=(threshold.at_share(fitted, share),))


def threshold_checks(fitted: ThresholdFit) -> tuple[FitTest, tuple[tuple[str, ThresholdFit], ...]]:
    """The test of fit, and each assessor who finds much less with the threshold of the others."""
    from analysis.choice import threshold

    names = fitted.answers.assessors
    without = (
        (name, threshold.fit(fitted.answers.without(names.index(name)), fitted.method, fitted.alpha))
        for name in threshold.standing_apart(fitted)
    )
    return threshold.fit_test(fitted), tuple(without)


def ladder_file(
    method: str, path: Path, pd: float, alpha: float, uneven: bool, control: Given = None, share: float = 0.5
) -> tuple[Ladder, str]:
    """A ladder from a file of answers with batches, days or seconds, until when a `share` notices, and its aim. Raises
    BadInput."""
    from analysis.choice import carry_over
    from analysis.files import answers

    check_settings(method, alpha=alpha, pd=pd)
    _check_share("--share", share, 1.0)
    with _as_bad_input(path.name):
        read = answers.read_batches(path, uneven)
        rungs = [int(batch) for batch in read.level]
        told = control_of(method, alpha, control, read.control)
        found = carry_over.ladder(read.assessor, rungs, read.correct, method, pd, alpha, told)
        until = carry_over.noticed_until(read.assessor, rungs, read.correct, method, (share,), alpha)
        return replace(found, noticed=until), COLUMN_AIMS[read.column]


def pd_of(method: str, d_prime: float) -> float:
    """The limit pd that a limit stated as d' means in this test. Raises BadInput."""
    from analysis.choice import psychometric

    check_settings(method)
    if not 0 < d_prime <= psychometric.LARGEST_D_PRIME:
        raise BadInput(_("Fix --d-prime: {d} is not a distance between 0 and 20.").format(d=d_prime))
    return psychometric.to_discriminators(method, float(psychometric.proportion_correct(method, d_prime)))


def d_prime_of(method: str, pd: float) -> float:
    """The d' that a limit pd means in this test."""
    from analysis.choice import psychometric

    return psychometric.d_prime(method, psychometric.from_discriminators(method, pd))


# ---- checks --------------------------------------------------------------------------------------------------------
def check_settings(method: str, alpha: float = 0.05, pd: float = 0.3, beta: float = 0.1) -> None:
    """Refuse an unknown method and risks or shares out of range, each in one sentence. Raises BadInput."""
    _check_method(method)
    _check_share("--pd", pd, 1.0)
    _check_share("--alpha", alpha, 0.5)
    _check_share("--beta", beta, 0.5)


def _check_method(method: str) -> None:
    from difflib import get_close_matches

    from analysis.choice import method_named

    try:
        method_named(method)
    except ValueError as problem:
        near = get_close_matches(method.strip().casefold(), METHODS, 1, 0.3)
        known = ", ".join(METHODS)
        shown = _one_line(method)
        if near:
            raise BadInput(
                _("Fix --method: “{method}” is not known, the nearest is {near}. Known: {known}.").format(
                    method=shown, near=near[0], known=known
                )
            ) from problem
        raise BadInput(
            _("Fix --method: “{method}” is not known. Known: {known}.").format(method=shown, known=known)
        ) from problem


def _check_share(option: str, value: float, below: float) -> None:
    if 0 < value < below:
        return
    if 1 <= value < 100 * below:
        raise BadInput(
            _("Fix {option}: {value} is not a share below {below}. Write {share} for {value} %.").format(
                option=option, value=f"{value:g}", below=f"{below:g}", share=_share_text(value / 100)
            )
        )
    raise BadInput(
        _("Fix {option}: {value} is out of range. Write a share above 0 and below {below}.").format(
            option=option, value=f"{value:g}", below=f"{below:g}"
        )
    )


def _share_text(share: float) -> str:
    """A share as it is typed: two decimals, or more where they count."""
    return f"{share:.2f}" if math.isclose(share, round(share, 2)) else f"{share:g}"


def _one_line(text: str) -> str:
    line = "".join(letter if letter.isprintable() else " " for letter in text[:40]).strip()
    return line if len(text) <= 40 else f"{line}…"


@contextmanager
def _as_bad_input(name: str = "") -> Iterator[None]:
    """A ValueError of the statistics as the sentence a person gets; a file's own sentences pass as they are."""
    try:
        yield
    except ValueError as problem:
        from analysis.files import ScoreError  # loads pandas, which a command without a file need not wait for

        if isinstance(problem, ScoreError):
            raise BadInput(str(problem)) from problem
        if name:
            raise BadInput(_("Fix {file}: {problem}.").format(file=name, problem=problem)) from problem
        raise BadInput(_("Fix: {problem}.").format(problem=problem)) from problem


# ---- the JSON contract ---------------------------------------------------------------------------------------------
def choice_document(result: ChoiceResult, say: Say) -> Document:
    """`choice --json`. `say` writes the sentence of a warning, given it and the number of people."""
    each = result.trials_each
    return {
        "verdict": result.verdict,
        "reason": result.reason,
        "scope": "people like them" if result.similar.offered else "these assessors",
        **_sealed(result.method, result.alpha),
        "assessors": len(each),
        "people_by_trials": {str(trials): people for trials, people in sorted(Counter(each).items())},
        "trials": result.trials,
        "correct": result.correct,
        "p_value": result.p_value,
        "minimum_correct": result.minimum_correct,
        "fewer_at_most": result.fewer_at_most,
        "different": result.different,
        "proportion_correct": asdict(result.proportion_correct),
        "proportion_discriminators": asdict(result.proportion_discriminators),
        "d_prime": asdict(result.d_prime),
        "similarity": {
            "pd_limit": result.pd_limit,
            **asdict(result.similar),
            "these_assessors": {
                name: value for name, value in asdict(result.these_assessors).items() if name != "offered"
            },
        },
        "errors": asdict(result.errors),
        "chances": _chances(result.chances, result.pd_limit),
        "control": control_document(result.control),
        **_warned(result.warnings, [say(warning, len(each)) for warning in result.warnings]),
    }


def _sealed(method: str, alpha: float) -> Document:
    """What every verdict was judged by."""
    return {"rule_version": rule.control.RULE_VERSION, "method": method, "alpha": alpha}


def _chances(of: Callable[[float], Chances], limit: float) -> Document:
    """What the design says, and how often, by the share that truly notices: nobody, half the limit, the limit."""
    return {name: asdict(of(share)) for name, share in rule.noticing(limit).items()}


def _warned(codes: Iterable[Any], sentences: list[str]) -> Document:
    return {"warnings": sentences, "warning_codes": [str(getattr(code, "code", code)) for code in codes]}


def control_document(control: ControlResult | None) -> Document | None:
    """The control in every document: null where none is known of."""
    return None if control is None else asdict(control)


def plan_document(
    plan: ChoicePlan,
    similarity: bool,
    reach: PanelReach | None,
    control: tuple[ControlResult, float] | None = None,
) -> Document:
    """`plan choice --json`."""
    document: Document = {
        "trials": plan.trials,
        "trials_kept": plan.trials_kept,
        "maximum_correct" if similarity else "minimum_correct": plan.mark,
        "power": plan.power,
    }
    if control is not None:
        planned, chance = control
        mark = {"trials": planned.trials, "minimum_correct": planned.minimum_correct, "power": chance}
        document |= {"control": mark, "power_with_control": plan.power * chance}
    if reach is not None:
        document["by_power"] = {
            f"{power:g}": {
                "detectable_pd": found.detectable_pd,
                "demonstrable_pd": found.demonstrable_pd,
                "maximum_correct": found.maximum_correct,
            }
            for power, found in reach.by_power.items()
        }
        document["floor_pd"] = reach.floor_pd
    return document


def sequential_document(plan: SequentialPlan) -> Document:
    """`plan sequential --json`."""
    sealed = ("method", "alpha", "beta", "pd", "cap")
    return {name: value for name, value in asdict(plan).items() if name not in sealed}


def rounds_document(result: SequentialResult, say: Say) -> Document:
    """`choice --cap --json`: what was judged, round by round, with the sealed plan and the marks of rounds served.

    While it goes on, `verdict` is "cannot tell". "Similar" of people who taste again and again is of them alone.
    """
    share, sealed = result.proportion_discriminators, result.plan
    said = {"different": "different", "same": "similar"}
    return {
        "verdict": said.get(result.standing, "cannot tell"),
        "reason": "not decided yet" if result.standing == "go on" else result.reason,
        "scope": "these assessors" if sealed.people > 1 else "people like them",
        **_sealed(sealed.method, sealed.alpha),
        "beta": sealed.beta,
        "pd_limit": sealed.pd,
        "standing": result.standing,
        "assessors": sealed.people,
        "trials": result.trials,
        "correct": result.correct,
        "missed": result.missed,
        "filled": result.filled,
        "rounds": [asdict(one) for one in result.rounds],
        "marks_of_rounds_served": None if result.marks is None else asdict(result.marks),
        "proportion_discriminators": None if share is None else asdict(share),
        "control": control_document(result.control),
        "plan": {"rounds": sealed.rounds, "cap": sealed.cap, **sequential_document(sealed)},
        **_warned(result.warnings, [say(code, result.missed) for code in result.warnings]),
    }


def threshold_document(fitted: ThresholdFit, say: Say) -> Document:
    """`threshold --json`: null outside the doses tasted."""
    ends = {"estimate": fitted.estimate, "low": fitted.low, "high": fitted.high}
    answers = fitted.answers
    blank = {"trials": answers.blank_trials, "correct": answers.blank_correct, "p_value": fitted.blank_p_value}
    counts = zip(answers.doses, answers.trials.sum(axis=0), answers.correct.sum(axis=0), strict=True)
    return {
        "verdict": fitted.verdict,
        "reason": fitted.reason,
        **_sealed(fitted.method, fitted.alpha),
        "assessors": len(answers.assessors),
        "trials": int(answers.trials.sum()),
        "correct": int(answers.correct.sum()),
        "threshold": {name: point.value for name, point in ends.items()},
        "where": {name: point.where for name, point in ends.items()},
        "noticed": _noticed(fitted.noticed),
        "doses": [{"dose": float(dose), "trials": int(n), "correct": int(k)} for dose, n, k in counts],
        "blank": blank,
        "curve": {"mu": fitted.mu, "s": fitted.s, "tau": fitted.tau, "loglik": fitted.loglik},
        "control": control_document(fitted.control),
        **_warned(fitted.warned_of, [say(code, fitted) for code in fitted.warned_of]),
    }


def _noticed(levels: Sequence[ShareLevel]) -> list[Document]:
    """The level of each share; null outside the levels asked about, where the side is named."""
    return [
        {
            "share": each.share,
            **{name: getattr(each, name).value for name in ("estimate", "low", "high")},
            "where": {name: getattr(each, name).where for name in ("estimate", "low", "high")},
        }
        for each in levels
    ]


def ladder_document(ladder: Ladder, say: Say) -> Document:
    """`carryover --json`."""
    return {
        "verdict": ladder.verdict,
        "reason": ladder.reason,
        **_sealed(ladder.method, ladder.alpha),
        "pd_limit": ladder.pd_limit,
        "clean_from_all_tasted": ladder.clean_from_all_tasted,
        "clean_from_batch_by_batch": ladder.clean_from_batch_by_batch,
        "detected_through": ladder.detected_through,
        "noticed": _noticed(ladder.noticed),
        "control": control_document(ladder.control),
        "rungs": [
            {
                "batch": rung.batch,
                **choice_document(rung.result, say),
            }
            for rung in ladder.rungs
        ],
    }
