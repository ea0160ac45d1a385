"""How much the scores of this panel differ, from the studies of every kind whose key is open; a blind study is never
read.

Real studies count; invented ones only where no real one is opened yet, and then they are said to be invented. The
newest ten are enough, since a panel changes. Scores of an opened look stay as they are, so the sums of squares of each
are worked out once, and what a page asks for anew is only which looks are open.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from functools import lru_cache
from typing import TYPE_CHECKING, Any, Literal

from studyapp import registry
from studyapp.records import CupsPlan, Staff
from studyapp.services.access import require, study_or_refuse
from studyapp.store import Store, openings, servings

if TYPE_CHECKING:
    from analysis.planning import PooledSpreads, Scenario, Strata

MOST_STUDIES = 10
COMPONENTS = ("assessor", "interaction", "sitting", "error")
Source = Literal["own", "panel", "assumed"]


@dataclass(frozen=True, slots=True)
class Spreads:
    """The spreads of a panel: `attributes` by name, `panel` of all attributes together for one never scored before.

    From the newest opened `studies`, `invented` or real, with so many `assessors` in them. Nothing at all: the usual
    spreads are assumed.
    """

    attributes: tuple[tuple[str, PooledSpreads], ...] = ()
    panel: PooledSpreads | None = None
    studies: int = 0
    assessors: int = 0
    invented: bool = False

    def of(self, attribute: str) -> PooledSpreads | None:
        """Those of an attribute; of all together if it was never scored; None where they are assumed."""
        return dict(self.attributes).get(_plain(attribute), self.panel)

    def source(self, attribute: str) -> Source:
        """Where they come from."""
        if _plain(attribute) in dict(self.attributes):
            return "own"
        return "assumed" if self.panel is None else "panel"

    def deviations(self, attribute: str) -> dict[str, Any]:
        """Standard deviations, scale units, by the names that a simulated truth gives them; what is unknown is left
        out."""
        known = self.of(attribute)
        every = {} if known is None else {part: getattr(known, part) for part in COMPONENTS}
        return {part: spread.sd for part, spread in every.items() if spread is not None}


ASSUMED = Spreads()


def of_panel(store: Store, by: Staff) -> Spreads:
    """The spreads of the panel of this store, for its leader.

    Raises:
        NotAllowed: the member is no leader.
    """
    require(by, "leader")
    return of_store(store)


def of_store(store: Store) -> Spreads:
    """The same for whoever may read the store itself."""
    from analysis.planning import added_up, of_one_panel, spreads_of

    with store.read() as tx:
        real = openings.last_opened(tx, _scored(), MOST_STUDIES, example=False)
        opened = real or openings.last_opened(tx, _scored(), MOST_STUDIES, example=True)
    told = [one for one in (_told(store, *study) for study in opened) if one.strata]
    if not told:
        return ASSUMED
    pooled = ((name, spreads_of(added_up(strata))) for name, strata in sorted(_by_attribute(told).items()))
    return Spreads(
        tuple((name, spreads) for name, spreads in pooled if spreads is not None),
        spreads_of(added_up(of_one_panel(study.strata) for study in told)),
        len(told),
        len(frozenset[str]().union(*(study.assessors for study in told))),
        not real,
    )


def of_store_at(url: str) -> Spreads:
    """The same of the store at an address, which is only read."""
    from studyapp.store import read_store

    opened = read_store(url)
    try:
        return of_store(opened)
    finally:
        opened.close()


def of_others(store: Store, study_id: str, attributes: Iterable[str]) -> dict[str, Strata]:
    """Sums of squares of the studies opened last, of each attribute that is asked for, or of all attributes together
    for one never scored before; empty where there are none.

    A study's own scores are left out, since they speak for themselves. Invented studies tell nothing of real people,
    and real ones nothing of invented people.
    """
    from analysis.planning import added_up, of_one_panel

    told = [one for one in (_told(store, *study) for study in others(store, study_id)) if one.strata]
    if not told:
        return {}
    own, panel = _by_attribute(told), [of_one_panel(study.strata) for study in told]
    return {name: added_up(own.get(_plain(name), panel)) for name in attributes}


def others(store: Store, study_id: str) -> tuple[tuple[str, int], ...]:
    """(id, last opened look) of the studies whose scores `of_others` adds up, the newest first."""
    with store.read() as tx:
        opened = openings.last_opened(tx, _scored(), MOST_STUDIES + 1, study_or_refuse(tx, study_id).example)
    return tuple(study for study in opened if study[0] != study_id)[:MOST_STUDIES]


def _scored() -> tuple[str, ...]:
    """The kinds whose people score pieces on lines: how much they differ is the same whatever is asked."""
    return tuple(kind for kind in registry.KINDS if issubclass(registry.plan(kind).Plan, CupsPlan))


def _by_attribute(told: Iterable[_Told]) -> dict[str, list[Strata]]:
    """The sums of squares of every attribute, study by study."""
    every: dict[str, list[Strata]] = {}
    for study in told:
        for name, strata in study.strata.items():
            every.setdefault(name, []).append(strata)
    return every


@dataclass(frozen=True, slots=True, eq=False)
class _Told:
    """What one opened look tells: sums of squares by attribute, and who scored."""

    strata: Mapping[str, Strata]
    assessors: frozenset[str]


@lru_cache(maxsize=8 * MOST_STUDIES)
def _told(store: Store, study_id: str, look: int) -> _Told:
    """Of the scores up to an opened look; whatever a level stands for, people read it in their own way."""
    import pandas as pd

    from analysis.planning import strata_of

    with store.read() as tx:
        rows = [tuple(row[:5]) for row in servings.tidy(tx, study_id, look)]
    frame = pd.DataFrame(rows, columns=["assessor", "hours", "attribute", "score", "sitting"])
    frame = frame.dropna(subset=["score"]).reset_index(drop=True)
    found = strata_of(frame)
    return _Told({_plain(name): strata for name, strata in found.items()}, frozenset(frame["assessor"]))


def _plain(name: str) -> str:
    """A name as attributes are told apart: a plan refuses two that differ in capitals or blanks alone."""
    return name.strip().casefold()


# ---- out -------------------------------------------------------------------------------------------------------------
def document(spreads: Spreads, truth: Scenario) -> dict[str, Any]:
    """What a simulated truth took from them, as plain JSON values; "limits" are null where a spread is assumed."""
    return {
        "studies": spreads.studies,
        "assessors": spreads.assessors,
        "invented": spreads.invented,
        "attributes": {
            name: {
                "from": spreads.source(name),
                **{part: _value(getattr(one, part), spreads.of(name), part) for part in COMPONENTS},
            }
            for name, one in truth.attributes.items()
        },
    }


def _value(sd: float, known: PooledSpreads | None, part: str) -> dict[str, Any]:
    spread = None if known is None else getattr(known, part)
    return {"sd": sd, "limits": None if spread is None else [spread.low, spread.high]}
