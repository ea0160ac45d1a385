"""What is said beside a verdict: warnings, and descriptions that never change it."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy.special import fdtrc, stdtrit

from analysis.limits import mean_squares
from analysis.panels import Panel
from analysis.verdicts import AttributeLimits, Judged

if TYPE_CHECKING:
    from analysis.stopping import Rule, Warning

Array = NDArray[np.float64]
FARTHEST_POSITION = 2.0
WIDEST_GAIN = 3.0
FEW = 8


def warnings_beside(
    panel: Panel, rule: Rule, level: float, judged: Judged, reasons: Mapping[str, str]
) -> tuple[Warning, ...]:
    """Everything worth saying, as codes with their values; `findings` writes the sentences."""
    from analysis.stopping import Warning

    found = [Warning(why, {"attribute": name, "assessors": panel.people[name]}) for name, why in reasons.items()]
    smallest = min(panel.people.values())
    if 5 <= smallest < FEW:
        found.append(Warning("few assessors", {"assessors": smallest}))
    found += _order_warnings(panel, rule)
    found += _sitting_warnings(panel, rule)
    for name, limits in judged.attributes.items():
        if name not in reasons:
            found += _people_warnings(panel, name, rule, level, limits, int(judged.shortest[0]))
    if panel.scope["batches"] <= 1:
        found.append(Warning("one batch", {}))
    return tuple(found)


# ---- orders --------------------------------------------------------------------------------------------------------
def _positions(panel: Panel) -> pd.DataFrame | None:
    """assessor, sitting, hours, position of every serving, when recorded."""
    if "position" not in panel.recorded:
        return None
    columns = panel.data[["assessor", "sitting", "hours", "position"]]
    return columns.iloc[np.concatenate([one.row for one in panel.marks.values()])].dropna().drop_duplicates()


def unbalanced_orders(panel: Panel) -> str | None:
    """Why the orders cannot be trusted: "far from the reference", "one order for all", or None."""
    frame = _positions(panel)
    if frame is None:
        return None
    place = frame["position"].astype(float).groupby(frame["hours"]).mean()
    if (place - place[panel.hours[-1]]).abs().max() > FARTHEST_POSITION:
        return "far from the reference"
    ordered = frame.sort_values("position").groupby(["assessor", "sitting"])["hours"].agg(tuple)
    if frame["assessor"].nunique() > 1 and ordered.nunique() == 1:
        return "one order for all"
    return None


def orders_forbid(panel: Panel, rule: Rule) -> bool:
    """True when unbalanced orders forbid `stop`: they are not adjusted for, or cannot be."""
    if unbalanced_orders(panel) is None:
        return False
    frame = _positions(panel)
    if "position" not in rule.adjust or frame is None:
        return True
    return bool((frame.groupby("position")["hours"].nunique() < 2).any())


def _order_warnings(panel: Panel, rule: Rule) -> Iterator[Warning]:
    from analysis.stopping import Warning

    if "position" not in panel.recorded:
        yield Warning("order not recorded", {})
        return
    why = unbalanced_orders(panel)
    if why is not None:
        yield Warning("orders unbalanced", {"why": why, "adjusted": not orders_forbid(panel, rule)})


# ---- sittings ------------------------------------------------------------------------------------------------------
def _sitting_warnings(panel: Panel, rule: Rule) -> Iterator[Warning]:
    from analysis.stopping import Warning

    if "sitting:hours" in rule.adjust:
        if panel.scope["sittings"] < 2:
            yield Warning("as prepared for this sitting", {})
        return
    for name, cells in panel.cells.items():
        table = cells.sittings
        if table is None or not np.isfinite(table).all() or min(table.shape[1:]) < 2:
            continue
        _, _a, h, S = table.shape
        ms_sh, _, ms_e, f_e = mean_squares(table, np.zeros(1))
        f = (S - 1) * (h - 1)
        if ms_e[0] > 0 and fdtrc(f, f_e[0], ms_sh[0] / ms_e[0]) < 0.05:
            yield Warning("sittings disagree", {"attribute": name})


# ---- people --------------------------------------------------------------------------------------------------------
def _people_warnings(
    panel: Panel, name: str, rule: Rule, level: float, limits: AttributeLimits, shortest: int
) -> Iterator[Warning]:
    from analysis.stopping import Warning

    wish = rule.attributes[name]
    if 0 <= shortest < len(panel.hours) - 1:
        noticing = _still_notice(panel, name, limits, wish.margin, level, shortest)
        if noticing:
            values = {
                "attribute": name,
                "count": noticing,
                "assessors": panel.people[name],
                "hours": float(panel.hours[shortest]),
            }
            yield Warning("someone still notices", {**values, "reference": float(panel.hours[-1])})
    gains = _gains(limits)
    if gains is not None and gains.min() > 0 and gains.max() / gains.min() > WIDEST_GAIN:
        yield Warning("scales stretched", {"attribute": name, "low": float(gains.min()), "high": float(gains.max())})


def _still_notice(panel: Panel, name: str, limits: AttributeLimits, margin: float, level: float, pull: int) -> int:
    """Assessors whose own difference is clearly beyond the margin, each at level / number of assessors."""
    cells = limits.fit.cells
    counts = np.broadcast_to(cells.counts, cells.sums.shape)[0]
    df = counts.sum() - (counts > 0).sum()
    able = (counts[:, pull] >= 2) & (counts[:, -1] >= 2)
    if df < 1 or not able.any():
        return 0
    residual = float(cells.within[0]) / df
    means = np.divide(cells.sums[0], counts, out=np.zeros(counts.shape), where=counts > 0)
    own = limits.sign * (means[able, pull] - means[able, -1])
    se = np.sqrt(residual * (1 / counts[able, pull] + 1 / counts[able, -1]))
    return int((own - stdtrit(df, 1 - level / able.sum()) * se > margin).sum())


def _gains(limits: AttributeLimits) -> Array | None:
    """Slope of each assessor's pull means on the panel's, complete data only."""
    cells = limits.fit.cells
    if not (cells.counts > 0).all():
        return None
    means = (cells.sums / cells.counts)[0]
    panel = means.mean(0) - means.mean()
    size = float((panel**2).sum())
    return np.asarray((means - means.mean(1, keepdims=True)) @ panel / size) if size > 0 else None
