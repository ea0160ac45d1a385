"""The verdict on makes: read it, see why and what else differed, and sign it; or plan the next sitting."""

from __future__ import annotations

from collections.abc import Sequence
from functools import partial

import streamlit as st

from analysis.comparing import Bracket, Compared
from studyapp import session
from studyapp.components import drawn, look, signing
from studyapp.errors import NothingToDecide
from studyapp.findings.numbers import opening
from studyapp.kinds.comparison import deciding, findings
from studyapp.kinds.comparison.deciding import Shown
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
from studyapp.kinds.comparison.plan import ComparisonStudy
from studyapp.records import Staff
from studyapp.services import planning, watching
from studyapp.words import _


def decide(by: Staff, study: ComparisonStudy) -> None:
    """The page of one opened study."""
    crumb = look.crumb(_("Studies"), study.plan.title, session.href("studies"))
    try:
        with st.spinner(_("Working out the verdict…")):
            shown = deciding.shown(session.store(), by, study.id)
    except NothingToDecide as refused:
        look.put(crumb, look.title(_("Cannot tell yet.")), look.lede(str(refused)))
        signing.departures(watching.deviations(session.store(), by, study.id))
        return
    _weighed(by, study, shown, crumb)


def _weighed(by: Staff, study: ComparisonStudy, shown: Shown, crumb: str) -> None:
    """The verdicts, why, and what comes next."""
    store, found = session.store(), shown.found
    ways = deciding.offers(store, by, study.id) if found.open_makes else ()
    finding = comparison_finding(found, ways, study.plan.title, words_by_make(study.plan), study.plan)
    _head(finding, crumb)
    left, right = st.columns([5, 3], gap="large")
    with left:
        _pictures(by, study, shown, finding)
    with right:
        _differing(study, shown)
    another = deciding.another_look(study, found)
    _price(by, study, finding, another)
    warnings = [*careful.earlier_rule(study), *finding.warnings]
    if warnings:
        look.put(look.box("copper", _("Careful"), look.bullets(warnings)))
    signing.departures(watching.deviations(store, by, study.id))
    signing.notes(watching.notes(store, by, study.id))
    _numbers(shown)
    if signing.sign(store, by, study, over=not another):
        session.go("plan", study=study.id)
    look.put(look.quiet(finding.caution))


def _head(finding: ComparisonFinding, crumb: str) -> None:
    look.put(
        crumb,
        look.title(finding.headline, 1, "verdict"),
        look.lede(finding.lede),
        look.box("copper", finding.extent, look.text(finding.scope)),
        look.facts([(fact.label, fact.value, fact.note) for fact in finding.facts]),
    )


def _pictures(by: Staff, study: ComparisonStudy, shown: Shown, finding: ComparisonFinding) -> None:
    """One picture a make, on one scale."""
    found, theme = shown.found, session.theme()
    once = drawn.kept(deciding.moment(session.store(), by, study.id), theme)
    look.put(look.title(_("Worse than {ref}, by how much?").format(ref=found.reference), 2), _legend(found))
    for name in found.makes:
        with st.container(key=f"card-chart-{name}"):
            look.put(look.title(f"{name}, {finding.words[name]}", 3))
            drawn.put(once(name, partial(against, found, name, theme)), findings.alt(found))
    if found.bracket is not None:
        with st.container(key="card-hours"):
            look.put(look.title(_("Hours"), 3), _hours_legend(found.bracket))
            drawn.put(once("hours", partial(needed, found.bracket, theme)), hours.alt(found.bracket))
    if found.gates:
        _instruments(found)


def _hours_legend(found: Bracket) -> str:
    chips = look.chip("disc", _("good enough"), "patina") + " " + look.chip("cross", _("not good enough"), "copper")
    return f'<p class="say quiet">{look.plain(hours.intro(found))} {chips}</p>'


def _instruments(found: Compared) -> None:
    """Each limit with what was read of every make, the reference first."""
    with st.container(key="card-instruments"):
        look.put(
            look.title(_("Instruments"), 3), look.quiet(_("Each has its own limit; none is weighed against flavour."))
        )
        for limit, cells in instruments.rows(found):
            makes = zip((found.reference, *found.makes), cells, strict=True)
            lines = [look.row(look.strong(make), _limit_chip(answer, read)) for make, (answer, read) in makes]
            look.put(look.text(limit), look.rows(lines))


def _limit_chip(answer: str, read: str) -> str:
    """What was read of one make, with the answer as shape and word."""
    told = _("{read}, {answer}").format(read=read, answer=instruments.answer_words(answer))
    if answer == "passes":
        return look.chip("disc", told, "patina")
    return look.chip("cross", told, "copper") if answer == "fails" else look.chip("ring", told)


def _legend(found: Compared) -> str:
    inside = look.chip("disc", _("shown"), "patina") + look.plain(_(": the bar ends inside the shade."))
    outside = look.chip("cross", _("not shown"), "copper") + look.plain(_(": it reaches out."))
    return f'<p class="say quiet">{look.plain(findings.intro(found))} {inside} {outside}</p>'


def _differing(study: ComparisonStudy, shown: Shown) -> None:
    """What else differed, make by make, and whether the verdict may be put down to the way of making."""
    found, quantities = shown.found, {one.name: one for one in study.plan.alike}
    look.put(look.title(_("What else differed?"), 2), look.quiet(_about_differing()))
    for name in found.makes:
        rows = differing.rows(name, shown.alike, quantities)
        lines = [
            look.row(look.strong(opening(what)) + look.text(said, "small"), _chip(code, answer))
            for what, code, answer, said in rows
        ]
        with st.container(key=f"card-alike-{name}"):
            look.put(look.title(_("{make} against {ref}").format(make=name, ref=found.reference), 3))
            look.put(look.rows(lines), look.text(differing.because(name, found, shown.alike), "small"))


def _about_differing() -> str:
    return _("None of it stops a verdict; it says how far to trust the reason.")


def _chip(answer: str, word: str) -> str:
    """The answer as shape and word."""
    return {
        "matched": look.chip("disc", word, "patina"),
        "differs": look.chip("triangle", word, "copper"),
        "not shown to match": look.chip("cross", word),
    }.get(answer, look.chip("ring", word))


def _price(by: Staff, study: ComparisonStudy, finding: ComparisonFinding, another: bool) -> None:
    """What an answer on the open makes would cost, and the way to it."""
    if not finding.offers and not another:
        return
    if finding.offers:
        heads = [_("one of these"), _("asks"), _("gives an answer")]
        table = look.table(heads, [[row.what, row.asks, row.chance] for row in finding.offers], "stack")
        look.put(look.box("patina", _("What an answer would cost"), table, look.text(_rough(another), "small")))
    if another and st.button(_("Plan the next sitting"), type="primary", key="next-sitting"):
        planned = deciding.plan_next_sitting(session.store(), by, study.id)
        session.go("prepare", study=study.id, sitting=planned[0].id)
    if not another and st.button(_("Plan another like it"), key="copy"):
        session.go("plan", study=planning.copy(session.store(), by, study.id))


def _rough(another: bool) -> str:
    told = _("Rather low than high: what is told comes at least about as often.")
    return (
        told
        if another
        else f"{told} " + _("The key was opened as often as was sealed, so it takes a study of its own.")
    )


def _numbers(shown: Shown) -> None:
    with st.expander(_("The numbers")):
        for name, make in shown.found.makes.items():
            rows: Sequence[Sequence[str]] = findings.numbers(name, make, shown.found.claims)
            look.put(look.title(name, 3), look.table(findings.number_heads(), rows, "wide"))
        if shown.found.bracket is not None:
            look.put(look.title(_("Hours"), 3), look.table(hours.heads(), hours.rows(shown.found.bracket)))
