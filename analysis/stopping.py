"""The stop rule: the shortest conching time that is shown to be no worse than the longest, within margins.

Statement of the rule, reading order of this module: rule, result, `decide`, then the parts.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Literal

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from analysis import mixed, panels
from analysis.limits import Cells, Error, Estimates, Fitted, fitted
from analysis.looks import level as level_of_look
from analysis.verdicts import FEWEST_ASSESSORS, VERDICTS, AttributeLimits, Judged, Verdict, judge

Array = NDArray[np.float64]

Wanted = Literal["lower", "higher", "same"]


@dataclass(frozen=True, slots=True)
class AttributeRule:
    """What is wanted of one deciding attribute; margin and limit in scale units."""

    wanted: Wanted
    margin: float
    limit: float | None = None


@dataclass(frozen=True, slots=True)
class Rule:
    """The sealed rule. `control` is the pull (hours) known to differ; None is the shortest pull.

    `adjust` knows "position" (fixed), "sitting" (random) and "sitting:hours" (a third limit).
    """

    attributes: Mapping[str, AttributeRule]
    alpha: float = 0.05
    looks: int = 1
    look: int = 1
    adjust: tuple[str, ...] = ()
    control: float | None = None


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
class Offer:
    """One way to an answer after `cannot tell`: serving `pulls` (hours) in `sittings` more sittings with
    `replicates` servings each; `chances` of each verdict and `monte_carlo_se` of the chance that it settles."""

    name: Literal["all pulls", "open pulls", "more replicates"]
    pulls: tuple[float, ...]
    sittings: int
    replicates: int
    servings: int
    chances: Mapping[str, float]
    settles: float
    monte_carlo_se: float


@dataclass(frozen=True, slots=True)
class Decision:
    """The verdict of one look. `reason` is a code that tells the wording apart, for example of `cannot tell`:
    "reference meets limits", "reference misses a limit", "control not found", "orders", "not enough data".
    `scope` has the numbers of assessors, sittings and batches. `latest_hours` closes the window for notes that fade.
    `passes` maps hours to True/False; `fails_on` names, per pull shown to fail, what it fails on."""

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
    descriptions: Mapping[str, object]


def decide(scores: pd.DataFrame, rule: Rule) -> Decision:
    """The verdict on tidy scores under `rule`.

    Args:
        scores: one row a score, columns assessor, hours, attribute, score (scale units), optionally sitting, replicate,
            position, batch; missing scores are left out or NaN.
        rule: the sealed rule.

    Raises:
        ValueError: the rule is impossible, or the scores do not fit it; the text says which, where and why.
    """
    from analysis.beside import warnings_beside

    level = check_rule(rule)
    panel = panels.read(scores, rule.attributes, rule.control)
    estimates = {name: _adjusted(panel, name, rule.adjust) for name in rule.attributes}
    reasons = {name: why for name in rule.attributes if (why := _why_not(panel, name, estimates[name]))}
    judged = judge(panel.cells, rule.attributes, level, panel.control, estimates, frozenset(reasons))
    verdict, reason = _worded(panel, rule, judged, reasons)
    results = {
        name: _attribute(panel, name, rule, level, judged.attributes[name], reasons.get(name))
        for name in rule.attributes
    }
    at = int(judged.shortest[0])
    hours = float(panel.hours[at]) if verdict == "stop" else None
    binding, runner_up = _binding(judged, at)
    return Decision(
        verdict=verdict,
        hours=hours,
        reason=reason,
        look=rule.look,
        looks=rule.looks,
        level=level,
        alpha=rule.alpha,
        control_hours=float(panel.hours[panel.control]),
        control_found=bool(judged.control_found[0]),
        control_told_by=_told_by(panel, judged),
        latest_hours=_latest(panel, judged, at),
        binding=binding,
        next_binding=runner_up,
        reference_hours=float(panel.hours[-1]),
        passes={float(h): bool(p) for h, p in zip(panel.hours, judged.passes[0], strict=True)},
        fails_on=_fails_on(panel, judged, reasons),
        attributes=results,
        warnings=warnings_beside(panel, rule, level, judged, reasons),
        scope=panel.scope,
        descriptions={},
    )


def check_rule(rule: Rule) -> float:
    """The one-sided level of this look; refuses an impossible rule.

    Raises:
        ValueError: which part of the rule, and what it may be.
    """
    if not rule.attributes:
        raise ValueError("attributes: the rule names no deciding attribute; name at least one")
    for name, wish in rule.attributes.items():
        if wish.wanted not in ("lower", "higher", "same"):
            raise ValueError(f"attributes.{name}: wanted must be lower, higher or same, got {wish.wanted!r}")
        if not (np.isfinite(wish.margin) and wish.margin > 0):
            raise ValueError(f"attributes.{name}: the margin must be above 0, got {wish.margin}")
        if wish.limit is not None and not np.isfinite(wish.limit):
            raise ValueError(f"attributes.{name}: the limit must be a finite number, got {wish.limit}")
    for part in rule.adjust:
        if part not in ("position", "sitting", "sitting:hours"):
            raise ValueError(f"adjust: knows position, sitting and sitting:hours, got {part!r}")
    level = level_of_look(rule.alpha, rule.looks)
    if not 1 <= rule.look <= rule.looks:
        raise ValueError(f"look must lie between 1 and the {rule.looks} sealed looks, got {rule.look}")
    return level


# ---- estimates under the adjustments of the rule -------------------------------------------------------------------
def _adjusted(panel: panels.Panel, name: str, adjust: tuple[str, ...]) -> tuple[Fitted, Estimates, Estimates]:
    """Fit, differences to the reference and means of one attribute, adjusted for what the rule says."""
    cells = panel.cells[name]
    if "position" in adjust:
        cells = _without_position(panel, name)
    if "sitting:hours" not in adjust:
        cells = Cells(cells.counts, cells.sums, cells.within)
    fit = fitted(cells)
    model = _model(panel, name, adjust)
    h = len(panel.hours)
    if model is None:
        return fit, fit.against(h - 1), fit.means()
    against = _from_model(model, fit.against(h - 1), np.eye(h) - np.eye(h)[-1], capped=True)
    return fit, against, _from_model(model, fit.means(), np.eye(h), capped=False)


def _model(panel: panels.Panel, name: str, adjust: tuple[str, ...]) -> mixed.MixedFit | None:
    """The mixed model with the rule's adjustments; None when it has none and the cells are enough."""
    several = "sitting" in adjust and len(np.unique(panel.marks[name].day)) > 1
    if name in panel.constant or not (several or "position" in adjust):
        return None
    fixed = ["hours", *(["position"] if "position" in adjust else [])]
    random = ["assessor", "assessor:hours", *(["sitting"] if several else [])]
    return mixed.fit(panel.rows(name), "score", fixed, random)


def _without_position(panel: panels.Panel, name: str) -> Cells:
    """Cells of the scores less the effect of their position, for the assessor's own error (least squares, unbiased)."""
    marks = panel.marks[name]
    place, _ = pd.factorize(panel.rows(name)["position"], sort=True)
    blocks = [np.eye(codes.max() + 1)[codes] for codes in (place, marks.person, marks.pull)]
    columns = np.hstack([blocks[0], blocks[1][:, 1:], blocks[2][:, 1:]])
    effects = np.linalg.lstsq(columns, marks.score, rcond=None)[0][: blocks[0].shape[1]]
    return panels.cells_of(marks, marks.score - blocks[0] @ (effects - effects.mean()))


def _from_model(model: mixed.MixedFit, plain: Estimates, weights: Array, capped: bool) -> Estimates:
    """The adjusted model's estimate and panel error, beside the own and sitting errors."""
    estimate, se, df = model.contrast(weights)
    cap = np.minimum(df, model.containment_df) if capped else df
    return Estimates(estimate[None], df[None], Error(se[None], cap[None]), plain.own, plain.sitting)


def _why_not(panel: panels.Panel, name: str, estimate: tuple[Fitted, Estimates, Estimates]) -> str | None:
    """Why an attribute cannot pass: a warning code, or None."""
    if panel.people[name] < FEWEST_ASSESSORS:
        return "too few assessors"
    if name in panel.constant:
        return "same score everywhere"
    own = estimate[1].own
    if np.nanmin(own.df[0][:-1]) < 2:
        return "own error unknown"
    return None


# ---- wording the verdict -------------------------------------------------------------------------------------------
def _worded(panel: panels.Panel, rule: Rule, judged: Judged, reasons: Mapping[str, str]) -> tuple[Verdict, str | None]:
    """The verdict, and the code that tells its wordings apart."""
    from analysis.beside import orders_forbid

    verdict = VERDICTS[int(judged.verdict[0])]
    if verdict in ("stop", "conche longer") and orders_forbid(panel, rule):
        return "cannot tell", "orders"
    if verdict == "no hour fits":
        alone = np.logical_or.reduce([limits.fails[0] for limits in judged.attributes.values()])
        return verdict, "every pull fails" if alone.all() else "window empty"
    if verdict != "cannot tell":
        return verdict, None
    if reasons:
        return verdict, "not enough data"
    if not judged.control_found[0]:
        return verdict, "control not found"
    meets = all(bool(limits.within_limit[0, -1]) for limits in judged.attributes.values())
    return verdict, "reference meets limits" if meets else "reference misses a limit"


def _binding(judged: Judged, shortest: int) -> tuple[str | None, str | None]:
    """The attribute that allows the longest shortest pull (nearest to its margin among equals), and the next."""

    def key(name: str) -> tuple[int, float]:
        limits = judged.attributes[name]
        own = _own_shortest(limits)
        at = max(shortest, 0) if own <= shortest else own - 1
        return own, float(_room(limits)[max(min(at, own), 0)])

    ranked = sorted(judged.attributes, key=key, reverse=True)
    return (ranked[0] if ranked else None), (ranked[1] if len(ranked) > 1 else None)


def _room(limits: AttributeLimits) -> Array:
    """How far each pull's estimate stands from the reference, in signed scale units."""
    return np.asarray(limits.worse.estimate[0])


def _own_shortest(limits: AttributeLimits) -> int:
    """The shortest pull from which on this attribute alone passes; one past the last when even the reference fails."""
    passes = limits.within_margin[0] & limits.within_limit[0]
    chain = np.flip(np.logical_and.accumulate(np.flip(passes)))
    return int(chain.argmax()) if chain.any() else len(passes)


def _latest(panel: panels.Panel, judged: Judged, shortest: int) -> float | None:
    """The last pull of the window that opens at the shortest; None when no note closes it."""
    faded = [limits.inside[0] for limits in judged.attributes.values()]
    inside = np.logical_and.reduce(faded)
    past = np.logical_or.reduce([limits.past[0] for limits in judged.attributes.values()])
    if shortest < 0 or not past[shortest:].any():
        return None
    good = inside[shortest:] & ~past[shortest:]
    run = int(np.argmin(good)) if not good.all() else len(good)
    return float(panel.hours[shortest + run - 1]) if run else None


def _told_by(panel: panels.Panel, judged: Judged) -> int:
    """How many assessors put the control on the worse side of the reference, on the attribute that tells it best."""
    best = 0
    for limits in judged.attributes.values():
        cells = limits.fit.cells
        counts = np.broadcast_to(cells.counts, cells.sums.shape)[0]
        both = (counts[:, panel.control] > 0) & (counts[:, -1] > 0)
        mean = np.divide(cells.sums[0], counts, out=np.zeros(counts.shape), where=counts > 0)
        if limits.told[0]:
            best = max(best, int((limits.sign * (mean[:, panel.control] - mean[:, -1]) > 0)[both].sum()))
    return best


def _fails_on(panel: panels.Panel, judged: Judged, reasons: Mapping[str, str]) -> dict[float, tuple[str, ...]]:
    """Per pull shown to fail, the attributes it fails on."""
    found = {}
    for i, hour in enumerate(panel.hours):
        names = tuple(
            name
            for name, limits in judged.attributes.items()
            if name not in reasons and (limits.fails[0, i] or limits.past[0, i])
        )
        if names:
            found[float(hour)] = names
    return found


# ---- the result of one attribute -----------------------------------------------------------------------------------
def _attribute(
    panel: panels.Panel, name: str, rule: Rule, level: float, limits: AttributeLimits, why_not: str | None
) -> AttributeResult:
    """Numbers of one attribute for picture and table."""
    wish = rule.attributes[name]
    fits = limits.fit.fits
    own = _own_shortest(limits)
    anova, loglik, variance = _model_numbers(panel, name, rule, fits)
    return AttributeResult(
        name=name,
        rule=wish,
        reference_hours=float(panel.hours[-1]),
        shortest_hours=float(panel.hours[own]) if why_not is None and own < len(panel.hours) else None,
        assessors=panel.people[name],
        reml_loglik=loglik,
        variance=variance,
        anova=anova,
        pulls=_pulls(panel, wish, level, limits),
        judged=why_not is None,
        why_not=why_not,
    )


def _model_numbers(
    panel: panels.Panel, name: str, rule: Rule, fits: mixed.CellFits
) -> tuple[Anova, float | None, dict[str, float | None]]:
    """F test, log likelihood and variances of the model in force."""
    if name in panel.constant:
        return Anova(None, None, None, None), None, {"assessor": None, "assessor:hours": None, "residual": 0.0}
    model = _model(panel, name, rule.adjust)
    if model is not None:
        test = model.anova
        return Anova(test.f, test.num_df, test.den_df, test.p), model.loglik, dict(model.variance)
    f, num_df, den_df, p = fits.f_test()
    between = float(fits.interaction[0])
    variance = {
        "assessor": float(fits.assessor[0]),
        "assessor:hours": between if np.isfinite(between) else None,
        "residual": float(fits.residual[0]),
    }
    return Anova(float(f[0]), float(num_df), float(den_df[0]), float(p[0])), float(fits.loglik[0]), variance


def _pulls(panel: panels.Panel, wish: AttributeRule, level: float, limits: AttributeLimits) -> tuple[PullResult, ...]:
    """Every pull of one attribute; the reference has no limits of its own."""
    worse, means = limits.worse, limits.means
    mean = means.estimate[0]
    reach = np.max([error.reach(level)[0] for error in means.errors], axis=0)
    table: dict[str, Array | None] = {
        "se": worse.panel.se[0],
        "df": worse.df[0],
        "own_se": worse.own.se[0],
        "own_df": worse.own.df[0],
        "decisive_upper": worse.upper(level)[0],
        "decisive_lower": worse.lower(level)[0],
        **_sides("", worse, worse.panel, level),
        **_sides("own_", worse, worse.own, level),
        **_sides("sitting_", worse, worse.sitting, level),
    }
    last = len(panel.hours) - 1
    return tuple(
        PullResult(
            hours=float(panel.hours[i]),
            mean=float(mean[i]),
            mean_low=float(mean[i] - reach[i]),
            mean_high=float(mean[i] + reach[i]),
            difference=0.0 if i == last else float(worse.estimate[0, i]),
            within_margin=bool(limits.within_margin[0, i]),
            within_limit=None if wish.limit is None else bool(limits.within_limit[0, i]),
            shown_to_fail=bool(limits.fails[0, i] or limits.past[0, i]),
            **{key: None if i == last else _known(column, i) for key, column in table.items()},
        )
        for i in range(last + 1)
    )


def _known(column: Array | None, i: int) -> float | None:
    """A number of one pull; None where an error could not be told."""
    return None if column is None or not np.isfinite(column[i]) else float(column[i])


def _sides(prefix: str, worse: Estimates, error: Error | None, level: float) -> dict[str, Array | None]:
    """Upper and lower limits by one of the errors."""
    if error is None:
        return {f"{prefix}upper": None, f"{prefix}lower": None}
    reach = error.reach(level)[0]
    return {f"{prefix}upper": worse.estimate[0] + reach, f"{prefix}lower": worse.estimate[0] - reach}


def price(scores: pd.DataFrame, rule: Rule, draws: int = 2000, seed: int = 1) -> tuple[Offer, ...]:
    """Ways to an answer after `cannot tell`; empty when no sealed look is left."""
    from analysis.price import offers

    return offers(scores, rule, draws, seed)
