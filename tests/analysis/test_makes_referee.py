"""The project's comparison against its referee, study by study, on studies drawn to be incomplete and awkward."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pandas as pd
import pytest

from analysis.comparing import MakeClaim, MakeRule, compare
from tests.analysis.makes_referee import Answer, Ask, Claimed, holm, judge

CLAIMS = ("no worse", "same", "better")
NEAR = 1e-5


def test_the_referee_steps_as_holm_did() -> None:
    """Holm 1979, from memory: chances .01, .04, .03 of three come to .03, .06, .06."""
    assert holm([0.01, 0.04, 0.03]) == pytest.approx([0.03, 0.06, 0.06])


def claims_of(rng: np.random.Generator) -> dict[str, Claimed]:
    """One to three attributes, each with a claim of its own and now and then a limit."""
    found = {}
    for name in ("acid", "bitter", "cocoa")[: rng.integers(1, 4)]:
        wanted = str(rng.choice(["lower", "higher", "same"], p=[0.6, 0.25, 0.15]))
        claim = "same" if wanted == "same" else str(rng.choice(CLAIMS, p=[0.6, 0.2, 0.2]))
        limit = float(rng.uniform(3, 7)) if rng.random() < 0.2 and wanted != "same" else None
        found[name] = Claimed(wanted, float(rng.choice([0.8, 1.0, 1.5])), claim, limit)
    return found


def drawn(rng: np.random.Generator, claims: dict[str, Claimed], batches: int = 0) -> pd.DataFrame:
    """Five to nine people, up to three sittings, a control Z, makes and the reference A; scores missing at random,
    a piece lost or taken back, cups that nobody could judge."""
    people, sittings, servings = int(rng.integers(5, 10)), batches or int(rng.integers(1, 4)), int(rng.integers(1, 3))
    makes = "BCD"[: rng.integers(1, 4)]
    rounded, rows = rng.random() < 0.3, []
    for name, one in claims.items():
        bad = -1.0 if one.wanted == "higher" else 1.0
        level = {"Z": 4.5 + 3 * bad, "A": 4.5, **{make: 4.5 + bad * rng.normal(0, 0.9) for make in makes}}
        lean, taste = rng.normal(0, 0.7, people), rng.normal(0, 0.4, (people, len(level)))
        for person in range(people):
            for place, (make, mean) in enumerate(level.items()):
                for day in range(sittings):
                    for turn in range(servings):
                        score = mean + lean[person] + taste[person, place] + rng.normal(0, 0.7) + 0.3 * day
                        score = round(score) if rounded else round(score, 1)
                        rows.append((f"P{person}", make, name, min(max(score, 0.0), 10.0), str(day + 1), turn + 1, ""))
    columns = ["assessor", "make", "attribute", "score", "sitting", "replicate", "why"]
    data = pd.DataFrame(rows, columns=columns)
    if rng.random() < 0.7:
        data = data[rng.random(len(data)) > rng.choice([0.03, 0.12])]
    if batches:
        return data.assign(batch="lot " + data["sitting"]).reset_index(drop=True)
    return with_fates(rng, data.reset_index(drop=True), makes, sittings)


def with_fates(rng: np.random.Generator, data: pd.DataFrame, makes: str, sittings: int) -> pd.DataFrame:
    """A piece that was lost before it was tasted or taken back, in one sitting or in all, and cups left unjudged."""
    if rng.random() < 0.3:
        unknown = rng.random(len(data)) < 0.03
        data = data.assign(score=data["score"].mask(unknown), why=data["why"].mask(unknown, "unjudged"))
    if rng.random() < 0.4:
        lost = str(rng.choice([*makes, "Z"]))
        day = str(rng.integers(1, sittings + 1)) if sittings > 1 and rng.random() < 0.6 else None
        there = (data["make"] == lost) & (True if day is None else data["sitting"] == day)
        if rng.random() < 0.6 and (lost != makes or day is not None):
            data = data[~there]
        note = pd.DataFrame([{"make": lost, "sitting": day, "why": "lost"}])
        data = pd.concat([data, note], ignore_index=True)
    return data


def ours(data: pd.DataFrame, ask: Ask) -> Answer:
    """What the project says, in the referee's terms."""
    claims = {name: MakeClaim(one.wanted, one.margin, one.claim, one.limit) for name, one in ask.claims.items()}  # type: ignore[arg-type]
    adjust = ("sitting:hours",) if ask.by_sitting else ()
    found = compare(data, MakeRule("A", claims, "Z", "make" if ask.pairs else "these batches", adjust=adjust))
    answer = Answer(control_found=found.control_result.found)
    for make, one in found.makes.items():
        answer.verdict[make], answer.p[make], answer.holm[make] = one.verdict, one.p, one.p_holm
        for name, claim in one.attributes.items():
            if claim.lower is not None and claim.upper is not None:
                answer.limits[make, name] = claim.lower, claim.upper
    return answer


def agree(mine: Answer, other: Answer) -> bool:
    """All numbers within rounding, and every verdict."""
    assert mine.verdict.keys() == other.verdict.keys()
    same = all(
        np.isclose(a[make], b[make], rtol=NEAR, atol=NEAR)
        for a, b in ((mine.p, other.p), (mine.holm, other.holm))
        for make in mine.p
    )
    ends = all(
        np.allclose(mine.limits[key], other.limits[key], atol=1e-4) for key in mine.limits.keys() & other.limits.keys()
    )
    return same and ends and mine.verdict == other.verdict and mine.control_found == other.control_found


def held(seeds: range, batches: int) -> tuple[int, list[int]]:
    """How many studies were judged by both, and the seeds on which they differ."""
    judged, apart = 0, []
    for seed in seeds:
        rng = np.random.default_rng([seed, batches])
        claims = claims_of(rng)
        data = drawn(rng, claims, batches)
        ask = Ask(
            claims, by_sitting=not batches and rng.random() < 0.4 and data["sitting"].notna().all(), pairs=bool(batches)
        )
        try:
            mine = ours(data, ask)
        except ValueError:  # such as one assessor left, or no score of a make
            continue
        other = judge(data, ask)
        if other.doubts:  # where the rule leaves more than one reading, as of trays with gaps
            continue
        judged += 1
        apart += [] if agree(mine, other) else [seed]
    return judged, apart


@pytest.mark.simulation
@pytest.mark.parametrize("batches", [0, 3])
@pytest.mark.parametrize("start", range(0, 240, 60))
def test_both_say_the_same(start: int, batches: int, draws: Callable[[int, int], int]) -> None:
    """Verdicts, chances, limits, the control: of these batches with all that may be missing, and of pairs."""
    count = draws(6, 60)
    judged, apart = held(range(start, start + count), batches)
    assert not apart
    assert judged >= count / 4
