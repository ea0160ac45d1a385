"""Decisions on several batches against the referee's, study by study."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from analysis.stopping import AttributeRule, Decision, Rule, decide
from tests.analysis.referee import Study
from tests.analysis.referee_batches import InEach, OfTheRecipe
from tests.analysis.test_referee import LIMITS, apart, profile, question_of, scores_of, tidy


def drawn(seed: int) -> tuple[pd.DataFrame, Rule]:
    """Two to five batches, one to three notes, some scores missing."""
    rng = np.random.default_rng(seed)
    a, h, b, r = (int(rng.integers(*ends)) for ends in ((5, 11), (3, 6), (2, 6), (1, 3)))
    claim = "recipe and machine" if b > 2 and rng.random() < 0.6 else "each of these batches"
    share, s = rng.choice([0, 0, 0.05, 0.15]), rng.choice([0, 0.3, 0.8])
    wishes, parts = {}, []
    for number in range(rng.integers(1, 4)):
        mean = profile(rng, h)
        if rng.random() < 0.7:
            mean[0] = np.clip(mean[-1] + rng.choice([-4, 4]), 0, 10)
        y = scores_of(rng, mean, a, 1, r * b).reshape(a, h, b, r)
        moved = s * rng.standard_normal((1, h, b, 1)) + rng.choice([0, 1]) * rng.standard_normal((1, 1, b, 1))
        y = np.clip(np.round(y + moved, 1), 0, 10)
        gone = rng.random(y.shape) < share
        gone[:, :, :, 0] &= (np.arange(a)[:, None] % h != np.arange(h))[:, :, None]
        wanted = str(rng.choice(["lower", "lower", "higher", "same"]))
        limit = float(np.round(y.mean() + rng.normal(0, 2), 1)) if rng.random() < 0.3 else None
        wishes[f"note {number}"] = AttributeRule(wanted, float(rng.choice([1, 1.5, 2.5])), limit)  # type: ignore[arg-type]
        parts.append(tidy(np.where(gone, np.nan, y), f"note {number}"))
    scores = pd.concat(parts, ignore_index=True).rename(columns={"sitting": "batch"})
    return scores.assign(batch=scores["batch"].astype(str)), Rule(wishes, claim=claim)  # type: ignore[arg-type]


def with_losses(seed: int) -> tuple[pd.DataFrame, Rule]:
    """The same with one to three pulls of some batches lost before they were tasted, taken back or left unread, at the
    first of up to three looks."""
    scores, rule = drawn(seed)
    rng = np.random.default_rng([seed, 1])
    batches, hours = sorted(set(scores["batch"])), sorted(set(scores["hours"]))
    scores, notes = scores.assign(why=""), []
    for _loss in range(rng.integers(1, 4)):
        batch, at = (
            str(rng.choice(batches)),
            float(rng.choice(hours, p=[0.1] + [0.9 / (len(hours) - 1)] * (len(hours) - 1))),
        )
        why = str(rng.choice(["lost", "lost", "taken back"]))
        if why == "lost":
            scores = scores[~((scores["batch"] == batch) & (scores["hours"] == at))]
        notes.append({"hours": at, "batch": batch, "why": "lost", "reason": "spoilt"})
    rows = pd.concat([scores, pd.DataFrame(notes).drop_duplicates()], ignore_index=True)
    # Wider margins than drawn, or hardly any of these studies would end in an answer.
    wishes = {name: replace(own, margin=2 * own.margin, limit=None) for name, own in rule.attributes.items()}
    easy = rng.random() < 0.7
    return rows, replace(rule, attributes=wishes if easy else rule.attributes, looks=int(rng.integers(1, 4)))


def disagreements(seed: int, draw: Callable[[int], tuple[pd.DataFrame, Rule]] = drawn) -> list[str]:
    """About one drawn study; none where a limit comes so close to its bound that rounding decides."""
    scores, rule = draw(seed)
    try:
        found = decide(scores, rule)
    except ValueError as refused:
        assert "at least two pulls are needed" in str(refused)  # noqa: PT017  # some batch lost all the others
        return []
    question = question_of(replace(rule, adjust=()))
    if rule.claim == "each of these batches":
        told = InEach(scores, question)
        due, closest = told.answer(), told.closest
        lines = [line for study, name in zip(told.studies, sorted(set(scores["batch"])), strict=True)
                 for line in of_batch(found, study, name)]  # fmt: skip
    else:
        recipe = OfTheRecipe(scores, question)
        due, closest, lines = recipe.verdict(), recipe.ruler.closest, of_recipe(found, recipe)
    if closest < 10 * LIMITS or found.reason in ("batches apart", "orders"):
        return []
    return (
        lines if (found.verdict, found.hours) == due else [*lines, f"decide says {found.verdict}, {found.hours}; {due}"]
    )


def of_batch(found: Decision, study: Study, batch: str) -> list[str]:
    """Limits of one batch that differ; where nothing is left to estimate a variance from, none."""
    assert found.batches is not None
    lines = []
    for name, own in study.attributes.items():
        upper = dict(zip(found.batches.hours, found.batches.upper[name][batch], strict=True))
        for pull in study.shorter if own.judged else ():
            due = own.worse(pull, study.reference)
            if due is not None and "exact fit" not in own.doubts and apart(upper[pull], due.upper(study.level)):
                lines.append(f"{name} of {batch} at {pull}: {upper[pull]} for {due.upper(study.level)}")
    return lines


def of_recipe(found: Decision, study: OfTheRecipe) -> list[str]:
    """Limits over batches that differ."""
    lines = []
    for name, own in study.attributes.items():
        for pull in found.attributes[name].pulls[:-1] if own.judged else ():
            due = own.worse(pull.hours, study.reference)
            if due is not None and "exact fit" not in own.doubts and apart(pull.decisive_upper, due.upper(study.level)):
                lines.append(f"{name} at {pull.hours}: {pull.decisive_upper} for {due.upper(study.level)}")
    return lines


@pytest.mark.parametrize("draw", [drawn, with_losses])
@pytest.mark.parametrize("start", range(0, 400, 100))
def test_decisions_on_several_batches_are_those_of_the_referee(
    start: int, draw: Callable[[int], tuple[pd.DataFrame, Rule]], draws: Callable[[int, int], int]
) -> None:
    """Verdict, hours and limits; most of the drawn studies in a search alone."""
    wrong = {seed: lines for seed in range(start, start + draws(1, 100)) if (lines := disagreements(seed, draw))}
    assert not wrong, "\n".join(f"{draw.__name__}({seed}): {'; '.join(lines)}" for seed, lines in wrong.items())
