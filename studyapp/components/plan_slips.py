"""Fields of a draft whose text must be read: what cannot be read stays as it was typed, with the reason beside it."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import TypeVar

import streamlit as st

from studyapp.components import look
from studyapp.records import Problem
from studyapp.words import _

T = TypeVar("T")
LONGEST = 400


class Slips:
    """`kept` are the texts that could not be read before, by the name of their field, which begins with the place that
    a problem of it has; `now` and `problems` fill while the fields are drawn."""

    def __init__(self, kept: Mapping[str, str]) -> None:
        self.kept, self.now = kept, dict[str, str]()
        self.problems: list[Problem] = []

    @property
    def places(self) -> list[str]:
        """Where something could not be read before."""
        return [name.split()[0] for name in self.kept]

    def read(
        self, name: str, label: str, shown: str, read: Callable[[str], T], before: T, key: str, placeholder: str = ""
    ) -> T:
        """A field and its value; where `read` raises ValueError, the sentence of that, and the value of before."""
        typed = st.text_input(label, self.kept.get(name, shown), LONGEST, placeholder=placeholder or None, key=key)
        try:
            return read(typed)
        except ValueError as wrong:
            self.now[name] = typed
            self.problems.append(Problem(name.split()[0], str(wrong)))
            look.put(
                look.text(str(wrong), "problem brick"),
                look.text(_("Kept as typed; the plan still holds what stood here before."), "small"),
            )
            return before
