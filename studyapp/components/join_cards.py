"""Join links as cards: a code to scan and the same address to type."""

from __future__ import annotations

from collections.abc import Sequence

import segno
import streamlit as st

from studyapp.components import look
from studyapp.records import JoinLink


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
