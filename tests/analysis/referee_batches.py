"""The rule for several batches, written apart: the referee of one study, asked batch by batch or about their mean.

Sources: Satterthwaite 1946 for the sum of the assessors' and the batches' variances; from memory. Pulls that a batch
lost are no part of it.
"""

from __future__ import annotations

from functools import cached_property

import numpy as np
import pandas as pd

from tests.analysis.referee import FEWEST, Attribute, Estimate, Fit, Question, Study, looks_copied


class OneOfSeveral(Study):
    """One batch of several: what could fail counts in each of them."""

    several = 1

    def statements(self, pull: float) -> int:
        """How many could fail at a pull, over all batches."""
        return super().statements(pull) * self.several


class InEach:
    """Every batch alone, all of them joined."""

    def __init__(self, scores: pd.DataFrame, question: Question) -> None:
        """A study a batch."""
        self.studies = [OneOfSeveral(own.drop(columns="batch"), question) for _name, own in scores.groupby("batch")]
        for study in self.studies:
            study.several = len(self.studies)
        self.hours = self.studies[0].hours

    @property
    def closest(self) -> float:
        """How near any comparison came to its bound."""
        return min(study.ruler.closest for study in self.studies)

    def answer(self) -> tuple[str, float | None]:
        """Verdict and hours."""
        if not all(study.control_found for study in self.studies):
            return "cannot tell", None
        chosen = None
        for pull in reversed(self.hours):
            if not all(study.passes(pull) for study in self.studies):
                break
            chosen = pull
        if chosen is not None and chosen < self.hours[-1]:
            good = all(study.all_inside(chosen) and not study.better_hours(chosen) for study in self.studies)
            if good:
                return "stop", chosen
        rising = set.intersection(*(set(study.improving) for study in self.studies))
        if rising and all(study.conche_longer for study in self.studies):
            return "conche longer", None
        return ("no hour fits", None) if all(self._unfit(pull) for pull in self.hours) else ("cannot tell", None)

    def _unfit(self, pull: float) -> bool:
        """Shown to break a limit, or past, in some batch; a margin counts for nothing once a reference fails."""
        return any(
            study.fails_limit(name, pull) or study.past(name, pull)
            for study in self.studies
            for name in study.attributes
        )


class MeanAttribute(Attribute):
    """One attribute as a mean over batches, the batch a unit beside the assessor."""

    lots: list[Fit]
    whole: Fit

    def split(self, rows: pd.DataFrame) -> None:
        """Fits of each batch, and of all scores less what each batch did."""
        parts = [own.drop(columns="batch").reset_index(drop=True) for _name, own in rows.groupby("batch")]
        self.raw = parts
        self.lots = [Fit(part, self.step) for part in parts]
        level = [float(fit.means.mean()) for fit in self.lots]
        moved = [
            part.assign(score=part["score"] - own + np.mean(level)) for part, own in zip(parts, level, strict=True)
        ]
        self.whole = Fit(pd.concat(moved, ignore_index=True), self.step)

    @cached_property
    def judged(self) -> bool:
        """As of one batch, and no batch copied."""
        common = set.intersection(*(set(part["assessor"]) for part in self.raw))
        if len(common) < FEWEST or any(looks_copied(part) for part in self.raw):
            return False
        return super().judged

    def _worse(self, pull: float, other: float) -> Estimate | None:
        w = np.array([(h == pull) - float(h == other) for h in self.hours])
        return self._over(w).turned(self.wish.sign)

    def mean(self, pull: float) -> Estimate | None:
        """Mean of a pull over batches."""
        if not self.judged:
            return None
        return self._over(np.array([float(h == pull) for h in self.hours])).turned(self.wish.sign)

    def _over(self, w: np.ndarray) -> Estimate:
        found = self._estimate(self.whole, w, [self.whole.panel_error(w), self.whole.own_error(w)])
        each = np.array([fit.means @ w for fit in self.lots])
        b, (own, own_df) = len(each), found.errors[1]
        batch = each.std(ddof=1) / np.sqrt(b)
        total = own**2 + batch**2
        df = total**2 / (own**4 / own_df + batch**4 / (b - 1)) if total > 0 else own_df
        return Estimate(float(each.mean()), (*found.errors, (float(np.sqrt(total)), float(df))), found.usable)


class OfTheRecipe(Study):
    """Three batches or more, on average."""

    def __init__(self, scores: pd.DataFrame, question: Question) -> None:
        """The attributes as means over batches; sittings are those of the batches."""
        super().__init__(scores.drop(columns="batch"), question)
        numbered = scores.assign(assessor=scores["assessor"].astype("category").cat.codes)
        for name, wish in question.wishes.items():
            own = MeanAttribute(scores.drop(columns="batch"), name, wish, self.hours, False)
            own.split(numbered[numbered["attribute"] == name][["assessor", "hours", "score", "batch"]])
            self.attributes[name] = own
