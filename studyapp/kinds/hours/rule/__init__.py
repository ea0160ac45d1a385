"""What a plan must hold before it can be sealed, and how it reads."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import replace
from datetime import datetime
from typing import TYPE_CHECKING, Any

from studyapp.errors import BadInput
from studyapp.findings.numbers import opening
from studyapp.kinds.hours.plan import FEWEST_BATCHES, FIRST_RULE, RECIPE, THIS, HoursPlan
from studyapp.kinds.hours.rule.batches import batch_problems, batch_sentences, times_tasted
from studyapp.kinds.hours.rule.confirming import confirm_problems, confirm_sentences
from studyapp.kinds.hours.rule.limits import gate_of, limit_problems, limit_sentence
from studyapp.kinds.hours.rule.run_calendar import calendar
from studyapp.records import SCALE_HIGH, SCALE_LOW, Attribute, Check, Problem
from studyapp.services import plan_bounds
from studyapp.wishes import WISHES
from studyapp.words import _, ngettext

if TYPE_CHECKING:
    from analysis.stopping import Rule

LOSSES_SINCE = 3  # the version of the rule that first says what becomes of a lost pull
LEAST_PALATE, USUAL_PALATE, MOST_PALATE = 3, 6, 20


def problems(plan: HoursPlan) -> tuple[Problem, ...]:
    """Everything to mend (blocks) or to think about (does not block), beside its field."""
    parts = (
        _pull_problems, batch_problems, _attribute_problems, _limit_problems, _panel_problems, _table_problems,
        _calendar_problems, confirm_problems,
    )  # fmt: skip
    return tuple(problem for part in parts for problem in part(plan))


def beyond_a_run(hours: Iterable[float]) -> str | None:
    """The sentence against hours that no run has, of which no clock time can be told; None when all can be."""
    return None if all(0 <= h <= 1000 for h in hours) else _("Fix the pulls: hours lie between 0 and 1000.")


def _pull_problems(plan: HoursPlan) -> Iterator[Problem]:
    hours = [pull.hours for pull in plan.pulls]
    if not plan.question.strip():
        yield Problem("question", _("Fix the question: write what this study shall decide."))
    if len(hours) < 2:
        yield Problem(
            "pulls",
            _(
                "Fix the pulls: name one that is surely too short, the longest you would accept, and between them "
                "those in question."
            ),
        )
    beyond = beyond_a_run(hours)
    if beyond:
        yield Problem("pulls", beyond)
    if len(set(hours)) != len(hours):
        yield Problem("pulls", _("Fix the pulls: every hour once."))
    if len(hours) > 26:
        yield Problem("pulls", _("Fix the pulls: at most 26."))
    yield from _control_problems(hours, plan.control)


def _control_problems(hours: list[float], control: float | None) -> Iterator[Problem]:
    if control is not None and control not in hours:
        yield Problem("control", _("Fix the control: it is one of the pulls."))
    elif hours and control == max(hours):
        yield Problem(
            "control", _("Fix the control: the longest pull is the reference, so the control is a shorter one.")
        )
    elif len(set(hours)) > 1 and not in_question(hours, control):
        where = "pulls" if len(set(hours)) < 3 else "control"
        yield Problem(where, nothing_in_question(hours, control), blocks=False)


def in_question(hours: Iterable[float], control: float | None) -> tuple[float, ...]:
    """The pulls between the control (None: the shortest) and the reference, ascending.

    The control must be found worse than the reference, so it and whatever is shorter can hardly be an answer.
    """
    pulls = sorted(set(hours))
    known = pulls[0] if control is None and pulls else control
    return tuple(h for h in pulls[:-1] if known is not None and h > known)


def nothing_in_question(hours: Iterable[float], control: float | None) -> str:
    """What a study without a pull in question can and cannot answer.

    A stop needs the control shown worse and, at once, shown to be worse by less than the margin. "Conche longer" needs
    the last but one and the pull before it both worse than the reference, so two pulls never give it.
    """
    pulls = sorted(set(hours))
    said = _(
        "Careful: nothing lies between the control, {control} h, and the longest pull, {ref} h. The control must be "
        "found worse, so a stop there needs a difference that is shown and yet shown to be below the margin: in "
        "simulated studies of 12 people tasting three times, at most about 5 of 100 showed it. Add pulls between."
    ).format(control=f"{pulls[0] if control is None else control:g}", ref=f"{pulls[-1]:g}")
    if len(pulls) > 2:
        return said
    return said + " " + _("With two pulls nothing can show either that conching longer would pay.")


def _attribute_problems(plan: HoursPlan) -> Iterator[Problem]:
    names = [line.name.strip().casefold() for line in plan.attributes]
    deciding = [line for line in plan.attributes if line.decides]
    if not deciding:
        yield Problem("attributes", _("Fix the attributes: at least one must decide."))
    if "" in names or len(set(names)) != len(names):
        yield Problem("attributes", _("Fix the attributes: each needs a name of its own."))
    if len(plan.attributes) > 12:
        yield Problem("attributes", _("Fix the attributes: at most twelve lines; a person tires before a list does."))
    for line in deciding:
        yield from _line_problems(line)
    if len(deciding) > 5:
        yield Problem(
            "attributes",
            _("Careful: each deciding attribute must pass, so more of them make an answer rarer."),
            blocks=False,
        )


def _limit_problems(plan: HoursPlan) -> Iterator[Problem]:
    yield from limit_problems(plan.limits, plan.hours_of_pulls, [line.name for line in plan.attributes])


def _line_problems(line: Attribute) -> Iterator[Problem]:
    if line.margin is None or not math.isfinite(line.margin) or line.margin <= 0:
        yield Problem(
            "attributes",
            _("Fix {name}: the margin must be above 0. Give the largest worsening you would still sell.").format(
                name=line.name
            ),
        )
    elif line.margin > SCALE_HIGH - SCALE_LOW:
        yield Problem("attributes", _("Fix {name}: the margin is wider than the scale.").format(name=line.name))
    if line.limit is not None and not SCALE_LOW <= line.limit <= SCALE_HIGH:
        yield Problem("attributes", _("Fix {name}: the limit lies on the scale, 0 to 10.").format(name=line.name))
    if line.wanted not in WISHES:
        yield Problem("attributes", _("Fix {name}: wanted is lower, higher or same.").format(name=line.name))


def _panel_problems(plan: HoursPlan) -> Iterator[Problem]:
    yield from plan_bounds.people(plan)
    yield from plan_bounds.numbers(
        (
            ("looks", plan.looks, 1, 4),
            ("sittings", plan.sittings, 1, 10),
            ("next_sittings", plan.next_sittings, 1, 10),
            ("replicates", plan.replicates, 1, 4),
        )
    )
    if plan.sittings < 2 and not plan.several:
        yield Problem(
            "sittings",
            _(
                "Careful: with one sitting before the key is first opened, a tray prepared differently "
                "cannot be told from the hours. Two are safer."
            ),
            blocks=False,
        )
    if not 0 < plan.alpha < 0.5:
        yield Problem("alpha", _("Fix the error rate: write a share such as 0.05."))


def _table_problems(plan: HoursPlan) -> Iterator[Problem]:
    pieces = min(len(plan.pulls) * plan.replicates, plan.palate)
    if pieces * max(len(plan.assessors), 1) + len(plan.assessors) > 900:
        yield Problem("pulls", _("Fix the pulls: this sitting needs more codes than three digits give."))
    yield from _palate_problems(plan)
    if not 0 < plan.piece_g <= 50:
        yield Problem("piece_g", _("Fix the piece: grams above 0, at most 50."))
    if not 0 <= plan.rest_seconds <= 3600:
        yield Problem("rest_seconds", _("Fix the rest: between 0 and 60 minutes."))
    if not plan.contains.strip():
        yield Problem(
            "contains", _("Fix what is in it: assessors must read every ingredient and allergen before they taste.")
        )


def _palate_problems(plan: HoursPlan) -> Iterator[Problem]:
    if not LEAST_PALATE <= plan.palate <= MOST_PALATE:
        yield Problem(
            "palate",
            _("Fix the pieces a sitting: between {low} and {high}; six is what most people take.").format(
                low=LEAST_PALATE, high=MOST_PALATE
            ),
        )
    elif plan.palate > USUAL_PALATE and len(plan.pulls) * plan.replicates > USUAL_PALATE:
        yield Problem(
            "palate",
            _("Careful: up to {n} pieces in one sitting. Most people tire after {most}.").format(
                n=min(plan.palate, len(plan.pulls) * plan.replicates), most=USUAL_PALATE
            ),
            blocks=False,
        )
    else:
        yield from (Problem("pulls", _("Careful: {told}").format(told=told), False) for told in blocks_told(plan))


def _calendar_problems(plan: HoursPlan) -> Iterator[Problem]:
    """Once a start is planned, there must be days and hours that suit it: they are sealed with the rule."""
    counted = beyond_a_run(pull.hours for pull in plan.pulls) is None and min(plan.looks, plan.sittings) > 0
    if plan.starts_at and plan.pulls and counted:
        try:
            calendar(plan)
        except BadInput as wrong:
            yield Problem("calendar", str(wrong))


def blocks_told(plan: HoursPlan) -> tuple[str, ...]:
    """What happens when there are more pieces than a palate takes, in one sentence; nothing where all are served."""
    pulls, palate = len(plan.pulls), plan.palate
    if pulls * plan.replicates <= palate or palate < LEAST_PALATE:
        return ()
    whole, rest = divmod(palate, pulls)
    if not whole:
        told = _(
            "{n} pulls are more than the {most} pieces that one person takes in a sitting, so each assessor tastes the "
            "longest, the control and {rest} of the others, in turns that are balanced."
        )
        return (told.format(n=pulls, most=palate, rest=palate - 2),)
    times = ngettext("once", "{n} times", whole).format(n=whole)
    if rest:
        told = _(
            "A person takes {most} pieces in a sitting, so each assessor tastes every pull {times} and {rest} of them "
            "once more, in turns that are balanced."
        )
        return (told.format(most=palate, times=times, rest=rest),)
    told = _(
        "A person takes {most} pieces in a sitting, so each assessor tastes every pull {times}; plan more sittings."
    )
    return (told.format(most=palate, times=times),)


def named() -> dict[str, int]:
    """What a seal names beside the plan: the version of the stop rule."""
    from analysis.stopping import RULE_VERSION

    return {"rule_version": RULE_VERSION}


def checks(plan: HoursPlan) -> tuple[Check, ...]:
    """Nothing beyond what is confirmed before any tray leaves."""
    return ()


def sitting_at(plan: HoursPlan, number: int) -> datetime | None:
    """When a sitting is planned, by the calendar of the run; None while the run has no day."""
    if not plan.starts_at:
        return None
    sittings = {one.number: one.starts for one in calendar(plan).appointments if one.kind == "sitting"}
    return sittings.get(number)


def sentences(plan: HoursPlan, sealed: Mapping[str, Any] | None = None) -> tuple[str, ...]:
    """The rule in plain sentences. `sealed` is what its seal names beside the plan, None what it would name today."""
    version = (named() if sealed is None else sealed).get("rule_version", FIRST_RULE)
    lost = [_when_lost(plan)] if version >= LOSSES_SINCE else []
    return (*_rule(plan), *lost, _("Version {n} of the stop rule.").format(n=version))


def _rule(plan: HoursPlan) -> tuple[str, ...]:
    hours = sorted(pull.hours for pull in plan.pulls)
    longest = f"{hours[-1]:g}" if hours else "?"
    lines = [_("Question: {question}").format(question=plan.question)]
    lines.append(
        _("Pulls at {hours} h; each is held against the longest, {longest} h.").format(
            hours=", ".join(f"{h:g}" for h in hours), longest=longest
        )
    )
    lines += batch_sentences(plan) + confirm_sentences(plan)
    for line in plan.attributes:
        lines.append(_attribute_sentence(line))
    lines += [limit_sentence(one) for one in plan.limits]
    control = plan.control if plan.control is not None else (hours[0] if hours else 0)
    lines.append(
        _("The {h} h pull is known to differ: unless the panel finds it, nothing counts as the same.").format(
            h=f"{control:g}"
        )
    )
    lines.append(
        ngettext(
            "{people} assessors, {sittings} before the verdict, which is read once.",
            "{people} assessors; the key is opened up to {looks} times, first after {sittings}, each time at a "
            "stricter level.",
            plan.looks,
        ).format(
            people=len(plan.assessors),
            looks=plan.looks,
            sittings=ngettext("{n} sitting", "{n} sittings", plan.sittings).format(n=plan.sittings),
        )
    )
    lines.extend(blocks_told(plan))
    lines.append(
        _("A stop that is truly too early happens in at most {n} of 100 such studies.").format(
            n=f"{100 * plan.alpha:g}"
        )
    )
    return tuple(lines)


def _when_lost(plan: HoursPlan) -> str:
    """What becomes of a pull that is lost before anybody tasted it."""
    hours = sorted(pull.hours for pull in plan.pulls)
    if plan.confirms is not None:
        return _("Should the hour, the control or the longest be lost, there is no verdict.")
    said = _("A pull that is lost before anybody tasted it steps out: nothing is said of it, the rest is weighed.")
    if plan.lost_reference == "next" and len(hours) > 2:
        after = _("Should the longest be lost, {h} h takes its place, once.").format(h=f"{hours[-2]:g}")
    else:
        after = _("Should the longest be lost, there is no verdict.")
    return f"{said} {after}"


def _attribute_sentence(line: Attribute) -> str:
    if not line.decides:
        return _("{name} only describes.").format(name=opening(line.name))
    wanted = WISHES[line.wanted].in_rule()
    if line.limit is None:
        return _("{name} decides: {wanted}, at most {margin} units worse.").format(
            name=opening(line.name), wanted=wanted, margin=f"{line.margin or 0:.1f}"
        )
    return _(
        "{name} decides: {wanted}, at most {margin} units worse, and the mean must keep the limit {limit}."
    ).format(name=opening(line.name), wanted=wanted, margin=f"{line.margin or 0:.1f}", limit=f"{line.limit:.1f}")


# ---- for the statistics ----------------------------------------------------------------------------------------------
def rule_of(plan: HoursPlan, look: int, lost: int = 0) -> Rule:
    """The sealed rule as the statistics read it, where so many batches were lost before anybody tasted them. From two
    sittings of a batch on, disagreement between sittings counts; over batches each stands for its trays too."""
    from analysis.stopping import AttributeRule, Rule

    deciding = {
        line.name: AttributeRule(line.wanted, float(line.margin or 0), line.limit)
        for line in plan.attributes
        if line.decides
    }
    gates = {one.name: gate_of(one) for one in plan.limits}
    served = plan.sittings + (look - 1) * plan.next_sittings
    trays = (times_tasted(plan, look) if plan.several else served) >= 2 and plan.claim != RECIPE
    adjust = ("sitting:hours",) if trays else ()
    asked = plan.confirms.hours if plan.confirms is not None else None
    rule = Rule(deciding, plan.alpha, plan.looks, look, adjust, plan.control, plan.lost_reference, gates=gates)
    rule = replace(rule, confirms=asked)
    if not plan.several:
        return rule
    left = plan.known_by(look) - lost
    if plan.claim == RECIPE:
        return replace(rule, claim=RECIPE, batches=left if left >= FEWEST_BATCHES else None)
    return replace(rule, claim=plan.claim if left > 1 else THIS, batches=max(left, 1))
