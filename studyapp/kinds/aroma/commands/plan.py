"""`studyapp plan choice` and `sequential`: what a forced-choice panel can show, before anybody tastes."""

from __future__ import annotations

import click

from studyapp.arguments import Number, Whole, as_json, as_text, needed
from studyapp.errors import BadInput
from studyapp.kinds.aroma.commands.choice import METHOD_HELP, limit_of
from studyapp.words import _


@click.command("choice")
@click.option("--method", help=METHOD_HELP)
@click.option("--alpha", type=Number(), default=0.05, show_default=True, help="Risk of the claim that is made.")
@click.option("--beta", type=Number(), default=0.10, show_default=True, help="Chance to miss it, one minus the power.")
@click.option("--pd", type=Number(), help="Share of true detections to find, or the limit.  [default: 0.3]")
@click.option("--d-prime", type=Number(), help="The same stated as d'.")
@click.option("--similarity", is_flag=True, help="Plan to show “close enough” instead of “detectable”.")
@click.option("--assessors", type=Whole(), help="People you have; with --replicates.")
@click.option("--replicates", type=Whole(), help="Trials of each of them.")
@click.option("--control-trials", type=Whole(), help="Sets with the control, a cup known to differ, with --similarity.")
@click.option("--json", "json_wanted", is_flag=True, help="Print one JSON object instead of sentences.")
def plan_choice(
    method: str | None,
    alpha: float,
    beta: float,
    pd: float | None,
    d_prime: float | None,
    similarity: bool,
    assessors: int | None,
    replicates: int | None,
    control_trials: int | None,
    json_wanted: bool,
) -> None:
    """Answers for a wished power, and what a panel of a given size finds and shows."""
    from analysis.choice import method_named
    from studyapp.kinds.aroma.files import forced_choice
    from studyapp.kinds.aroma.findings.trial_plans import controlled, plan_finding

    method = needed(method, "--method", METHOD_HELP.rstrip("."))
    limit = limit_of(method, pd, d_prime)
    if (assessors is None) != (replicates is None):
        raise BadInput(_("Fix --assessors: give --assessors and --replicates together."))
    planned = forced_choice.plan_test(method, alpha, beta, limit, similarity)
    reach = None
    if assessors is not None and replicates is not None:
        reach = forced_choice.panel_reach(method, alpha, assessors, replicates)
    control = forced_choice.plan_control(method, alpha, control_trials, similarity)
    if json_wanted:
        click.echo(as_json(forced_choice.plan_document(planned, similarity, reach, control)))
        return
    meant = forced_choice.d_prime_of(method, limit)
    found = plan_finding(planned, method_named(method).name, limit, meant, similarity, reach)
    click.echo(as_text(controlled(found, planned, control) if control else found))


@click.command("sequential")
@click.option("--method", help=METHOD_HELP)
@click.option("--alpha", type=Number(), default=0.05, show_default=True, help="Risk of a false “different”.")
@click.option("--beta", type=Number(), default=0.05, show_default=True, help="Risk of a false “same”.")
@click.option("--pd", type=Number(), help="Share of true detections that counts as different.  [default: 0.3]")
@click.option("--d-prime", type=Number(), help="The same stated as d'.")
@click.option("--cap", type=Whole(), help="Answers after which the study ends, sealed.")
@click.option("--assessors", type=Whole(), default=1, help="People in a round; it is judged when all have answered.")
@click.option("--json", "json_wanted", is_flag=True, help="Print one JSON object instead of sentences.")
def plan_sequential(
    method: str | None,
    alpha: float,
    beta: float,
    pd: float | None,
    d_prime: float | None,
    cap: int | None,
    assessors: int,
    json_wanted: bool,
) -> None:
    """Lines to decide by after every round, with a sealed cap and exact errors."""
    from studyapp.kinds.aroma.files import forced_choice
    from studyapp.kinds.aroma.findings.trial_plans import sequential_finding

    method = needed(method, "--method", METHOD_HELP.rstrip("."))
    sealed_cap = needed(cap, "--cap", _("the most answers you can collect"))
    planned = forced_choice.plan_sequential(method, alpha, beta, limit_of(method, pd, d_prime), sealed_cap, assessors)
    click.echo(
        as_json(forced_choice.sequential_document(planned)) if json_wanted else as_text(sequential_finding(planned))
    )
