"""Scores and rules that come as files, not from the store."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING

from studyapp.errors import BadInput
from studyapp.kinds.hours.files.rules import read_rule
from studyapp.words import _

if TYPE_CHECKING:
    import pandas as pd

    from analysis.planning import Offer
    from analysis.stopping import Decision, Rule
    from analysis.stopping.cross_check import AttributeCheck

_NAMED = 6  # so many batches are named in a sentence


def decide_files(scores: Path | str, rule: Path | str, draws: int = 2000) -> tuple[Decision, tuple[Offer, ...]]:
    """The verdict on a score file under a rule file, with the price of an answer after `cannot tell`, from so many
    draws of each way to one.

    Raises BadInput: one sentence naming file, row, column, value and rule.
    """
    from analysis.planning import price, price_new_study
    from analysis.stopping import decide

    read = read_rule(rule)
    tidy = read_scores(scores, read)
    check_together(Path(scores).name, tidy, Path(rule).name, read)
    decision = decide(tidy, read)
    if decision.verdict != "cannot tell":
        return decision, ()
    return decision, (*price(tidy, read, draws), *price_new_study(tidy, read, draws))


def second_opinion(
    scores: Path | str, rule: Path | str, decision: Decision
) -> Callable[[], Mapping[str, AttributeCheck]]:
    """What asks two other programs about a decision on these files. They are read now, for they may be gone by then.

    Raises BadInput as `decide_files`.
    """
    from analysis.stopping.cross_check import cross_check

    read = read_rule(rule)
    return partial(cross_check, read_scores(scores, read), read, decision)


def read_scores(path: Path | str, rule: Rule | None = None) -> pd.DataFrame:
    """The tidy scores of a file, of the deciding attributes alone if a rule is given. Raises BadInput."""
    from analysis.files import scores

    try:
        return scores.read_scores(path, None if rule is None else tuple(rule.attributes))
    except scores.ScoreError as problem:
        raise BadInput(str(problem)) from problem


def _refuse_batches(scores_name: str, scores: pd.DataFrame) -> None:
    from analysis.stopping import batches_in

    found = batches_in(scores[scores["score"].notna()])
    if len(found) < 2:
        return
    sentence = _(
        "{scores}, column batch: there are {n} batches, {names}; a verdict is about one. Make one file a batch and "
        "decide each."
    )
    names = ", ".join(found[:_NAMED]) + (", …" if len(found) > _NAMED else "")
    raise BadInput(sentence.format(scores=scores_name, n=len(found), names=names))


def check_together(scores_name: str, scores: pd.DataFrame, rule_name: str, rule: Rule) -> None:
    """Refuse scores of several batches, and scores and a rule that do not fit: a pull, a control or a column that the
    other one lacks."""
    _refuse_batches(scores_name, scores)
    noted = scores[scores["assessor"].isna()]["hours"].tolist()  # pulls that were lost
    scores = scores[scores["assessor"].notna()]
    hours = sorted(scores["hours"].unique())
    pulls = ", ".join(f"{hour:g}" for hour in hours)
    if len(hours) < 2:
        sentence = _("{scores}, column hours: all scores are of one pull, {pulls} h; at least two pulls are compared.")
        raise BadInput(sentence.format(scores=scores_name, pulls=pulls))
    if rule.control is not None and rule.control not in (*hours[:-1], *noted) and not (noted and rule.control in hours):
        sentence = _(
            "{rule}, control: {control:g} h is not a pull shorter than the longest; {scores} has the pulls {pulls}."
        )
        raise BadInput(sentence.format(rule=rule_name, control=rule.control, scores=scores_name, pulls=pulls))
    for attribute, scored in scores.groupby("attribute"):
        if scored["assessor"].nunique() < 2:
            sentence = _("{scores}: only one assessor scored {attribute}; five or more are needed for a verdict.")
            raise BadInput(sentence.format(scores=scores_name, attribute=attribute))
        missing = ", ".join(f"{hour:g}" for hour in hours if not (scored["hours"] == hour).any())
        if missing:
            sentence = _("{scores}: no score of {attribute} at {missing} h; a deciding attribute needs every pull.")
            raise BadInput(sentence.format(scores=scores_name, attribute=attribute, missing=missing))
    for asked in rule.adjust:
        column = asked.partition(":")[0]
        if column not in scores.columns:
            sentence = _('{rule}, adjust: "{asked}" needs a column {column}, and {scores} has none.')
            raise BadInput(sentence.format(rule=rule_name, asked=asked, column=column, scores=scores_name))
