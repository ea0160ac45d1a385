"""Draw the invented comparisons of makes anew: `python -m demo_panels.makes`. Standard library only.

Each folder under `makes/` has panel.toml (who tasted what, and the verdicts it shows), truth.toml (true means and
spreads, and what each batch did) and RULE.toml; from these and the seed its scores.csv is drawn as scores of hours are.
"""

from __future__ import annotations

import csv
import tomllib
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from demo_panels import generate
from demo_panels.generate import Score

FOLDER = Path(__file__).parent / "makes"
CONTROL = "control"


def comparisons() -> list[str]:
    """Names of the folders, in order."""
    return sorted(path.parent.name for path in FOLDER.glob("*/panel.toml"))


def settings(name: str, file: str = "panel.toml") -> dict[str, Any]:
    """One of the small files of a folder."""
    return tomllib.loads((FOLDER / name / file).read_text(encoding="utf-8"))


def readings(name: str) -> list[tuple[str, str, float]]:
    """What instruments read of each make, in the order of the file: make, quantity, value; none without a file."""
    file = FOLDER / name / "readings.csv"
    if not file.exists():
        return []
    with file.open(encoding="utf-8", newline="") as lines:
        return [(row["make"], row["quantity"], float(row["value"])) for row in csv.DictReader(lines)]


def pulls(name: str) -> dict[str, list[float]]:
    """The hours after which each make is tasted, where these are compared."""
    found: dict[str, list[float]] = settings(name, "RULE.toml").get("pulls", {})
    return found


def pieces(name: str) -> list[str]:
    """What is served in every sitting: the control, then the makes by letter; of hours that are compared, the control
    and every pull of each make, the longest first."""
    if pulls(name):
        named = [f"{make} {h:g} h" for make, own in pulls(name).items() for h in reversed(own)]
        control = settings(name, "RULE.toml")["control"]
        return [control, *(piece for piece in named if piece != control)]
    return [CONTROL, *"ABCD"[: len(settings(name)["makes"])]]


def draw(name: str) -> list[Score]:
    """All scores; `hours` is the place of the piece in `pieces`. Batches are those of the sittings."""
    panel, truth = settings(name), settings(name, "truth.toml")

    def of_sitting(sitting: int) -> dict[str, Any]:
        shifts = truth.get("batches")
        if shifts is None:
            return truth
        return truth | {
            "attributes": {line: generate.moved(own, shifts[sitting - 1]) for line, own in truth["attributes"].items()}
        }

    return generate.drawn(panel | {"pulls": list(range(len(pieces(name))))}, of_sitting)


def rows(name: str) -> Iterator[dict[str, Any]]:
    """The rows of the score file."""
    panel, served = settings(name), pieces(name)
    with_batches = settings(name, "RULE.toml").get("claim") == "make"
    for score in draw(name):
        make = served[int(score.hours)]
        row: dict[str, Any] = {
            "assessor": score.assessor,
            "sitting": score.sitting,
            "replicate": score.replicate,
            "position": score.position,
            "make": make,
        }
        if pulls(name):
            row |= {"make": make[0], "hours": float(make.split()[1])}
        if "hours" in panel:  # a sealed pair: the control is A after the short time
            row |= {"make": "A" if make == CONTROL else make, "hours": panel["hours"][int(score.hours)]}
        if with_batches:
            row["batch"] = score.sitting
        yield row | {"attribute": score.attribute, "score": "" if score.score is None else f"{score.score:g}"}


def write(name: str) -> None:
    """Write the score file of one folder."""
    with (FOLDER / name / "scores.csv").open("w", encoding="utf-8", newline="") as file:
        found = list(rows(name))
        writer = csv.DictWriter(file, list(found[0]), lineterminator="\n")
        writer.writeheader()
        writer.writerows(found)


if __name__ == "__main__":
    for folder in comparisons():
        write(folder)
