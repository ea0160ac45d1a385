"""The pages of a sitting without a ballot: welcome, waiting for a tray, paused, done, stopped."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from studyapp.components import phone
from studyapp.components.step import sets
from studyapp.findings.facts import plant
from studyapp.records import Place
from studyapp.words import _, ngettext

Page = dict[str, Any]
_STEP = phone.page("step", "step/step.css", "step/step.js")


def step(place: Place, seat: str) -> None:
    """Draw the page of a place."""
    phone.show(_STEP, f"step-{place.kind}-{place.number}", data(place, seat))


def data(place: Place, seat: str) -> dict[str, Any]:
    """All that reaches the phone."""
    pages: dict[str, Callable[[Place], Page]] = {
        "welcome": _welcome,
        "waiting": _waiting,
        "paused": _paused,
        "done": _done,
        "stopped": _stopped,
        "left": _left,
        "elsewhere": _elsewhere,
        "replaced": _replaced,
    }
    empty: Page = {"heading": place.sitting_label, "cards": [], "small": [], "actions": []}
    common = {"seat": seat, "kind": place.kind, "number": place.number, "words": phone.words_of(place)}
    common["at"] = place.at if place.kind in ("welcome", "waiting", "paused") else ""
    return empty | pages.get(place.kind, _nothing)(place) | common


# ---- before ----------------------------------------------------------------------------------------------------------
def _welcome(place: Place) -> Page:
    return {
        "aside": _("about {minutes} min").format(minutes=place.minutes) if place.minutes else "",
        "title": _("You are {name} today").format(name=place.pseudonym),
        "lede": sets.what_you_do(place) if place.cups_a_set else _what_you_do(place),
        "cards": [_contents(place), *_ceiling(place), _sit_out_if(), _how_it_goes(place), _your_data(place)],
        "actions": [
            {"label": _("I have read this, start"), "kind": "main", "path": "/agree"},
            {"label": _("Not today"), "kind": "", "path": "/sit-out"},
        ],
    }


def _what_you_do(place: Place) -> str:
    pieces = ngettext(
        "{count} small piece of chocolate.", "{count} small pieces of chocolate, one at a time.", place.of
    ).format(count=place.of)
    lines = ngettext("You mark one line for each.", "You mark {count} lines for each.", place.line_count).format(
        count=place.line_count
    )
    return f"{pieces} {lines} {_('What you notice is the answer; there is no other.')}"


def _contents(place: Place) -> Page:
    texts = []
    if place.contains:
        texts.append(_("Contains {contents}.").format(contents=place.contains.rstrip(". ")))
    if place.traces:
        traces = _("Made where {traces} are handled too, so traces can be in every piece.")
        texts.append(traces.format(traces=place.traces.rstrip(". ")))
    if not texts:
        texts.append(_("Nobody has written down what is in it. Ask before you taste."))
    if place.botanical:
        texts.append(plant(place.botanical))
    texts.append(_("If any of it is not for you, do not taste. A blind tasting cannot show that something is absent."))
    return {"caution": True, "title": _("What is in it"), "texts": texts}


def _ceiling(place: Place) -> list[Page]:
    said = sets.ceiling(place)
    return [{"caution": True, "title": _("More than was planned for a day"), "texts": [said]}] if said else []


def _sit_out_if() -> Page:
    return {
        "title": _("Sit this one out if"),
        "list": [
            _("anything named above is not for you"),
            _("you have a cold, cannot smell well or feel unwell"),
            _("you take medicine, are expecting, or are unsure: ask your doctor first"),
            _("you would simply rather not"),
        ],
        "texts": [_("Nobody asks why, and it changes nothing at work. You can also stop at any moment.")],
    }


def _how_it_goes(place: Place) -> Page:
    texts = [_("Taste in the order given and {swallow}.").format(swallow=place.swallow.rstrip(". "))]
    if place.routine:
        texts.append(place.routine)
    texts.append(_("Keep talk about the cups for afterwards."))
    return {"title": _("How it goes"), "texts": texts}


def _your_data(place: Place) -> Page:
    text = _("Your marks are kept under the name {name}. Your real name is stored apart and can be erased on request.")
    if place.cups_a_set:
        text = sets.your_data()
    return {"title": _("What is kept"), "texts": [text.format(name=place.pseudonym)]}


# ---- between ---------------------------------------------------------------------------------------------------------
def _waiting(place: Place) -> Page:
    first = place.number == 0
    return {
        "title": _("Your tray is on its way") if not first else _("The tasting starts soon"),
        "lede": _("Stay seated and keep your mouth fresh: no coffee, no gum."),
        "waits": _("This page turns by itself."),
        "poll": True,
        "actions": [{"label": _("I want to stop"), "kind": "plain", "stop": True}],
    }


def _paused(place: Place) -> Page:
    kept = _("The panel leader has paused the tasting. All your marks are kept.")
    return {
        "title": _("A short pause"),
        "lede": sets.paused() if place.cups_a_set else kept,
        "waits": _("This page turns by itself."),
        "poll": True,
        "actions": [{"label": _("I want to stop"), "kind": "plain", "stop": True}],
    }


# ---- after -----------------------------------------------------------------------------------------------------------
def _done(place: Place) -> Page:
    return {
        "aside": _("{number} of {of} done").format(number=place.number, of=place.of),
        "title": _("Thank you, {name}").format(name=place.pseudonym),
        "lede": f"{_kept(place)} {_('You can close this page.')}",
        "cards": [_keep_quiet()],
        "note": _note(),
        "small": _eaten(place),
        "actions": [_give_back()],
    }


def _kept(place: Place) -> str:
    if place.cups_a_set:
        return sets.kept(place.marks_kept)
    kept = ngettext("Your {count} mark is kept.", "All your {count} marks are kept.", place.marks_kept)
    return kept.format(count=place.marks_kept)


def _keep_quiet() -> Page:
    text = _("Others may still be tasting. What the codes stood for comes out for everybody at once, at the end.")
    return {"title": _("Keep it to yourself for now"), "texts": [text]}


def _note() -> dict[str, str]:
    return {
        "label": _("Anything the panel leader should know?"),
        "example": _("A draught, a smell in the room, a broken piece"),
        "send": _("Send note"),
        "sent": _("Your note is kept. Thank you."),
        "gap": _("Write a few words first."),
    }


def _eaten(place: Place) -> list[str]:
    if not place.grams_today and not place.grams_week:
        return []
    said = _("Served today: {today} g. In the last seven days: {week} g.")
    eaten = [said.format(today=f"{place.grams_today:.0f}", week=f"{place.grams_week:.0f}")]
    if place.most_today is None:
        return eaten
    most = _("No more than {most} g a day were planned for one person.")
    return [*eaten, most.format(most=f"{place.most_today:g}")]


def _give_back() -> dict[str, Any]:
    return {"label": _("Free this phone for somebody else"), "kind": "plain", "path": "/sign-out", "reload": True}


def _stopped(place: Place) -> Page:
    return {
        "title": _("You have stopped"),
        "lede": _("Thank you for coming, {name}. You can close this page.").format(name=place.pseudonym),
        "note": _note(),
        "small": _eaten(place),
        "actions": [_give_back()],
    }


def _left(place: Place) -> Page:
    return {
        "title": _("Nothing for you today"),
        "lede": _("You sit this one out, and that is all there is to it. If it was a slip, read on and start."),
        "cards": [_contents(place), _sit_out_if()],
        "actions": [{"label": _("I have read this, start"), "kind": "", "path": "/agree"}, _give_back()],
    }


def _elsewhere(place: Place) -> Page:
    told = _("{name}, your marks go on there. All that was kept is there; this phone is no longer needed.")
    return {
        "title": _("This tasting went on to another phone"),
        "lede": told.format(name=place.pseudonym),
        "actions": [_give_back()],
    }


def _replaced(place: Place) -> Page:
    told = _("{name}, ask the panel leader for the new one. All that was kept is kept.")
    return {
        "title": _("Your link was replaced"),
        "lede": told.format(name=place.pseudonym),
        "actions": [_give_back()],
    }


def _nothing(place: Place) -> Page:
    text = _("There is no tasting on this phone at the moment.")
    if place.next_tasting:
        text = _("The next tasting: {when}.").format(when=place.next_tasting)
    return {"title": _("Nothing for you now"), "lede": text, "actions": [_give_back()]}
