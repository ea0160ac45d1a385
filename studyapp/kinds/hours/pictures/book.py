"""The hours book: batches down, hours across; what each showed. And what an hour saves against what it took to know."""

from __future__ import annotations

from collections.abc import Iterator

from studyapp.findings import decimal
from studyapp.kinds.hours.deciding.book import Book, Entry, Payoff
from studyapp.kinds.hours.findings.book import h, what_it_said
from studyapp.pictures import marks
from studyapp.pictures.marks import Frame, Layer, Picture, Row
from studyapp.pictures.theme import Theme
from studyapp.words import _

ROW, EDGE = 46, 70  # px a batch, and for the axis
_LEFT, _RIGHT = 0.28, 0.24  # of the hours, for the name of a batch and for what it said
WORTH = 300


def batches_down(found: Book, theme: Theme) -> Picture:
    """A row a study's batch, in the order of signing, then those to come; the hour in use as a column."""
    rows = [(label, one) for one in found.entries for label in one.labels]
    named = len(rows) + len(found.waiting)
    ticks = sorted({hour for one in found.entries for hour in one.decision.passes})
    span = (ticks[-1] - ticks[0]) or 1.0
    across = (ticks[0] - _LEFT * span, ticks[-1] + _RIGHT * span)
    frame = Frame(theme, across, (0.0, named + 0.6), ticks, (), _("conching, hours"))
    layers = list(_in_use(found, frame, named))
    for number, (label, one) in enumerate(rows):
        layers += _row(label, one, named - number - 0.5, frame, ticks)
    for number, waiting in enumerate(found.waiting, len(rows)):
        layers += _to_come(waiting.draft.label, found, named - number - 0.5, frame)
    return frame.picture(layers, ROW * named + EDGE)


def _in_use(found: Book, frame: Frame, top: int) -> Iterator[Layer]:
    hour = found.in_use if found.in_use is not None else (found.withdrawn or (None,))[0]
    if hour is not None:
        half = 0.02 * (frame.across[1] - frame.across[0])
        yield marks.ground(hour - half, 0.0, hour + half, top, frame.theme.field)
        yield marks.words(h(hour), hour, top + 0.3, frame.theme.ink, "center", weight=600)


def _row(label: str, one: Entry, y: float, frame: Frame, ticks: list[float]) -> Iterator[Layer]:
    theme = frame.theme
    yield marks.stroke([{"x": ticks[0], "y": y}, {"x": ticks[-1], "y": y}], theme.rule)
    yield marks.words(label, frame.across[0], y, theme.ink, weight=600)
    yield marks.words(what_it_said(one), ticks[-1], y, theme.ink, dx=18)
    for sign, colour, rows in _signs(label, one, y, theme) if one.heard else ():
        yield from marks.signs(sign, rows, colour, theme)


def _signs(label: str, one: Entry, y: float, theme: Theme) -> Iterator[tuple[marks.Sign, str, list[Row]]]:
    """What a batch showed at each pull: chosen, within, not shown, its own longest."""
    decision, told = one.decision, _("{batch}, {hour}: {what}")
    kinds: dict[marks.Sign, tuple[str, str]] = {
        "diamond": (theme.ink, _("chosen")),
        "disc": (theme.patina_text, _("within")),
        "cross": (theme.copper, _("not shown")),
        "reference": (theme.ink, _("that batch's longest pull")),
    }
    for sign, (colour, what) in kinds.items():
        rows = [
            {"x": hour, "y": y, "say": told.format(batch=label, hour=h(hour), what=what)}
            for hour, passes in decision.passes.items()
            if _sign(hour, passes, decision.hours, decision.reference_hours) == sign
        ]
        if rows:
            yield sign, colour, rows


def _sign(hour: float, passes: bool, chosen: float | None, longest: float) -> marks.Sign:
    if hour == chosen:
        return "diamond"
    if hour == longest:
        return "reference"
    return "disc" if passes else "cross"


def _to_come(label: str, found: Book, y: float, frame: Frame) -> Iterator[Layer]:
    """A batch that nobody has tasted: dashed rings where a confirmation would look."""
    theme, hour = frame.theme, found.in_use if found.in_use is not None else (found.withdrawn or (found.longest,))[0]
    shortest = min(min(one.decision.passes) for one in found.entries)
    yield marks.words(label, frame.across[0], y, theme.ink, weight=600)
    yield marks.words(_("to come"), found.longest, y, theme.quiet, dx=18)
    ring = {"type": "point", "shape": "circle", "size": 90, "filled": False, "stroke": theme.edge, "opacity": 1}
    rows = [{"x": at, "y": y} for at in sorted({shortest, hour, found.longest})]
    yield marks.layer(ring | {"strokeDash": [2, 2], "strokeWidth": 2}, rows, x="x", y="y")


# ---- worth -----------------------------------------------------------------------------------------------------------
def saved_against_spent(found: Payoff, batches: float, theme: Theme) -> Picture:
    """Saved over batches with what the sealed error costs as a band below, against what the tastings cost."""
    end = max(batches, 1.0)
    top = max(found.after(end), found.cost, 1.0) * 1.12
    step = _step(top)
    ticks = [step * n for n in range(int(top / step) + 1)]
    frame = Frame(theme, (0.0, end * 1.22), (0.0, top), [end * n / 4 for n in range(5)], ticks, _("batches made so"))
    last, least = found.after(end), found.after(end, careful=True)
    layers: list[Layer] = []
    if found.risk:
        area = {"type": "area", "color": theme.band, "opacity": 1, "line": False}
        rows: list[Row] = [{"x": 0, "y": 0, "y2": 0}, {"x": end, "y": max(least, 0.0), "y2": last}]
        layers.append(marks.layer(area, rows, x="x", y="y", y2="y2"))
    layers += [
        marks.stroke([{"x": 0, "y": 0}, {"x": end, "y": last}], theme.patina_text, 2.5),
        marks.stroke([{"x": 0, "y": found.cost}, {"x": end, "y": found.cost}], theme.ink, 1.5, marks.MARGIN_DASH),
        marks.words(_("saved {n}").format(n=decimal(last, 0)), end, last, theme.patina_text, dx=8, weight=600),
        marks.words(_("tasting {n}").format(n=decimal(found.cost, 0)), end, found.cost, theme.ink, dx=8, weight=600),
    ]
    if found.a_batch > 0 and found.cost / found.a_batch <= end:
        layers.append(marks.diamond(found.cost / found.a_batch, found.cost, theme.ink))
    return frame.picture(layers, WORTH)


def _step(top: float) -> float:
    size = 10.0 ** (len(str(int(top))) - 1)
    return next(part * size for part in (0.25, 0.5, 1.0, 2.0) if top / (part * size) <= 5)
