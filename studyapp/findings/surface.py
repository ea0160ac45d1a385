"""The surface of particles beside their size, in sentences: a description, never a limit."""

from __future__ import annotations

from collections.abc import Sequence

from studyapp.findings.instruments import values
from studyapp.findings.numbers import decimal, trimmed
from studyapp.findings.numbers import hours as as_hours
from studyapp.services.readings import Read
from studyapp.words import _

Mass = tuple[str, float, float]  # name, Sauter mean in µm, surface in m²/kg


def of_masses(told: Sequence[tuple[str, Sequence[tuple[float, float]]]], density: float) -> list[Mass]:
    """Sauter mean and surface of each mass whose sizes are known."""
    from analysis.instruments import sauter_mean, surface

    found = []
    for name, pairs in told:
        if pairs:
            mean = sauter_mean([share for _size, share in pairs], [size for size, _share in pairs])
            found.append((name, mean, surface(mean, density)))
    return found


def from_fineness(read: Read) -> str:
    """What the 90 % size alone tells, first pull against last: a ratio, if shape and spread were kept."""
    found = sorted((hour, sum(ones) / len(ones)) for (name, hour), ones in values(read).items() if name == "fineness")
    if len(found) < 2 or min(size for _hour, size in found) <= 0:
        return ""
    (h1, first), (h2, last) = found[0], found[-1]
    told = _(
        "D90 was {a} µm at {h1} h and {b} µm at {h2} h: with particles of one shape and spread, {x} times the surface."
    )
    texts = {"a": trimmed(first, 1), "b": trimmed(last, 1), "h1": as_hours(h1), "h2": as_hours(h2)}
    return told.format(x=decimal(first / last), **texts)


def headline(found: Sequence[Mass]) -> str:
    """The answer in one sentence."""
    if not found:
        return _("How much surface do the particles have?")
    if len(found) == 1:
        return _("{surface} m² of surface in a kilogram of particles.").format(surface=decimal(found[0][2], 0))
    less, more = sorted(found, key=lambda one: one[2])
    told = _("{more} has {x} times the surface of {less}.")
    return told.format(more=more[0], less=less[0], x=decimal(more[2] / less[2]))


def rows(found: Sequence[Mass]) -> list[list[str]]:
    """Name, Sauter mean and surface of each mass."""
    return [[name, decimal(mean), decimal(area, 0)] for name, mean, area in found]


def picture_says(found: Sequence[Mass]) -> str:
    """What the picture says."""
    told = [
        _("{name}: {surface} m²/kg at {size} µm").format(name=name, surface=decimal(area, 0), size=decimal(mean))
        for name, mean, area in found
    ]
    return _("Half the size is twice the surface. {told}.").format(told="; ".join(told))


def caution() -> str:
    """What it is not."""
    return _(
        "A description: spheres of one density stand for the particles, and no limit or verdict rests on it. "
        "More surface needs more butter for the same flow."
    )
