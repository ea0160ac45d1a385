"""What every page on an assessor's phone shares: one style sheet, one script for sending, and the common words.

A page is a component: its texts and marks arrive as plain data, so nothing but what is written here reaches a phone.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from importlib.resources import files
from typing import Any

import streamlit as st

from studyapp.records import Place
from studyapp.words import _, language

Mount = Callable[..., Any]


def page(name: str, *assets: str) -> Mount:
    """Register a component from files beside this package, after the shared ones. Assets are `folder/file` names."""
    script = text(*(asset for asset in _shared(assets) if asset.endswith(".js")))
    sheet = text(*(asset for asset in _shared(assets) if asset.endswith(".css")))
    return st.components.v2.component(name, js=script, css=sheet)


def text(*assets: str) -> str:
    """The texts of files beside this package, one below the other."""
    here = files("studyapp.components")
    return "\n".join(here.joinpath(*asset.split("/")).read_text(encoding="utf-8") for asset in assets)


def _shared(assets: tuple[str, ...]) -> tuple[str, ...]:
    return ("phone/phone.css", "phone/phone.js", *assets)


def show(mount: Mount, key: str, data: Mapping[str, Any]) -> None:
    """Mount a page. Its only message back is `moved`: draw again, from the store."""
    # A list, because Streamlit looks through a dict for data frames and loads pandas to do so: 1 s for the first phone.
    mount(key=key, data=[{"language": language(), **data}], on_moved_change=_nothing)


def _nothing() -> None:
    """The rerun is all that is wanted."""


def words() -> dict[str, Any]:
    """The sentences every page may need."""
    return {
        "saved": _("saved {time}"),
        "keeping": _("keeping your mark"),
        "waiting": _("waiting"),
        "offline": _("No connection. Your marks wait on this phone and go out by themselves."),
        "offlineAct": _("No connection. This goes on by itself as soon as there is one."),
        "outOfDate": _("Not done: this page is out of date. Open your link again; your marks are kept."),
        "refresh": _("Show where I am"),
        "notSent": _("What this phone had not sent"),
        "next": _("Next serving"),
        "stop": _("I want to stop"),
        "stopTitle": _("Stop here?"),
        "stopText": _(
            "That is your choice, nothing follows from it, and nobody asks why. Your marks so far can stay in the "
            "study or be taken out."
        ),
        "stopKeep": _("Stop, keep my marks"),
        "stopOut": _("Stop, take my marks out"),
        "back": _("Go back"),
        "wrong": _("Something is wrong with my cup"),
        "otherCode": _("The code on the cup, if it is not the one on this page"),
        "tellCode": _("This code is on my cup"),
        "noPiece": _("No sound piece for {code}"),
        "called": _("The panel leader has been told and comes to you. Do not taste that cup yet."),
    }


def words_of(place: Place) -> dict[str, Any]:
    """The same sentences for a sitting of sets, where what is kept are answers."""
    return words() | _of_answers() if place.cups_a_set else words()


def _of_answers() -> dict[str, Any]:
    return {
        "keeping": _("keeping your answer"),
        "offline": _("No connection. Your answer waits on this phone and goes out by itself."),
        "outOfDate": _("Not done: this page is out of date. Open your link again; your answers are kept."),
        "next": _("Next set"),
        "stopText": _(
            "That is your choice, nothing follows from it, and nobody asks why. Your answers so far can stay in the "
            "study or be taken out."
        ),
        "stopKeep": _("Stop, keep my answers"),
        "stopOut": _("Stop, take my answers out"),
    }
