"""Forced-choice results in plain sentences: one test, a plan for one, a threshold over doses, a carry-over ladder."""

from __future__ import annotations

from typing import TYPE_CHECKING

from studyapp.findings.facts import Fact, TrialFinding, caution
from studyapp.findings.numbers import decimal, listed, of_studies, percent
from studyapp.kinds.aroma import rule
from studyapp.kinds.aroma.findings import controls, next_steps
from studyapp.kinds.aroma.findings.shares import noticed_facts
from studyapp.methods import METHODS
from studyapp.words import _, ngettext

if TYPE_CHECKING:
    from analysis.choice import ChoiceResult, ChoiceWarning, DPrime, Ladder, Similar


# ---- one test ----------------------------------------------------------------------------------------------------
def choice_finding(
    result: ChoiceResult, limit_d_prime: float, settling: int | None = None, nameable: bool = True
) -> TrialFinding:
    """The sentences of one test. `limit_d_prime` is pd_limit as d', `settling` the people who would settle it; nothing
    is said of naming the taste where it is not `nameable`."""
    asks_name = nameable and not METHODS[result.method].names_taste
    return TrialFinding(
        headline=_headline(result),
        lede=_lede(result, settling, asks_name),
        facts=(
            *_counts(result),
            *controls.fact(result.control),
            _noticing(result),
            _distance(result.d_prime, result.alpha),
            _limit(result.pd_limit, limit_d_prime),
            _power(result),
        ),
        changes=_conditions(result),
        warnings=tuple(choice_warning(warning, len(result.trials_each)) for warning in result.warnings),
        caution=caution(),
        then=next_steps.after_test(result.verdict, result.reason),
    )


def _headline(result: ChoiceResult) -> str:
    said = {
        "different and similar": _("Noticeable, and small enough."),
        "different": _("Detectable."),
        "similar": _("Close enough."),
        "cannot tell": _("Cannot tell yet."),
    }
    if result.reason == "fewer right than guessing":
        return fewer_headline()
    if result.reason in controls.headlines():
        return controls.headlines()[result.reason]
    if result.verdict == "cannot tell" and result.close_here:
        return _("Close enough for these assessors; cannot tell for people like them.")
    return said[result.verdict]


def fewer_headline() -> str:
    """The verdict where fewer answers are right than guessing explains, whatever was asked."""
    return _("Cannot tell: fewer right than guessing would give.")


def fewer_causes() -> str:
    """What to look for where fewer answers are right than guessing explains."""
    return _(
        "So few come by guessing too seldom to be chance. Look for swapped codes, a question read the other way, or "
        "another cup that was the odd one; then taste again."
    )


def _lede(result: ChoiceResult, settling: int | None, asks_name: bool) -> str:
    sentences = [
        _("{k} of {n} answers are right; guessing alone finds about {g}.").format(
            k=result.correct, n=result.trials, g=decimal(_guessed(result), 0)
        )
    ]
    if result.reason == "fewer right than guessing":
        return " ".join([*sentences, fewer_causes()])
    if result.different:
        sentences.append(_truly(result))
    if result.close or result.close_here:
        sentences.append(_close(result))
    if result.reason in controls.headlines():
        sentences.append(controls.why(result.control))
    elif result.verdict == "cannot tell":
        sentences += _open_question(result, settling, asks_name)
    elif not result.similar.offered:
        sentences.append(not_offered(result))
    return " ".join(sentence for sentence in sentences if sentence)


def _truly(result: ChoiceResult) -> str:
    share = result.proportion_discriminators
    return _("About {pd} of the answers came from truly noticing it, at least {low}, at most {high}.").format(
        pd=percent(share.estimate or 0.0), low=percent(share.low or 0.0), high=percent(result.most_noticing)
    )


def _open_question(result: ChoiceResult, settling: int | None, asks_name: bool) -> list[str]:
    """Why it cannot be told, and what would settle it."""
    settles = _settles(result, settling, asks_name)
    if not result.similar.offered:
        return [not_offered(result), settles]
    if result.close_here:
        return [settles]
    undecided = _("At most {high} truly notice it, and the limit is {limit}; it may also be nobody.")
    return [undecided.format(high=percent(result.most_noticing), limit=percent(result.pd_limit)), settles]


def not_offered(result: ChoiceResult) -> str:
    """That no count would show the limit for people like these, and what would show it for themselves."""
    return rule.not_offered(result)


def offered_here(result: ChoiceResult) -> str:
    """The mark that the same people have for themselves alone."""
    if not result.these_assessors.offered:
        return _("nor for themselves")
    return _("for themselves up to {n} right").format(n=result.these_assessors.maximum_correct)


def _guessed(result: ChoiceResult) -> float:
    return result.trials * METHODS[result.method].chance


def _close(result: ChoiceResult) -> str:
    if not result.close:
        return _("Among these assessors fewer than {limit} truly notice it.").format(limit=percent(result.pd_limit))
    return _(
        "At most {high} of people like them truly notice it; the limit is {limit}. Not the same as nobody can."
    ).format(high=percent(result.most_noticing), limit=percent(result.pd_limit))


def _settles(result: ChoiceResult, people: int | None, asks_name: bool) -> str:
    """The price of an answer: people with as many trials each as these had."""
    each = max(result.trials_each)
    if people is None and asks_name:
        return _(
            "No panel of this kind settles it; state a larger limit, or, if the taste has a name, ask which cup has "
            "most of it."
        )
    if people is None:
        return _("No panel of this kind settles it; state a larger limit.")
    if each == 1:
        return ngettext(
            "{people} person, one trial, would settle it in 9 of 10 cases.",
            "{people} people, one trial each, would settle it in 9 of 10 cases.",
            people,
        ).format(people=people)
    return ngettext(
        "{people} person with {each} trials would settle it in 9 of 10 cases.",
        "{people} people with {each} trials each would settle it in 9 of 10 cases.",
        people,
    ).format(people=people, each=each)


def _counts(result: ChoiceResult) -> tuple[Fact, ...]:
    right = _("{k} of {n}").format(k=result.correct, n=result.trials)
    people = len(result.trials_each)
    tasted = ngettext("by {people} assessor", "by {people} assessors", people).format(people=people)
    mark = _("none: too few answers")
    if result.minimum_correct is not None:
        mark = _("{mark} or more").format(mark=result.minimum_correct)
    chance = _("so many by guessing: {p}").format(p=_chance(result.p_value))
    marks = [
        Fact(_("Right"), right, tasted),
        Fact(_("Different from"), mark, chance),
        Fact(_("Close enough up to"), _up_to(result.similar), _so_few(result.similar, _("people like them"))),
    ]
    if len(set(result.trials_each)) > 1 or max(result.trials_each) > 1:
        these = result.these_assessors
        marks.append(Fact(_("The same, these only"), _up_to(these), _so_few(these, _("these assessors"))))
    return tuple(marks)


def _up_to(scope: Similar) -> str:
    if scope.maximum_correct is None:
        return _("none: too few answers")
    if not scope.offered:
        return _("none: too few people")
    return _("{mark} or fewer").format(mark=scope.maximum_correct)


def _so_few(scope: Similar, who: str) -> str:
    if not scope.offered:
        return _("{who}: no count would show this limit").format(who=who)
    return _("{who}; so few at the limit: {p}").format(who=who, p=_chance(scope.p_value))


def _chance(p: float) -> str:
    """A probability in the table: four decimals, or a bound where they would show nothing."""
    return _("below {p}").format(p=decimal(0.0001, 4)) if p < 0.0001 else decimal(p, 4)


def _noticing(result: ChoiceResult) -> Fact:
    share, alpha = result.proportion_discriminators, result.alpha
    value = percent(share.estimate or 0.0)
    low, high = percent(share.low or 0.0), percent(result.most_noticing)
    note = _("at least {low}, at most {high}; {level} one-sided each").format(low=low, high=high, level=level(alpha))
    return Fact(_("Truly noticing (pd)"), value, note)


def _distance(distance: DPrime, alpha: float) -> Fact:
    value = _("no upper limit") if distance.estimate is None else decimal(distance.estimate, 2)
    low = decimal(distance.low or 0.0, 2)
    if distance.high is None:
        note = _("at least {low}, no upper limit; {level} one-sided each").format(low=low, level=level(alpha))
    else:
        note = _("at least {low}, at most {high}; {level} one-sided each").format(
            low=low, high=decimal(distance.high, 2), level=level(alpha)
        )
    if distance.se is not None:
        note = _("{note}; standard error {se}").format(note=note, se=decimal(distance.se, 2))
    return Fact(_("Size (d')"), value, note)


def level(alpha: float) -> str:
    """The level of a one-sided limit: "95 %", "97.5 %"."""
    share = 100 * (1 - alpha)
    digits = 0 if abs(share - round(share)) < 1e-6 else 1
    return _("{number} %").format(number=decimal(share, digits))


def _limit(pd: float, d_prime: float) -> Fact:
    note = _("d' {d} in this test; another test means another d'").format(d=decimal(d_prime, 2))
    return Fact(_("Limit"), percent(pd), note)


def _power(result: ChoiceResult) -> Fact:
    if not result.similar.offered:
        note = _("no count is offered as “close enough”")
        found = of_studies(_whole(result.power))
        return Fact(
            _("This design"), _("finds {limit} in {found}").format(limit=percent(result.pd_limit), found=found), note
        )
    value = _("finds {limit} in {found}").format(limit=percent(result.pd_limit), found=of_studies(_whole(result.power)))
    note = _("an identical pair passes in {passes}").format(passes=of_studies(_whole(result.chances(0.0).similar)))
    return Fact(_("This design"), value, note)


def _whole(share: float) -> float:
    return round(share, 2)


def _conditions(result: ChoiceResult) -> tuple[str, ...]:
    said = [
        _("The risk of {alpha} is that of the claim made: a false “different” or a false “close enough”.").format(
            alpha=percent_of(result.alpha)
        )
    ]
    if max(result.trials_each) > 1:
        said.append(
            _("Trials of one person count as independent: fresh codes, new orders, no feedback before the key opens.")
        )
    if result.close or result.close_here:
        said.append(controls.rests_on(result.control))
    return tuple(said)


def percent_of(alpha: float) -> str:
    """A small risk without losing its decimals: "5 %", "2.5 %"."""
    share = 100 * alpha
    return _("{number} %").format(number=decimal(share, 0 if abs(share - round(share)) < 1e-9 else 1))


def choice_warning(warning: ChoiceWarning, people: int) -> str:
    """One caution beside the verdict of a forced-choice test."""
    if warning.code == "control_not_served":
        return controls.not_served()
    value = percent(warning.value) if warning.value is not None else ""
    sentences = {
        "one trial assumed": _("Totals alone do not say who answered: one trial each of different people was assumed."),
        "unequal trials": _("Not everybody had the same number of trials; the marks allow for that."),
        "too few to pass": _(
            "So few answers that an identical pair would pass only {value} of the time; no such mark is offered."
        ),
        "below the floor": ngettext(
            "However often {people} person tastes, answers as an identical pair gives show nothing below {value} for "
            "people like them.",
            "However often {people} people taste, answers as an identical pair gives show nothing below {value} for "
            "people like them.",
            people,
        ),
        "fewer than guessing": _("Fewer right than guessing gives: check codes and question."),
        "grouping rule": _("d' in this test rests on how people form the two groups: by the closest grouping."),
    }
    return sentences[warning.code].format(value=value, people=people)


# ---- carry-over --------------------------------------------------------------------------------------------------
def rung_name(level: int, aim: str) -> str:
    """A rung as it is called on screen: plain batch "+2", "3 days" or "30 seconds"."""
    if aim == "linger":
        return ngettext("{n} day", "{n} days", level).format(n=level)
    if aim == "aftertaste":
        return ngettext("{n} second", "{n} seconds", level).format(n=level)
    return _("batch +{n}").format(n=level)


def ladder_finding(ladder: Ladder, aim: str = "carry over") -> TrialFinding:
    """The sentences of a ladder; by its aim the rungs are plain batches after, days, or seconds after a piece."""
    purge = _("Write the purge mass beside each batch; a clean taste follows from what was pushed through.")
    batches = aim == "carry over"
    return TrialFinding(
        headline=_clean_headline(ladder) if batches else _after_headline(ladder, aim),
        lede=_ladder_lede(ladder) if batches else _after_lede(ladder, aim),
        facts=(
            *(_rung(rung.batch, rung.result, aim) for rung in ladder.rungs),
            *still_noticing(ladder, aim),
            *controls.fact(ladder.control),
        ),
        changes=(
            *((purge,) if batches else ()),
            *((_one_time_a_piece(),) if aim == "aftertaste" else ()),
            *_rests_on(ladder),
        ),
        warnings=tuple(dict.fromkeys(_ladder_warnings(ladder))),
        caution=caution(),
        then=next_steps.after_ladder(ladder.verdict, ladder.reason, aim),
    )


def _rests_on(ladder: Ladder) -> tuple[str, ...]:
    """The control that a claim of a clean rung rests on."""
    return (controls.rests_on(ladder.control),) if ladder.control is None or ladder.control.found else ()


def still_noticing(ladder: Ladder, aim: str) -> tuple[Fact, ...]:
    """Until when each chosen share still notices it."""
    unit = {"linger": _("{n} days"), "aftertaste": _("{n} seconds")}.get(aim, _("batch +{n}"))
    asked = [rung.batch for rung in ladder.rungs]
    return noticed_facts(ladder.noticed, asked, True, lambda number: unit.format(n=number))


def _one_time_a_piece() -> str:
    return _("Each piece was noticed once, at the time dealt to it; a time counts only the answers asked at it.")


def _after_headline(ladder: Ladder, aim: str) -> str:
    clean, found = ladder.clean_from_all_tasted, ladder.detected_through
    if clean is not None:
        return _("Close enough after {time}.").format(time=rung_name(clean, aim))
    if found is not None and found == ladder.rungs[-1].batch:
        return _("Still found after {time}, the last tasted.").format(time=rung_name(found, aim))
    return not_gone(ladder)


def _after_lede(ladder: Ladder, aim: str) -> str:
    clean, found, limit = ladder.clean_from_all_tasted, ladder.detected_through, percent(ladder.pd_limit)
    still = [] if found is None else [_("Still found after {time}.").format(time=rung_name(found, aim))]
    still += fewer_rungs(ladder, [rung_name(rung.batch, aim) for rung in ladder.rungs if rung.result.fewer])
    if clean is not None:
        shown = _("From then on at most {limit} of people like these truly notice it.")
    elif aim == "linger":
        shown = uncontrolled(ladder) or _("At no day tasted is it shown that at most {limit} notice.")
    else:
        shown = uncontrolled(ladder) or _("At no time asked about is it shown that at most {limit} notice.")
    return " ".join([*still, shown.format(limit=limit)])


def _clean_headline(ladder: Ladder) -> str:
    clean = ladder.clean_from_all_tasted
    if clean is not None:
        return _("Close enough from plain batch +{batch} on.").format(batch=clean)
    if ladder.detected_through == ladder.rungs[-1].batch:
        return _("Still found in the last batch tasted, +{batch}.").format(batch=ladder.detected_through)
    return not_gone(ladder)


def not_gone(ladder: Ladder) -> str:
    """The verdict where no rung is clean and the last is not found: its control may be why."""
    reason = next((rung.result.reason for rung in reversed(ladder.rungs)), None)
    return controls.headlines().get(str(reason), _("Not shown to be gone."))


def _ladder_lede(ladder: Ladder) -> str:
    sentences = []
    if ladder.detected_through is not None:
        sentences.append(_("Still found in +{batch}.").format(batch=ladder.detected_through))
    between = _between(ladder)
    if between:
        sentences.append(_("Neither found nor shown to be gone: {batches}.").format(batches=listed(between)))
    sentences += fewer_rungs(ladder, [f"+{rung.batch}" for rung in ladder.rungs if rung.result.fewer])
    if ladder.clean_from_all_tasted is not None:
        sentences.append(
            _("From +{batch} on at most {limit} of people like these truly notice it.").format(
                batch=ladder.clean_from_all_tasted, limit=percent(ladder.pd_limit)
            )
        )
    sentences.append(uncontrolled(ladder) or _batch_by_batch(ladder))
    return " ".join(sentences)


def uncontrolled(ladder: Ladder) -> str:
    """Why no rung is called clean, where the control forbids it; without one, where some rung would have been."""
    held = any(rung.result.reason in controls.headlines() for rung in ladder.rungs)
    return controls.why(ladder.control) if held else ""


def fewer_rungs(ladder: Ladder, named: list[str]) -> list[str]:
    """That some rungs cannot be told since too few were right, and what to look for; `named` are those rungs."""
    if not named:
        return []
    return [_("Fewer right than guessing would give: {rungs}.").format(rungs=listed(named)), fewer_causes()]


def _between(ladder: Ladder) -> list[str]:
    found = ladder.detected_through or 0
    clean = ladder.clean_from_all_tasted
    return [f"+{rung.batch}" for rung in ladder.rungs if rung.batch > found and (clean is None or rung.batch < clean)]


def _batch_by_batch(ladder: Ladder) -> str:
    clean = ladder.clean_from_batch_by_batch
    shared = {"alpha": percent_of(ladder.alpha), "rungs": len(ladder.rungs)}
    if clean is None:
        return _(
            "Had you decided after each batch, with the risk of {alpha} shared by the {rungs} of them, none would have "
            "passed."
        ).format(**shared)
    return _(
        "Had you decided after each batch, with the risk of {alpha} shared by the {rungs} of them, +{batch} would have "
        "been the first to pass."
    ).format(batch=clean, **shared)


def _rung(batch: int, result: ChoiceResult, aim: str) -> Fact:
    value = _("{k} of {n} right").format(k=result.correct, n=result.trials)
    mark = result.similar.maximum_correct if result.similar.offered else None
    up_to = _("none") if mark is None else _("{mark} or fewer").format(mark=mark)
    least = result.minimum_correct
    found = _("none") if least is None else _("{mark} or more").format(mark=least)
    return Fact(
        _("Batch +{batch}").format(batch=batch) if aim == "carry over" else rung_name(batch, aim),
        value,
        _("found: {found}; gone: {gone}").format(found=found, gone=up_to),
    )


def _ladder_warnings(ladder: Ladder) -> list[str]:
    return [
        choice_warning(warning, len(rung.result.trials_each))
        for rung in ladder.rungs
        for warning in rung.result.warnings
    ]
