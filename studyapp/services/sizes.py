"""Sizes of particles as a laser or a sieve tells them: pasted, a line a size with its share of the volume."""

from __future__ import annotations

from studyapp.errors import BadInput
from studyapp.services.readings import as_number
from studyapp.words import _

MOST_SIZES = 200


def distribution(text: str) -> tuple[tuple[float, float], ...]:
    """Pairs of size, µm, and share of the volume, %, from lines such as "12.5 30". Raises BadInput."""
    found = []
    for number, line in enumerate((one for one in text.splitlines() if one.strip()), 1):
        cells = [as_number(cell) for cell in line.replace(";", " ").split()]
        size, share = cells if len(cells) == 2 else (None, None)
        if size is None or share is None or not (0 < size <= 1e4 and 0 <= share <= 100) or number > MOST_SIZES:
            raise BadInput(_("Fix line {n} of the sizes: write size in µm, then % of the volume.").format(n=number))
        found.append((size, share))
    if found and not any(share for _size, share in found):
        raise BadInput(_("Fix the sizes: every share of the volume is 0."))
    return tuple(found)
