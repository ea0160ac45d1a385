"""One way to an answer as a line of a list, whatever kind of study asks for it; and what is never offered."""

from __future__ import annotations

from dataclasses import dataclass

from studyapp.words import _


@dataclass(frozen=True, slots=True)
class WayLine:
    """What to do and what it changes; how often that ends in an answer, in words and as a `share` for its bar (None:
    none is drawn); what it asks for. `too_little` says what there is where it takes more; `counts_on` whether the
    scores so far stay in, None where that is no question; `act` is the word on its button, empty for none."""

    what: str
    note: str
    chance: str
    share: float | None
    sittings: str
    grams: str
    pieces: str
    time: str
    too_little: str = ""
    counts_on: bool | None = None
    act: str = ""
    best: bool = False


def heads() -> tuple[str, ...]:
    """What stands above the columns."""
    return (
        _("what to do"),
        _("chance of an answer"),
        _("more sittings"),
        _("from each pull"),
        _("pieces for one person"),
        _("people's time"),
        _("scores so far"),
    )


def score_word(counts_on: bool) -> str:
    """What becomes of the scores so far."""
    return _("counts on") if counts_on else _("new study")


def score_words_say() -> str:
    """What the two words mean."""
    return _(
        "Counts on: what was tasted stays in. New study: sealed anew; the old scores stay as they are and are not "
        "added."
    )


def not_offered() -> str:
    """What would only look like a way, and why it is none."""
    return _(
        "A wider margin, for it would be chosen from the scores just seen; leaving out an assessor or a serving now; "
        "somebody who joins under this seal; opening the key once more than sealed. Each finds an answer that is not "
        "there."
    )
