"""A plan that may end early in plain sentences: what its complete rounds say, and every answer that was given."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import TYPE_CHECKING

from studyapp.findings.facts import Fact, TrialFinding, caution
from studyapp.findings.numbers import decimal, percent
from studyapp.kinds.aroma.findings import controls, next_steps
from studyapp.kinds.aroma.findings.trials import fewer_causes, fewer_headline, level, percent_of
from studyapp.kinds.aroma.findings.verdicts import clearance, holds_for
from studyapp.methods import METHODS
from studyapp.words import _, ngettext

if TYPE_CHECKING:
    from analysis.choice import RoundEnd, SequentialPlan, SequentialResult, Standing
    from analysis.choice.sequential import Careful
    from studyapp.kinds.aroma.deciding import SequentialStanding
    from studyapp.kinds.aroma.plan import AromaPlan


def sequential_finding(plan: AromaPlan, here: SequentialStanding, settling: int | None = None) -> TrialFinding:
    """The verdict of the rounds. `settling` is the cap of a new plan that would decide in 9 of 10 cases."""
    told = rounds_finding(here.judged, settling)
    later = behind(here)
    facts = (*told.facts, holds_for(plan, len(plan.assessors)))
    numbers = (*told.numbers, Fact(_("All answers given"), _of(here.right, here.given), later))
    lede = f"{told.lede} {later}" if later else told.lede
    return replace(told, lede=lede, facts=facts, caution=clearance(plan), numbers=numbers)


def rounds_finding(judged: SequentialResult, settling: int | None = None) -> TrialFinding:
    """The same without a study around it, for answers from a file."""
    facts = (
        Fact(_("Right"), _of(judged.correct, judged.trials), _("cap {cap}").format(cap=judged.plan.cap)),
        _ended(judged),
        *controls.fact(judged.control),
        _noticing(judged),
    )
    numbers = (*facts, *_errors(judged), *(_round(number, one) for number, one in enumerate(judged.rounds, start=1)))
    warnings = tuple(round_warning(code, judged.missed) for code in judged.warnings)
    then = next_steps.after_rounds(judged.standing, judged.reason)
    return TrialFinding(_headline(judged), _lede(judged), facts, _changes(settling), warnings, caution(), numbers, then)


def _of(right: int, given: int) -> str:
    return _("{k} of {n}").format(k=right, n=given)


# ---- the verdict -------------------------------------------------------------------------------------------------
def _headline(judged: SequentialResult) -> str:
    if judged.standing == "cannot tell":
        return {
            "fewer right than guessing": fewer_headline(),
            "those who stayed away": _("Cannot tell: those who stayed away may be those who noticed."),
            "closed early": _("Cannot tell: closed before the plan had come to its end."),
            **controls.headlines(),
        }.get(str(judged.reason), _("Cannot tell."))
    return {
        "different": _("Detectable."),
        "same": _("Close enough for these assessors."),
        "go on": _("Not decided yet: taste the next round."),
    }[judged.standing]


def _lede(judged: SequentialResult) -> str:
    rounds = ngettext("{n} complete round", "{n} complete rounds", len(judged.rounds)).format(n=len(judged.rounds))
    guessed = judged.trials * METHODS[judged.plan.method].chance
    seen = _("{k} of {n} answers are right after {rounds}; guessing alone finds about {g}.").format(
        k=judged.correct, n=judged.trials, rounds=rounds, g=decimal(guessed, 0)
    )
    return f"{seen} {_why(judged)}"


def _why(judged: SequentialResult) -> str:
    sealed, last = judged.plan, judged.rounds[-1] if judged.rounds else None
    share = judged.proportion_discriminators
    if judged.reason == "fewer right than guessing":
        return fewer_causes()
    if judged.reason in controls.headlines():
        return controls.why(judged.control)
    if last is None or judged.standing == "go on":
        return _("The plan goes on, to {cap} answers at the latest.").format(cap=sealed.cap)
    words = {
        "different": _(
            "This round asked for {most} or more. They truly noticed it in at least {low} of the answers; a pair that "
            "is alike would end so in at most {alpha} of such plans."
        ),
        "same": _(
            "This round asked for {same} or fewer. These people truly notice it in at most {high} of the answers; the "
            "limit is {pd}. Not the same as nobody can."
        ),
        "those who stayed away": _(
            "That alone would be close enough, up to {same}. With every answer that somebody missed filled in from "
            "what they had said before, {filled} would be right, and that is too many."
        ),
        "closed early": _("Tasting was closed after {done} of {rounds} rounds, with the count at no line."),
        "between the marks": _("The last round lies between its marks, {same} and {most}."),
    }
    return words[judged.reason or judged.standing].format(
        most=_mark(last.different_at_least),
        same=_mark(last.same_at_most),
        low=percent((share.low if share else None) or 0.0),
        high=percent(1.0 if share is None or share.high is None else share.high),
        alpha=percent_of(sealed.alpha),
        pd=percent(sealed.pd),
        filled=decimal(judged.filled, 0 if judged.filled.is_integer() else 1),
        done=len(judged.rounds),
        rounds=sealed.rounds,
    )


def _mark(count: int | None) -> str:
    return _("none") if count is None else str(count)


def behind(here: SequentialStanding) -> str:
    """The answers that were given and judge nothing; empty where every one was judged."""
    more, right = here.given - here.judged.trials, here.right - here.judged.correct
    if not more:
        return ""
    return ngettext(
        "{n} more answer was given after that, {k} right: shown here, it judges nothing.",
        "{n} more answers were given after that, {k} right: shown here, they judge nothing.",
        more,
    ).format(n=more, k=right)


# ---- facts -------------------------------------------------------------------------------------------------------
def _ended(judged: SequentialResult) -> Fact:
    sealed = judged.plan
    value = _("round {n} of {all}").format(n=len(judged.rounds), all=sealed.rounds)
    if judged.standing == "go on":
        return Fact(_("Seen so far"), value, _("answers of an unfinished round stay hidden"))
    left = (sealed.rounds - len(judged.rounds)) * sealed.people
    return Fact(_("Ended after"), value, ngettext("{n} answer saved", "{n} answers saved", left).format(n=left))


def _noticing(judged: SequentialResult) -> Fact:
    share, sealed = judged.proportion_discriminators, judged.plan
    if share is None:
        return Fact(_("Truly noticing"), "–", "")
    note = _("at least {low} ({sure} sure), at most {high} ({safe} sure), counted along the whole path").format(
        low=percent(share.low or 0.0),
        high=percent(1.0 if share.high is None else share.high),
        sure=level(sealed.alpha),
        safe=level(sealed.beta),
    )
    return Fact(_("Truly noticing"), percent(share.estimate or 0.0), note)


def _errors(judged: SequentialResult) -> tuple[Fact, ...]:
    """Sealed errors and marks; beside them those of the rounds really served where somebody missed a set."""
    sealed, served = judged.plan, judged.marks
    facts = [*error_facts(sealed), Fact(_("Marks at the cap, sealed"), cap_marks(sealed), _full(sealed))]
    if served is not None and judged.missed:
        errors = _("of the {n} answers given; false “different” {alpha}, false “same” {beta}").format(
            n=judged.trials,
            alpha=percent_of(round(served.false_different, 3)),
            beta=percent_of(round(served.false_same, 3)),
        )
        held = _("same up to {same}, different from {most}").format(
            same=_mark(served.same_at_most), most=_mark(served.different_at_least)
        )
        facts.append(Fact(_("Marks that hold"), held, errors))
    return tuple(facts)


def error_facts(sealed: SequentialPlan) -> tuple[Fact, Fact]:
    """Both errors of a sealed plan when everybody answers in every round."""
    return (
        Fact(_("False “different”"), percent_of(round(sealed.false_different, 3)), _("an identical pair, exact")),
        Fact(
            _("False “same”"),
            percent_of(round(sealed.false_same, 3)),
            _("when {pd} notice, exact").format(pd=percent(sealed.pd)),
        ),
    )


def cap_marks(sealed: SequentialPlan) -> str:
    """The two counts that decide after the last round."""
    return _("same up to {same}, different from {most}").format(
        same=_mark(sealed.cap_same_at_most), most=_mark(sealed.cap_different_at_least)
    )


def _full(sealed: SequentialPlan) -> str:
    return ngettext("{n} round of {people} answers", "{n} rounds of {people} answers", sealed.rounds).format(
        n=sealed.rounds, people=sealed.people
    )


def _round(number: int, one: RoundEnd) -> Fact:
    return Fact(_("Round {n}").format(n=number), _of(one.correct, one.trials), _("{own} in it; {then}").format(
        own=_of(one.right, one.given), then=then(one.standing)
    ))  # fmt: skip


def then(standing: Standing) -> str:
    """What the end of a round came to."""
    return {
        "different": _("detectable"),
        "same": _("close enough"),
        "go on": _("go on"),
        "cannot tell": _("cannot tell"),
    }[standing]


def _changes(settling: int | None) -> tuple[str, ...]:
    if settling is None:
        return ()
    said = _(
        "A new plan that may go on to {cap} answers, with the same risks, decides in 9 of 10 cases; these answers do "
        "not count in it."
    )
    return (said.format(cap=settling),)


def round_warning(code: Careful, missed: int) -> str:
    """One caution beside the verdict of the rounds."""
    missing = ngettext(
        "{n} answer is missing from rounds that were served; the marks allow for it.",
        "{n} answers are missing from rounds that were served; the marks allow for them.",
        missed,
    ).format(n=missed)
    only = _("People taste more than once, so “same” holds for these assessors only.")
    return {
        "these assessors only": only,
        "answers missing": missing,
        "control_not_served": controls.not_served(),
    }[code]


# ---- pictures ----------------------------------------------------------------------------------------------------
def columns_say() -> str:
    """How the columns are read."""
    return _(
        "Looked at only when everybody seated has answered. A column is what a round could say: detectable above, "
        "cannot tell in the middle, close enough below."
    )


def table(judged: SequentialResult, controls: Sequence[tuple[int, int]] = ()) -> tuple[list[str], list[list[str]]]:
    """Heads, then every complete round: its number, its own answers, all so far, the counts that decide, what was found
    of the control after it where that is told, and what its end said."""
    heads = [_("round"), _("right"), _("so far"), _("close enough up to"), _("detectable from"), _("then")]
    rows = _rows(judged)
    if any(given for _right, given in controls):
        heads.insert(-1, _("control"))
        for row, (right, given) in zip(rows, controls, strict=False):
            row.insert(-1, _of(right, given) if given else "–")
    return heads, rows


def _rows(judged: SequentialResult) -> list[list[str]]:
    said = [then(one.standing) for one in judged.rounds[:-1]] + [then(judged.standing)]
    return [
        [
            str(number),
            _of(one.right, one.given),
            _of(one.correct, one.trials),
            _mark(one.same_at_most),
            _mark(one.different_at_least),
            came,
        ]
        for number, (one, came) in enumerate(zip(judged.rounds, said, strict=False), start=1)
    ]


def path_says(judged: SequentialResult) -> str:
    """The way of the count, for a reader aloud."""
    if not judged.rounds:
        return _("No round is complete yet.")
    each = ", ".join(_of(one.correct, one.trials) for one in judged.rounds)
    last = len(judged.rounds)
    ends = {
        "different": _("round {n} ends in detectable"),
        "same": _("round {n} ends in close enough"),
        "go on": _("after round {n} it goes on"),
        "cannot tell": _("after round {n} it cannot be told"),
    }[judged.standing].format(n=last)
    return _("Right answers after each round: {each}; {ends}.").format(each=each, ends=ends)
