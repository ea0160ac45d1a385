"""The rule for several batches, written apart: the referee of one study, asked batch by batch or about their mean.

Sources: Satterthwaite 1946 for the sum of the assessors' and the batches' variances; from memory. A pull that a batch
lost is never chosen and steps out of that batch alone; one that stays there lets nothing shorter pass.
"""

from __future__ import annotations

from functools import cached_property

import numpy as np
import pandas as pd

from tests.analysis.referee import FEWEST, Attribute, Estimate, Fit, Question, Study, looks_copied, study_of


class OneOfSeveral(Study):
    """One batch of several: what could fail counts in each of them."""

    several = 1

    def statements(self, pull: float) -> int:
        """How many could fail at a pull, over all batches."""
        return super().statements(pull) * self.several


def studies_by_batch(scores: pd.DataFrame, question: Question) -> list[Study]:
    """Each batch with what became of its pulls; notes name their batch."""
    found = []
    for _name, own in scores.groupby("batch"):
        rows = own.drop(columns="batch").reset_index(drop=True)
        found.append(study_of(rows.assign(sitting=1) if "why" in rows else rows, question))
    return found


class Joined:
    """What several batches lost, and the step down through them."""

    studies: list[Study]

    @cached_property
    def hours(self) -> list[float]:
        """Pulls that some batch served."""
        return sorted({h for study in self.studies for h in study.hours})

    @property
    def missing(self) -> bool:
        """Whether any batch misses a sealed pull."""
        return any(study.story.missing for study in self.studies)

    @property
    def last_two_missing(self) -> bool:
        """Whether some batch misses one of the two pulls before the reference."""
        return any(study.last_two_missing for study in self.studies)

    def stuck(self, pull: float) -> bool:
        """Whether a pull that stays in some batch without passing is this one or longer."""
        return any(at >= pull for study in self.studies for at in study.story.stuck)

    def in_all(self, pull: float) -> bool:
        """Whether every batch served it."""
        return all(pull in study.hours for study in self.studies)


class InEach(Joined):
    """Every batch alone, all of them joined."""

    def __init__(self, scores: pd.DataFrame, question: Question) -> None:
        """A study a batch."""
        self.studies = studies_by_batch(scores, question)
        for study in self.studies:
            study.__class__ = OneOfSeveral
            study.several = len(self.studies)  # type: ignore[attr-defined]

    @property
    def closest(self) -> float:
        """How near any comparison came to its bound."""
        return min(study.ruler.closest for study in self.studies)

    def answer(self) -> tuple[str, float | None]:
        """Verdict and hours."""
        apart = len({study.reference for study in self.studies}) > 1
        if apart or any(study.story.hopeless for study in self.studies):
            return "cannot tell", None
        if not all(study.control_found for study in self.studies):
            return "cannot tell", None
        chosen = None
        for pull in reversed(self.hours):
            if self.stuck(pull) or not all(study.passes(pull) for study in self.studies if pull in study.hours):
                break
            chosen = pull if self.in_all(pull) else chosen
        if chosen is not None and chosen < self.hours[-1]:
            good = all(study.all_inside(chosen) and not study.better_hours(chosen) for study in self.studies)
            if good:
                return "stop", chosen
        rising = set.intersection(*(set(study.improving) for study in self.studies))
        if rising and all(study.conche_longer for study in self.studies) and not self.last_two_missing:
            return "conche longer", None
        unfit = not self.missing and all(self._unfit(pull) for pull in self.hours)
        return ("no hour fits", None) if unfit else ("cannot tell", None)

    def _unfit(self, pull: float) -> bool:
        """Shown to break a limit, or past, in some batch; a margin counts for nothing once a reference fails."""
        return any(
            study.fails_limit(name, pull) or study.past(name, pull)
            for study in self.studies
            for name in study.attributes
        )


class MeanAttribute(Attribute):
    """One attribute as a mean over batches, the batch a unit beside the assessor."""

    def split(self, rows: pd.DataFrame) -> None:
        """The scores of each batch."""
        self.raw = [own.drop(columns="batch").reset_index(drop=True) for _name, own in rows.groupby("batch")]
        self.lots = [Fit(part, self.step) for part in self.raw]
        self.fits: dict[tuple[int, ...], Fit] = {}

    def whole(self, lots: tuple[int, ...]) -> Fit:
        """All scores of some batches less what each did to the pulls that all of them served."""
        if lots not in self.fits:
            common = set.intersection(*(set(self.lots[k].hours) for k in lots))
            level = [
                float(np.mean([m for h, m in zip(self.lots[k].hours, self.lots[k].means, strict=True) if h in common]))
                for k in lots
            ]
            moved = [
                self.raw[k].assign(score=self.raw[k]["score"] - own + np.mean(level))
                for k, own in zip(lots, level, strict=True)
            ]
            self.fits[lots] = Fit(pd.concat(moved, ignore_index=True), self.step)
        return self.fits[lots]

    @cached_property
    def judged(self) -> bool:
        """As of one batch, and no batch copied."""
        common = set.intersection(*(set(part["assessor"]) for part in self.raw))
        if len(common) < FEWEST or any(looks_copied(part) for part in self.raw):
            return False
        return super().judged

    def _worse(self, pull: float, other: float) -> Estimate | None:
        found = self._over({pull: 1.0, other: -1.0})
        return None if found is None else found.turned(self.wish.sign)

    def mean(self, pull: float) -> Estimate | None:
        """Mean of a pull over batches."""
        found = self._over({pull: 1.0}) if self.judged else None
        return None if found is None else found.turned(self.wish.sign)

    def _over(self, asked: dict[float, float]) -> Estimate | None:
        """A contrast over the batches that served all of its pulls, three or more."""
        lots = tuple(k for k, fit in enumerate(self.lots) if set(asked) <= set(fit.hours))
        if len(lots) < 3:
            return None
        fit = self.whole(lots)
        w = weights(asked, fit)
        found = self._estimate(fit, w, [fit.panel_error(w), fit.own_error(w)])
        each = np.array([self.lots[k].means @ weights(asked, self.lots[k]) for k in lots])
        b, (own, own_df) = len(each), found.errors[1]
        batch = each.std(ddof=1) / np.sqrt(b)
        total = own**2 + batch**2
        df = total**2 / (own**4 / own_df + batch**4 / (b - 1)) if total > 0 else own_df
        return Estimate(float(each.mean()), (*found.errors, (float(np.sqrt(total)), float(df))), found.usable)


def weights(asked: dict[float, float], fit: Fit) -> np.ndarray:
    """A contrast by the pulls of a fit."""
    return np.array([asked.get(h, 0.0) for h in fit.hours])


class OfTheRecipe(Study, Joined):
    """Three batches or more, on average; one without its longest pull has no say."""

    def __init__(self, scores: pd.DataFrame, question: Question) -> None:
        """The attributes as means over batches; sittings are those of the batches."""
        every = studies_by_batch(scores, question)
        last = max(study.reference for study in every)
        self.studies = [study for study in every if study.reference == last]
        self.left_out = len(every) - len(self.studies)
        names = [
            name for (name, _own), study in zip(scores.groupby("batch"), every, strict=True) if study in self.studies
        ]
        served = pd.concat([study.scores.assign(batch=name) for name, study in zip(names, self.studies, strict=True)])
        kept = scores[scores["batch"].isin(names) & scores["score"].notna()]
        served = kept.merge(served[["batch", "hours"]].drop_duplicates(), on=["batch", "hours"])
        super().__init__(served.drop(columns="batch"), question)
        numbered = served.assign(assessor=served["assessor"].astype("category").cat.codes)
        for name, wish in question.wishes.items():
            own = MeanAttribute(served.drop(columns="batch"), name, wish, self.hours, False)
            own.split(numbered[numbered["attribute"] == name][["assessor", "hours", "score", "batch"]])
            self.attributes[name] = own

    def verdict(self) -> tuple[str, float | None]:
        """Verdict and hours."""
        if len(self.studies) < 3 or any(study.story.hopeless for study in self.studies) or not self.control_found:
            return "cannot tell", None
        chosen = None
        for pull in reversed(self.hours):
            if self.stuck(pull) or not self.passes(pull):
                break
            chosen = pull if self.in_all(pull) else chosen
        if chosen not in (None, self.reference) and self.all_inside(chosen) and not self.better_hours(chosen):
            return "stop", chosen
        if self.conche_longer and not Joined.last_two_missing.fget(self):
            return "conche longer", None
        none = not self.missing and not self.left_out and all(self.fails(pull) for pull in self.hours)
        return ("no hour fits", None) if none else ("cannot tell", None)
