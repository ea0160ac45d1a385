"""The report of an aroma study: page 1 decides alone, then the rule and the numbers, then the record."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from datetime import UTC, datetime
from typing import TYPE_CHECKING, Any

from studyapp.calendars import Appointment
from studyapp.findings import Fact, caution, decimal, hours, percent
from studyapp.findings.facts import TrialFinding
from studyapp.kinds.aroma.deciding import SequentialStanding, Verdict
from studyapp.kinds.aroma.files import forced_choice
from studyapp.kinds.aroma.findings import rounds as by_rounds
from studyapp.kinds.aroma.findings import verdicts
from studyapp.kinds.aroma.findings.calendar import in_words
from studyapp.kinds.aroma.findings.told import told as told_of
from studyapp.kinds.aroma.findings.trials import choice_finding, rung_name
from studyapp.kinds.aroma.findings.verdicts import WayRow
from studyapp.kinds.aroma.pictures import choice, dose, ladder, rounds
from studyapp.kinds.aroma.plan import LADDERS, SINCE_BOTANICAL, AromaPlan, AromaStudy
from studyapp.kinds.aroma.rule import control, run_calendar
from studyapp.methods import METHODS
from studyapp.pictures import paper
from studyapp.pictures.marks import Picture
from studyapp.pictures.theme import PAPER
from studyapp.printing import record as printed
from studyapp.printing.calendar_file import Entry, calendar_file
from studyapp.printing.press import shown_time, typeset
from studyapp.printing.record import ReportRecord
from studyapp.records import Staff
from studyapp.store import Store
from studyapp.words import _, language

if TYPE_CHECKING:
    from analysis.choice import Ladder, SequentialPlan

_FIRST = 2


def report(store: Store, by: Staff, study: AromaStudy, printed_at: str) -> bytes:
    """The report of an opened study. Raises NotAllowed before the key is open."""
    found = told_of(store, by, study)
    kept = printed.record_of(store, by, study)
    return aroma_report_pdf(study.plan, found.result, found.finding, printed_at, kept, found.ways)


def calendar(store: Store, by: Staff, study: AromaStudy) -> bytes:
    """Batches, tempering, ageing and sittings, for a calendar program. Raises BadInput without a planned start."""

    def told(one: Appointment) -> Entry:
        later = study.plan.sequential and (one.number or 1) > 1  # a plan that may end early may not need it
        return Entry(*in_words(one, study.plan), "TENTATIVE" if later else "CONFIRMED")

    return calendar_file(run_calendar.calendar(study.plan), study, told, datetime.now(UTC))


def aroma_report_pdf(
    plan: AromaPlan,
    result: Verdict,
    finding: TrialFinding,
    printed_at: str,
    record: ReportRecord = printed.NOTHING_KEPT,
    ways: Sequence[WayRow] = (),
) -> bytes:
    """The report as a tagged PDF; the same arguments give the same bytes.

    Args:
        plan: the sealed plan.
        result: the verdict of its kind.
        finding: its sentences.
        printed_at: ISO 8601 time.
        record: the seal, departures and signatures of the store.
        ways: ways to an answer, after "cannot tell".
    """
    return typeset("report", aroma_report_data(plan, result, finding, printed_at, record, ways), printed_at)


def aroma_report_data(
    plan: AromaPlan,
    result: Verdict,
    finding: TrialFinding,
    printed_at: str,
    record: ReportRecord,
    ways: Sequence[WayRow] = (),
) -> dict[str, Any]:
    """Everything the template reads."""
    return {
        "lang": language(),
        "document_title": _("Decision on an aroma: {title}").format(title=plan.title),
        "words": printed.page_words() | _words(),
        "crumb": _("Decision on an aroma. {study}").format(study=_named(plan)),
        "headline": finding.headline,
        "lede": finding.lede,
        "then": finding.then,
        "facts": [{"label": fact.label, "value": fact.value, "note": fact.note} for fact in finding.facts],
        "offers": [[way.what, way.asks, *way.chances] for way in ways],
        "offer_columns": verdicts.way_heads(),
        **printed.notes(finding.changes, finding.warnings, record),
        "caution": _clearance(finding),
        "charts_first": _FIRST,
        "charts_across": 1,
        **_pictures(plan, result),
        "rule": list(record.rule),
        "sealed": printed.sealed(record),
        "tables": list(_tables(plan, result, finding)),
        "beside": [],
        "record": _record_rows(plan, printed_at, record),
        "foot_left": plan.title,
        "foot_middle": printed.foot(record, printed_at),
    }


def _named(plan: AromaPlan) -> str:
    return ", ".join(part for part in (plan.title, plan.recipe, plan.batch) if part.strip())


def _clearance(finding: TrialFinding) -> str:
    """What a taste result clears nothing of, then what it says nothing about for this plant."""
    said = caution()
    return said if finding.caution == said else f"{said} {finding.caution}"


# ---- pictures ----------------------------------------------------------------------------------------------------
def _pictures(plan: AromaPlan, result: Verdict) -> dict[str, Any]:
    """The picture of a result with its heading and signs, by what it is."""
    from analysis.choice import ChoiceResult, Ladder

    if isinstance(result, ChoiceResult):
        guessed = result.trials * METHODS[result.method].chance
        ruler, noticing = choice.ruler(result, guessed, PAPER), choice.noticing(result, PAPER)
        limit = _("shaded up to the limit, {limit}").format(limit=percent(result.pd_limit))
        charts = [
            _chart(_("Right answers"), _("of {n}").format(n=result.trials), ruler, verdicts.ruler_says(result)),
            _chart(_("How many truly notice?"), limit, noticing, verdicts.noticing_says(result)),
        ]
        return _shown(_("Marks, sealed before the test"), "", (), charts)
    if isinstance(result, Ladder):
        return _ladder(plan, result)
    if isinstance(result, SequentialStanding):
        return _lines(result)
    drawn = dose.detection(result, plan.dose_unit, METHODS[result.method].chance, PAPER)
    said = verdicts.curve_says(result, plan.dose_unit)
    signs = (("disc", _("what the panel answered")), ("diamond", _("half-way point with its limits")))
    chart = _chart(_("Right answers"), _("bars as if all answers were of different people"), drawn, said)
    return _shown(_("From which dose on is it noticed?"), _("The line is the fitted curve."), signs, [chart])


def _ladder(plan: AromaPlan, result: Ladder) -> dict[str, Any]:
    signs = (
        ("disc", _("close enough")),
        ("cross", _("neither found nor shown to be gone")),
        ("triangle", _("still found")),
    )
    intro = _("To be close enough, the whole bar must lie in the shade, there and in every later one.")
    drawn = ladder.ladder(result, plan.aim, PAPER)
    chart = _chart(_("True detectors"), _("true detectors in %"), drawn, verdicts.ladder_says(result, plan.aim))
    return _shown(verdicts.ladder_asks(plan.aim), intro, signs, [chart])


def _lines(result: SequentialStanding) -> dict[str, Any]:
    drawn = rounds.by_round(result.judged, PAPER)
    chart = _chart(_("Right answers"), _("right answers beyond guessing"), drawn, by_rounds.path_says(result.judged))
    return _shown(_("How did it go, round by round?"), by_rounds.columns_say(), (), [chart])


def _chart(name: str, note: str, drawn: Picture, said: str) -> dict[str, Any]:
    return {"name": name, "note": note, "picture": drawn, "alt": said}


def _shown(heading: str, intro: str, signs: Sequence[tuple[str, str]], charts: list[dict[str, Any]]) -> dict[str, Any]:
    drawn = paper.svgs([chart.pop("picture") for chart in charts], paper.WHOLE)
    return {
        "charts_heading": heading,
        "charts_intro": intro,
        "signs": [{"sign": sign, "words": words} for sign, words in signs],
        "charts": [chart | {"svg": svg} for chart, svg in zip(charts, drawn, strict=True)],
    }


# ---- numbers -----------------------------------------------------------------------------------------------------
def _tables(plan: AromaPlan, result: Verdict, finding: TrialFinding) -> Iterator[dict[str, Any]]:
    """Every number a verdict rests on; a ladder has a table for each rung."""
    from analysis.choice import Ladder

    if isinstance(result, SequentialStanding):
        yield _table(_("The sealed plan"), (*finding.numbers, *_sealed_lines(result.plan)))
        return
    yield _table(_("What was found"), finding.numbers)
    if isinstance(result, Ladder):
        for rung in result.rungs:
            limit = forced_choice.d_prime_of(result.method, result.pd_limit)
            facts = choice_finding(rung.result, limit).facts
            yield _table(rung_name(rung.batch, plan.aim), facts)


def _sealed_lines(plan: SequentialPlan) -> tuple[Fact, ...]:
    """The lines, the marks at the cap, and what the plan could be expected to do."""
    lines = _("{count} + {slope} an answer")
    return (
        Fact(
            _("Upper line"),
            lines.format(count=decimal(plan.different_intercept, 2), slope=decimal(plan.slope, 3)),
            _("detectable from there on"),
        ),
        Fact(
            _("Lower line"),
            lines.format(count=decimal(plan.same_intercept, 2), slope=decimal(plan.slope, 3)),
            _("close enough from there down"),
        ),
        Fact(_("Detectable at the cap from"), _mark(plan.cap_different_at_least), ""),
        Fact(_("Close enough at the cap up to"), _mark(plan.cap_same_at_most), _("for these assessors only")),
        Fact(_("Answers on average"), decimal(plan.mean_trials_identical, 0), _("if nobody notices")),
    )


def _mark(count: int | None) -> str:
    return _("none") if count is None else _("{n} right").format(n=count)


def _table(name: str, facts: Sequence[Fact]) -> dict[str, Any]:
    return {"name": name, "rows": [[fact.label, fact.value, fact.note] for fact in facts], "fit": ""}


# ---- the record --------------------------------------------------------------------------------------------------
def _record_rows(plan: AromaPlan, printed_at: str, record: ReportRecord) -> list[tuple[str, str]]:
    plant = plan.botanical
    rows = [
        (_("Question"), plan.question),
        (_("Test"), METHODS[plan.method].title()),
        (_("Botanical"), plant.name),
        (_("Plant part"), plant.part),
        (_("Supplier"), plant.supplier),
        (_("Lot"), plant.lot),
        (_("Infusion"), plan.process),
        *_compared(plan),
        (_("Control"), control.told(plan)),
        (_("Recipe"), plan.recipe),
        (_("Batch"), plan.batch),
        (_("Served"), printed.served(plan)),
        (_("Contains"), plan.contains),
        (_("Traces"), plan.traces),
        (_("Cleared as food by"), plan.safe_food_by),
        (_("Assessors"), str(len(plan.assessors))),
        (_("Sittings"), str(plan.sittings)),
        (_("Rule sealed"), shown_time(record.sealed_at) if record.seal else _("not sealed here")),
        (_("SHA-256 of the rule"), record.seal or ""),
        *printed.chain(record),
        (_("Printed"), shown_time(printed_at)),
    ]
    return [(label, value) for label, value in rows if value]


def _compared(plan: AromaPlan) -> Iterator[tuple[str, str]]:
    """What was tasted against what."""
    unit = verdicts.unit_word(plan.dose_unit)
    if plan.aim == "dose":
        levels = ", ".join(hours(level) for level in sorted(plan.doses))
        yield _("Doses"), _("{list} {unit}").format(list=levels, unit=unit)
    if plan.aim in LADDERS:
        yield _("Tasted"), ", ".join(rung_name(level, plan.aim) for level in sorted(plan.batches))
    if plan.aim in SINCE_BOTANICAL:
        yield _("Reference"), plan.reference
        yield _("Purge mass"), "" if plan.purge_g is None else _("{g} g").format(g=decimal(plan.purge_g, 0))
    else:
        yield _("Blank"), plan.blank


def _words() -> dict[str, Any]:
    return {
        "more_charts": "",
        "changes": _("What this rests on"),
        "numbers_intro": _(
            "Each limit is one-sided at the level beside it: at least and at most are two claims, each with a risk of "
            "its own."
        ),
        "beside": "",
        "columns": [_("what"), _("value"), _("limits and notes")],
    }


def papers() -> Mapping[str, Callable[[Store, Staff, AromaStudy, str], bytes]]:
    """None of its own."""
    return {}
