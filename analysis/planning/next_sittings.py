"""What could be served next: who tastes which pull how often, never more pieces in a sitting than a palate takes."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import ceil
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from analysis.design import blocks
from analysis.stopping import panels
from analysis.stopping.rule import Rule
from analysis.stopping.verdicts import Judged

Name = Literal["all pulls", "open pulls", "more replicates", "all looks", "new study"]
USUAL_PALATE = 6
# Of the blocks beyond a palate; any seed deals as evenly.
BLOCK_SEED = 1


@dataclass(frozen=True, slots=True)
class Service:
    """What a sealed plan serves: `replicates` of a pull to a person in a sitting as long as all pieces stay within
    `palate`, `sittings` before each later look."""

    replicates: int
    palate: int
    sittings: int = 1


@dataclass(frozen=True, slots=True)
class Anew:
    """A new study with a seal of its own, by the same rule: `pulls` (hours) are served, each `replicates` times to a
    person in a sitting within `palate`, `sittings` before each look; `more` people than now taste in it."""

    pulls: tuple[float, ...]
    replicates: int
    palate: int
    sittings: tuple[int, ...]
    more: int = 0


@dataclass(frozen=True, slots=True, eq=False)
class Course:
    """One way on: `pulls` (indices); `looks` holds, for each look, servings (sittings, assessors, all pulls). The last
    `more` of the assessors have not tasted so far."""

    name: Name
    pulls: NDArray[np.intp]
    looks: tuple[NDArray[np.intp], ...]
    more: int = 0

    @property
    def sittings(self) -> int:
        """Sittings of all looks."""
        return sum(len(served) for served in self.looks)

    @property
    def pieces(self) -> int:
        """Most pieces that a person tastes in a sitting."""
        return max(int(served.sum(2).max()) for served in self.looks)


def ways_on(panel: panels.Panel, now: Judged, rule: Rule, sealed: Service | None) -> list[Course]:
    """All pulls, only the open ones, one replicate more, all looks that are left; of these what can be had.

    A sealed plan allows no other number of replicates. Without one, a sitting is served as before, and a palate takes
    six pieces or as many as someone has tasted in one sitting.
    """
    service = sealed or _as_before(panel)
    h = len(panel.hours)
    every = np.arange(h)
    open_ = ~now.fails[0] & ~now.passes[0]
    open_[[panel.control, h - 1]] = True
    found = [_course("all pulls", panel, every, service, (service.sittings,))]
    if 2 < open_.sum() < h:
        found.append(_course("open pulls", panel, every[open_], service, (service.sittings,)))
    more = Service(service.replicates + 1, service.palate, service.sittings)
    if sealed is None and h * more.replicates <= more.palate:
        found.append(_course("more replicates", panel, every, more, (more.sittings,)))
    if rule.looks - rule.look > 1:
        found.append(_course("all looks", panel, every, service, (service.sittings,) * (rule.looks - rule.look)))
    return found


def usual_designs(panel: panels.Panel) -> tuple[Anew, ...]:
    """As many sittings as so far, twice as many, and as many with two more people; one look after them."""
    before, sittings = _as_before(panel), panel.scope["sittings"]
    hours = tuple(panel.hours.tolist())
    return tuple(
        Anew(hours, before.replicates, before.palate, (times * sittings,), more)
        for times, more in ((1, 0), (2, 0), (1, 2))
    )


def anew(panel: panels.Panel, design: Anew) -> Course:
    """A design as a course; the old scores do not count again.

    Raises:
        ValueError: a pull that the panel has not tasted, or control or reference left out.
    """
    pulls = np.flatnonzero(np.isin(panel.hours, design.pulls))
    if len(pulls) < len(design.pulls) or not {panel.control, len(panel.hours) - 1} <= set(pulls.tolist()):
        raise ValueError(f"pulls must be of those tasted, with control and reference, got {design.pulls}")
    service = Service(design.replicates, design.palate)
    return _course("new study", panel, pulls, service, design.sittings, design.more)


def share_missing(panel: panels.Panel) -> float:
    """Share of scores that are missing, taking for planned what the fullest ballot of each sitting holds."""
    pieces = _pieces(panel)
    planned = float(pieces.max(0).sum()) * panel.scope["assessors"]
    return 1 - float(pieces.sum()) / planned


def _as_before(panel: panels.Panel) -> Service:
    """Servings of a pull to a person in a sitting, and the pieces that someone has tasted in one.

    Both by the fullest ballot, as `share_missing` counts, so that what is lost is not taken off twice.
    """
    most = int(_pieces(panel).max())
    served = ceil(most / len(panel.hours))
    palate = max(USUAL_PALATE, most) if most == len(panel.hours) * served else most
    return Service(served, palate)


def _pieces(panel: panels.Panel) -> NDArray[np.intp]:
    """Scores of the first attribute by name that each assessor gave in each sitting (assessors, sittings)."""
    return np.asarray(_first(panel).sum((1, 3)))


def _course(
    name: Name,
    panel: panels.Panel,
    pulls: NDArray[np.intp],
    service: Service,
    sittings: Sequence[int],
    more: int = 0,
) -> Course:
    """The servings of so many `sittings` before each look; beyond the palate in blocks, with control and reference in
    each."""
    people, h = panel.scope["assessors"] + more, len(panel.hours)
    always = [int(np.flatnonzero(pulls == pull)[0]) for pull in (panel.control, h - 1)]
    in_blocks = blocks.needed(len(pulls), service.replicates, service.palate)
    before = [] if name == "new study" or not in_blocks else _tasted(panel)[:, :, pulls].tolist()
    dealt = []
    for look, days in enumerate(sittings):
        served = np.zeros((days, people, h), np.intp)
        served[:, :, pulls] = service.replicates
        if in_blocks:
            made = blocks.servings(len(pulls), service.palate, people, days, BLOCK_SEED + look, always, before)
            served[:, :, pulls] = made
            before += made
        dealt.append(served)
    return Course(name, pulls, tuple(dealt), more)


def _tasted(panel: panels.Panel) -> NDArray[np.intp]:
    """Pieces of each pull that each assessor scored in each sitting so far (sittings, assessors, pulls)."""
    served = _first(panel).sum(3).transpose(2, 0, 1)
    return np.asarray(served[served.any((1, 2))])


def _first(panel: panels.Panel) -> NDArray[np.bool_]:
    """Which servings were scored on the first attribute by name (assessors, pulls, sittings, replicates)."""
    return np.asarray(panel.scores[min(panel.scores)].seen[0])
