"""`studyapp decide`: the verdict on a file of scores under a rule, as sentences and tables or as JSON."""

from __future__ import annotations

import contextlib
import math
import os
import secrets
from collections.abc import Mapping, Sequence
from dataclasses import asdict
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING

import click

from studyapp.errors import BadInput
from studyapp.wishes import WISHES
from studyapp.words import _

if TYPE_CHECKING:
    from analysis.instruments import GateResult
    from analysis.planning import Offer
    from analysis.stopping import AttributeResult, Decision, PullResult
    from analysis.stopping.cross_check import AttributeCheck
    from studyapp.kinds.hours.findings import HoursFinding, OfferRow

WIDTH = 100


@click.command
@click.argument("scores", type=click.Path(path_type=Path))
@click.option("--rule", required=True, type=click.Path(path_type=Path), help="The rule, RULE.toml.")
@click.option("--readings", type=click.Path(path_type=Path), help="Readings of instruments, for the rule's gates.")
@click.option("--json", "as_json", is_flag=True, help="Print one JSON object instead of sentences.")
@click.option("--report", type=click.Path(path_type=Path), help="Write the answer as a PDF as well.")
@click.option("--cross-check", "asks_others", is_flag=True, help="Put what two other programs find beside the numbers.")
def decide(
    scores: Path, rule: Path, readings: Path | None, as_json: bool, report: Path | None, asks_others: bool
) -> None:
    """The shortest acceptable hours, from SCORES (CSV, XLSX or Parquet) and a rule."""
    from studyapp.kinds.hours.files.bringing import decide_files, second_opinion
    from studyapp.kinds.hours.findings import hours_finding

    decision, offers = decide_files(scores, rule, readings=readings)
    checks = second_opinion(scores, rule, decision)() if asks_others else None
    files = [file for file in (scores, rule, readings) if file is not None]
    finding = hours_finding(decision, offers, title=scores.stem)
    answer = _json(decision, offers, checks, files) if as_json else _text(decision, finding, checks)
    if report is not None:
        _write_report(report, decision, finding)
    click.echo(answer)


def _json(
    decision: Decision, offers: Sequence[Offer], checks: Mapping[str, AttributeCheck] | None, files: Sequence[Path]
) -> str:
    from studyapp.arguments import as_json, made_from
    from studyapp.kinds.hours.files.decisions import cross_check_document, decision_document
    from studyapp.kinds.hours.findings import warning_sentence

    document = decision_document(decision, offers, sealed=False, say=warning_sentence)
    if checks is not None:
        document["cross_check"] = cross_check_document(checks)
    return as_json({**document, **made_from(*files)})


def _text(decision: Decision, finding: HoursFinding, checks: Mapping[str, AttributeCheck] | None) -> str:
    """The whole answer as text: the finding, then a table an attribute, and a second opinion if one was asked for."""
    parts = [
        finding.headline,
        _wrapped(finding.lede),
        _facts([(fact.label, fact.value, fact.note) for fact in finding.facts]),
        *(_attribute(result) for result in decision.attributes.values()),
        *(_limit(result) for result in decision.gates),
        _batches(decision),
        _listed(_("The price of an answer"), _offers(finding.offers)),
        _listed(_("What would change it"), finding.changes),
        _listed(_("Careful"), finding.warnings),
        *([] if checks is None else _opinions(checks)),
        _wrapped(finding.caution),
    ]
    return "\n\n".join(part for part in parts if part)


def _wrapped(text: str, indent: str = "") -> str:
    return click.wrap_text(text, WIDTH, indent, " " * len(indent)) if text else ""


def _listed(heading: str, sentences: Sequence[str]) -> str:
    return "\n".join([heading, *(_wrapped(sentence, "- ") for sentence in sentences)]) if sentences else ""


def _facts(facts: Sequence[tuple[str, str, str]]) -> str:
    widest = max((len(label) for label, _value, _note in facts), default=0)
    return "\n".join(f"{label:<{widest}}  {value}{f'  ({note})' if note else ''}" for label, value, note in facts)


def _attribute(result: AttributeResult) -> str:
    """One attribute: what is wanted of it, then a row a pull."""
    rule = result.rule
    wanted = WISHES[rule.wanted].on_command()
    if rule.limit is None:
        heading = _("{name}: {wanted}, margin {margin:g}, against {reference:g} h")
    else:
        heading = _("{name}: {wanted}, margin {margin:g}, limit {limit:g}, against {reference:g} h")
    values = {"name": result.name, "wanted": wanted, "margin": rule.margin, "limit": rule.limit}
    heading = heading.format(reference=result.reference_hours, **values)
    header = (_("hours"), _("mean"), _("worse by"), _("at most"), _("panel SE"), _("df"), _("own SE"), _("df"), "")
    return "\n".join([heading, *_aligned([header, *(_pull(result, pull) for pull in result.pulls)])])


def _limit(result: GateResult) -> str:
    """One limit of an instrument: what it asks for, then a row a pull."""
    from studyapp.kinds.hours.findings.instruments import limit_heading, limit_heads, limit_lines

    return "\n".join([limit_heading(result), *_aligned([limit_heads(result), *limit_lines(result)])])


def _batches(decision: Decision) -> str:
    """Every batch at the hour in question, a row a batch."""
    from studyapp.kinds.hours.findings.batches import batch_table

    told = batch_table(decision)
    if told is None:
        return ""
    return "\n".join([f"{told.title}: {told.apart}", *_aligned([told.heads, *told.lines])])


def _pull(result: AttributeResult, pull: PullResult) -> tuple[str, ...]:
    """One row; "at most" is the largest of all limits in force, so it may exceed what one error alone gives."""
    numbers = (pull.mean, pull.difference, pull.decisive_upper, pull.se)
    errors = (_fixed(pull.df, 1), _fixed(pull.own_se), _fixed(pull.own_df, 1))
    return (f"{pull.hours:g}", *map(_fixed, numbers), *errors, _standing(result, pull))


def _standing(result: AttributeResult, pull: PullResult) -> str:
    """How a pull stands on one attribute, in words."""
    from studyapp.kinds.hours.findings import standing

    if not result.judged:
        return _("not judged")
    if pull.shown_to_fail:
        return standing(result, pull)
    if pull.within_limit is False:
        within = _("within the margin, not shown to meet the limit")
        return within if pull.within_margin else _("not shown to be within margin and limit")
    if pull.hours == result.reference_hours:
        return _("reference")
    return _("within the margin") if pull.within_margin else _("not shown to be within the margin")


def _offers(offers: Sequence[OfferRow]) -> list[str]:
    """Ways to an answer, with what each asks for and how often it settles the question."""
    sentence = _("{what}: {servings} a person, {palates}, an answer in {chance} cases ({error} by drawing).")
    return [sentence.format(**asdict(offer)) for offer in offers]


def _opinions(checks: Mapping[str, AttributeCheck]) -> list[str]:
    """What the two other programs say: a table an attribute, and sentences below it."""
    from studyapp.kinds.hours.findings.cross_check import opinion_intro, second_opinions

    parts = [f"{_('A second opinion')}\n{_wrapped(opinion_intro())}"]
    for opinion in second_opinions(checks):
        widest = max(len(first) for first, *_rest in opinion.rows)
        rows = [(first.ljust(widest), *rest, "") for first, *rest in (opinion.heads, *opinion.rows)]
        parts.append("\n".join([opinion.name, *_aligned(rows), *(_wrapped(said, "- ") for said in opinion.says)]))
    return parts


def _aligned(rows: Sequence[Sequence[str]]) -> list[str]:
    """Columns flush right, the last flush left."""
    widths = [max(map(len, column)) for column in zip(*rows, strict=True)]
    return [
        "  ".join([*(cell.rjust(width) for cell, width in zip(row[:-1], widths, strict=False)), row[-1]]).rstrip()
        for row in rows
    ]


def _fixed(value: float | None, digits: int = 2) -> str:
    return "–" if value is None or not math.isfinite(value) else f"{value:.{digits}f}"


def _write_report(path: Path, decision: Decision, finding: HoursFinding) -> None:
    """Write the PDF beside its place and move it there, so that no half report is left."""
    from studyapp.kinds.hours.report import report_pdf

    pdf = report_pdf(decision, finding, datetime.now().astimezone().isoformat(timespec="seconds"))
    draft = path.parent / f".{path.name}.{secrets.token_hex(4)}"
    try:
        draft.write_bytes(pdf)
        os.replace(draft, path)
    except OSError as problem:
        with contextlib.suppress(OSError):
            draft.unlink()
        sentence = _("Not done: the report cannot be written to {path}. Name a folder that exists and may be written.")
        raise BadInput(sentence.format(path=path)) from problem
