"""A decision on the screen: the sentence, the facts, the pictures, what would change it, and the numbers behind it."""

from __future__ import annotations

from collections.abc import Sequence
from functools import partial

import streamlit as st

from analysis.stopping import AttributeResult, Decision, PullResult
from studyapp.components import drawn, look
from studyapp.components.drawn import Once, at_each_run
from studyapp.findings.numbers import opening
from studyapp.kinds.hours.findings import HoursFinding, OfferRow, attribute_alt, offers
from studyapp.kinds.hours.findings.batches import batch_table, batches_alt, marks_say
from studyapp.kinds.hours.findings.failing import fate
from studyapp.kinds.hours.findings.missing import lost_alt, lost_hours, no_price
from studyapp.kinds.hours.findings.pulls import fit_says, limit_decides, limit_note, means_alt, pull_numbers
from studyapp.kinds.hours.findings.scale import shared_scale
from studyapp.kinds.hours.pages import rows, second_opinion
from studyapp.kinds.hours.pictures import against_limit, worsening
from studyapp.pictures.theme import Theme
from studyapp.wishes import WISHES
from studyapp.words import _


# ---- top of the page ---------------------------------------------------------------------------------------------
def head(finding: HoursFinding, crumb: str, level: int = 1) -> None:
    """The verdict in one sentence, why, and four facts."""
    look.put(
        crumb,
        look.title(finding.headline, level, "verdict"),
        look.lede(finding.lede),
        look.facts([(fact.label, fact.value, fact.note) for fact in finding.facts]),
    )


def corrected_since(sentence: str) -> None:
    """Beside a signed verdict that the corrected rule would not give; nothing for an empty sentence."""
    if sentence:
        look.put(look.box("copper", _("The rule was corrected since"), look.text(sentence)))


def pictures(decision: Decision, finding: HoursFinding, theme: Theme, once: Once = at_each_run) -> None:
    """One chart an attribute on one scale, the binding one first."""
    judged = [result for result in _in_order(decision) if result.judged and len(result.pulls) > 1]
    if not judged:
        return
    if decision.gates:
        rows.draw(decision, judged, _row_legend(decision, finding), theme, once)
        with st.container(key="charts"):
            _means(judged, theme, once)
        return
    look.put(look.title(_("How much worse than the longest pull?"), 2), _legend(decision, finding))
    scale, lost = shared_scale(judged), lost_hours(decision)
    with st.container(key="charts"):
        for number, result in enumerate(judged):
            with st.container(key=f"card-chart-{number}"):
                look.put(_chart_head(result, decision))
                picture = once(result.name, partial(worsening, result, scale, theme, lost, decision.batches))
                said = (attribute_alt(result), batches_alt(decision, result.name), lost_alt(lost))
                drawn.put(picture, " ".join(filter(None, said)))
        _means(judged, theme, once)


def batches(decision: Decision) -> None:
    """Every batch at the hour in question; nothing for one batch."""
    told = batch_table(decision)
    if told is not None:
        with st.container(key="card-batches"):
            note = f'<span class="note">{look.plain(told.apart)}</span>'
            look.put(look.pair(look.title(told.title, 2), note), look.table(told.heads, told.lines, "stack"))


def _means(judged: Sequence[AttributeResult], theme: Theme, once: Once) -> None:
    """The means of an attribute against the limit on them, where that decides."""
    for number, result in enumerate(judged):
        if limit_decides(result):
            with st.container(key=f"card-chart-limit-{number}"):
                look.put(_limit_head(result))
                drawn.put(once(f"limit of {result.name}", partial(against_limit, result, theme)), means_alt(result))


def changes(finding: HoursFinding) -> None:
    """What would turn the answer, then what to be careful about."""
    if finding.changes:
        look.put(look.box("patina", _("What would change this"), look.bullets(finding.changes)))
    if finding.warnings:
        look.put(look.box("copper", _("Careful"), look.bullets(finding.warnings)))


def caution(finding: HoursFinding) -> None:
    """What a taste result never clears."""
    look.put(look.quiet(finding.caution))


# ---- the price of an answer ----------------------------------------------------------------------------------------


def no_way(said: str) -> None:
    """Why no price of an answer is named."""
    look.put(look.box("patina", _("What an answer would cost"), look.text(said)))


def price(decision: Decision, finding: HoursFinding) -> None:
    """Ways to an answer of scores from a file, each with what it asks of a person and how often it settles."""
    if not finding.offers:
        no_way(no_price(decision) or offers.none_left())
        return
    heads = [_("one of these"), _("asks of a person"), _("gives an answer")]
    body = [[offer.what, _asks(offer), f"{offer.chance} ({offer.error})"] for offer in finding.offers]
    table, rough = look.table(heads, body, "price"), look.text(offers.how_rough(), "small")
    look.put(look.box("patina", _("What an answer would cost"), table, rough))


def _asks(offer: OfferRow) -> str:
    return ", ".join(part for part in (offer.servings, offer.grams, offer.minutes, offer.palates) if part)


# ---- the numbers -------------------------------------------------------------------------------------------------
def numbers(decision: Decision, finding: HoursFinding, ask: second_opinion.Ask) -> None:
    """Every number the verdict rests on, as tables, and what stands beside it, folded away; `ask` asks two other
    programs about them, once somebody wants to know."""
    with st.expander(_("The numbers")):
        for result in _in_order(decision):
            look.put(
                look.title(opening(result.name), 3),
                look.table(_pull_heads(), [_pull_line(result, pull) for pull in result.pulls]),
                look.text(fit_says(result), "small"),
            )
        for limit in decision.gates:
            rows.numbers(limit)
        if finding.beside:
            look.put(look.title(_("Beside the verdict, never in it"), 3), look.bullets(finding.beside))
        second_opinion.draw(ask)


def _pull_heads() -> list[str]:
    return [
        _("hours"),
        _("mean"),
        _("worse by"),
        _("at least"),
        _("at most"),
        _("panel error"),
        _("its df"),
        _("own error"),
        _("its df"),
        _("verdict"),
    ]


def _pull_line(result: AttributeResult, pull: PullResult) -> list[str]:
    return [*pull_numbers(pull), fate(result, pull)]


# ---- parts -------------------------------------------------------------------------------------------------------
def _in_order(decision: Decision) -> list[AttributeResult]:
    return sorted(decision.attributes.values(), key=lambda result: result.name != decision.binding)


def _legend(decision: Decision, finding: HoursFinding) -> str:
    """The marks of the charts in a sentence, each in its own shape and colour."""
    intro = f"{finding.charts_intro} {marks_say(decision)}".rstrip()
    within = look.chip("disc", _("within"), "patina") + look.plain(_(": it does."))
    open_ = look.chip("cross", _("not shown"), "copper") + look.plain(_(": it does not, or a longer pull does not."))
    reference = look.chip("reference", _("reference")) + look.plain(_(": the longest pull."))
    return f'<p class="say quiet">{look.plain(intro)} {within} {open_} {reference}</p>'


def _limit_head(result: AttributeResult) -> str:
    note = f'<span class="note">{look.strong(limit_note())}</span>'
    return look.pair(look.title(opening(result.name), 3), note)


def _row_legend(decision: Decision, finding: HoursFinding) -> str:
    """The same above rows, among which are limits of instruments."""
    said = _("Under a limit the bar reaches from the mean of the portions to the end of its guard; it keeps the limit.")
    guard = look.plain(said)
    return _legend(decision, finding) + f'<p class="say quiet">{guard}</p>'


def _chart_head(result: AttributeResult, decision: Decision) -> str:
    decides = result.name == decision.binding and decision.hours is not None
    note = look.strong(_("decides the hour")) if decides else look.plain(WISHES[result.rule.wanted].told())
    return look.pair(look.title(opening(result.name), 3), f'<span class="note">{note}</span>')
