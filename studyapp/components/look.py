"""How the screens look: one set of colours, one style sheet, and the small pieces of text every screen is made of.

The pieces are functions that return markup with their data escaped; `put` draws them. So a screen can set several
pieces as one block, and a test can read them without a browser.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from html import escape
from importlib.resources import files
from typing import Literal

import streamlit as st

from studyapp.assets import FAMILY
from studyapp.pictures.theme import SCREENS, Theme

Tone = Literal["patina", "copper", "brick"]
Mark = Literal["disc", "ring", "dot", "half", "cross", "reference", "triangle", "diamond", "dash"]

FONT = f"{FAMILY}, system-ui, 'Noto Sans', sans-serif"

_SHEET = files("studyapp.components").joinpath("look.css").read_text(encoding="utf-8")


# ---- the frame ---------------------------------------------------------------------------------------------------
def style(theme: Theme) -> str:
    """The style sheet with the colours of one theme, as a style element.

    A device may change its mind without a rerun (many go dark at sunset), and Streamlit's own colours follow it at
    once; so the device's choice comes last and wins.
    """
    return f"<style>{colours(theme)}\n{_SHEET}</style>"


def colours(theme: Theme = SCREENS["light"]) -> str:
    """The colours of a theme as variables of a style sheet, and after them those of the device's choice."""
    follow = "".join(f"@media (prefers-color-scheme:{mode}){{{_colours(own)}}}" for mode, own in SCREENS.items())
    return _colours(theme) + follow


def _colours(theme: Theme) -> str:
    named = "".join(f"--{name.replace('_', '-')}:{value};" for name, value in theme.colours().items())
    return f":root{{{named}}}"


def dress(theme: Theme) -> None:
    """Give the page its style sheet; once a run."""
    st.html(style(theme))


def put(*pieces: str) -> None:
    """Draw pieces of markup made by this module, one below the other, as one block."""
    st.html("".join(pieces))


# ---- pieces ------------------------------------------------------------------------------------------------------
def text(sentence: str, kind: str = "") -> str:
    """A paragraph; `kind` is one of the sheet's classes: lede, quiet, small, strong."""
    return f'<p class="say {escape(kind)}">{escape(sentence)}</p>'


def quiet(sentence: str) -> str:
    """A second line, still readable."""
    return text(sentence, "quiet")


def lede(sentence: str) -> str:
    """The first paragraph under a heading."""
    return text(sentence, "lede")


def title(words: str, level: int = 1, kind: str = "") -> str:
    """A heading; `kind` "verdict" is the large one."""
    return f'<h{level} class="head {escape(kind)}">{escape(words)}</h{level}>'


def crumb(parent: str, here: str, href: str = "/") -> str:
    """Where the screen belongs, above its heading."""
    link = f'<a href="{escape(href)}" target="_self">{escape(parent)}</a>'
    return f'<p class="say quiet crumb">{link} / {escape(here)}</p>'


def sign(mark: Mark, tone: str = "") -> str:
    """A shape, always with its word; a reader aloud skips it. The sheet draws it, so that no font can lack it."""
    return f'<span class="sign {mark} {escape(tone)}" aria-hidden="true"></span>'


def chip(mark: Mark, word: str, tone: str = "") -> str:
    """A state, as shape and word."""
    return f'<span class="chip {escape(tone)}">{sign(mark)} {escape(word)}</span>'


def pill(word: str) -> str:
    """A word about the whole of what it stands beside, as that a study is invented."""
    return f'<span class="pill">{escape(word)}</span>'


def bullets(sentences: Iterable[str]) -> str:
    """A list of sentences."""
    return f'<ul class="say">{"".join(f"<li>{escape(sentence)}</li>" for sentence in sentences)}</ul>'


def facts(cells: Sequence[tuple[str, str, str]]) -> str:
    """A grid of label, value and note; four in a row on a desk, two on a phone."""
    drawn = "".join(
        f"<div><dt>{escape(label)}</dt><dd><b>{escape(value)}</b><span>{escape(note)}</span></dd></div>"
        for label, value, note in cells
    )
    return f'<dl class="facts">{drawn}</dl>'


def row(*cells: str) -> str:
    """One line of `rows`; cells are pieces of markup."""
    return f'<div class="row">{"".join(f"<div>{cell}</div>" for cell in cells)}</div>'


def rows(lines: Iterable[str], kind: str = "") -> str:
    """Lines with a hairline between them; `kind` names the columns' widths."""
    return f'<div class="rows {escape(kind)}">{"".join(lines)}</div>'


def act(label: str, href: str, main: bool = False) -> str:
    """A link that looks like a button and stays in this tab; for addresses outside the pages."""
    return f'<a class="act {"main" if main else ""}" href="{escape(href)}" target="_self">{escape(label)}</a>'


def steps(lines: Iterable[tuple[str, str, str]]) -> str:
    """Numbered steps side by side on a desk, below each other on a phone: name, note, address or nothing."""
    drawn = "".join(
        f'<li><b class="n" aria-hidden="true">{number}</b><b>{linked(name, href)}</b><span>{escape(note)}</span></li>'
        for number, (name, note, href) in enumerate(lines, 1)
    )
    return f'<ol class="steps say">{drawn}</ol>'


def link(words: str, href: str) -> str:
    """A quiet way to another page."""
    return f'<p class="say small">{linked(words, href)}</p>'


def linked(words: str, href: str) -> str:
    """A link in a text that stays in this tab; without an address the words alone."""
    return f'<a href="{escape(href)}" target="_self">{escape(words)}</a>' if href else escape(words)


def pair(left: str, right: str) -> str:
    """Two pieces of markup at the two ends of a line."""
    return f'<div class="pair">{left}{right}</div>'


def table(heads: Sequence[str], body: Iterable[Sequence[str]], kind: str = "") -> str:
    """A real table; the first cell of a line is its heading. Wide ones scroll inside their own frame.

    `kind` "words" sets every column to the left, "codes" makes the last one large, "wide" is small on a phone, so that
    the last of six columns is still in sight, and "stack" sets a line's cells below each other there, each with its
    head.
    """
    top = "".join(f'<th scope="col">{escape(head)}</th>' for head in heads)
    lines = "".join(f'<tr><th scope="row">{escape(first)}</th>{_cells(heads, rest)}</tr>' for first, *rest in body)
    inner = f"<table><thead><tr>{top}</tr></thead><tbody>{lines}</tbody></table>"
    frame = f'class="tablewrap {escape(kind)}" tabindex="0" role="group" aria-label="{escape(", ".join(heads[:3]))}"'
    return f"<div {frame}>{inner}</div>"


def _cells(heads: Sequence[str], rest: Sequence[str]) -> str:
    pairs = zip(heads[1:], rest, strict=True)
    return "".join(f'<td data-head="{escape(head)}">{escape(cell)}</td>' for head, cell in pairs)


def box(tone: Tone, heading: str, *pieces: str) -> str:
    """A washed block that belongs together; copper carries a bar at its side, for cautions."""
    return f'<section class="box {tone}">{title(heading, 2, "small") if heading else ""}{"".join(pieces)}</section>'


def caution(sentence: str, heading: str = "") -> str:
    """A caution beside the action it is about."""
    return box("copper", heading, text(sentence))


def bar(label: str, value: str, share: float, kind: str = "") -> str:
    """A share of one as a bar, with its label and its value in words."""
    width = max(0.0, min(1.0, share)) * 100
    line = f'<div class="pair"><span>{escape(label)}</span><b>{escape(value)}</b></div>'
    filled = f'<i class="{escape(kind)}" style="width:{width:.0f}%"></i>'
    return f'{line}<div class="meter" aria-hidden="true">{filled}</div>'


def meter(words: str, share: float | None) -> str:
    """A chance in words, with a bar below it where there is a share of one."""
    drawn = (
        "" if share is None else f'<div class="meter" aria-hidden="true"><i style="width:{share * 100:.0f}%"></i></div>'
    )
    return f"<b>{escape(words)}</b>{drawn}"


def way_heads(words: Sequence[str]) -> str:
    """What stands above the columns of ways to an answer; each cell of a line says its own again, for who hears it."""
    cells = [f"<div>{escape(word)}</div>" for word in words]
    halves = (("what", cells[:2]), ("asks", cells[2:]))
    drawn = "".join(f'<div class="way {name}">{"".join(half)}</div>' for name, half in halves)
    return f'<div class="ways" aria-hidden="true">{drawn}</div>'


def way(name: str, note: str, chance: str) -> str:
    """One way to an answer: what to do, what it changes, and markup of its chance."""
    said = f'<div><b>{escape(name)}</b><span class="of">{escape(note)}</span></div>'
    return f'<div class="way what">{said}<div>{chance}</div></div>'


def way_asks(asked: Iterable[tuple[str, str, str]], scores: str) -> str:
    """What it asks for (head, value, what is wrong with it), and markup of what becomes of the scores so far."""
    cells = "".join(
        f'<div class="asked"><span class="of">{escape(head)}</span> {escape(value)}'
        f"{f'<b class=copper>{escape(wrong)}</b>' if wrong else ''}</div>"
        for head, value, wrong in asked
    )
    return f'<div class="way asks">{cells}<div>{scores}</div></div>'


def progress(sentence: str, share: float) -> str:
    """How far something is that goes on by itself: the words, and a thin bar below them."""
    done = round(max(0.0, min(1.0, share)) * 100)
    told = f'role="progressbar" aria-label="{escape(sentence)}" aria-valuemin="0" aria-valuemax="100"'
    bar_ = f'<div class="thin" {told} aria-valuenow="{done}"><i style="width:{done}%"></i></div>'
    return f"{text(sentence, 'small progress')}{bar_}"


def plain(words: str) -> str:
    """Escaped text, for a cell."""
    return escape(words)


def strong(words: str) -> str:
    """Escaped text in bold, for a cell."""
    return f"<b>{escape(words)}</b>"
