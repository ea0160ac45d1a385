"""An answer that grows more exact on the page by itself, while one goes on working beside it."""

from __future__ import annotations

from collections.abc import Callable
from typing import TypeVar

import streamlit as st

from studyapp import log
from studyapp.components import look
from studyapp.services.refining import Refining

T = TypeVar("T")
SECONDS = 1


def draw(work: Refining[T], show: Callable[[T], None]) -> None:
    """Show the best answer so far where this is called, and again each second until the last.

    The page is never run as a whole for it: that would close a dialog somebody is writing in.
    """
    st.fragment(_drawn, run_every=None if work.over else SECONDS)(work, show)


def _drawn(work: Refining[T], show: Callable[[T], None]) -> None:
    answer = work.look()
    if answer is not None:
        show(answer)
    if work.failure is not None:
        work.sentence = work.sentence or log.told(work.failure)
        look.put(look.box("brick", "", look.text(work.sentence)))
