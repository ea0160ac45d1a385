"""The report of a decision: page 1 decides alone, then the rule and the numbers, then the record."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING, Any

from studyapp.findings import decimal, hours, of_studies, percent, units
from studyapp.findings.numbers import interval_share, opening
from studyapp.findings.ways import WayLine, heads, score_word
from studyapp.kinds.hours.findings import HoursFinding, attribute_alt, costs, hours_finding, versions
from studyapp.kinds.hours.findings.batches import batch_table, batches_alt, marks_say
from studyapp.kinds.hours.findings.failing import fate
from studyapp.kinds.hours.findings.instruments import (
    by_name,
    limit_alt,
    limit_heading,
    limit_heads,
    limit_lines,
    wanted,
)
from studyapp.kinds.hours.findings.missing import lost_alt, lost_hours
from studyapp.kinds.hours.findings.pull_life import late_pulls, pull_departures
from studyapp.kinds.hours.findings.pulls import fit_says, limit_decides, limit_note, means_alt, pull_numbers
from studyapp.kinds.hours.findings.scale import shared_scale
from studyapp.kinds.hours.findings.ways import way_lines
from studyapp.kinds.hours.pictures import against_limit, worsening
from studyapp.kinds.hours.pictures.rows import Axis, limit_row
from studyapp.kinds.hours.plan import HoursPlan, HoursStudy
from studyapp.kinds.hours.report.calendar_file import study_calendar
from studyapp.kinds.hours.setting_out.pulls import by_batch
from studyapp.pictures import paper
from studyapp.pictures.theme import PAPER
from studyapp.printing.press import shown_time, typeset
from studyapp.printing.record import NOTHING_KEPT, ReportRecord, chain, foot, notes, page_words, record_of, served
from studyapp.printing.record import sealed as sealed_lines
from studyapp.records import Staff
from studyapp.store import Store
from studyapp.wishes import WISHES
from studyapp.words import _, language

if TYPE_CHECKING:
    from analysis.stopping import AttributeResult, Decision, PullResult

_CHARTS_FIRST = 6


def report(store: Store, by: Staff, study: HoursStudy, printed_at: str) -> bytes:
    """The report of an opened study. Raises NotAllowed before the key is open."""
    from studyapp.kinds.hours import deciding
    from studyapp.kinds.hours.deciding.ways import all_ways

    shown_ = deciding.shown(store, by, study.id)
    cannot_tell = shown_.decision.verdict == "cannot tell"
    ways = all_ways(store, by, study.id) if cannot_tell else ()
    beside = deciding.description(store, by, study.id) if shown_.corrected is None else None
    priced = tuple(way.offer for way in ways)
    finding = hours_finding(shown_.decision, priced, study.plan.title, costs(study.plan), beside)
    taken = by_batch(store, by, study.id)
    finding = replace(finding, lede=" ".join([*late_pulls(*taken), finding.lede]))
    record = replace(
        record_of(store, by, study),
        rule_version=shown_.rule_version,
        corrected=versions.said_otherwise(shown_),
        rule_departures=(*versions.departures(shown_), *pull_departures(*taken)),
    )
    lines = way_lines(ways, study.plan, shown_.decision)
    return report_pdf(shown_.decision, finding, printed_at, record, lines)


def calendar(store: Store, by: Staff, study: HoursStudy) -> bytes:
    """Pulls, tempering and sittings, for a calendar program; pulls as they were noted, once the plan is sealed."""
    return study_calendar(study, kept=by_batch(store, by, study.id)[0] if study.seal else None)


def papers() -> Mapping[str, Callable[[Store, Staff, HoursStudy, str], bytes]]:
    """Papers of the hours book."""
    from studyapp.kinds.hours.report import book_papers

    return {"worth": book_papers.worth, "book": book_papers.book, "card": book_papers.card}


def report_pdf(
    decision: Decision,
    finding: HoursFinding,
    printed_at: str,
    record: ReportRecord = NOTHING_KEPT,
    ways: Sequence[WayLine] = (),
) -> bytes:
    """The report as a tagged PDF; the same arguments give the same bytes.

    Args:
        decision: the verdict of one look.
        finding: its sentences, with the title of the study.
        printed_at: ISO 8601 time.
        record: the seal, departures and signatures of a study kept in the store.
        ways: the list of ways to an answer of such a study; without it the offers of the finding are printed.
    """
    data = report_data(decision, finding, printed_at, record)
    if ways:
        data |= _ways(ways)
    return typeset("report", data, printed_at)


def report_data(
    decision: Decision, finding: HoursFinding, printed_at: str, record: ReportRecord = NOTHING_KEPT
) -> dict[str, Any]:
    """Everything the template reads."""
    title = finding.title or (record.plan.title if record.plan else _("Conching time"))
    return {
        "lang": language(),
        "document_title": _("Decision on conching time: {title}").format(title=title),
        "words": page_words() | _words(),
        **_first_page(decision, finding, title, record),
        **_pictures(decision, finding),
        **_numbers(decision, record),
        "beside": list(finding.beside),
        "record": _record_rows(decision, printed_at, record),
        "foot_left": title,
        "foot_middle": foot(record, printed_at),
    }


def _ways(ways: Sequence[WayLine]) -> dict[str, Any]:
    """The list of the page, a line each: what it changes is read there."""
    rows = [
        [
            way.what,
            way.sittings,
            ", ".join(part for part in (way.grams, way.too_little) if part),
            way.pieces,
            way.time,
            "" if way.counts_on is None else score_word(way.counts_on),
            way.chance,
        ]
        for way in ways
    ]
    what, chance, *asks = heads()
    return {"offers": rows, "offer_columns": [what, *asks, chance]}


# ---- page 1 ------------------------------------------------------------------------------------------------------
def _first_page(decision: Decision, finding: HoursFinding, title: str, record: ReportRecord) -> dict[str, Any]:
    with_costs = any(row.grams for row in finding.offers)
    rows = [
        [
            row.what,
            row.servings,
            *([row.grams, row.minutes] if with_costs else []),
            row.palates,
            f"{row.chance} ({row.error})",
        ]
        for row in finding.offers
    ]
    costs = [_("chocolate"), _("time")] if with_costs else []
    return {
        "crumb": _crumb(title, record.plan),
        "headline": finding.headline,
        "lede": finding.lede,
        "facts": [{"label": fact.label, "value": fact.value, "note": fact.note} for fact in finding.facts],
        "offers": rows,
        "offer_columns": [
            _("one of these, for each person"),
            _("pieces"),
            *costs,
            _("asks of"),
            _("cases with an answer"),
        ],
        **notes(finding.changes, finding.warnings, record),
        "caution": finding.caution,
    }


def _crumb(title: str, plan: HoursPlan | None) -> str:
    said = title
    for part in (plan.recipe, plan.batch, *plan.named_batches, plan.machine) if plan else ():
        if part and part.casefold() not in said.casefold():
            said = _("{study}, {part}").format(study=said, part=part)
    return _("Decision on conching time. {study}").format(study=said)


def _pictures(decision: Decision, finding: HoursFinding) -> dict[str, Any]:
    charts = [*_limit_charts(decision), *_attribute_charts(decision), *_mean_charts(decision)]
    return {
        "charts_heading": _("Worse than the longest pull, by how much?"),
        "charts_intro": f"{finding.charts_intro} {marks_say(decision)}".rstrip(),
        "charts_across": 3,
        "charts_first": _CHARTS_FIRST,
        "signs": [
            {"sign": "disc", "words": _("within the margin")},
            {"sign": "cross", "words": _("not shown")},
            {"sign": "reference", "words": _("the reference")},
        ],
        "charts": sorted(charts, key=lambda chart: chart["name"] != opening(decision.binding or "")),
    }


def _attribute_charts(decision: Decision) -> list[dict[str, str]]:
    results = [result for result in _binding_first(decision) if result.judged and len(result.pulls) > 1]
    scale, lost = shared_scale(results), lost_hours(decision)
    drawn = paper.svgs([worsening(result, scale, PAPER, lost, decision.batches) for result in results], paper.THIRD)
    return [
        {
            "name": opening(result.name),
            "note": _chart_note(result, decision, scale.shows_limit(result)),
            "svg": svg,
            "alt": " ".join(filter(None, (attribute_alt(result), batches_alt(decision, result.name), lost_alt(lost)))),
        }
        for result, svg in zip(results, drawn, strict=True)
    ]


def _mean_charts(decision: Decision) -> list[dict[str, str]]:
    """The means of an attribute against the limit on them, where that decides."""
    limited = [result for result in _binding_first(decision) if len(result.pulls) > 1 and limit_decides(result)]
    drawn = paper.svgs([against_limit(result, PAPER) for result in limited], paper.THIRD)
    return [
        {"name": opening(result.name), "note": limit_note(), "svg": svg, "alt": means_alt(result)}
        for result, svg in zip(limited, drawn, strict=True)
    ]


def _limit_charts(decision: Decision) -> list[dict[str, str]]:
    """A picture a limit, with every batch."""
    names = list(dict.fromkeys(one.name for one in decision.gates))
    axis = Axis(sorted(decision.passes), decision.hours, PAPER)
    drawn = paper.svgs([limit_row(by_name(decision, name), axis) for name in names], paper.THIRD)
    return [
        {"name": opening(name), "note": _limit_note(decision, name), "svg": svg, "alt": limit_alt(decision, name)}
        for name, svg in zip(names, drawn, strict=True)
    ]


def _limit_note(decision: Decision, name: str) -> str:
    decides = decision.hours is not None and name == decision.binding
    return _("decides the hour") if decides else wanted(by_name(decision, name)[0])


def _binding_first(decision: Decision) -> list[AttributeResult]:
    return sorted(decision.attributes.values(), key=lambda result: result.name != decision.binding)


def _chart_note(result: AttributeResult, decision: Decision, limit_drawn: bool) -> str:
    if decision.hours is not None and result.name == decision.binding:
        return _("decides the hour")
    if result.rule.limit is not None and not limit_drawn and not limit_decides(result):
        return _("{wanted}, limit {limit} off the picture").format(
            wanted=_wanted(result), limit=units(result.rule.limit)
        )
    return _wanted(result)


def _wanted(result: AttributeResult) -> str:
    return WISHES[result.rule.wanted].told()


# ---- the rule and the numbers ------------------------------------------------------------------------------------
def _numbers(decision: Decision, record: ReportRecord) -> dict[str, Any]:
    return {
        "rule": list(record.rule) or _rule_sentences(decision),
        "sealed": sealed_lines(record),
        "tables": [
            *_batches(decision),
            *(
                {
                    "name": opening(result.name),
                    "rows": [_row(result, pull) for pull in result.pulls],
                    "fit": fit_says(result),
                }
                for result in _binding_first(decision)
            ),
            *(
                {"name": opening(limit_heading(one)), "columns": limit_heads(one), "rows": limit_lines(one), "fit": ""}
                for one in decision.gates
            ),
        ],
    }


def _batches(decision: Decision) -> list[dict[str, Any]]:
    """Every batch at the hour in question."""
    told = batch_table(decision)
    if told is None:
        return []
    return [{"name": told.title, "columns": told.heads, "rows": told.lines, "fit": told.apart}]


def _rule_sentences(decision: Decision) -> list[str]:
    """The rule as the decision knows it, for scores that came with a rule in a file."""
    lines = []
    for result in decision.attributes.values():
        texts = {"name": opening(result.name), "wanted": _wanted(result), "m": units(result.rule.margin)}
        if result.rule.limit is None:
            lines.append(_("{name}: {wanted}, margin {m}.").format(**texts))
        else:
            sentence = _("{name}: {wanted}, margin {m}, limit {limit}.")
            lines.append(sentence.format(limit=units(result.rule.limit), **texts))
    for name in dict.fromkeys(one.name for one in decision.gates):
        sentence = _("{name}: {wanted}, at it and every longer pull.")
        lines.append(sentence.format(name=opening(name), wanted=wanted(by_name(decision, name)[0])))
    error = _("Error of the whole rule: stop too early in at most {share} studies. Opening {look} of {looks}.")
    lines.append(error.format(share=of_studies(decision.alpha), look=decision.look, looks=decision.looks))
    return lines


def _row(result: AttributeResult, pull: PullResult) -> list[str]:
    return [*pull_numbers(pull), fate(result, pull)]


# ---- the record --------------------------------------------------------------------------------------------------
def _record_rows(decision: Decision, printed_at: str, record: ReportRecord) -> list[tuple[str, str]]:
    plan = record.plan
    rows = [
        (_("Question"), plan.question if plan else ""),
        (_("Recipe"), plan.recipe if plan else ""),
        (_("Batch"), plan.batch if plan else ""),
        (_("Machine"), plan.machine if plan else ""),
        (_("Served"), served(plan) if plan else ""),
        (_("Contains"), plan.contains if plan else ""),
        (_("Assessors"), str(decision.scope.get("assessors", ""))),
        (_("Sittings"), str(decision.scope.get("sittings", ""))),
        (_("Pulls"), _("{list} h").format(list=", ".join(hours(hour) for hour in decision.passes))),
        (_("Pull known to differ"), _("{h} h").format(h=hours(decision.control_hours))),
        (_("Opening of the key"), _("{look} of {looks}").format(look=decision.look, looks=decision.looks)),
        (
            _("Error left for this opening"),
            _("{level}, one-sided; intervals of {share}").format(
                level=decimal(decision.level, 4), share=percent(interval_share(decision.level) / 100)
            ),
        ),
        (_("Decided by"), _stop_rule(record)),
        (_("Rule sealed"), shown_time(record.sealed_at) if record.seal else _("not sealed here")),
        (_("SHA-256 of the rule"), record.seal or ""),
        *chain(record),
        (_("Printed"), shown_time(printed_at)),
    ]
    return [(label, value) for label, value in rows if value]


def _stop_rule(record: ReportRecord) -> str:
    """The version behind the verdict; scores from a file are always judged by the one of today."""
    from analysis.stopping import RULE_VERSION

    return _("version {n} of the stop rule").format(n=record.rule_version or RULE_VERSION)


def _words() -> dict[str, Any]:
    return {
        "more_charts": _("More attributes"),
        "changes": _("What would change this"),
        "numbers_intro": _(
            "Differences are against the longest pull, positive is worse, in scale units. At least and at most are the "
            "limits that decide: the wider of the panel's error and the assessors' own."
        ),
        "beside": _("Beside the verdict, never part of it"),
        "columns": [
            _("hours"),
            _("mean"),
            _("worse by"),
            _("at least"),
            _("at most"),
            _("panel SE"),
            _("df"),
            _("own SE"),
            _("df"),
            _("verdict"),
        ],
    }
