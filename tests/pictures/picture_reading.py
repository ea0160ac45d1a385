"""Reading a picture back: its layers by mark, their rows, and what is said."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import altair as alt

Spec = dict[str, Any]


def checked(picture: Spec) -> Spec:
    """The picture, held against the Vega-Lite schema that Altair ships."""
    alt.LayerChart.from_dict(picture)
    return picture


def marks(picture: Spec, kind: str) -> Iterator[Spec]:
    """The layers of one kind of mark."""
    return (layer for layer in picture["layer"] if layer["mark"]["type"] == kind)


def rows(layer: Spec) -> list[Spec]:
    """The rows of a layer."""
    return layer["data"]["values"]


def words(picture: Spec, side: str = "x") -> dict[str, float]:
    """Each text with its place on one scale."""
    return {row["words"]: row[side] for layer in marks(picture, "text") for row in rows(layer)}


def spoken(picture: Spec) -> list[Spec]:
    """The layers that a reader aloud hears."""
    return [layer for layer in picture["layer"] if "description" in layer["encoding"]]


def sentences(picture: Spec) -> list[str]:
    """What a reader aloud hears."""
    return [row["say"] for layer in spoken(picture) for row in rows(layer)]


def shapes(picture: Spec, shape: str) -> list[float]:
    """Where signs of one shape stand, on the scale across."""
    return [row["x"] for layer in spoken(picture) if layer["mark"]["shape"] == shape for row in rows(layer)]


def silent_but_spoken(picture: Spec) -> bool:
    """Whether all but the signs is hidden from a reader aloud, axes too."""
    layers = all(layer["mark"].get("aria") is False or "description" in layer["encoding"] for layer in picture["layer"])
    axes = [side["axis"] for side in picture["encoding"].values() if side["axis"]]
    return layers and all(axis["aria"] is False for axis in axes)
