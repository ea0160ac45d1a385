"""Flags that hold however the servings that could not be judged are filled in."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import fields, replace
from typing import Any

import numpy as np

from analysis.stopping.evidence import Shown
from analysis.stopping.fates import Bars
from analysis.stopping.verdicts import AttributeLimits, Judged, any_of, judged_of

# What stands in the way of an answer where either filling shows it; everything else must be shown under both.
IN_THE_WAY = ("bettered", "why_not")


def under_both(base: Judged, fills: Sequence[Judged], bars: Bars | None) -> Judged:
    """The verdict of one study whose servings without a judgement were filled in two ways.

    `base` leaves them out: its estimates stay, its flags become those that both `fills` show. No shorter pull may pass
    under either where conching longer is to be said.
    """
    found = {
        name: replace(own, filled=_two(fills, name), **_joined([fill.attributes[name] for fill in fills]))
        for name, own in base.attributes.items()
    }
    bars = bars or Bars(np.zeros(base.passes.shape[1], bool))
    passing = any_of(fill.passes[:, :-1] for fill in fills).any()
    bars = replace(bars, longer=bars.longer or bool(passing))
    return judged_of(found, bars, None, base.gating, base.gates)


def _two(fills: Sequence[Judged], name: str) -> tuple[AttributeLimits, AttributeLimits]:
    worse, better = fills
    return worse.attributes[name], better.attributes[name]


def _joined(ways: Sequence[AttributeLimits]) -> dict[str, Any]:
    """The flags of an attribute under both ways."""
    parts: dict[str, Any] = {}
    for field in fields(Shown):
        values = np.stack([getattr(way, field.name) for way in ways])
        parts[field.name] = values.max(0) if field.name in IN_THE_WAY else values.min(0)
    nowhere_within = np.logical_and.reduce([~way.within_margin[:, -2] for way in ways])
    beyond = np.logical_and.reduce([way.beyond_margin for way in ways])
    return {**parts, "rising": parts["rising"] & nowhere_within, "beyond_margin": beyond}
