"""What a look at a comparison ends in: a verdict for each make, and what stands behind it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from analysis.comparing.bracket import Bracket
from analysis.comparing.claims import MakeVerdict
from analysis.comparing.gates import GateOfMake, Reached
from analysis.comparing.missing import LostPiece, UnjudgedPiece
from analysis.comparing.rule import MakeClaim
from analysis.instruments import Gate
from analysis.stopping.decision import Warning


@dataclass(frozen=True, slots=True)
class ClaimResult:
    """One attribute of one make. Differences are against the reference, positive = worse, scale units.

    `lower`, `upper`: the widest of all limits in force, at the level at which this make was decided; `panel_`, `own_`
    and `third_` those of each error at that level (third: of batches, or of trays; None where not in force). `p` is of
    the claim and of its limit, `within_limit` None where no limit is set, `by_batch` the differences of pairs.
    `why_not`: why the attribute cannot be judged.
    """

    difference: float
    lower: float | None
    upper: float | None
    panel_se: float | None
    panel_df: float | None
    panel_lower: float | None
    panel_upper: float | None
    own_se: float | None
    own_df: float | None
    own_lower: float | None
    own_upper: float | None
    third_lower: float | None
    third_upper: float | None
    mean: float
    p: float
    shown: bool
    fails: bool
    within_limit: bool | None
    by_batch: tuple[float, ...] = ()
    why_not: str | None = None


@dataclass(frozen=True, slots=True)
class MakeResult:
    """One make. `level` is what it was decided at, Holm's step; intervals hold 1 - 2 level. `binding` names the
    attribute or limit of an instrument nearest to turn it, `fails_on` those that it is shown to fail; `gates` are the
    limits, batch by batch."""

    verdict: MakeVerdict
    p: float
    p_holm: float
    level: float
    binding: str
    fails_on: tuple[str, ...]
    attributes: Mapping[str, ClaimResult]
    gates: tuple[GateOfMake, ...] = ()


@dataclass(frozen=True, slots=True)
class Faster:
    """Whether a make is shown to get there in less time, as the pair was sealed: it is as good as the reference, the
    reference in the short time is `slower_shown` worse on `attribute`, and the make is `better_shown` than that."""

    attribute: str
    shown: Mapping[str, bool]
    slower_shown: bool
    better_shown: Mapping[str, bool]


@dataclass(frozen=True, slots=True)
class ControlResult:
    """The piece known to differ. Its largest difference that was told, and on which attribute; None where none was."""

    found: bool
    attribute: str | None = None
    difference: float | None = None


@dataclass(frozen=True, slots=True)
class Compared:
    """The verdicts of one look. `reason` why nothing can be told of any make: "orders", "not enough data", "control not
    found", "control lost", or None. `claims` as sealed, by attribute; `batches` of each make that was tasted; `scope`
    counts assessors and sittings; `lost` tells of pieces without scores, whose makes are not among `makes`, and
    `unjudged` of servings that what is said holds for whatever they would have been. `gates` as
    sealed, with those of the reference; `reached` the hours from which each make keeps one, where several were read;
    `bracket` how many hours longer the reference's make needs, where that was sealed."""

    makes: Mapping[str, MakeResult]
    reference: str
    control: str | None
    control_result: ControlResult
    claims: Mapping[str, MakeClaim]
    claim: str
    batches: int
    pairs: bool
    reason: str | None
    level: float
    alpha: float
    look: int
    looks: int
    scope: Mapping[str, int]
    warnings: tuple[Warning, ...]
    reference_means: Mapping[str, float]
    faster: Faster | None = None
    lost: tuple[LostPiece, ...] = ()
    unjudged: tuple[UnjudgedPiece, ...] = ()
    gates: Mapping[str, Gate] = field(default_factory=dict)
    reference_gates: tuple[GateOfMake, ...] = ()
    reached: tuple[Reached, ...] = ()
    bracket: Bracket | None = None

    @property
    def not_weighed(self) -> tuple[str, ...]:
        """Makes of which nothing is said, since they were lost, taken back or never scored."""
        pulls = () if self.bracket is None else (one.piece for one in self.bracket.pulls)
        names = {one.make for one in self.lost} - {*self.makes, self.reference, self.control, *pulls}
        return tuple(sorted(names - {None}))

    @property
    def open_makes(self) -> tuple[str, ...]:
        """Those of which nothing can be told yet."""
        return tuple(name for name, one in self.makes.items() if one.verdict == "cannot tell")
