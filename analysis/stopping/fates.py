"""What became of pulls and servings that hold no score, and what may then still be said.

A pull that was lost before anybody tasted it steps out of the sequence: the rest is a fixed sequence still. One that
was taken back after a score existed, or that nobody scored, stays and does not pass, since a failing pull could
otherwise be made to step out. Whoever could not judge a piece may have been kept from it by its taste, so such a
serving is filled twice: with the worse end of the scale at the pull and the better at the reference, and the other way
round.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Collection, Mapping
from dataclasses import dataclass, field, replace
from typing import Literal

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from analysis.model.cells import TOP
from analysis.stopping.rule import AttributeRule, Rule

Flags = NDArray[np.bool_]
# What the column `why` of tidy scores may say of a row without a score.
LOST, UNJUDGED, UNREAD = "lost", "unjudged", "unread"
# The longer of the two scales that files use.
HUNDRED = 100.0


@dataclass(frozen=True, slots=True)
class LostPull:
    """A pull without scores in one sitting, or (None) in every. "lost": for a physical `reason`, before anybody tasted
    it there. "taken back": after a score of it existed. "unread": no score came of it, and nobody noted a loss. `batch`
    names whose pull it is where several were tasted."""

    hours: float
    fate: Literal["lost", "taken back", "unread"]
    sitting: str | None = None
    reason: str | None = None
    batch: str | None = None


@dataclass(frozen=True, slots=True)
class Unjudged:
    """How many servings of a pull could not be judged on an attribute, for reasons that may lie in its taste."""

    attribute: str
    hours: float
    count: int


@dataclass(frozen=True, slots=True)
class Bars:
    """What may not be said: `stop` (h,) at which pulls and any shorter one; `longer`, that conching longer pays;
    `none`, that no hour fits; `any`, anything at all. `stepped_out` (h,): not chosen, but holds up no shorter pull.
    `but_one`: only the last pull but one is asked about, which an earlier study chose."""

    stop: Flags
    longer: bool = False
    none: bool = False
    any: bool = False
    stepped_out: Flags | bool = False
    but_one: bool = False

    def keep_back(self, pull: int) -> bool:
        """Whether nothing may be said of a pull."""
        return self.any or bool((self.stop | self.stepped_out)[pull])

    def anew(self, pulls: int) -> Bars:
        """The same question to a new study of so many pulls, of which none is missing."""
        return Bars(np.zeros(pulls, bool), but_one=self.but_one)


@dataclass(frozen=True, slots=True)
class Fates:
    """Scores in the order of their rows, those alone that count, and everything that became of the others.

    `rule` names as control the shortest pull that is left where the sealed one is not. `out` holds the hours of every
    pull that is lost, taken back or unread as a whole; `unjudged` the rows that could not be judged.
    """

    scored: pd.DataFrame
    rule: Rule
    lost: tuple[LostPull, ...] = ()
    out: frozenset[float] = frozenset()
    reference_is_sealed: bool = True
    bars: Bars | None = None
    unjudged: pd.DataFrame = field(default_factory=pd.DataFrame)

    @property
    def counted(self) -> tuple[Unjudged, ...]:
        """The rows that could not be judged, by attribute and pull."""
        if self.unjudged.empty:
            return ()
        where = Counter(zip(self.unjudged["attribute"], self.unjudged["hours"].astype(float), strict=True))
        return tuple(Unjudged(str(name), hours, count) for (name, hours), count in sorted(where.items()))

    @property
    def taken_back(self) -> frozenset[float]:
        """Pulls that stay and do not pass although they hold scores."""
        return frozenset(one.hours for one in self.lost if one.fate == "taken back")

    def filled(self, pull_is_worse: bool, references: Collection[float] | None = None) -> pd.DataFrame:
        """Every score, and for what could not be judged the one end of the scale at the pulls, the other at the
        `references`, which is the longest pull where none are named."""
        top = TOP if self.scored["score"].max() <= TOP else HUNDRED
        held_against = {self.scored["hours"].max()} if references is None else references
        high = self.unjudged["attribute"].map(lambda name: self.rule.attributes[name].wanted != "higher")
        at_worse = ~self.unjudged["hours"].isin(held_against) == pull_is_worse
        ends = self.unjudged.assign(score=np.where(high == at_worse, top, 0.0))
        return pd.concat([self.scored, ends[list(self.scored.columns)]], ignore_index=True)


def read(scores: pd.DataFrame, rule: Rule) -> Fates:
    """Tell scores from notes about what is missing, and what may then not be said.

    Args:
        scores: tidy scores. A column `why` says of rows without a score: "unjudged" (could not be judged), "lost" (the
            pull of `hours` was lost, in its `sitting` or, where that is empty, in every; a column `reason` may say
            why), "unread" (a sealed pull that nobody scored).
        rule: as sealed.
    """
    found = sorted_out(scores, rule)
    if not _tells(scores):
        return found
    return _barred(found, {one.hours for one in found.lost if one.fate == "lost" and one.sitting is None}, rule)


def _tells(scores: pd.DataFrame) -> bool:
    """Whether anything is said of scores that are missing."""
    return "why" in scores.columns and bool(scores["why"].isin((LOST, UNJUDGED, UNREAD)).any())


def sorted_out(scores: pd.DataFrame, rule: Rule) -> Fates:
    """The same before anything is barred: the rule as it was sealed, since no pull takes another's place."""
    if not _tells(scores):
        return Fates(scores.drop(columns=["why", "reason"], errors="ignore"), rule)
    rows = scores[scores["attribute"].isin(list(rule.attributes)) & ~scores["why"].isin((LOST, UNREAD))]
    served = _Served.of(rows)
    back, gone, entries = served.told(scores[scores["why"] == LOST])
    unread = _unread(scores, rows, rule.attributes) | {one.hours for one in entries if one.fate == "unread"}
    entries += [LostPull(hours, "unread") for hours in unread - {one.hours for one in entries if one.fate == "unread"}]
    lost = {one.hours for one in entries if one.fate == "lost" and one.sitting is None}
    here = served.left(rows, gone)
    unasked = ["sitting"] if "sitting" in here and here["sitting"].isna().all() else []  # notes alone may bring it
    here = here[~here["hours"].isin(unread)].drop(columns=["why", "reason", *unasked], errors="ignore")
    scored, out = here[here["score"].notna()], frozenset(lost | unread | back)
    kept = (rows["why"] == UNJUDGED).reindex(here.index)
    return Fates(scored, rule, _ordered(entries), out, unjudged=here[kept & here["score"].isna()])


def _ordered(entries: list[LostPull]) -> tuple[LostPull, ...]:
    return tuple(sorted(entries, key=lambda one: (one.hours, one.sitting or "")))


def _unread(scores: pd.DataFrame, rows: pd.DataFrame, wishes: Mapping[str, AttributeRule]) -> set[float]:
    """Pulls that nobody scored, so noted, and those of which nobody could judge some deciding attribute."""
    judged = rows[rows["score"].notna()]
    there = set(zip(judged["attribute"], judged["hours"].astype(float), strict=True))
    tried = set(rows.loc[rows["why"] == UNJUDGED, "hours"].astype(float).tolist())
    noted = set(scores.loc[scores["why"] == UNREAD, "hours"].astype(float).tolist())
    return noted | {hours for hours in tried if any((name, hours) not in there for name in wishes)}


@dataclass(frozen=True, slots=True)
class _Served:
    """In which sittings each pull was served, and all sittings."""

    by_pull: Mapping[float, set[str]]
    sittings: set[str]

    @classmethod
    def of(cls, rows: pd.DataFrame) -> _Served:
        """Of the rows that hold a score, or could not be judged."""
        rows = rows[rows["score"].notna() | (rows["why"] == UNJUDGED)]
        found: dict[float, set[str]] = {}
        for hours, day in zip(rows["hours"].astype(float), _days(rows), strict=True):
            found.setdefault(hours, set()).add(day)
        return cls(found, set().union(*found.values()))

    def told(self, notes: pd.DataFrame) -> tuple[set[float], set[tuple[float, str]], list[LostPull]]:
        """Pulls taken back, pulls with sittings whose scores do not count, and an entry for each loss."""
        back: set[float] = set()
        gone: set[tuple[float, str]] = set()
        entries: list[LostPull] = []
        reasons = notes["reason"].fillna("") if "reason" in notes else [""] * len(notes)
        told: dict[float, dict[str | None, str | None]] = {}
        for hours, day, why in zip(notes["hours"].astype(float), _days(notes), reasons, strict=True):
            told.setdefault(hours, {})[day or None] = str(why) or None
        for hours, own in told.items():
            _judge_losses(hours, own, self, back, gone, entries)
        return back, gone, entries

    def left(self, rows: pd.DataFrame, gone: set[tuple[float, str]]) -> pd.DataFrame:
        """The rows less those of pulls in sittings that do not count."""
        if not gone:
            return rows
        keys = zip(rows["hours"].astype(float), _days(rows), strict=True)
        return rows[[key not in gone for key in keys]]


def _judge_losses(
    hours: float,
    told: Mapping[str | None, str | None],
    served: _Served,
    back: set[float],
    gone: set[tuple[float, str]],
    entries: list[LostPull],
) -> None:
    """What the losses of one pull come to.

    Lost as a whole where no sitting served it and every sitting lost it. Where it was served whole in another sitting,
    it is compared within those that did.
    """
    days = served.by_pull.get(hours, set())
    hit = days if None in told else days & {day for day in told if day is not None}
    if hit and hit == days:
        back.add(hours)
        entries.append(LostPull(hours, "taken back", None, next(iter(told.values()))))
        return
    gone |= {(hours, day) for day in hit}
    whole = not days and (None in told or served.sittings <= set(told))
    if whole:
        entries.append(LostPull(hours, "lost", None, next(iter(told.values()))))
        return
    entries += [LostPull(hours, "lost", day, why) for day, why in told.items()]
    if not days:
        entries.append(LostPull(hours, "unread"))


def _days(rows: pd.DataFrame) -> pd.Series[str]:
    """The sitting of each row, "" where none is named; a number beside rows without one is whole still."""
    if "sitting" not in rows:
        return pd.Series("", index=rows.index)
    named = rows["sitting"].astype("object").where(rows["sitting"].notna(), "")
    return named.map(lambda day: f"{day:g}" if isinstance(day, float) else str(day)).astype(str)


def _barred(fates: Fates, lost: set[float], rule: Rule) -> Fates:
    """The same with what may not be said, and the control that is left.

    Raises:
        ValueError: fewer than two pulls are left.
    """
    hours = np.unique(fates.scored["hours"].to_numpy(float))
    if len(hours) < 2:
        raise ValueError(f"hours: at least two pulls are needed, and {hours.tolist()} are left")
    reference, sealed = hours[-1], sorted({*hours.tolist(), *fates.out})
    beyond, shorter = [h for h in sealed if h > reference], [h for h in sealed if h < reference]
    stays = fates.out - lost
    no_verdict = len(beyond) > 1 or not lost.issuperset(beyond) or reference in stays
    barrier = max((h for h in stays if h < reference), default=-np.inf)
    bars = Bars(
        hours <= barrier,
        longer=not fates.out.isdisjoint(shorter[-2:]),
        none=bool(fates.out),
        any=no_verdict or bool(beyond and rule.lost_reference == "none"),
    )
    moved = rule.control is not None and (rule.control in fates.out or rule.control == reference) and fates.out
    own = replace(rule, control=None) if moved else rule
    return replace(fates, rule=own, bars=bars, reference_is_sealed=not beyond)
