"""Join links as cards: a code to scan and the same address to type; and whom a new set of links throws out."""

from __future__ import annotations

from collections.abc import Sequence

import segno
import streamlit as st

from studyapp.components import look
from studyapp.records import JoinLink
from studyapp.words import _, ngettext

NAMED = 3  # of those who would be thrown out, so many by name


def ends(names: Sequence[str]) -> str:
    """Whom a new set of links throws out, in a sentence."""
    if not names:
        return _("This ends every card that was handed out. Nobody has joined with one yet.")
    named = ", ".join(names[:NAMED])
    more = len(names) - NAMED
    if more <= 0:
        return _("This ends the links of {names}, who have joined. What they marked is kept.").format(names=named)
    told = ngettext(
        "This ends the links of {names} and {n} more, who have joined. What they marked is kept.",
        "This ends the links of {names} and {n} more, who have joined. What they marked is kept.",
        more,
    )
    return told.format(names=named, n=more)


def draw(links: Sequence[JoinLink], address: str) -> None:
    """A card a person; the square is black on white in both themes, or phones cannot read it."""
    with st.container(key="links"):
        for number, link in enumerate(links):
            with st.container(key=f"card-link-{number}"):
                look.put(card(link, address))


def card(link: JoinLink, address: str) -> str:
    """One card as markup."""
    target = f"{address}/join/{link.code}"
    square = segno.make(target, error="m").svg_data_uri(border=3, scale=4)
    picture = f'<div class="qr"><img src="{square}" alt="{look.plain(link.pseudonym)}"></div>'
    return look.title(link.pseudonym, 3) + picture + f'<p class="say small mono">{look.plain(target)}</p>'
