"""An hour and everything that was asked about it: the study that chose it, and every batch opened to confirm it.

All that were opened count, also those that failed or stayed open: tried until one of five passes, a wrong hour would be
confirmed in 17 of 100 courses (simulated).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from studyapp.kinds.hours import deciding
from studyapp.kinds.hours.deciding.readings import readings
from studyapp.kinds.hours.plan import RECIPE, HoursStudy
from studyapp.records import Staff
from studyapp.store import Store

if TYPE_CHECKING:
    import pandas as pd

    from analysis.stopping import Decision
    from studyapp.kinds.hours.deciding.book import Entry

FEWEST = 2  # confirmations, beside the first batch, before anything is said of recipe and machine


@dataclass(frozen=True, slots=True)
class Course:
    """An hour, the study that chose it, the signed confirmations of it in their order, and how many are opened but not
    signed."""

    hours: float
    origin: Entry
    confirmations: tuple[Entry, ...]
    unsigned: int

    @property
    def opened(self) -> int:
        """How many batches were opened to confirm the hour."""
        return len(self.confirmations) + self.unsigned

    @property
    def left_open(self) -> int:
        """How many of these neither confirmed it nor were shown to fail."""
        return self.unsigned + sum(one.showed(self.hours) is None for one in self.confirmations)

    @property
    def failed(self) -> bool:
        """Whether some batch was shown to fail."""
        return any(one.showed(self.hours) is False for one in self.confirmations)

    @property
    def in_each(self) -> bool:
        """Whether every batch that was opened confirmed the hour."""
        return bool(self.confirmations) and not self.left_open and not self.failed

    @property
    def labels(self) -> tuple[str, ...]:
        """What its batches are called, the first one first."""
        return tuple(label for one in (self.origin, *self.confirmations) for label in one.labels)


def course_of(entries: Sequence[Entry], unsigned: Sequence[HoursStudy], hours: float | None) -> Course | None:
    """The course of an hour; None where nobody chose it."""
    chose = [one for one in entries if one.decision.verdict == "stop" and one.decision.hours == hours]
    if hours is None or not chose:
        return None
    open_ = sum(one.plan.confirms is not None and one.plan.confirms.hours == hours for one in unsigned)
    return Course(hours, chose[0], tuple(one for one in entries if one.decision.confirms == hours), open_)


def on_average(store: Store, by: Staff, course: Course) -> Decision | None:
    """The hour asked of all batches of a course together, as means over batches; None unless the last confirmation was
    sealed so, every batch is signed, none was shown to fail, and there are three or more."""
    if len(course.confirmations) < FEWEST or course.unsigned or course.failed:
        return None
    last = course.confirmations[-1].study
    if last.plan.confirms is None or last.plan.confirms.claim != RECIPE:
        return None
    ids = tuple(one.study.id for one in (course.origin, *course.confirmations))
    moment = deciding.moment(store, by, last.id)
    return moment.once(("on average", ids), lambda: _weighed(store, by, ids, course.hours))


def _weighed(store: Store, by: Staff, ids: tuple[str, ...], hours: float) -> Decision | None:
    """Three pieces of every batch, of which each stands for its trays too."""
    import pandas as pd

    from analysis.stopping import decide

    every = [deciding.to_weigh(store, by, id_) for id_ in ids]
    rule, longest = every[-1][1], max(every[-1][0]["hours"])
    pieces = (rule.control if rule.control is not None else min(every[-1][0]["hours"]), hours, longest)
    rows = pd.concat([_named(frame[frame["hours"].isin(pieces)], at) for at, (frame, _rule) in enumerate(every)])
    kept = [(at, readings(store, by, id_)) for at, id_ in enumerate(ids)]
    read = [_named(own, at) for at, own in kept if own is not None]
    if any(set(rule.attributes) - set(frame["attribute"]) for frame, _rule in every):
        return None  # the batches were not asked the same
    wide = replace(rule, claim=RECIPE, batches=int(rows["batch"].nunique()), adjust=(), control=pieces[0])
    return decide(rows.reset_index(drop=True), wide, pd.concat(read) if read else None)


def _named(rows: pd.DataFrame, place: int) -> pd.DataFrame:
    """Rows by batches that no other study shares; a study of several keeps them apart."""
    several = rows["batch"].nunique() > 1
    return rows.assign(batch=f"{place}. " + rows["batch"].astype(str) if several else f"{place}.")
