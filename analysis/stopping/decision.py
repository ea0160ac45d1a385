"""What a look at the scores ends in: the verdict, and everything that stands behind it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from analysis.instruments import GateResult
from analysis.stopping.departing import BatchNumbers
from analysis.stopping.fates import LostPull, Unjudged
from analysis.stopping.gates import MoreRepeats
from analysis.stopping.rule import THIS, AttributeRule, Claim
from analysis.stopping.verdicts import Verdict


@dataclass(frozen=True, slots=True)
class PullResult:
    """One pull of one attribute. Differences are against the reference, positive = worse, scale units.

    `upper`, `lower` use the capped degrees of freedom, `df` is plain Satterthwaite. `decisive_upper` and
    `decisive_lower` are the largest and smallest of all limits in force. The reference has difference 0 and no
    limits (None).
    """

    hours: float
    mean: float
    mean_low: float
    mean_high: float
    difference: float
    se: float | None
    df: float | None
    upper: float | None
    lower: float | None
    own_se: float | None
    own_df: float | None
    own_upper: float | None
    own_lower: float | None
    sitting_upper: float | None
    sitting_lower: float | None
    decisive_upper: float | None
    decisive_lower: float | None
    within_margin: bool
    within_limit: bool | None
    shown_to_fail: bool


@dataclass(frozen=True, slots=True)
class Anova:
    """F test of hours, Satterthwaite denominator."""

    f: float | None
    num_df: float | None
    den_df: float | None
    p: float | None


@dataclass(frozen=True, slots=True)
class AttributeResult:
    """Everything about one deciding attribute. `variance` has "assessor", "assessor:hours" (None when it cannot be
    told from the residual), "residual" and, if fitted, "sitting". `judged` False: `why_not` is a warning code."""

    name: str
    rule: AttributeRule
    reference_hours: float
    shortest_hours: float | None
    assessors: int
    reml_loglik: float | None
    variance: Mapping[str, float | None]
    anova: Anova
    pulls: tuple[PullResult, ...]
    judged: bool = True
    why_not: str | None = None


@dataclass(frozen=True, slots=True)
class Warning:
    """Something to say beside the verdict: a code and the values its sentence needs (findings writes the words)."""

    code: str
    values: Mapping[str, object] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Taste:
    """What flavour alone would say: the verdict and, of a stop, its hours."""

    verdict: Verdict
    hours: float | None


@dataclass(frozen=True, slots=True)
class Decision:
    """The verdict of one look. `reason` is a code that tells the wordings of `cannot tell` apart, the first that fits:
    "orders", "reference lost", "not enough data", "control not found", "pull missing" (but for it there were an
    answer), "unjudged" (but for servings that could not be judged), "better hours", "window", "still improving",
    "reference fails", "reference misses a limit", "reference meets limits"; for `no hour fits` it is "every pull
    fails".

    `scope` has the numbers of assessors, sittings and batches. `passes` maps hours to True/False; `fails_on` names, per
    pull shown to fail or past, what it fails on. `shortest_hours` is the shortest pull that passes with all longer
    ones, chosen or not; `latest_hours` closes the window that opens at a stop. `better` maps longer pulls that are
    shown better than it by the margin to the attributes that say so, `not_inside` names the attributes that are not
    shown inside their window there, `closed_by` those that close the window of a stop at the first pull after it.
    `improving` names attributes shown to improve up to the reference, `not_held` what was not shown to hold meanwhile.
    `unfailed`: when the reference is shown to fail, the pulls that fail nothing. `lost` tells what became of pulls
    without scores; `reference_is_sealed` is False where the longest pull was lost and the next took its place;
    `unjudged` counts servings that could not be judged: every limit then holds however these are filled in.

    `claim` is the one that was tested, and `batches` what each of several did. Where each is judged alone, the numbers
    of an attribute at a pull are those of the batch that stands worst there. Reasons of several batches: "batch
    missing" (fewer than were sealed), "too few batches", "batches apart" (tasted by different people).

    `gates` are the limits of instruments, batch by batch; names of limits stand in `binding`, `fails_on` and `unfailed`
    as those of attributes do. `taste` is what flavour alone would say, where a limit says otherwise (reason "limits of
    instruments"); `more_repeats` then tells what more readings would do.

    `confirms` is the hour that a confirmation asked about, None of any other study: the verdict is then "confirmed" at
    `hours`, "not confirmed" (shown to fail) or "cannot tell"."""

    verdict: Verdict
    hours: float | None
    reason: str | None
    look: int
    looks: int
    level: float
    alpha: float
    control_hours: float
    control_found: bool
    control_told_by: int
    latest_hours: float | None
    binding: str | None
    next_binding: str | None
    reference_hours: float
    passes: Mapping[float, bool]
    fails_on: Mapping[float, tuple[str, ...]]
    attributes: Mapping[str, AttributeResult]
    warnings: tuple[Warning, ...]
    scope: Mapping[str, int]
    shortest_hours: float | None = None
    better: Mapping[float, tuple[str, ...]] = field(default_factory=dict)
    not_inside: tuple[str, ...] = ()
    closed_by: tuple[str, ...] = ()
    improving: tuple[str, ...] = ()
    not_held: tuple[str, ...] = ()
    unfailed: tuple[float, ...] = ()
    lost: tuple[LostPull, ...] = ()
    reference_is_sealed: bool = True
    unjudged: tuple[Unjudged, ...] = ()
    claim: Claim = THIS
    batches: BatchNumbers | None = None
    gates: tuple[GateResult, ...] = ()
    taste: Taste | None = None
    more_repeats: tuple[MoreRepeats, ...] = ()
    confirms: float | None = None
