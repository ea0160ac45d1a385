"""Draw the invented answers on infused aromas anew: `python -m demo_panels.infusion`. Standard library only.

Each folder under `aroma/` has panel.toml (who tasted what, and what it shows) and truth.toml; from these and the seed
its answers.csv is drawn, one row a set. Only `Random.random()` is used, which Python promises never to change.
"""

from __future__ import annotations

import csv
import math
import random
import tomllib
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from demo_panels.generate import NAMES
from studyapp.methods import METHODS
from studyapp.records import CONTROL

FOLDER = Path(__file__).parent / "aroma"


@dataclass(frozen=True, slots=True)
class Answer:
    """One row of a file of answers: `level` is the dose or the batch, `CONTROL` for the cup known to differ."""

    assessor: str
    level: float
    correct: int


def series() -> list[str]:
    """Names of the folders, in order."""
    return sorted(path.parent.name for path in FOLDER.glob("*/panel.toml"))


def settings(name: str, file: str = "panel.toml") -> dict[str, Any]:
    """One of the small files of a folder."""
    return tomllib.loads((FOLDER / name / file).read_text(encoding="utf-8"))


def draw(name: str) -> list[Answer]:
    """All answers of a series, by assessor and level."""
    panel, truth = settings(name), settings(name, "truth.toml")
    rng, guess = random.Random(panel["seed"]), METHODS[panel["method"]].chance
    found = []
    for who in NAMES[: panel["assessors"]]:
        middle = math.log(truth["threshold"]) + truth["between"] * _normal(rng) if "threshold" in truth else 0.0
        for number, level in enumerate(panel["levels"]):
            noticed = truth["noticed"][number] if "noticed" in truth else _noticed(truth, level, middle)
            right = guess + (1 - guess) * noticed
            found += [Answer(who, level, int(rng.random() < right)) for _trial in range(panel["trials_each"])]
    for number in range(panel.get("control_sets", 0)):
        right = guess + (1 - guess) * truth["control_noticed"]
        found.append(Answer(NAMES[number % panel["assessors"]], CONTROL, int(rng.random() < right)))
    return found


def _noticed(truth: dict[str, Any], level: float, middle: float) -> float:
    """How often somebody whose middle lies at `middle` truly notices a dose."""
    return float((1 - truth["lapse"]) / (1 + math.exp(-(math.log(level) - middle) / truth["slope"])))


def _normal(rng: random.Random) -> float:
    """Box and Muller 1958, Ann Math Stat 29:610."""
    return math.sqrt(-2 * math.log(1 - rng.random())) * math.cos(2 * math.pi * rng.random())


def rows(name: str) -> list[list[str]]:
    """The file of answers, its head included, as `studyapp threshold` and `studyapp carryover` read it."""
    panel = settings(name)
    column = "dose" if panel["aim"] == "dose" else "batch"
    if "control_sets" not in panel:
        return [["assessor", column, "correct"], *([a.assessor, f"{a.level:g}", str(a.correct)] for a in draw(name))]
    found = [["assessor", column, "correct", "control"]]
    for one in draw(name):
        level = "" if one.level == CONTROL else f"{one.level:g}"
        found.append([one.assessor, level, str(one.correct), str(int(one.level == CONTROL))])
    return found


def write(name: str) -> None:
    """Write the answers of one folder."""
    with (FOLDER / name / "answers.csv").open("w", encoding="utf-8", newline="") as file:
        csv.writer(file, lineterminator="\n").writerows(rows(name))


if __name__ == "__main__":
    for series_name in series():
        write(series_name)
