"""Strokes and letters of the pictures on paper: black, with grey for what only helps to read."""

from __future__ import annotations

from collections.abc import Iterable
from xml.sax.saxutils import escape

GREY, BAND = "#4d4d4d", "#e4e4e4"
_FACES = "Workshop Text, Workshop Text Ext"


def svg(width: float, height: float, parts: Iterable[str]) -> str:
    """A picture of so many pt; text in it is drawn in the typeface of the sheet."""
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{width:g}pt" height="{height:g}pt" '
        f'viewBox="0 0 {width:g} {height:g}" font-family="{_FACES}" font-size="8">' + "".join(parts) + "</svg>"
    )


def line(x1: float, y1: float, x2: float, y2: float, width: float, ink: str = "black", dash: str = "") -> str:
    """A straight stroke."""
    dashes = f' stroke-dasharray="{dash}"' if dash else ""
    return (
        f'<path d="M{x1:.2f} {y1:.2f}L{x2:.2f} {y2:.2f}" stroke="{ink}" stroke-width="{width:g}" fill="none"{dashes}/>'
    )


def text(x: float, y: float, words: str, anchor: str, *, bold: bool = False, grey: bool = False) -> str:
    """Words on a picture; they are data and stay data."""
    weight = ' font-weight="700"' if bold else ""
    ink = GREY if grey else "black"
    return f'<text x="{x:.2f}" y="{y:.2f}" text-anchor="{anchor}" fill="{ink}"{weight}>{escape(words)}</text>'


def band(left: float, top: float, right: float, bottom: float, fill: str = BAND) -> str:
    """A filled stretch."""
    return f'<rect x="{left:.2f}" y="{top:.2f}" width="{right - left:.2f}" height="{bottom - top:.2f}" fill="{fill}"/>'


def disc(x: float, y: float) -> str:
    """What is shown."""
    return f'<circle cx="{x:.2f}" cy="{y:.2f}" r="3.6" fill="black"/>'


def cross(x: float, y: float) -> str:
    """What is not shown; its white edge keeps it apart from a bar."""
    path = f"M{x - 3:.2f} {y - 3:.2f}l6 6m-6 0l6 -6"
    return "".join(
        f'<path d="{path}" stroke="{ink}" stroke-width="{width:g}" fill="none"/>'
        for ink, width in (("white", 4.6), ("black", 2))
    )


def triangle(x: float, y: float, *, down: bool = False) -> str:
    """What is found; its point is at (x, y) when it points down, else its middle is."""
    path = f"M{x:.2f} {y:.2f}l-4.5 -8h9z" if down else f"M{x:.2f} {y - 4.5:.2f}l4.5 8h-9z"
    return f'<path d="{path}" fill="black" stroke="white" stroke-width="0.8"/>'


def diamond(x: float, y: float) -> str:
    """The answer."""
    return f'<path d="M{x:.2f} {y - 4.5:.2f}l4.5 4.5l-4.5 4.5l-4.5 -4.5z" fill="black"/>'
