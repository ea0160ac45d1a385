"""An aroma verdict on the screen: the sentence, the facts, the picture of its kind, and the numbers behind it."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import streamlit as st

from studyapp.components import drawn, look
from studyapp.components.drawn import Once, at_each_run
from studyapp.findings import percent
from studyapp.findings.facts import TrialFinding
from studyapp.kinds.aroma.deciding import SequentialStanding
from studyapp.kinds.aroma.findings import rounds, verdicts
from studyapp.kinds.aroma.findings.verdicts import WayRow
from studyapp.kinds.aroma.pictures.choice import noticing, ruler
from studyapp.kinds.aroma.pictures.dose import detection
from studyapp.kinds.aroma.pictures.ladder import ladder as ladder_picture
from studyapp.kinds.aroma.pictures.rounds import by_round
from studyapp.methods import METHODS
from studyapp.pictures.theme import Theme
from studyapp.words import _

if TYPE_CHECKING:
    from analysis.choice import ChoiceResult, Ladder
    from analysis.choice.threshold import ThresholdFit


def head(finding: TrialFinding, crumb: str) -> None:
    """The verdict in one sentence, why, and four facts."""
    look.put(
        crumb,
        look.title(finding.headline, 1, "verdict"),
        look.lede(finding.lede),
        *([look.text(finding.then, "strong")] if finding.then else []),
        look.facts([(fact.label, fact.value, fact.note) for fact in finding.facts]),
    )


# ---- pictures ----------------------------------------------------------------------------------------------------
def one_test(result: ChoiceResult, theme: Theme, once: Once = at_each_run) -> None:
    """Right answers against the sealed marks, and who truly notices."""
    guessed = result.trials * METHODS[result.method].chance
    left, right = st.columns([5, 4], gap="medium")
    with left:
        note = _("right answers of {n}").format(n=result.trials)
        _card(
            "ruler",
            _("Marks, sealed before the test"),
            note,
            once("ruler", lambda: ruler(result, guessed, theme)),
            verdicts.ruler_says(result),
        )
    with right:
        note = _("shaded up to the limit, {limit}").format(limit=percent(result.pd_limit))
        _card(
            "noticing",
            _("How many truly notice?"),
            note,
            once("noticing", lambda: noticing(result, theme)),
            verdicts.noticing_says(result),
        )


def curve(fitted: ThresholdFit, unit: str, theme: Theme, once: Once = at_each_run) -> None:
    """Right answers against dose, with the half-way point."""
    guess = METHODS[fitted.method].chance
    look.put(_curve_legend())
    _card(
        "curve",
        _("From which dose on is it noticed?"),
        _("right answers in %"),
        once("curve", lambda: detection(fitted, unit, guess, theme)),
        verdicts.curve_says(fitted, unit),
    )


def _curve_legend() -> str:
    disc = look.chip("disc", _("what the panel answered"))
    diamond = look.chip("diamond", _("half-way point with its limits"))
    rest = look.plain(_("The line is the fitted curve, the shade the curve with that point at either limit."))
    return f'<p class="say quiet">{disc} {diamond} {rest}</p>'


def rungs(ladder: Ladder, aim: str, theme: Theme, once: Once = at_each_run) -> None:
    """Who truly notices in each batch or after each number of days."""
    gone = look.chip("disc", _("close enough"), "patina")
    open_ = look.chip("cross", _("neither found nor shown to be gone"), "copper")
    found = look.chip("triangle", _("still found"))
    told = look.plain(_("To be close enough, the whole bar must lie in the shade, there and in every later one."))
    look.put(f'<p class="say quiet">{gone} {open_} {found} {told}</p>')
    _card(
        "rungs",
        verdicts.ladder_asks(aim),
        _("true detectors in %"),
        once("rungs", lambda: ladder_picture(ladder, aim, theme)),
        verdicts.ladder_says(ladder, aim),
    )


def early(here: SequentialStanding, theme: Theme, once: Once = at_each_run) -> None:
    """The way of the count through its rounds, then every round in words."""
    judged = here.judged
    look.put(look.quiet(rounds.columns_say()))
    _card(
        "lines",
        _("How did it go, round by round?"),
        _("right answers beyond guessing"),
        once("lines", lambda: by_round(judged, theme)),
        rounds.path_says(judged),
    )
    if judged.rounds:
        look.put(look.table(*rounds.table(judged, here.controls), "price"))


def _card(name: str, heading: str, note: str, picture: str, said: str) -> None:
    with st.container(key=f"card-chart-{name}"):
        look.put(look.pair(look.title(heading, 2), f'<span class="note">{look.plain(note)}</span>'))
        drawn.put(picture, said)


# ---- below the pictures ------------------------------------------------------------------------------------------
def price(rows: Sequence[WayRow]) -> None:
    """Ways to an answer, each with what it asks of a person and how often it settles the question."""
    heads = verdicts.way_heads()
    body = [[way.what, way.asks, *way.chances] for way in rows]
    told = _(
        "Each is a new study with its own seal. The answers of this one stay as they are and are not added: counting "
        "on after the key was opened finds differences that are not there. Each serves a control beside, and the "
        "chances hold for a panel that gets 8 in 10 of its sets right."
    )
    look.put(
        look.box("patina", _("What an answer would cost"), look.table(heads, body, "stack"), look.text(told, "small"))
    )


def changes(finding: TrialFinding) -> None:
    """What the answer rests on, then what to be careful about."""
    if finding.changes:
        look.put(look.box("patina", _("What this rests on"), look.bullets(finding.changes)))
    if finding.warnings:
        look.put(look.box("copper", _("Careful"), look.bullets(finding.warnings)))


def numbers(finding: TrialFinding) -> None:
    """Every number the verdict rests on, folded away."""
    with st.expander(_("The numbers")):
        body = [[fact.label, fact.value, fact.note] for fact in finding.numbers]
        look.put(look.table([_("what"), _("value"), _("limits and notes")], body, "words noted"))


def caution(finding: TrialFinding) -> None:
    """What a taste result never clears."""
    look.put(look.caution(finding.caution, _("A taste result, not a clearance")))
