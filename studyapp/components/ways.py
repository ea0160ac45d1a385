"""Ways to an answer as a list: on a desk a line each under its columns, on a phone a card each."""

from __future__ import annotations

from collections.abc import Callable, Sequence

import streamlit as st

from studyapp.components import look
from studyapp.findings import ways
from studyapp.findings.ways import WayLine
from studyapp.words import _


def draw(lines: Sequence[WayLine], taken: Callable[[int], None], waiting: str = "", done: float = 1.0) -> None:
    """The lines that are ready, in their order; `taken` is called with the place of one whose button was pressed.
    `waiting` says what is still being worked out, `done` how far that is."""
    with st.container(key="card-ways", gap=None):
        look.put(look.way_heads(ways.heads()))
        for number, line in enumerate(lines):
            _line(number, line, taken)
        if waiting:
            look.put(look.progress(waiting, done))


def _line(number: int, line: WayLine, taken: Callable[[int], None]) -> None:
    """What and how often, what it asks for, and the button, which on a phone stands between them."""
    form = "best" if line.best else "line" if line.act else "bare"
    with st.container(key=f"{form}-way-{number}", horizontal=True):
        with st.container(width="stretch"):
            look.put(look.way(line.what, line.note, look.meter(line.chance, line.share)))
        with st.container(width="stretch"):
            look.put(_asks(line))
        if line.act and st.button(line.act, key=f"way-{number}", type="primary" if line.best else "secondary"):
            taken(number)


def below() -> None:
    """What the words mean, and what is never offered."""
    look.put(look.quiet(ways.score_words_say()), look.caution(ways.not_offered(), _("Not offered")))


def _asks(line: WayLine) -> str:
    """What stands above its column on a desk stands beside it on a phone."""
    _what, _chance, *heads, _scores = ways.heads()
    values = (line.sittings, line.grams, line.pieces, line.time)
    wrong = ("", line.too_little, "", "")
    if line.counts_on is None:
        mark = ""
    else:
        mark = look.chip("disc" if line.counts_on else "ring", ways.score_word(line.counts_on), "patina")
    return look.way_asks(zip(heads, values, wrong, strict=True), mark)
