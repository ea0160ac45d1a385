"""What a seal of any kind sets on the table: boxes whose letters tell nothing, sittings, and cups with their codes."""

from __future__ import annotations

import secrets
import string
from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from typing import Any

from analysis.design import codes as random_codes
from studyapp.errors import BadInput, NotAllowed
from studyapp.records import Sample, Sitting, Staff
from studyapp.services import spares
from studyapp.services.access import new_id
from studyapp.store import events, servings, sittings, studies
from studyapp.words import _

_TRIES = 50
CODES = 900  # numbers of three figures


def note_taken(_store: Any, _by: Staff, _study: str, _told: Mapping[str, Any]) -> None:
    """For kinds whose samples are not taken from a running batch."""
    raise NotAllowed(_("Not done: no sample of this study is taken at an hour."))


# ---- boxes and sittings ----------------------------------------------------------------------------------------------
def box_letters(count: int) -> list[str]:
    """So many letters in random order, so that a letter tells no level either; pairs where one each is too few."""
    one, most = string.ascii_uppercase, len(string.ascii_uppercase)
    letters = list(one[:count]) if count <= most else [first + second for first in one for second in one][:count]
    secrets.SystemRandom().shuffle(letters)
    return letters


def name_samples(tx: Any, study_id: str, levels: Iterable[float]) -> None:
    """A sample a level, each with the letter of its box."""
    ascending = sorted(levels)
    letters = box_letters(len(ascending))
    named = [Sample(new_id(), level, letter) for level, letter in zip(ascending, letters, strict=True)]
    studies.add_samples(tx, study_id, named)


def plan_sittings(tx: Any, study_id: str, count: int, look: int = 1) -> tuple[Sitting, ...]:
    """So many more sittings of a study, for its look of that number."""
    first = len(sittings.of_study(tx, study_id)) + 1
    numbers = range(first, first + count)
    made = tuple(Sitting(new_id(), study_id, n, _("Tasting {n}").format(n=n), "planned") for n in numbers)
    for sitting in made:
        sittings.add(tx, sitting, look)
    return made


def seed(tx: Any, study_id: str, what: int | str) -> int:
    """A number that follows from the secret of the study and `what` is drawn with it."""
    return int(events.digest([studies.key_seed(tx, study_id), what])[:12], 16)


# ---- cups and codes --------------------------------------------------------------------------------------------------
def serve_cups(
    tx: Any, sitting: Sitting, orders: Sequence[Sequence[str]], seed: int, warm_up: str | None = None
) -> None:
    """Cups that come one by one: for each seat its samples in the order of tasting, before them the `warm_up` if any,
    which is not scored; codes follow from the seed."""
    seats = [assessor for _number, assessor, _name in studies.seats(tx, sitting.study)]
    used, of_spares = servings.codes_of_study(tx, sitting.study), spares.codes_of_study(tx, sitting.study)
    each = len(orders[0]) + (warm_up is not None)
    codes = deal_codes([used.get(assessor, set()) | of_spares for assessor in seats], each, seed)
    rows = [
        row
        for assessor, order, own in zip(seats, orders, codes, strict=True)
        for row in _cups(assessor, order, own, warm_up)
    ]
    servings.add(tx, sitting, rows)
    every = of_spares.union(*used.values(), *codes)
    _deal_spares(tx, sitting, (sample for order in orders for sample in order), every, seed)


def _deal_spares(tx: Any, sitting: Sitting, cups: Iterable[str], used: set[str], seed: int) -> None:
    """Codes for spares of the samples in these cups; none where three figures run out."""
    wanted = [sample for sample, count in sorted(Counter(cups).items()) for _spare in range(spares.number(count))]
    if len(used) + len(wanted) <= CODES:
        spares.keep(tx, sitting, dict(zip(random_codes(len(wanted), seed, frozenset(used)), wanted, strict=True)))


def _cups(assessor: str, scored: Sequence[str], codes: Sequence[str], warm_up: str | None) -> list[dict[str, Any]]:
    """The cups of one assessor; position 0 is the warm-up."""
    served = [(place, sample, scored[:place].count(sample), True) for place, sample in enumerate(scored)]
    if warm_up is not None:
        served.insert(0, (-1, warm_up, 0, False))
    return [
        {
            "id": new_id(),
            "assessor_id": assessor,
            "position": place + 1,
            "code": code,
            "sample_id": sample,
            "replicate": before + 1 if counts else 0,
            "scored": counts,
        }
        for (place, sample, before, counts), code in zip(served, codes, strict=True)
    ]


def deal_codes(used: Sequence[set[str]], each: int, seed: int) -> list[list[str]]:
    """`each` codes for every assessor: none twice in the sitting, none that an assessor had before in the study.

    Codes nobody had are taken while they last; then an assessor may get one that only others had.

    Raises:
        BadInput: there are too few three-digit codes.
    """
    had = set().union(*used)
    need = each * len(used)
    if need + len(had) <= CODES:
        fresh = random_codes(need, seed, frozenset(had))
        return [fresh[start : start + each] for start in range(0, need, each)]
    for attempt in range(_TRIES):
        dealt = _around(random_codes(CODES, seed + attempt), used, each)
        if dealt is not None:
            return dealt
    raise BadInput(_("Not sealed: three-digit codes run out. Serve fewer pulls or plan fewer sittings."))


def _around(deck: list[str], used: Sequence[set[str]], each: int) -> list[list[str]] | None:
    """Deal a shuffled deck so that nobody gets a code twice; who had most codes before chooses first."""
    dealt: list[list[str]] = [[] for _seat in used]
    left = list(deck)
    for seat in sorted(range(len(used)), key=lambda number: -len(used[number])):
        own = [code for code in left if code not in used[seat]][:each]
        if len(own) < each:
            return None
        dealt[seat] = own
        left = [code for code in left if code not in own]
    return dealt
