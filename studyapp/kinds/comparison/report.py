"""The report of a comparison: page 1 decides alone, then the rule and the numbers, then the record."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import replace
from typing import TYPE_CHECKING, Any

from studyapp.errors import NotFound
from studyapp.findings.numbers import opening
from studyapp.kinds.comparison import findings
from studyapp.kinds.comparison.deciding import offers, shown
from studyapp.kinds.comparison.findings import (
    ComparisonFinding,
    careful,
    comparison_finding,
    differing,
    hours,
    instruments,
    words_by_make,
)
from studyapp.kinds.comparison.pictures import against, needed
from studyapp.kinds.comparison.plan import ComparisonStudy, Likewise
from studyapp.pictures import paper
from studyapp.pictures.theme import PAPER
from studyapp.printing import record as printed
from studyapp.printing.press import shown_time, typeset
from studyapp.printing.record import NOTHING_KEPT, ReportRecord
from studyapp.records import Staff
from studyapp.store import Store
from studyapp.words import _, language

if TYPE_CHECKING:
    from analysis.comparing import Bracket, Compared
    from studyapp.kinds.comparison.files.decisions import Alike

_FIRST = 2


def report(store: Store, by: Staff, study: ComparisonStudy, printed_at: str) -> bytes:
    """The report of an opened study. Raises NotAllowed before the key is open."""
    found = shown(store, by, study.id)
    ways = offers(store, by, study.id) if found.found.open_makes else ()
    finding = comparison_finding(found.found, ways, study.plan.title, words_by_make(study.plan), study.plan)
    finding = replace(finding, warnings=(*careful.earlier_rule(study), *finding.warnings))
    record = printed.record_of(store, by, study)
    quantities = {one.name: one for one in study.plan.alike}
    return report_pdf(found.found, found.alike, finding, printed_at, quantities, record)


def calendar(store: Store, by: Staff, study: ComparisonStudy) -> bytes:
    """There is none: makes are tasted when they are made. Raises NotFound."""
    raise NotFound(_("Not done: a comparison of makes has no pulls, so there is no calendar of them."))


def report_pdf(
    found: Compared,
    alike: Alike,
    finding: ComparisonFinding,
    printed_at: str,
    quantities: dict[str, Likewise],
    record: ReportRecord = NOTHING_KEPT,
) -> bytes:
    """The report as a tagged PDF; the same arguments give the same bytes.

    Args:
        found: the verdicts.
        alike: what else differed, by quantity and make.
        finding: the sentences.
        printed_at: ISO 8601 time.
        quantities: units and tolerances of what should be alike.
        record: the seal, departures and signatures of a study kept in the store.
    """
    title = finding.title or _("Comparison")
    return typeset(
        "report",
        {
            "lang": language(),
            "document_title": _("Decision on makes: {title}").format(title=title),
            "words": printed.page_words() | _words(),
            "crumb": _("Decision on makes. {study}").format(study=title),
            "headline": finding.headline,
            "lede": f"{finding.lede} {finding.extent} {finding.scope}",
            "facts": [{"label": one.label, "value": one.value, "note": one.note} for one in finding.facts],
            "offers": [[row.what, row.asks, row.chance] for row in finding.offers],
            "offer_columns": [_("one of these"), _("asks"), _("gives an answer")],
            **printed.notes(_reasons(found, alike), finding.warnings, record),
            "caution": finding.caution,
            **_pictures(found),
            "rule": list(record.rule),
            "sealed": printed.sealed(record),
            "tables": [*_numbers(found), *_limits(found), *_pulls(found), *_differing(found, alike, quantities)],
            "beside": [],
            "record": _record_rows(found, printed_at, record),
            "foot_left": title,
            "foot_middle": printed.foot(record, printed_at),
        },
        printed_at,
    )


def _reasons(found: Compared, alike: Alike) -> list[str]:
    return [f"{make}: {differing.because(make, found, alike)}" for make in found.makes]


def _pictures(found: Compared) -> dict[str, Any]:
    drawn = paper.svgs([against(found, name, PAPER) for name in found.makes], paper.WHOLE)
    bracket = [] if found.bracket is None else [_hours(found.bracket)]
    return {
        "charts_heading": _("Worse than {ref}, by how much?").format(ref=found.reference),
        "charts_intro": findings.intro(found),
        "charts_across": 1,
        "charts_first": _FIRST,
        "signs": [{"sign": "disc", "words": _("shown")}, {"sign": "cross", "words": _("not shown")}],
        "charts": [
            {
                "name": name,
                "note": _("against {ref}").format(ref=found.reference),
                "svg": svg,
                "alt": findings.alt(found),
            }
            for name, svg in zip(found.makes, drawn, strict=True)
        ]
        + bracket,
    }


def _hours(found: Bracket) -> dict[str, Any]:
    """How many hours longer one make needs, as a picture."""
    (svg,) = paper.svgs([needed(found, PAPER)], paper.WHOLE)
    return {"name": _("Hours"), "note": f"{hours.intro(found)} {hours.signs()}", "svg": svg, "alt": hours.alt(found)}


def _pulls(found: Compared) -> list[dict[str, Any]]:
    """What is shown of every pull."""
    if found.bracket is None:
        return []
    name = _("Hours: every pull against the common reference")
    return [{"name": name, "columns": hours.heads(), "rows": hours.rows(found.bracket), "fit": ""}]


def _numbers(found: Compared) -> list[dict[str, Any]]:
    return [
        {
            "name": name,
            "rows": findings.numbers(name, make, found.claims),
            "fit": _("Chance over all attributes {p}, with the other makes counted {q}.").format(
                p=f"{make.p:.4f}", q=f"{make.p_holm:.4f}"
            ),
        }
        for name, make in found.makes.items()
    ]


def _limits(found: Compared) -> list[dict[str, Any]]:
    """Limits of instruments, every make in a column."""
    if not found.gates:
        return []
    heads, *rows = instruments.table(found)
    return [{"name": _("Instruments: each has its own limit"), "columns": heads, "rows": rows, "fit": ""}]


def _differing(found: Compared, alike: Alike, quantities: dict[str, Likewise]) -> list[dict[str, Any]]:
    """A table a make."""
    tables = []
    for name in found.makes:
        rows = [[opening(what), answer, said] for what, _mark, answer, said in differing.rows(name, alike, quantities)]
        if rows:
            heading = _("What else differed: {make} against {ref}").format(make=name, ref=found.reference)
            heads = [_("quantity"), _("answer"), _("difference")]
            tables.append({"name": heading, "columns": heads, "rows": rows, "fit": ""})
    return tables


def _record_rows(found: Compared, printed_at: str, record: ReportRecord) -> list[tuple[str, str]]:
    plan = record.plan
    rows = [
        (_("Question"), plan.question if plan else ""),
        (_("Recipe"), plan.recipe if plan else ""),
        (_("Served"), printed.served(plan) if plan else ""),
        (_("Contains"), plan.contains if plan else ""),
        (_("Assessors"), str(found.scope["assessors"])),
        (_("Sittings"), str(found.scope["sittings"])),
        (_("Opening of the key"), _("{look} of {looks}").format(look=found.look, looks=found.looks)),
        (_("Rule sealed"), shown_time(record.sealed_at) if record.seal else _("not sealed here")),
        (_("SHA-256 of the rule"), record.seal or ""),
        *printed.chain(record),
        (_("Printed"), shown_time(printed_at)),
    ]
    return [(label, value) for label, value in rows if value]


def _words() -> dict[str, Any]:
    return {
        "more_charts": _("More makes"),
        "changes": _("Because of the way of making?"),
        "numbers_intro": _(
            "Differences are against the reference, positive is worse, in scale units. At least and at most are the "
            "limits that decide: the widest of the errors beside them."
        ),
        "beside": "",
        "columns": findings.number_heads(),
    }


def papers() -> Mapping[str, Callable[[Store, Staff, ComparisonStudy, str], bytes]]:
    """None of its own."""
    return {}
