"""What the pages around a sitting of sets say differently: cups come in sets, and an answer names a cup."""

from __future__ import annotations

from studyapp.records import Place
from studyapp.words import _, ngettext


def what_you_do(place: Place) -> str:
    """How many sets, of how many pieces, and what is asked of each."""
    said = ngettext(
        "{count} set of {cups} small pieces of chocolate.",
        "{count} sets of {cups} small pieces of chocolate.",
        place.of,
    ).format(count=place.of, cups=place.cups_a_set)
    if place.one_by_one:
        each = _(
            "Each is eaten alone and noticed once, when the phone says so; then you say after which it was stronger."
        )
        return f"{said} {each} {_('If you cannot tell, you guess; that is part of it.')}"
    pick = _("In each you pick two cups.") if place.pick > 1 else _("In each you pick one cup.")
    return f"{said} {pick} {_('If you cannot tell, you guess; that is part of it.')}"


def ceiling(place: Place) -> str:
    """That this sitting would take somebody over the plan's grams a day; empty where it does not."""
    with_this = place.grams_today + place.grams_ahead
    if place.most_today is None or with_this <= place.most_today:
        return ""
    said = _(
        "Today you have had {today} g; with what is still to come it would be {all} g, and {most} g a day are the most "
        "that was planned. Sit out, or stop in time."
    )
    return said.format(today=f"{place.grams_today:.0f}", all=f"{with_this:.0f}", most=f"{place.most_today:g}")


def kept(count: int) -> str:
    """How many answers are kept."""
    return ngettext("Your {count} answer is kept.", "All your {count} answers are kept.", count).format(count=count)


def paused() -> str:
    """What the page says while the leader has paused the sitting."""
    return _("The panel leader has paused the tasting. All your answers are kept.")


def your_data() -> str:
    """What is kept of a person, with a place for the name."""
    return _(
        "Your answers are kept under the name {name}. Your real name is stored apart and can be erased on request."
    )
