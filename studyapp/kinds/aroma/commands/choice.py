"""`studyapp choice`, `threshold` and `carryover`: forced-choice answers from totals or a file."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from functools import wraps
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from studyapp.arguments import Number, Whole, as_json, as_text, made_from, needed
from studyapp.errors import BadInput
from studyapp.methods import METHODS
from studyapp.words import _

if TYPE_CHECKING:
    from analysis.choice import SequentialPlan
    from studyapp.kinds.aroma.files.forced_choice import Given

*_first, _last = METHODS
SHARE_HELP = "Tell from where, or up to where, this share of people notices."
METHOD_HELP = f"{', '.join(_first)} or {_last}."


def with_control(command: Callable[..., None]) -> Callable[..., None]:
    """The two options of the positive control, for a command that takes them as one argument `control`."""

    @click.option("--control-trials", type=Whole(), help="Sets with the control, a cup known to differ.")
    @click.option("--control-correct", type=Whole(), help="Right answers to them; or a column control in the file.")
    @wraps(command)
    def asked(control_trials: int | None, control_correct: int | None, **others: Any) -> None:
        if (control_trials is None) != (control_correct is None):
            raise BadInput(_("Fix --control-trials: give --control-trials and --control-correct together."))
        given = None if control_trials is None else (control_trials, control_correct)
        command(control=given, **others)

    return asked


def _by_rounds(sealed: SequentialPlan, answers: Path | None, control: Given, json_wanted: bool) -> None:
    """Judge a file by the rounds of a sealed plan."""
    from studyapp.kinds.aroma.files import forced_choice
    from studyapp.kinds.aroma.findings.rounds import round_warning, rounds_finding

    path = needed(answers, "--answers", _("a file; rounds are not known from totals"))
    judged = forced_choice.judge_rounds(path, sealed, control)
    if json_wanted:
        click.echo(as_json({**forced_choice.rounds_document(judged, round_warning), **made_from(path)}))
        return
    finding = rounds_finding(judged)
    click.echo(as_text(replace(finding, facts=finding.numbers)))


@click.command
@click.option("--method", help=METHOD_HELP)
@click.option("--trials", type=Whole(), help="Answers in all, one each of different people.")
@click.option("--correct", type=Whole(), help="Right answers among them.")
@click.option("--answers", type=click.Path(path_type=Path), help="A file, a row a trial: assessor, correct (0 or 1).")
@click.option("--alpha", type=Number(), default=0.05, show_default=True, help="Risk of the claim that is made.")
@click.option("--pd", type=Number(), help="Limit of “close enough”: share of true detections.  [default: 0.3]")
@click.option("--d-prime", type=Number(), help="The same limit stated as d'.")
@click.option("--cap", type=Whole(), help="With --answers: judge by rounds, as sealed to end after so many answers.")
@click.option("--assessors", type=Whole(), help="People in a round, with --cap.")
@click.option("--beta", type=Number(), default=0.05, show_default=True, help="Risk of a false “same”, with --cap.")
@with_control
@click.option("--json", "json_wanted", is_flag=True, help="Print one JSON object instead of sentences.")
def choice(
    method: str | None,
    trials: int | None,
    correct: int | None,
    answers: Path | None,
    alpha: float,
    pd: float | None,
    d_prime: float | None,
    cap: int | None,
    assessors: int | None,
    beta: float,
    control: Given,
    json_wanted: bool,
) -> None:
    """Is it noticed, and is it close enough? One forced-choice test."""
    from studyapp.kinds.aroma.files import forced_choice
    from studyapp.kinds.aroma.findings.trials import choice_finding, choice_warning

    method = needed(method, "--method", METHOD_HELP.rstrip("."))
    limit = limit_of(method, pd, d_prime)
    if cap is not None:
        people = needed(assessors, "--assessors", _("how many people make a round"))
        _by_rounds(
            forced_choice.plan_sequential(method, alpha, beta, limit, cap, people), answers, control, json_wanted
        )
        return
    if answers is not None:
        if trials is not None or correct is not None:
            raise BadInput(_("Fix --answers: give either a file or --trials and --correct, not both."))
        result = forced_choice.judge_file(method, answers, alpha, limit, control)
    else:
        asked = needed(trials, "--trials", _("the number of answers, or a file with --answers"))
        right = needed(correct, "--correct", _("the number of right answers"))
        result = forced_choice.judge_totals(method, asked, right, alpha, limit, control)
    if json_wanted:
        made = made_from(*([] if answers is None else [answers]))
        click.echo(as_json({**forced_choice.choice_document(result, choice_warning), **made}))
        return
    meant = forced_choice.d_prime_of(method, limit)
    click.echo(as_text(choice_finding(result, meant, forced_choice.settling_people(result))))


@click.command
@click.argument("answers", type=click.Path(path_type=Path))
@click.option("--method", help=METHOD_HELP)
@click.option("--alpha", type=Number(), default=0.05, show_default=True, help="Risk of each of the two claims.")
@click.option("--unit", default="", help="Unit of the doses, for the sentences: min or g.")
@click.option("--share", type=Number(), default=0.5, show_default=True, help=SHARE_HELP)
@click.option("--uneven", is_flag=True, help="Accept assessors with unequal trials: answers were lost.")
@with_control
@click.option("--json", "json_wanted", is_flag=True, help="Print one JSON object instead of sentences.")
def threshold(
    answers: Path,
    method: str | None,
    alpha: float,
    unit: str,
    share: float,
    uneven: bool,
    control: Given,
    json_wanted: bool,
) -> None:
    """From what dose on is it noticed? ANSWERS has the columns assessor, dose, correct (0 or 1), a row a trial."""
    from studyapp.kinds.aroma.files import forced_choice
    from studyapp.kinds.aroma.findings.doses import dose_warning, threshold_finding

    method = needed(method, "--method", METHOD_HELP.rstrip("."))
    fitted = forced_choice.threshold_file(method, answers, alpha, uneven, control, share)
    if json_wanted:
        click.echo(as_json({**forced_choice.threshold_document(fitted, dose_warning), **made_from(answers)}))
        return
    tested, apart = forced_choice.threshold_checks(fitted)
    click.echo(as_text(threshold_finding(fitted, tested, apart, unit)))


@click.command
@click.argument("answers", type=click.Path(path_type=Path))
@click.option("--method", help=METHOD_HELP)
@click.option("--pd", type=Number(), help="Limit of “close enough”: share of true detections.  [default: 0.5]")
@click.option("--d-prime", type=Number(), help="The same limit stated as d'.")
@click.option("--alpha", type=Number(), default=0.05, show_default=True, help="Risk of the claim that is made.")
@click.option("--share", type=Number(), default=0.5, show_default=True, help=SHARE_HELP)
@click.option("--uneven", is_flag=True, help="Accept assessors with unequal trials: answers were lost.")
@with_control
@click.option("--json", "json_wanted", is_flag=True, help="Print one JSON object instead of sentences.")
def carryover(
    answers: Path,
    method: str | None,
    pd: float | None,
    d_prime: float | None,
    alpha: float,
    share: float,
    uneven: bool,
    control: Given,
    json_wanted: bool,
) -> None:
    """How long does it linger? ANSWERS: columns assessor, batch (1 = first plain batch after), correct (0 or 1).

    Instead of batch there may be days, or seconds after a piece, each piece being asked about once.
    """
    from studyapp.kinds.aroma.files import forced_choice
    from studyapp.kinds.aroma.findings.trials import choice_warning, ladder_finding

    method = needed(method, "--method", METHOD_HELP.rstrip("."))
    limit = limit_of(method, pd, d_prime, 0.5)
    ladder, aim = forced_choice.ladder_file(method, answers, limit, alpha, uneven, control, share)
    if json_wanted:
        click.echo(as_json({**forced_choice.ladder_document(ladder, choice_warning), **made_from(answers)}))
        return
    click.echo(as_text(ladder_finding(ladder, aim)))


def limit_of(method: str, pd: float | None, d_prime: float | None, default: float = 0.3) -> float:
    """The limit as a share of true detections, stated as pd or as d'. Raises BadInput."""
    from studyapp.kinds.aroma.files.forced_choice import pd_of

    if pd is not None and d_prime is not None:
        raise BadInput(_("Fix --pd: state the limit as --pd or as --d-prime, not both."))
    if d_prime is not None:
        return pd_of(method, d_prime)
    return default if pd is None else pd
