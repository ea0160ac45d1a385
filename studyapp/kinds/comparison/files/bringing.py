"""A comparison whose scores and rule come as files."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from studyapp.errors import BadInput
from studyapp.kinds.comparison.files.rules import FileRule, read_rule

if TYPE_CHECKING:
    import pandas as pd

    from analysis.comparing import Compared
    from analysis.comparing.price import MakeOffer
    from studyapp.kinds.comparison.files.decisions import Alike


@dataclass(frozen=True, slots=True)
class Brought:
    """The verdicts on files, with what else differed and the price of an answer where one is missing."""

    found: Compared
    alike: Alike
    offers: tuple[MakeOffer, ...]
    rule: FileRule


def compare_files(scores: Path | str, rule: Path | str, draws: int = 1000) -> Brought:
    """The verdicts on a score file under a rule file. Raises BadInput: one sentence naming file, column and rule."""
    from analysis.comparing import compare
    from analysis.comparing.price import price

    read = read_rule(rule)
    tidy = read_scores(scores, read)
    try:
        found = compare(tidy, read.rule)
    except ValueError as wrong:
        raise BadInput(f"{Path(scores).name}, {wrong}.") from wrong
    offers = price(tidy, read.rule, draws=draws) if found.open_makes and found.reason is None else ()
    return Brought(found, alike_of(read, tuple(found.makes)), offers, read)


def read_scores(path: Path | str, rule: FileRule) -> pd.DataFrame:
    """The tidy scores of a file; with hours beside the make, a piece is a make after so many hours. Raises BadInput."""
    from analysis.files import ScoreError
    from analysis.files import read_scores as read

    try:
        tidy = read(path, tuple(rule.rule.attributes), "make")
    except ScoreError as problem:
        raise BadInput(str(problem)) from problem
    if "hours" not in tidy:
        return tidy
    return tidy.assign(make=[f"{make} {hours:g} h" for make, hours in zip(tidy["make"], tidy["hours"], strict=True)])


def alike_of(rule: FileRule, makes: tuple[str, ...]) -> Alike:
    """What else differed of each quantity, for every make that was judged."""
    from analysis.comparing.confounders import likeness

    every = {one.name: dict.fromkeys((rule.rule.reference, *makes), ()) | rule.readings[one.name] for one in rule.alike}
    known = {what: {make: own[make] for make in (rule.rule.reference, *makes)} for what, own in every.items()}
    return {one.name: likeness(known[one.name], rule.rule.reference, one.tolerance) for one in rule.alike}
