"""`studyapp compare`: the verdict on every make of a file of scores under a rule, in sentences or as JSON."""

from __future__ import annotations

import json
from collections.abc import Sequence
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING

import click

from studyapp.errors import BadInput
from studyapp.words import _

if TYPE_CHECKING:
    from studyapp.kinds.comparison.files.bringing import Brought
    from studyapp.kinds.comparison.findings import ComparisonFinding

WIDTH = 100


@click.command
@click.argument("scores", type=click.Path(path_type=Path))
@click.option("--rule", required=True, type=click.Path(path_type=Path), help="The rule, RULE.toml.")
@click.option("--readings", type=click.Path(path_type=Path), help="Readings of instruments, a row a repeat.")
@click.option("--json", "as_json", is_flag=True, help="Print one JSON object instead of sentences.")
@click.option("--report", type=click.Path(path_type=Path), help="Write the answer as a PDF as well.")
def compare(scores: Path, rule: Path, readings: Path | None, as_json: bool, report: Path | None) -> None:
    """Makes told apart, from SCORES (CSV, XLSX or Parquet) and a rule."""
    from studyapp.kinds.comparison.files.bringing import compare_files
    from studyapp.kinds.comparison.findings import comparison_finding

    brought = compare_files(scores, rule, readings=readings)
    finding = comparison_finding(brought.found, brought.offers, scores.stem)
    answer = _json(brought) if as_json else _text(brought, finding)
    if report is not None:
        _write(report, brought, finding)
    click.echo(answer)


def _json(brought: Brought) -> str:
    from studyapp.kinds.comparison.files.decisions import comparison_document
    from studyapp.kinds.comparison.findings.careful import told_warning

    document = comparison_document(brought.found, brought.alike, brought.offers, sealed=False, say=told_warning)
    return json.dumps(document, indent=2, ensure_ascii=False, allow_nan=False)


def _text(brought: Brought, finding: ComparisonFinding) -> str:
    """The whole answer as text: the finding, then a table a make, and what else differed."""
    from studyapp.kinds.comparison.findings import differing, hours, instruments, number_heads, numbers

    found, quantities = brought.found, {one.name: one for one in brought.rule.alike}
    parts = [finding.headline, _wrapped(finding.lede), _wrapped(f"{finding.extent} {finding.scope}")]
    parts.append(_listed("", [_fact(fact.label, fact.value, fact.note) for fact in finding.facts]))
    for name, make in found.makes.items():
        heading = _("{make} against {ref}").format(make=name, ref=found.reference)
        parts.append("\n".join([heading, *_aligned([number_heads(), *numbers(name, make, found.claims)])]))
        told = [
            f"{what}: {answer}. {said}".strip()
            for what, _m, answer, said in differing.rows(name, brought.alike, quantities)
        ]
        parts.append(_listed(_("What else differed"), [*told, differing.because(name, found, brought.alike)]))
    if found.bracket is not None:
        parts.append("\n".join([_("Hours"), *_aligned([hours.heads(), *hours.rows(found.bracket)])]))
    parts += [
        "\n".join([_("Instruments"), *_aligned(instruments.table(found))]) if found.gates else "",
        _listed(_("The price of an answer"), [f"{row.what}: {row.chance} ({row.asks})." for row in finding.offers]),
        _listed(_("Careful"), finding.warnings),
        _wrapped(finding.caution),
    ]
    return "\n\n".join(part for part in parts if part)


def _fact(label: str, value: str, note: str) -> str:
    return f"{label}: {value} ({note})" if note else f"{label}: {value}"


def _wrapped(text: str, indent: str = "") -> str:
    return click.wrap_text(text, WIDTH, indent, " " * len(indent)) if text else ""


def _listed(heading: str, sentences: Sequence[str]) -> str:
    lines = [_wrapped(sentence, "- ") for sentence in sentences]
    return "\n".join([*([heading] if heading else []), *lines]) if lines else ""


def _aligned(rows: Sequence[Sequence[str]]) -> list[str]:
    """Columns flush left."""
    widths = [max(map(len, column)) for column in zip(*rows, strict=True)]
    return ["  ".join(cell.ljust(width) for cell, width in zip(row, widths, strict=True)).rstrip() for row in rows]


def _write(path: Path, brought: Brought, finding: ComparisonFinding) -> None:
    from studyapp.kinds.comparison.report import report_pdf

    at = datetime.now().astimezone().isoformat(timespec="seconds")
    pdf = report_pdf(brought.found, brought.alike, finding, at, {one.name: one for one in brought.rule.alike})
    try:
        path.write_bytes(pdf)
    except OSError as problem:
        sentence = _("Not done: the report cannot be written to {path}. Name a folder that exists and may be written.")
        raise BadInput(sentence.format(path=path)) from problem
