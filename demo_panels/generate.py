"""Draw the invented score files anew: `python -m demo_panels.generate`. Standard library only.

Each folder under `hours/` has panel.toml (who tasted what, and the verdict it shows), truth.toml (the true means and
spreads) and RULE.toml; from these and the seed in panel.toml its score files are drawn. Only `Random.random()` is
used, which Python promises never to change, so that the files come out the same everywhere.
"""

from __future__ import annotations

import csv
import math
import random
import tomllib
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from analysis.design import serving_orders

FOLDER = Path(__file__).parent / "hours"
NAMES = ("Heron", "Otter", "Wren", "Marten", "Plover", "Badger", "Linnet", "Hare", "Curlew", "Vole")
COLUMNS = ("assessor", "sitting", "replicate", "position", "hours", "attribute", "score")
MIDDLE = 3.5


@dataclass(frozen=True, slots=True)
class Score:
    """One row of a score file; `score` None is a serving that could not be judged."""

    assessor: str
    sitting: int
    replicate: int
    position: int
    hours: float
    attribute: str
    score: float | None
    batch: str = ""


def panels() -> list[str]:
    """Names of the folders, in order."""
    return sorted(path.parent.name for path in FOLDER.glob("*/panel.toml"))


def settings(name: str, file: str = "panel.toml") -> dict[str, Any]:
    """One of the small files of a folder."""
    return tomllib.loads((FOLDER / name / file).read_text(encoding="utf-8"))


def draw(name: str) -> list[Score]:
    """All scores of a panel, in the order of serving.

    Score = clip(3.5 + g (mean - 3.5) + A + spread (B + E) + T, 0, 10), kept to 0.1 or, if rounded, to whole numbers: g
    the assessor's use of the scale, A assessor, B assessor by pull, E error, T assessor by sitting, normal with the
    spreads of truth.toml and correlated between attributes by its `correlation`.
    """
    panel, truth = settings(name), settings(name, "truth.toml")
    batches = panel.get("batches", [""])

    def of_sitting(sitting: int) -> dict[str, Any]:
        shifts = truth.get("batches", {}).get(batches[(sitting - 1) % len(batches)], {})
        lines = truth["attributes"].items()
        return truth | {
            "attributes": {line: moved(own, shifts[line]) if line in shifts else own for line, own in lines}
        }

    scores = drawn(panel, of_sitting)
    return [replace(score, batch=batches[(score.sitting - 1) % len(batches)]) for score in scores]


def moved(own: dict[str, Any], shifts: Sequence[float]) -> dict[str, Any]:
    """What is true of an attribute, its means shifted by so much at each pull."""
    return own | {"mean": [mean + shift for mean, shift in zip(own["mean"], shifts, strict=True)]}


def columns(name: str) -> tuple[str, ...]:
    """The columns of a score file; the batch where several were tasted, a sitting each in turn."""
    return (*COLUMNS, "batch") if "batches" in settings(name) else COLUMNS


def drawn(panel: dict[str, Any], truth_of: Callable[[int], dict[str, Any]]) -> list[Score]:
    """Scores as `draw` makes them, of a panel whose truth may change from sitting to sitting, its spreads excepted."""
    truth = truth_of(1)
    rng = random.Random(panel["seed"])
    people = NAMES[: panel["assessors"]]
    parts = {
        "A": _parts(rng, truth, [(who,) for who in people]),
        "B": _parts(rng, truth, [(who, hours) for who in people for hours in panel["pulls"]]),
        "g": _parts(rng, truth, [(who,) for who in people]),
    }
    scores = []
    for sitting in range(1, panel["sittings"] + 1):
        parts["T"] = _parts(rng, truth, [(who,) for who in people])
        scores.extend(_sitting(panel, truth_of(sitting), sitting, parts, rng))
    return scores


def _sitting(
    panel: dict[str, Any], truth: dict[str, Any], sitting: int, parts: dict[str, Any], rng: random.Random
) -> Iterator[Score]:
    people, pulls = NAMES[: panel["assessors"]], panel["pulls"]
    for who, order in zip(people, _orders(panel, sitting), strict=True):
        served: dict[int, int] = {}
        for position, pull in enumerate(order, start=1):
            served[pull] = served.get(pull, 0) + 1
            error = _parts(rng, truth, [()])[()]
            unable = rng.random() < truth.get("missing", 0.0)
            for name, spread in truth["attributes"].items():
                near = {part: drawn[key][name] for part, drawn, key in _near(parts, who, pulls[pull])}
                value = None if unable else _value(spread, pull, near, error[name])
                yield Score(who, sitting, served[pull], position, pulls[pull], name, value)


def _near(parts: dict[str, Any], who: str, hours: float) -> Iterator[tuple[str, Any, tuple[Any, ...]]]:
    for part, drawn in parts.items():
        yield part, drawn, (who, hours) if part == "B" else (who,)


def _value(spread: dict[str, Any], pull: int, near: dict[str, float], error: float) -> float:
    gain = math.exp(spread.get("scale_use", 0.0) * near["g"])
    wide = spread.get("spread", [1.0] * len(spread["mean"]))[pull]
    value = MIDDLE + gain * (spread["mean"][pull] - MIDDLE) + spread.get("assessor", 1.0) * near["A"]
    value += wide * (spread.get("interaction", 0.5) * near["B"] + spread.get("error", 1.0) * error)
    value += spread.get("sitting", 0.0) * near["T"]
    return min(max(round(value, 0 if spread.get("rounded") else 1), 0.0), 10.0)


def _orders(panel: dict[str, Any], sitting: int) -> list[list[int]]:
    pulls, people, replicates = len(panel["pulls"]), panel["assessors"], panel["replicates"]
    if panel["orders"] == "by the clock":
        return [list(range(pulls)) * replicates] * people
    return serving_orders(pulls, people, replicates, seed=1000 * panel["seed"] + sitting)


def _parts(rng: random.Random, truth: dict[str, Any], keys: Sequence[tuple[Any, ...]]) -> dict[tuple[Any, ...], Any]:
    """Standard normal parts for each key and attribute, correlated between attributes."""
    shared = truth.get("correlation", 0.0)
    drawn = {}
    for key in keys:
        common = _normal(rng)
        drawn[key] = {
            name: math.sqrt(shared) * common + math.sqrt(1 - shared) * _normal(rng) for name in truth["attributes"]
        }
    return drawn


def _normal(rng: random.Random) -> float:
    """Box and Muller 1958, Ann Math Stat 29:610."""
    return math.sqrt(-2 * math.log(1 - rng.random())) * math.cos(2 * math.pi * rng.random())


def read(name: str) -> list[dict[str, Any]]:
    """Readings of instruments for the limits of a rule, a row a portion, three digits each; none without limits.

    Log-normal about the true means of truth.toml.
    """
    panel, truth, rule = settings(name), settings(name, "truth.toml"), settings(name, "RULE.toml")
    rng = random.Random(f"{panel['seed']} read")
    rows = []
    for limit, asked in rule.get("gates", {}).items():
        own = truth["gates"][limit]
        for hours, mean in zip(panel["pulls"], own["mean"], strict=True):
            for portion in range(1, own["repeats"] + 1):
                value = mean * math.exp(own["sd"] * _normal(rng))
                how = {key: asked[key] for key in ("quantity", "unit", "instrument", "method")}
                rows.append({"hours": hours, **how, "portion": portion, "value": float(f"{value:.3g}")})
    return rows


def write(name: str) -> None:
    """Write the files of one folder: all scores, those of the first look where there was a second, and readings."""
    scores = draw(name)
    readings = read(name)
    if readings:
        with (FOLDER / name / "readings.csv").open("w", encoding="utf-8", newline="") as file:
            writer = csv.DictWriter(file, list(readings[0]), lineterminator="\n")
            writer.writeheader()
            writer.writerows(readings)
    _write(FOLDER / name / "scores.csv", scores, columns(name))
    first = settings(name).get("first_look_sittings")
    if first is not None:
        _write(FOLDER / name / "scores_first_look.csv", [score for score in scores if score.sitting <= first], COLUMNS)


def _write(path: Path, scores: Sequence[Score], heads: Sequence[str]) -> None:
    with path.open("w", encoding="utf-8", newline="") as file:
        writer = csv.writer(file, lineterminator="\n")
        writer.writerow(heads)
        for row in scores:
            values = (getattr(row, column) for column in heads)
            writer.writerow(
                "" if value is None else f"{value:g}" if isinstance(value, float) else value for value in values
            )


if __name__ == "__main__":
    for panel_name in panels():
        write(panel_name)
