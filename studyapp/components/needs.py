"""What needs the leader's hand now: a sentence each, what to do, and the buttons that note what was done."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import streamlit as st

from studyapp.components import look, sitting_rows
from studyapp.components.moments import clock, minutes_since
from studyapp.records import Progress
from studyapp.services.calling import Call
from studyapp.words import _, ngettext

WAITS_LONG = 5  # minutes after which a tray that is not there makes the rests differ; out of common sense, no source


PIECES = ("piece missing", "another piece")


@dataclass(frozen=True, slots=True)
class Need:
    """One line: `key` names it on the page; `acts` are (code, words) of its buttons; `of` is what they are about."""

    key: str
    at: str
    sentence: str
    do: str
    acts: tuple[tuple[str, str], ...] = ()
    of: str | int = ""


def needs(calls: Sequence[Call], progress: Progress) -> tuple[Need, ...]:
    """Wrong cups first, then the other calls, phones that fell silent, and trays that are waited for."""
    return (*(_call(one) for one in calls), *_silent(progress), *_trays(progress))


def _call(one: Call) -> Need:
    acts = {
        "code reported": (("swapped", _("Cup swapped")), ("tasted", _("It was tasted"))),
        **dict.fromkeys(PIECES, (("spare", _("Spare given")), ("none left", _("None left")))),
        "note": (("asked", _("Seen to")),),
    }[one.kind]
    said, do = {
        "code reported": _wrong_cup(one),
        "piece missing": (
            _("{name} has no sound piece at {code}."),
            _("Do: bring a spare of the same box; the kitchen sees {code} as wanted. If none is left, say so."),
        ),
        "another piece": (_("{name} asks for another piece at {code}."), ""),
        "note": (
            _("{name} sent a note."),
            _("Do: ask {name} whether something is needed now. The text is shown after the key is opened."),
        ),
    }[one.kind]
    if one.spare:
        do = _("Do: bring {name} the spare {spare} and take {code} away. The phone says {spare} already.")
    values = {
        "spare": one.spare,
        "name": one.name,
        "code": one.code,
        "own": one.own,
        "owner": one.owner,
        "tray": one.tray,
    }
    return Need(f"call-{one.number}", one.at, said.format(**values), do.format(**values), acts, one.number)


def _wrong_cup(one: Call) -> tuple[str, str]:
    back = _("Do: take {code} back before it is tasted. Give {name} {own} from its tray, or a spare of it.")
    if not one.owner:
        return _("{name} holds a cup {code}. No cup of this sitting has that code; {own} is due."), back
    if one.owner == one.name:
        return _("{name} holds {code}, their own cup of tray {tray}; {own} is due."), back
    return _("{name} holds {code}. That cup belongs to {owner}, tray {tray}; {own} is due."), back


def _silent(progress: Progress) -> list[Need]:
    found = []
    for seat in progress.seats:
        if seat.silent:
            said = ngettext(
                "{name}'s phone has been silent for {n} min. {saved} serving is saved.",
                "{name}'s phone has been silent for {n} min. {saved} servings are saved.",
                seat.saved,
            ).format(name=seat.pseudonym, n=seat.silent, saved=seat.saved)
            do = _("Do: look at the phone. If it is dead, give a new link; the others keep theirs.")
            link = (("link", _("New link for {name}").format(name=seat.pseudonym)),)
            found.append(Need(f"silent-{seat.pseudonym}", "", said, do, link, seat.pseudonym))
    return found


def _trays(progress: Progress) -> list[Need]:
    waiting: dict[int, list[tuple[str, str]]] = {}
    for seat in progress.seats:
        if seat.waits_for_tray is not None:
            waiting.setdefault(seat.waits_for_tray, []).append((seat.since or "", seat.pseudonym))
    found = []
    for tray, people in sorted(waiting.items()):
        since, names = min(people)[0], ", ".join(sorted(name for _at, name in people))
        named = sitting_rows.tray_title(tray)
        said = _("{names}: ready, and the {tray} is still in the kitchen.").format(
            names=names, tray=named[:1].lower() + named[1:]
        )
        late = minutes_since(since) >= WAITS_LONG
        do = _("Do: ask the kitchen. The rests differ more with every minute.") if late else _("Do: ask the kitchen.")
        found.append(Need(f"tray-{tray}", since, said, do))
    return found


def draw(found: Sequence[Need], act: Callable[[str, Need], None]) -> None:
    """The block, gone when nothing is needed; `act` gets the code of a button and its line."""
    if not found:
        return
    with st.container(key="needs"):
        look.put(look.title(_("Needs you now"), 2))
        for one in found:
            with st.container(key=f"need-{one.key}", horizontal=True, vertical_alignment="center"):
                with st.container(width="stretch"):
                    time = f"{look.strong(clock(one.at))} " if one.at else ""
                    text = f'<p class="say" role="status">{time}{look.plain(one.sentence)}</p>'
                    look.put(text, look.text(one.do, "small"))
                for code, words in one.acts:
                    if st.button(words, key=f"{code}-{one.key}"):
                        act(code, one)
