"""Scores and rules that come as files, not from the store."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING

from studyapp.errors import BadInput
from studyapp.kinds.hours.files.readings import read_readings
from studyapp.kinds.hours.files.rules import read_rule
from studyapp.kinds.hours.plan import THIS
from studyapp.words import _

if TYPE_CHECKING:
    import pandas as pd

    from analysis.planning import Offer
    from analysis.stopping import Decision, Rule
    from analysis.stopping.cross_check import AttributeCheck

_NAMED = 6  # so many batches are named in a sentence


def decide_files(
    scores: Path | str, rule: Path | str, draws: int = 2000, readings: Path | str | None = None
) -> tuple[Decision, tuple[Offer, ...]]:
    """The verdict on a score file under a rule file, with the price of an answer after `cannot tell`, from so many
    draws of each way to one. `readings` are those of instruments, for the limits that the rule sets them.

    Raises BadInput: one sentence naming file, row, column, value and rule.
    """
    from analysis.planning import price, price_new_study
    from analysis.stopping import decide

    read = read_rule(rule)
    tidy = read_scores(scores, read)
    check_together(Path(scores).name, tidy, Path(rule).name, read)
    own = None if readings is None else read_readings(readings, read.gates, tidy["hours"].unique())
    decision = decide(tidy, read, own)
    if decision.verdict != "cannot tell" or decision.batches is not None:
        return decision, ()
    now = price(tidy, read, draws, readings=own)
    if read.confirms is not None:  # the same batch again would be one more try at the same claim
        return decision, tuple(now)
    return decision, (*now, *price_new_study(tidy, read, draws, readings=own))


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


def _batches_of(scores_name: str, scores: pd.DataFrame, rule: Rule) -> list[pd.DataFrame]:
    """The scores of each batch that the claim tests. Raises BadInput where they do not bear it."""
    from analysis.stopping import batches_in, of_batch

    found = batches_in(scores[scores["score"].notna()])
    names = ", ".join(found[:_NAMED]) + (", …" if len(found) > _NAMED else "")
    texts = {"scores": scores_name, "n": len(found), "names": names}
    if "" in found and len(found) > 1:
        sentence = _("{scores}, column batch: some scores name their batch and others none; name it in every row.")
        raise BadInput(sentence.format(**texts))
    if len(found) > 1 and rule.claim == THIS:
        sentence = _(
            '{scores}, column batch: there are {n} batches, {names}, and the rule claims "this batch". Make one file a '
            "batch, or seal another claim."
        )
        raise BadInput(sentence.format(**texts))
    if rule.batches is not None and len(found) > rule.batches:
        sentence = _("{scores}, column batch: there are {n} batches, {names}, and {sealed} were sealed.")
        raise BadInput(sentence.format(sealed=rule.batches, **texts))
    return [scores[of_batch(scores, name)] for name in found] if len(found) > 1 else [scores]


def check_together(scores_name: str, scores: pd.DataFrame, rule_name: str, rule: Rule) -> None:
    """Refuse scores and a rule that do not fit: batches that do not bear the claim, and of each batch a pull, a control
    or a column that the other one lacks."""
    every = _batches_of(scores_name, scores, rule)
    noted = scores[scores["assessor"].isna()]["hours"].tolist()  # pulls that were lost
    if len(every) == 1:
        return _check_batch(scores_name, scores[scores["assessor"].notna()], rule_name, rule, noted)
    hours = sorted(scores.loc[scores["assessor"].notna(), "hours"].unique())
    for part in every:
        own = part[part["assessor"].notna()]
        named = _("{scores}, batch {batch}").format(scores=scores_name, batch=own["batch"].iloc[0])
        missing = [f"{hour:g}" for hour in hours if hour not in noted and hour not in set(own["hours"])]
        if missing:
            sentence = _(
                "{scores}: no score at {missing} h; every batch has the same pulls, or a note that one was lost."
            )
            raise BadInput(sentence.format(scores=named, missing=", ".join(missing)))
        _check_batch(named, own, rule_name, rule, noted)
    return None


def _check_hour(scores_name: str, hours: list[float], rule_name: str, rule: Rule, noted: list[float]) -> None:
    """Refuse the scores of another study for a confirmation."""
    if rule.confirms is not None and rule.confirms not in (hours[-2], *noted):
        sentence = _(
            "{rule}, confirms: {hour:g} h must be the last pull but one; {scores} has the pulls {pulls}. Serve the "
            "hour, the longest and the control, and nothing between the hour and the longest."
        )
        raise BadInput(
            sentence.format(
                rule=rule_name, hour=rule.confirms, scores=scores_name, pulls=", ".join(f"{hour:g}" for hour in hours)
            )
        )


def _check_batch(scores_name: str, scores: pd.DataFrame, rule_name: str, rule: Rule, noted: list[float]) -> None:
    """The same of one batch; `noted` are the pulls that were lost."""
    hours = sorted(scores["hours"].unique())
    pulls = ", ".join(f"{hour:g}" for hour in hours)
    if len(hours) < 2:
        sentence = _("{scores}, column hours: all scores are of one pull, {pulls} h; at least two pulls are compared.")
        raise BadInput(sentence.format(scores=scores_name, pulls=pulls))
    _check_hour(scores_name, hours, rule_name, rule, noted)
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
