"""A comparison whose scores and rule come as files."""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING

from studyapp.errors import BadInput
from studyapp.kinds.comparison.files.rules import FileRule, read_rule
from studyapp.services import toml_files
from studyapp.words import _

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


def compare_files(
    scores: Path | str, rule: Path | str, draws: int = 1000, readings: Path | str | None = None
) -> Brought:
    """The verdicts on a score file under a rule file, with a file of readings for its limits of instruments and what
    should be alike. Raises BadInput: one sentence naming file, column and rule."""
    from analysis.comparing import compare
    from analysis.comparing.price import price

    sealed = read_rule(rule)
    tidy = read_scores(scores, sealed)
    table = None if readings is None else read_readings(readings, tidy)
    try:
        found = compare(tidy, sealed.rule, table)
    except ValueError as wrong:
        file = Path(readings).name if readings is not None and str(wrong).startswith(("gates", "readings")) else None
        raise BadInput(f"{file or Path(scores).name}, {wrong}.") from wrong
    asked = found.open_makes and found.reason is None
    offers = price(tidy, sealed.rule, draws=draws, readings=table) if asked else ()
    read = sealed if table is None else with_readings(sealed, table)
    return Brought(found, alike_of(read, tuple(found.makes)), offers, read)


def read_scores(path: Path | str, rule: FileRule) -> pd.DataFrame:
    """The tidy scores of a file; with hours beside the make, a piece is a make after so many hours. Raises BadInput."""
    from analysis.comparing.reading import pulled
    from analysis.files import ScoreError
    from analysis.files import read_scores as read

    try:
        tidy = read(path, tuple(rule.rule.attributes), "make")
    except ScoreError as problem:
        raise BadInput(str(problem)) from problem
    if "hours" not in tidy:
        return tidy
    return tidy.assign(make=[pulled(make, hours) for make, hours in zip(tidy["make"], tidy["hours"], strict=True)])


def read_readings(path: Path | str, scores: pd.DataFrame) -> pd.DataFrame:
    """The readings of a file, a row a repeat by make. Raises BadInput, also for a make that the scores do not have."""
    from analysis.files import ScoreError
    from analysis.files.readings import read_readings as read

    name = Path(path).name
    try:
        found = read(path, "make")
    except ScoreError as problem:
        raise BadInput(str(problem)) from problem
    known = set(scores["make"].astype(str))
    if "hours" in scores:  # such a piece is a make after so many hours
        known |= {piece.rsplit(" ", 2)[0] for piece in known}
    for make in found["make"]:
        if make not in known:
            told = _("{name}, column make: {make} is none of the makes in the scores, which are {all}.")
            raise BadInput(told.format(name=name, make=toml_files.plain(make), all=", ".join(sorted(known))))
    return found


def with_readings(rule: FileRule, table: pd.DataFrame) -> FileRule:
    """The rule with what a file read of quantities that it names without readings of its own; where the claim is on the
    make, the mean of each batch, since the batch is the unit."""
    named = table["quantity"].astype(str).str.casefold() if "quantity" in table else table["make"].map(lambda _make: "")
    found = dict(rule.readings)
    for one in rule.alike:
        own = table[(named == one.name.casefold()) & table["value"].notna()]
        if rule.rule.claim == "make" and "batch" in own:
            own = own.groupby(["make", "batch"])["value"].mean().reset_index()
        if not any(found[one.name].values()):
            found[one.name] = {str(make): tuple(values) for make, values in own.groupby("make")["value"]}
    return replace(rule, readings=found)


def alike_of(rule: FileRule, makes: tuple[str, ...]) -> Alike:
    """What else differed of each quantity, for every make that was judged."""
    from analysis.comparing.confounders import likeness

    every = {one.name: dict.fromkeys((rule.rule.reference, *makes), ()) | rule.readings[one.name] for one in rule.alike}
    known = {what: {make: own[make] for make in (rule.rule.reference, *makes)} for what, own in every.items()}
    return {one.name: likeness(known[one.name], rule.rule.reference, one.tolerance) for one in rule.alike}
