"""A ladder of butter kept with its batch: typed portion by portion, pasted or from a file; odd values are asked of."""

from __future__ import annotations

import math
from dataclasses import replace

from studyapp.batches import Ladder, Reading, Rung
from studyapp.errors import BadInput
from studyapp.records import Staff
from studyapp.services import batches, readings
from studyapp.services.readings import Read, as_number
from studyapp.store import Store
from studyapp.words import _


def from_file(name: str, content: bytes) -> tuple[Rung, ...]:
    """The portions in a table; see `analysis.files.ladders` for its columns. Raises BadInput, naming row and column."""
    from analysis.files import ScoreError
    from analysis.files.ladders import ladder_from

    try:
        frame = ladder_from(name, content)
    except ScoreError as problem:
        raise BadInput(str(problem)) from problem
    rows = zip(frame["quantity"], frame["added"], frame["value"], strict=True)
    return tuple(Rung(quantity.casefold(), None if math.isnan(x) else float(x), float(y)) for quantity, x, y in rows)


def portions(text: str) -> tuple[float, ...]:
    """Readings typed into one field, with spaces between. Raises BadInput for what is no number."""
    found = []
    for word in text.replace(";", " ").split():
        value = as_number(word)
        if value is None:
            raise BadInput(_("Fix the portions: “{text}” is not a number.").format(text=word[:40]))
        found.append(value)
    return tuple(found)


def odd(ladder: Ladder) -> list[str]:
    """What somebody should look at again while they stand beside the instrument."""
    nothing = Read((), ())
    ones = (Reading(0.0, one.quantity, one.value) for one in ladder.rungs)
    return [asked.sentence for one in ones for asked in readings.odd(one, nothing)]


def keep(store: Store, by: Staff, batch_id: str, ladder: Ladder) -> None:
    """Let the ladder of a batch be this one; what it was before stays in the record of the store.

    Raises:
        BadInput: it cannot have been read, or it is odd and was not `asked` about.
        NotAllowed: somebody who tastes the study.
    """
    if not ladder.asked and (questions := odd(ladder)):
        raise BadInput(_("Is this right? {sentence}").format(sentence=questions[0]))
    draft = batches.batch(store, by, batch_id).draft
    batches.keep(store, by, batch_id, replace(draft, made=replace(draft.made, ladder=ladder)))
