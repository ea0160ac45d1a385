"""A picture on the page, worked out once: a fitted curve takes far longer to follow than to show."""

from __future__ import annotations

import json
from collections.abc import Callable

import streamlit as st

from studyapp.pictures.marks import Picture
from studyapp.pictures.theme import Theme
from studyapp.services.worked_out import Moment
from studyapp.words import language

Make = Callable[[], Picture]
# The drawn picture of a name, as text: so whoever shows it gets a copy of their own and cannot change the kept one.
Once = Callable[[str, Make], str]


def at_each_run(_name: str, make: Make) -> str:
    """For what may change under the same name."""
    return json.dumps(make())


def kept(now: Moment, theme: Theme) -> Once:
    """For the pictures of an opened study, in one theme and the reader's language."""

    def once(name: str, make: Make) -> str:
        return now.once(("picture", name, theme, language()), lambda: at_each_run(name, make))

    return once


def put(picture: str, said: str) -> None:
    """Show a picture as wide as there is room; `said` is what it says in words."""
    st.vega_lite_chart(spec=json.loads(picture), theme=None, width="stretch", alt=said)
