"""The steps of a plan: numbered, one open at a time, a folded one told in a line that says what is in it."""

from __future__ import annotations

import re
from collections.abc import Collection, Iterable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from typing import Any, Literal, Protocol, TypeVar

import streamlit as st

from studyapp.components import acts
from studyapp.components.plan_slips import Slips
from studyapp.records import Attribute, Problem, Staff, Study, StudyPlan
from studyapp.services import planning, unread
from studyapp.store import Store
from studyapp.words import _, ngettext

P = TypeVar("P", bound=StudyPlan)
State = Literal["done", "fix", "look", "open"]


@dataclass(frozen=True, slots=True)
class Step:
    """What a step is called, the fields whose problems belong to it, and what is in it in a line (empty: nothing yet).
    One that is not `needed` may stay empty."""

    name: str
    places: frozenset[str]
    said: str
    needed: bool = True


class Memory(Protocol):
    """What a tab remembers; `studyapp.session` is one."""

    def kept(self, name: str, default: Any) -> Any:
        """What it remembers under a name."""

    def keep(self, name: str, value: object) -> None:
        """Remember something."""

    def unfold(self, keys: Iterable[str], key: str) -> None:
        """Open one of the parts that fold, and close the others."""


class Steps:
    """The steps of one draft, drawn in order by `with steps.draw():`; `settle` then follows a tap on the way on.

    `problems` are those of the plan as it is kept, `empty` the fields that nobody has filled, `unread` the fields whose
    text cannot be read. What is to be fixed keeps its step open on the way on; by hand any step may be opened.
    """

    def __init__(
        self, study: str, steps: Sequence[Step], problems: Sequence[Problem], empty: Collection[str],
        unread: Collection[str], memory: Memory,
    ) -> None:  # fmt: skip
        self.study, self.steps, self.memory, self.unread = study, steps, memory, unread
        self.problems = problems
        worth = (one for one in problems if one.where not in empty or self._asked(one.where))
        self.shown = tuple(one for one in worth if one.where not in unread)
        self.drawn = self.tapped = 0
        self.keys = [f"fold-{number}-{study}" for number in range(1, len(steps) + 1)]
        if memory.kept(f"step-{study}", None) is None:
            memory.keep(f"step-{study}", self._first())
        self._unfold()

    def _asked(self, where: str) -> bool:
        """Whether a field was said to be ready: by the way on from its step, or by a try to seal."""
        return where in self.memory.kept(f"passed-{self.study}", frozenset()) or self.memory.kept(
            f"tried-{self.study}", False
        )

    def _unfold(self) -> None:
        open_ = self.memory.kept(f"step-{self.study}", 0)
        self.memory.unfold(self.keys, self.keys[open_ - 1] if open_ else "")

    # ---- where a step stands ---------------------------------------------------------------------------------------
    def _first(self) -> int:
        """The number of the step to begin with: one to fix, else one that is not finished; 0 for none."""
        wanted = [number for number, step in enumerate(self.steps, 1) if self._state(step) == "fix"]
        wanted += [number for number, step in enumerate(self.steps, 1) if step.needed and self._state(step) == "open"]
        return wanted[0] if wanted else 0

    def _to_fix(self, step: Step) -> int:
        shown = sum(one.blocks and one.where in step.places for one in self.shown)
        return shown + sum(where in step.places for where in self.unread)

    def _state(self, step: Step) -> State:
        if self._to_fix(step):
            return "fix"
        own = [one for one in self.problems if one.where in step.places]
        if any(one.blocks for one in own) or not step.said:
            return "open"
        return "look" if own else "done"

    def _line(self, step: Step) -> str:
        if left := self._to_fix(step):
            return ngettext("{n} thing to fix", "{n} things to fix", left).format(n=left)
        return step.said or (_("not begun") if step.needed else _("nothing so far; may stay empty"))

    # ---- on the page -----------------------------------------------------------------------------------------------
    @contextmanager
    def draw(self) -> Iterator[None]:
        """The next step: its line, its fields, and the way on."""
        self.drawn += 1
        number, step = self.drawn, self.steps[self.drawn - 1]
        label = f"*{number}* **{_plain(step.name)}** {_plain(self._line(step))}"
        with (
            st.container(key=f"step-{self._state(step)}-{number}"),
            st.expander(label, key=self.keys[number - 1], on_change=self._turned, args=(number,)),
        ):
            yield
            last = number == len(self.steps)
            on = _("Next: read and seal") if last else _("Next: {step}").format(step=_plain(self.steps[number].name))
            if st.button(on, key=f"next-{number}-{self.study}", type="primary", width="stretch"):
                self.tapped = number

    def _turned(self, number: int) -> None:
        """A line was touched: its step opens and the one before folds, or it folds."""
        now = self.memory.kept(f"step-{self.study}", 0)
        self.memory.keep(f"step-{self.study}", 0 if now == number else number)

    def settle(self, problems: Sequence[Problem]) -> bool:
        """After all are drawn, with the problems of the plan as it stands now, what is unread among them: follow a tap
        on the way on. True when the page must be drawn anew."""
        if not self.tapped:
            return False
        step = self.steps[self.tapped - 1]
        passed = self.memory.kept(f"passed-{self.study}", frozenset())
        self.memory.keep(f"passed-{self.study}", passed | step.places)
        if not any(one.blocks and one.where in step.places for one in problems):
            self.memory.keep(f"step-{self.study}", 0 if self.tapped == len(self.steps) else self.tapped + 1)
        return True


def keep(
    store: Store, by: Staff, study: Study[P], plan: P, problems: Sequence[Problem], slips: Slips, steps: Steps
) -> None:
    """Keep at once what was typed, with what could not be read; the page is drawn anew where anything changed."""
    anew = steps.settle((*slips.problems, *problems))
    with acts.refusals():
        if plan != study.plan:
            planning.keep_plan(store, by, study.id, plan)
        if slips.now != slips.kept:
            unread.keep_texts(store, by, study.id, slips.now)
        if anew or plan != study.plan or slips.now != slips.kept:
            st.rerun()


# ---- what several kinds say of a step alike --------------------------------------------------------------------------
def lines_said(attributes: Sequence[Attribute]) -> str:
    """How many attributes decide, and how many describe."""
    count = sum(line.decides for line in attributes)
    deciding = ngettext("{n} attribute decides", "{n} attributes decide", count).format(n=count)
    if not attributes or count == len(attributes):
        return deciding if attributes else ""
    describing = _("{n} only for the picture").format(n=len(attributes) - count)
    return _("{deciding}, {describing}").format(deciding=deciding, describing=describing)


def table_said(plan: StudyPlan) -> str:
    """A piece, the rest after it, and what is in it."""
    if not plan.contains:
        return ""
    return _("{grams} g a piece, {minutes} min rest; contains {contains}").format(
        grams=f"{plan.piece_g:g}", minutes=f"{plan.rest_seconds / 60:g}", contains=plan.contains
    )


def _plain(words: str) -> str:
    """Words of somebody's own in a label, where Streamlit would read signs of Markdown."""
    return re.sub(r"([\\`*_{}\[\]()#+.!~$:<>|-])", r"\\\1", words)
