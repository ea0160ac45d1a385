"""Finding one study among many: by words, by the question it asks, and by where it stands."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import fields
from typing import Any, TypeVar

import streamlit as st

from studyapp.components import look
from studyapp.records import Study, StudyPlan
from studyapp.words import _

Listed = TypeVar("Listed")
Group = TypeVar("Group", bound=str)
# So many a page; the verdict of each is read from the store.
A_PAGE = 20


def found(
    studies: Sequence[Study[Any]], groups: Mapping[Group, str], group_of: Mapping[str, Group], kinds: Mapping[str, str]
) -> list[Study[Any]]:
    """The studies asked for. `groups` and `kinds` name what may be chosen, `group_of` is where each study stands."""
    words, question = st.columns([3, 2])
    asked = words.text_input(_("Find a study"), placeholder=_("name, recipe, lot or plant"), key="find-study")
    kind = question.selectbox(
        _("The question"), ["", *kinds], format_func=lambda name: kinds.get(name, _("every question")), key="find-kind"
    )
    count = Counter(group_of[study.id] for study in studies)
    told = {"": _("All {n}").format(n=len(studies))} | {
        name: _("{group} {n}").format(group=word, n=count[name]) for name, word in groups.items()
    }
    group = st.segmented_control(
        _("Where it stands"), list(told), format_func=told.__getitem__, default="", key="find-group",
        label_visibility="collapsed",
    )  # fmt: skip
    left = [
        study
        for study in studies
        if kind in ("", study.kind) and group in ("", None, group_of[study.id]) and says(study.plan, asked)
    ]
    if not left:
        look.put(look.text(_("Nothing is called “{asked}” here.").format(asked=asked) if asked else _("Nothing here.")))
    return left


def says(plan: StudyPlan, asked: str) -> bool:
    """Whether every word asked for stands somewhere in the texts of the plan, in any case."""
    texts = " ".join(str(getattr(plan, each.name)) for each in fields(plan) if each.type in ("str", str)).casefold()
    return all(word in texts for word in asked.casefold().split())


def page_of(members: Iterable[Listed], name: str) -> list[Listed]:
    """The members on the chosen page; one page asks nothing."""
    every = list(members)
    pages = -(-len(every) // A_PAGE)
    if pages < 2:
        return every
    chosen = st.selectbox(
        _("Page"), range(pages), key=f"page-{name}", format_func=lambda n: _("{n} of {m}").format(n=n + 1, m=pages)
    )
    return every[chosen * A_PAGE : (chosen + 1) * A_PAGE]
