"""What an aroma plan asks, seals and can show, in plain sentences, before anybody tastes."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from studyapp.findings.facts import Fact
from studyapp.findings.numbers import decimal, of_studies, percent
from studyapp.kinds.aroma.findings import controls
from studyapp.kinds.aroma.findings.rounds import error_facts
from studyapp.kinds.aroma.findings.trials import percent_of
from studyapp.kinds.aroma.findings.verdicts import WayRow, way_row
from studyapp.kinds.aroma.rule import control
from studyapp.methods import METHODS
from studyapp.words import _, ngettext

if TYPE_CHECKING:
    from analysis.choice import Chances, SequentialPlan
    from studyapp.kinds.aroma.deciding.prospects import Prospect, Way
    from studyapp.kinds.aroma.plan import AromaPlan

_FEW_ASSESSORS, _FEW_DOSES, _FEW_ANSWERS = 5, 4, 20


def aim_name(aim: str) -> str:
    """What the answers decide, as a question."""
    return {
        "detectable": _("Is the aroma noticed at this dose?"),
        "dose": _("From how many minutes or grams on is it noticed?"),
        "carry over": _("How many plain batches does it carry over into?"),
        "linger": _("After how many days is it gone?"),
        "aftertaste": _("After how many seconds is its aftertaste gone?"),
    }[aim]


# ---- what it can show --------------------------------------------------------------------------------------------
def can_show(plan: AromaPlan, prospect: Prospect) -> tuple[str, ...]:
    """The plan in two or three sentences: what these people can show and find, and what they never can."""
    if plan.aim == "dose":
        return (_dose_design(plan), *_too_small(plan))
    if prospect.early is not None:
        return _rounds_design(prospect.early, control.without(plan))
    people, each = len(plan.assessors), plan.trials_each
    here = prospect.reach.by_power[0.8]
    who = ngettext("{n} person", "{n} people", people).format(n=people)
    trials = ngettext("{n} trial", "{n} trials", each).format(n=each)
    can = {"who": who, "trials": trials, "shown": percent(here.demonstrable_pd), "limit": percent(plan.pd_limit)}
    if here.demonstrable_pd > plan.pd_limit:
        shown = _("{who}, {trials} each, can show that fewer than {shown} notice, not fewer than {limit}.").format(
            **can
        )
    else:
        shown = _("{who}, {trials} each, can show that fewer than {shown} notice; the limit is {limit}.").format(**can)
    found = (
        _("They find it in 8 of 10 cases when {pd} notice.").format(pd=percent(here.detectable_pd))
        if here.detectable_pd is not None
        else _("So few answers find nothing.")
    )
    if without := control.without(plan):
        return (found, without)
    return (shown, found, *below_floor(prospect.reach.floor_pd, plan.pd_limit))


def _rounds_design(early: SequentialPlan, without: str) -> tuple[str, ...]:
    """What a plan by rounds can say and of whom; what the same people show otherwise has no part in it."""
    ends = _(
        "It ends after {same} answers on average if nobody notices, after {different} if {pd} do, after {cap} at the "
        "latest."
    ).format(
        same=decimal(early.mean_trials_identical, 0),
        different=decimal(early.mean_trials_at_pd, 0),
        pd=percent(early.pd),
        cap=early.cap,
    )
    return (
        ends,
        _("A round is one set of everybody; nothing is judged before all have answered it."),
        without
        or _("“Close enough” holds for these assessors only, and not where those who noticed may have stayed away."),
    )


def below_floor(floor: float, limit: float) -> tuple[str, ...]:
    """That so few people cannot speak for others at this limit, where it lies under what they can show."""
    if limit >= floor:
        return ()
    said = _(
        "However often they taste, answers as an identical pair gives show nothing below {floor} for people like them; "
        "for themselves they can."
    )
    return (said.format(floor=percent(floor)),)


def _dose_design(plan: AromaPlan) -> str:
    answers = plan.trials_each * len(plan.doses)
    said = _("{people} people, {doses} doses, {each} sets each at a dose: {answers} answers a person.")
    return said.format(
        people=len(plan.assessors), doses=len(plan.doses), each=plan.trials_each, answers=answers
    ) + " " + _("Expect a half-way point with limits of about a factor {factor} up and down.").format(
        factor=decimal(_factor(len(plan.assessors) * answers), 1)
    )  # fmt: skip


def _factor(answers: int) -> float:
    """Width of the limits by all answers, by simulation 1.8 at 144 and 1.5 at 288; its log falls with their root."""
    return float(1.8 ** ((144 / max(answers, 1)) ** 0.5))


def _too_small(plan: AromaPlan) -> tuple[str, ...]:
    """The least a threshold should rest on (ASTM E1432)."""
    small = (
        len(plan.assessors) < _FEW_ASSESSORS
        or len(plan.doses) < _FEW_DOSES
        or plan.trials_each * len(plan.doses) < _FEW_ANSWERS
    )
    return (_("Take 5 people, 4 doses and 20 answers a person or more; with less the limits are unsure."),) * small


def marks(plan: AromaPlan, prospect: Prospect) -> tuple[Fact, ...]:
    """The marks that are sealed, and the chance that each claim comes when it is true."""
    if plan.aim == "dose":
        return ()
    if prospect.early is not None:
        return _early_marks(prospect)
    made, people = prospect.marks, len(plan.assessors)
    answers = _("{n} answers").format(n=made.trials)
    least = (
        _("none: too few answers")
        if made.minimum_correct is None
        else _("{n} right or more").format(n=made.minimum_correct)
    )
    offered = made.similar.offered and bool(prospect.control.trials)
    here = made.these_assessors.maximum_correct if made.these_assessors.offered else None
    up_to = _("none: too few people") if prospect.control.trials else _("none: no control")
    if offered:
        up_to = _("{n} right or fewer").format(n=made.similar.maximum_correct)
    for_these = _("for these {people} alone: none") if here is None else _("for these {people} alone: {n} or fewer")
    found = _("comes in {found} if {pd} notice").format(
        found=of_studies(round(made.power, 2)), pd=percent(plan.pd_limit)
    )
    passes = for_these.format(people=people, n=here)
    if offered:
        passes = _("{these}; comes in {passes} if nobody notices").format(
            these=passes, passes=of_studies(round(made.chances(0.0).similar * prospect.control_chance, 2))
        )
    if not prospect.control.trials:
        passes = ""
    return (
        Fact(_("Answers"), answers, _each(prospect.levels)),
        Fact(_("Detectable from"), least, found),
        Fact(_("Close enough up to"), up_to, passes),
        controls.planned(prospect.control, prospect.control_chance),
        Fact(_("Limit"), percent(plan.pd_limit), _("d' {d} in this test").format(d=decimal(prospect.limit_d_prime, 2))),
    )


def _each(levels: int) -> str:
    return "" if levels == 1 else _("at each of the {n}").format(n=levels)


def _early_marks(prospect: Prospect) -> tuple[Fact, ...]:
    early = prospect.early
    assert early is not None
    mean = _("{same} on average if nobody notices, {different} if {pd} do").format(
        same=decimal(early.mean_trials_identical, 0),
        different=decimal(early.mean_trials_at_pd, 0),
        pd=percent(early.pd),
    )
    return (
        Fact(_("Answers"), _("up to {n}").format(n=early.cap), mean),
        Fact(_("Rounds"), str(early.rounds), _("judged when everybody has answered, never in between")),
        Fact(_("Detectable at the cap from"), _or_none(early.cap_different_at_least), ""),
        Fact(_("Close enough at the cap up to"), _or_none(early.cap_same_at_most), _("for these assessors only")),
        controls.planned(prospect.control, prospect.control_chance),
        *error_facts(early),
    )


def chance_table(limit: float, found: Sequence[Chances]) -> tuple[list[str], list[list[str]]]:
    """How often each verdict comes, side by side for what may be true: heads, then a row a verdict."""
    heads = [
        _("of 100 studies"),
        _("nobody notices"),
        _("{pd} notice").format(pd=percent_of(limit / 2)),
        _("{pd} notice").format(pd=percent_of(limit)),
    ]
    rows = [
        [_("detectable"), *(_of_hundred(each.different) for each in found)],
        [_("close enough"), *(_of_hundred(each.similar) for each in found)],
        [_("cannot tell"), *(_of_hundred(each.cannot_tell) for each in found)],
    ]
    return heads, rows


def _of_hundred(chance: float) -> str:
    """Rounded to whole studies of a hundred; what can happen is never 0."""
    return _("under 1") if 1e-9 < chance < 0.005 else decimal(100 * chance, 0)


def _or_none(mark: int | None) -> str:
    return _("none") if mark is None else _("{n} right").format(n=mark)


# ---- load --------------------------------------------------------------------------------------------------------
def load(plan: AromaPlan) -> str:
    """What one sitting asks of a person."""
    sets = plan.sets_a_sitting + control.most_a_sitting(plan)
    pieces = sets * METHODS[plan.method].cups
    minutes = round(sets * plan.minutes_a_set)
    return _("{sets} sets a sitting: {pieces} pieces, {grams} g, about {minutes} minutes a person.").format(
        sets=sets, pieces=pieces, grams=decimal(pieces * plan.piece_g, 0), minutes=minutes
    )


# ---- ways to an answer -------------------------------------------------------------------------------------------
def way_rows(plan: AromaPlan, ways: Sequence[Way]) -> tuple[WayRow, ...]:
    """The ways in the order of what they cost."""
    return tuple(way_row(_way(plan, way), way.trials_each, _grams(plan, way), way.chances) for way in ways)


def _grams(plan: AromaPlan, way: Way) -> float:
    """Chocolate that one person eats."""
    return way.trials_each * METHODS[way.method].cups * plan.piece_g


def _way(plan: AromaPlan, way: Way) -> str:
    other = METHODS[way.method].beside_scores
    asked = "" if way.method == plan.method or other is None else _(", asking {question}").format(question=other())
    said = ngettext(
        "{people} people, {each} set each{asked}", "{people} people, {each} sets each{asked}", way.trials_each
    )
    return said.format(people=way.people, each=way.trials_each, asked=asked)
